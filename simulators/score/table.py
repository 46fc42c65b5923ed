"""Tables for people: one scenario in full, or all of them in a line each."""

from collections.abc import Sequence

from simulators.score.facts import facts
from simulators.score.figures import fixed, interval_of, number, percent
from simulators.score.metrics import (
    LOSSES,
    SHOWN,
    coverage_of,
    errors_of,
    geometric_mean,
    yardstick_coverage_of,
)
from simulators.score.run import SumpRun
from simulators.score.tallies import tally_events, tally_faults
from simulators.score.yardstick import QUANTITIES

Row = Sequence[str]
_LEGEND = """\
Errors as ratios to the yardstick's: volume, concentration, water and concentrate lost since the
beginning and over 24 hours, and their geometric mean. Then the agent's 2-sd coverage of them all;
large unknown additions and drains found; published events that were true; told within 20 minutes;
lasting faults flagged; false events and flags.""".splitlines()


def scenario_table(runs: Sequence[SumpRun]) -> str:
    """All that was measured in one scenario."""
    head = [f"{runs[0].scenario}: {_extent(runs)}", ""]
    rows: list[Row] = [
        ("", "agent", "sd", "yardstick", "sd", "ratio", "", "2 sd", "at end", "hourly", "weekly")
    ]
    for name in QUANTITIES:
        errors = errors_of(runs, name)
        title, unit, _ = SHOWN[name]
        rows.append(
            (
                f"{title} [{unit}]",
                number(errors.agent),
                number(errors.agent_sd),
                number(errors.yardstick),
                number(errors.yardstick_sd),
                fixed(errors.ratio),
                interval_of(errors.ratio_interval),
                percent(errors.coverage),
                percent(errors.coverage_end),
                number(errors.hourly),
                number(errors.weekly),
            )
        )
    return "\n".join([*head, *columns(rows), "", *facts(runs)]) + "\n"


def summary_table(runs: Sequence[SumpRun]) -> str:
    """All scenarios, a line each, and what they come to together."""
    names = list(dict.fromkeys(run.scenario for run in runs))
    rows: list[Row] = [
        ("", "V", "c", "W", "C", "W 24h", "C 24h", "mean", "2 sd", "recall", "precise", "soon",
         "faults", "false"),
    ]  # fmt: skip
    means: list[float | None] = []
    by_quantity: list[list[float | None]] = [[] for _ in QUANTITIES]
    for name in names:
        own = [run for run in runs if run.scenario == name]
        ratios = [errors_of(own, quantity).ratio for quantity in QUANTITIES]
        for column, ratio in zip(by_quantity, ratios, strict=True):
            column.append(ratio)
        means.append(geometric_mean(ratios))
        rows.append((name, *map(fixed, ratios), fixed(means[-1]), *_shares(own)))
    together = [geometric_mean(column) for column in by_quantity]
    overall = geometric_mean(means)
    rows.append(("together", *map(fixed, together), fixed(overall), *_shares(runs)))
    known = [(mean, name) for mean, name in zip(means, names, strict=True) if mean is not None]
    worst = max(known, default=None)
    lines = [
        f"{_extent(runs)} in {len(names)} scenarios",
        *_LEGEND,
        "",
        *columns(rows),
        "",
    ]
    if worst is not None:
        lines.append(f"worst scenario: {worst[1]}, {worst[0]:.2f} times the yardstick's error")
    return "\n".join([*lines, "", *coverage_lines(runs), "", *facts(runs)]) + "\n"


def columns(rows: Sequence[Row]) -> list[str]:
    """Lines with the columns under each other: the first to the left, the others to the right."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines: list[str] = []
    for row in rows:
        first = row[0].ljust(widths[0])
        rest = [cell.rjust(width) for cell, width in zip(row[1:], widths[1:], strict=True)]
        lines.append("  ".join([first, *rest]).rstrip())
    return lines


def coverage_lines(runs: Sequence[SumpRun]) -> list[str]:
    """Coverage of the agent and the yardstick, with intervals by run, and the naive ways."""
    lines = ["2-sd coverage, agent (interval by run; at the end of each run):"]
    for name in QUANTITIES:
        errors = errors_of(runs, name)
        lines.append(
            f"  {SHOWN[name][0]:18} {percent(errors.coverage):>7} "
            f"{interval_of(errors.coverage_interval, 100.0):>14}  at the end "
            f"{percent(errors.coverage_end)}; yardstick {percent(errors.yardstick_coverage)}"
        )
    losses, losses_interval = coverage_of(runs, LOSSES)
    stick, stick_interval = yardstick_coverage_of(runs, QUANTITIES)
    lines.append(
        f"  all losses         {percent(losses):>7} {interval_of(losses_interval, 100.0):>14}"
    )
    lines.append(
        f"yardstick's own coverage, all quantities: {percent(stick)} "
        f"{interval_of(stick_interval, 100.0)}"
    )
    return lines


def _shares(runs: Sequence[SumpRun]) -> list[str]:
    """Coverage, events and faults as the last columns of a summary's line."""
    events, faults = tally_events(runs), tally_faults(runs)
    return [
        percent(coverage_of(runs, QUANTITIES)[0]),
        percent(events.recall),
        percent(events.precision),
        percent(events.soon),
        percent(faults.lasting_flagged),
        str(events.false + faults.false),
    ]


def _extent(runs: Sequence[SumpRun]) -> str:
    """How much was run."""
    seeds = len({run.seed for run in runs})
    days = sum(run.days for run in runs)
    return (
        f"{seeds} seed{'s' if seeds > 1 else ''}, {len(runs)} runs of a sump, {days:.0f} sump-days"
    )
