"""All scenarios in a line each, beside the naive ways, and what they come to together."""

from collections.abc import Sequence

from simulators.marks import markdown
from simulators.score.facts import facts
from simulators.score.figures import fixed, interval_of, number, percent
from simulators.score.metrics import (
    LOSSES,
    Rival,
    coverage_of,
    geometric_mean,
    ratio_of,
    yardstick_coverage_of,
    yardstick_tuning,
)
from simulators.score.run import SumpRun
from simulators.score.table import Row, columns, extent, quantity_rows
from simulators.score.tallies import tally_events, tally_faults
from simulators.score.yardstick import QUANTITIES

NAME = "score"
"""Of the tables, on a page."""
_LEGEND = """\
Errors as ratios to the yardstick's: volume, concentration, water and concentrate lost since the
beginning and over 24 hours, and their geometric mean; that of the two naive ways. Then the 2-sd
coverage of them all, the agent's and the yardstick's, and the yardstick's error over its own sd;
large unknown additions and drains found; published events that were true; told within 20 minutes;
lasting faults flagged; false events and flags.""".splitlines()
_HEAD = ("", "V", "c", "W", "C", "W 24h", "C 24h", "mean", "hourly", "weekly", "2 sd", "stick",
         "err/sd", "recall", "precise", "soon", "faults", "false")  # fmt: skip


def summary_table(runs: Sequence[SumpRun]) -> str:
    """The tables as text."""
    extents = f"{extent(runs)} in {len(_names(runs))} scenarios"
    parts = [
        [extents, *_LEGEND],
        columns(_rows(runs)),
        [_worst(runs)],
        columns(quantity_rows(runs)),
        _coverage(runs),
        facts(runs),
    ]
    return "\n\n".join("\n".join(part) for part in parts) + "\n"


def summary_page(runs: Sequence[SumpRun]) -> str:
    """The same in Markdown."""
    first, *rest = ([*row] for row in _rows(runs))
    named = [[f"`{row[0]}`", *row[1:]] for row in rest[:-1]]
    scenarios = [["scenario", *first[1:]], *named, [f"**{cell}**" for cell in rest[-1]]]
    quantities = [[*row] for row in quantity_rows(runs)]
    quantities[0][0] = "all runs"
    counted = [_worst(runs), "", *_coverage(runs), "", *facts(runs)]
    parts = [
        f"{extent(runs)} in {len(_names(runs))} scenarios.",
        markdown(scenarios),
        markdown(quantities),
        "\n".join(["```text", *counted, "```"]),
    ]
    return "\n\n".join(parts)


def _names(runs: Sequence[SumpRun]) -> list[str]:
    """Scenarios in their order."""
    return list(dict.fromkeys(run.scenario for run in runs))


def _ratios(runs: Sequence[SumpRun], rival: Rival) -> list[list[float | None]]:
    """A rival's ratio for each scenario and quantity."""
    each = [[run for run in runs if run.scenario == name] for name in _names(runs)]
    return [[ratio_of(own, quantity, rival) for quantity in QUANTITIES] for own in each]


def _mean(ratios: Sequence[Sequence[float | None]]) -> float | None:
    """Geometric mean over quantities, then over scenarios."""
    return geometric_mean([geometric_mean(row) for row in ratios])


def _rows(runs: Sequence[SumpRun]) -> list[Row]:
    """The head, a line for each scenario, and one for all together."""
    agent, hourly, weekly = (_ratios(runs, rival) for rival in ("agent", "hourly", "weekly"))
    rows: list[Row] = [_HEAD]
    for i, name in enumerate(_names(runs)):
        means = [fixed(_mean([ratios[i]])) for ratios in (agent, hourly, weekly)]
        own = [run for run in runs if run.scenario == name]
        rows.append((name, *map(fixed, agent[i]), *means, *_shares(own)))
    together = [geometric_mean([row[i] for row in agent]) for i in range(len(QUANTITIES))]
    means = [fixed(_mean(ratios)) for ratios in (agent, hourly, weekly)]
    rows.append(("together", *map(fixed, together), *means, *_shares(runs)))
    return rows


def _shares(runs: Sequence[SumpRun]) -> list[str]:
    """Coverage, events and faults as the last columns of a line."""
    events, faults = tally_events(runs), tally_faults(runs)
    return [
        percent(coverage_of(runs, QUANTITIES)[0]),
        percent(yardstick_coverage_of(runs, QUANTITIES)[0]),
        fixed(yardstick_tuning(runs)),
        percent(events.recall),
        percent(events.precision),
        percent(events.soon),
        percent(faults.lasting_flagged),
        str(events.false + faults.false),
    ]


def _worst(runs: Sequence[SumpRun]) -> str:
    """The scenario in which the agent is farthest from what can be known."""
    means = [geometric_mean(row) for row in _ratios(runs, "agent")]
    known = [(mean, name) for mean, name in zip(means, _names(runs), strict=True) if mean]
    if not known:
        return "the agent said nothing that can be compared"
    mean, name = max(known)
    return f"worst scenario: {name}, {number(mean)} times the yardstick's error"


def _coverage(runs: Sequence[SumpRun]) -> list[str]:
    """Coverage of agent and yardstick over all runs, with intervals by run."""
    told = (
        ("agent's, all quantities", coverage_of(runs, QUANTITIES)),
        ("agent's, all losses", coverage_of(runs, LOSSES)),
        ("yardstick's own, all quantities", yardstick_coverage_of(runs, QUANTITIES)),
    )
    lines = [
        f"  {percent(share):>7}  {what} {interval_of(limits, 100.0)}".rstrip()
        for what, (share, limits) in told
    ]
    return ["2-sd coverage", *lines]
