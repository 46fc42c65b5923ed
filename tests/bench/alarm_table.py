"""The table of alarms by scenario: what was raised, how soon, and how often without a cause."""

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

MONTH = 30.0
"""[d]"""
BEGIN, END = "<!-- alarms: begin -->", "<!-- alarms: end -->"
HEAD = (
    "| scenario | sump-days | raised | troubles told, after | without a cause | a month |",
    "| --- | --- | --- | --- | --- | --- |",
)
NO_FALSE_95 = 3.0
"""Where none is seen, the rate is below this many in what was watched, with 95 % confidence: the
rule of three, J. A. Hanley and A. Lippman-Hand, JAMA 249 (1983) 1743-1745. [1]"""


@dataclass(frozen=True)
class Found:
    """What came of one scenario with one seed."""

    name: str
    seed: int
    sump_days: float
    raised: dict[str, int]
    unexplained: list[str]
    told: list[tuple[str, float | None]]
    """Troubles, and after how many hours each was told; `None`: never."""


def read_results(path: Path) -> list[Found]:
    """Read what runs before this one found; nothing where there is no such file."""
    if not path.exists():
        return []
    lines = [json.loads(line) for line in path.read_text("utf-8").splitlines()]
    return [
        Found(**{**line, "told": [(kind, hours) for kind, hours in line["told"]]}) for line in lines
    ]


def table(runs: Iterable[Found], groups: Mapping[str, str]) -> Iterator[str]:
    """Give the lines of the table, and a sum over the clean scenarios."""
    by_name: dict[str, list[Found]] = {}
    for run in runs:
        by_name.setdefault(run.name, []).append(run)
    yield from HEAD
    for name in sorted(by_name):
        yield _row(name, by_name[name], groups.get(name, ""))
    clean = [run for name, same in by_name.items() if groups.get(name) == "clean" for run in same]
    if clean:
        months = sum(run.sump_days for run in clean) / MONTH
        false = sum(len(run.unexplained) for run in clean)
        bound = f", with 95 % confidence fewer than {NO_FALSE_95 / months:.2f}" if not false else ""
        yield ""
        yield (
            f"Clean ones together: {months * MONTH:.0f} sump-days, {false} alarms without a cause, "
            f"{false / months:.2f} per sump and month{bound}."
        )
    for run in (run for name in sorted(by_name) for run in by_name[name]):
        for what in run.unexplained:
            yield f"<!-- without a cause: {run.name}, seed {run.seed}: {what} -->"


def _row(name: str, same: list[Found], group: str) -> str:
    """One scenario with all its seeds."""
    days = sum(run.sump_days for run in same)
    every: Counter[str] = Counter()
    for run in same:
        every.update(run.raised)
    raised = ", ".join(f"{count} `{key}`" for key, count in every.most_common())
    false = sum(len(run.unexplained) for run in same)
    label = f"`{name}`" + (" (clean)" if group == "clean" else "")
    per_month = f"{false * MONTH / days:.2f}"
    return f"| {label} | {days:.0f} | {raised or '–'} | {_told(same)} | {false} | {per_month} |"


def _told(same: Iterable[Found]) -> str:
    """How soon each kind of trouble was told."""
    delays: dict[str, list[float | None]] = {}
    for run in same:
        for kind, hours in run.told:
            delays.setdefault(kind, []).append(hours)
    return "; ".join(_after(kind, hours) for kind, hours in delays.items()) or "–"


def _after(kind: str, hours: list[float | None]) -> str:
    """One kind of trouble: how many of how many, and after how long."""
    told = sorted(each for each in hours if each is not None)
    if not told:
        return f"{kind}: 0 of {len(hours)}"
    length = f"{told[0]:.1f}" if told[0] == told[-1] else f"{told[0]:.1f} to {told[-1]:.1f}"
    return f"{kind}: {len(told)} of {len(hours)}, {length} h"


def write_between_marks(path: Path, lines: list[str]) -> None:
    """Write lines into a page, in the place of those between its two marks."""
    text = path.read_text("utf-8")
    before, _, rest = text.partition(BEGIN)
    _, mark, after = rest.partition(END)
    if not mark:
        raise ValueError(f"{path}: expected the lines {BEGIN} and {END}")
    path.write_text("\n".join([before + BEGIN, *lines, END + after]), "utf-8")
