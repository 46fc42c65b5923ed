"""Names of alarms in the plant file: they exist, and are about a signal where they say so."""

import difflib
from collections.abc import Iterator, Sequence
from typing import get_args

from advisor.alarm_definitions import DEFINITIONS
from advisor.words import Signal
from agent.messages.names import PlantAlarmName, SumpAlarmName, SupplyAlarmName
from agent.plant.parts import Part
from agent.plant.problems import Fault

OF_SUMPS: tuple[str, ...] = get_args(SumpAlarmName)
OF_ALL: tuple[str, ...] = (*OF_SUMPS, *get_args(PlantAlarmName), *get_args(SupplyAlarmName))


def alarm_faults(part: Part, known: Sequence[str] = OF_SUMPS) -> Iterator[Fault]:
    """List what is wrong with the names of a sump's alarms, or with those of the whole file."""
    alarms = part.part("alarms")
    for key in alarms:
        what = _name_fault(key, known)
        if what is not None:
            yield alarms.fault(key, what, shown=False)


def _name_fault(key: str, known: Sequence[str]) -> str | None:
    """Say what is wrong with ``NAME`` or ``NAME/SIGNAL``, if something is."""
    name, slash, signal = key.partition("/")
    if name not in known:
        if name in OF_ALL:
            return f"is no alarm of a sump; expected [alarms.{name}] at the top of the file"
        nearest = difflib.get_close_matches(name, known, n=1, cutoff=0.0)
        return f"no such alarm; the nearest one is {nearest[0]}"
    if not slash:
        return None
    if not DEFINITIONS[name].of_signal:
        return f"this alarm is not about one signal; expected {name} alone"
    signals = [told.value for told in Signal]
    return None if signal in signals else f"expected one of {', '.join(signals)} after the slash"
