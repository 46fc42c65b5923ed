"""Page on the measurements, written from a run: `docs/benchmarks.md`."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

PAGE = Path(__file__).parents[2] / "docs" / "benchmarks.md"

Rows = Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Machine:
    """Where and when it was measured."""

    kind: str
    system: str
    python: str
    cores: int
    load: float
    """Of the last minute when it began: what else the machine had to do."""
    day: str


def page(machine: Machine, measured: Mapping[str, tuple[str, Rows]]) -> str:
    """Write the page.

    Parameters
    ----------
    machine : Machine
        Where and when.
    measured : mapping of str to tuple
        By the measurement's name: what it is about, and its rows of what and value.
    """
    text = f"""# Benchmarks

What millpond costs, measured by `python -m tests.bench --markdown`, which writes this page anew;
`make bench` prints the same without writing it. Nothing here is asserted by a test: times depend on
the machine. Ratios within one run say more than seconds.

{machine.kind} with {machine.cores} cores, {machine.system}, Python {machine.python}, {machine.day};
load of the machine when it began: {machine.load:.1f}.
"""
    for name, (about, rows) in measured.items():
        text += f"\n## {about}\n\n`python -m tests.bench {name}`\n\n| what | |\n| --- | --- |\n"
        text += "".join(f"| {_cell(what)} | {_cell(value)} |\n" for what, value in rows)
    return text + _ELSEWHERE


def _cell(text: str) -> str:
    """Text as it may stand in a table."""
    return " ".join(text.split()).replace("|", "\\|")


_ELSEWHERE = """
## Elsewhere

| what | page | command |
| --- | --- | --- |
| how far from the truth, and from what can be known | [The score](score.md) | `make score` |
| the store over a year | [The store](store.md#measured) | `python -m tests.bench storing` |
| the page in a browser | [The page](page.md#how-fast) | `python -m tests.page.measure` |
| sixty days with everything failing | [What can fail](faults.md#measured) | `make soak` |
| how a station keeps | [Stations](stations.md#how-well-it-holds-a-sump) | `millpond-sim close` |
"""
