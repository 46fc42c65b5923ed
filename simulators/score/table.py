"""Tables for people: what was measured, a line for each quantity."""

from collections.abc import Sequence

from simulators.score.facts import facts
from simulators.score.figures import fixed, interval_of, number, percent
from simulators.score.metrics import SHOWN, errors_of
from simulators.score.run import SumpRun
from simulators.score.yardstick import QUANTITIES

Row = Sequence[str]


def scenario_table(runs: Sequence[SumpRun]) -> str:
    """All that was measured in one scenario."""
    head = [f"{runs[0].scenario}: {extent(runs)}", ""]
    return "\n".join([*head, *columns(quantity_rows(runs)), "", *facts(runs)]) + "\n"


def quantity_rows(runs: Sequence[SumpRun]) -> list[Row]:
    """Errors and sd's of agent and yardstick, and the errors of the naive ways."""
    rows: list[Row] = [
        ("", "agent", "sd", "2 sd", "at end", "yardstick", "sd", "2 sd", "ratio", "",
         "hourly", "weekly"),
    ]  # fmt: skip
    for name in QUANTITIES:
        errors = errors_of(runs, name)
        title, unit, _ = SHOWN[name]
        rows.append(
            (
                f"{title} [{unit}]",
                number(errors.agent),
                number(errors.agent_sd),
                percent(errors.coverage),
                percent(errors.coverage_end),
                number(errors.yardstick),
                number(errors.yardstick_sd),
                percent(errors.yardstick_coverage),
                fixed(errors.ratio),
                interval_of(errors.ratio_interval),
                number(errors.hourly),
                number(errors.weekly),
            )
        )
    return rows


def columns(rows: Sequence[Row]) -> list[str]:
    """Lines with the columns under each other: the first to the left, the others to the right."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines: list[str] = []
    for row in rows:
        first = row[0].ljust(widths[0])
        rest = [cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True)]
        lines.append("  ".join([first, *rest]).rstrip())
    return lines


def extent(runs: Sequence[SumpRun]) -> str:
    """How much was run."""
    seeds, days = len({run.seed for run in runs}), sum(run.days for run in runs)
    return f"{_some(seeds, 'seed')}, {_some(len(runs), 'run')} of a sump, {days:.0f} sump-days"


def _some(count: int, what: str) -> str:
    """A count of things."""
    return f"{count} {what}{'s' if count != 1 else ''}"
