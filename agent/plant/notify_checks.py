"""What must hold of a [[notify]] beyond its own keys."""

from collections.abc import Iterator, Sequence

from agent.plant.parts import Part
from agent.plant.problems import Fault

_ADDRESS = (
    "addresses of this kind hold passwords and do not belong in this file; name the environment "
    "variable that holds it as url_variable, or leave that to MILLPOND_NOTIFY_ and the id"
)


def notify_faults(target: Part, sumps: Sequence[str]) -> Iterator[Fault]:
    """List what is wrong with a target: an address in the file, no hours, no such sump."""
    for key in ("url", "urls", "address", "password", "token"):
        if key in target:
            yield target.fault(key, _ADDRESS, shown=False)
    hours = target.text("hours")
    if hours is not None and hours[:5] == hours[6:]:
        yield target.fault("hours", "begin and end are one; expected 00:00-24:00 for all day")
    for index, name in enumerate(target.texts("sumps")):
        if name not in sumps:
            there = ", ".join(sorted(sumps)) or "none"
            yield target.part("sumps").fault(index, f"no such sump; there is {there}")
