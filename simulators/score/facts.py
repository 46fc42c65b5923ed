"""Events, faults and advice of many runs, a line each."""

from collections.abc import Sequence

from simulators.score.figures import interval_of, number, percent, truthful
from simulators.score.run import SumpRun
from simulators.score.tallies import (
    PER,
    WITHIN,
    EventTally,
    FaultTally,
    tally_advice,
    tally_events,
    tally_faults,
)


def facts(runs: Sequence[SumpRun]) -> list[str]:
    """All that is counted."""
    clean = [run for run in runs if run.group == "clean"]
    lines = [*_events(tally_events(runs)), *_faults(tally_faults(runs))]
    if clean and len(clean) < len(runs):
        lines += _clean(clean)
    return [*lines, *_advice(runs)]


def _events(events: EventTally) -> list[str]:
    """Additions and drains."""
    recall = interval_of(events.recall_interval, 100.0)
    precision = interval_of(events.precision_interval, 100.0)
    found = (
        f"found of {events.unknown} large ones that nobody metered or reported {recall}".rstrip()
    )
    start = f"of {events.at_start} within two minutes of a pump start"
    true = f"true of {events.published} published {precision}".rstrip()
    soon = f"told within {WITHIN:g} min of the first drop, median {number(events.median_delay)} min"
    strength = f"strengths settled within {WITHIN:g} min of the pumps running"
    return [
        "additions and drains",
        f"  {percent(events.recall):>7}  {found}",
        f"  {percent(events.recall_at_start):>7}  {start}",
        f"  {percent(events.recall_small):>7}  of {events.small} small ones",
        f"  {percent(events.recall_known):>7}  of {events.known} metered or reported",
        f"  {percent(events.precision):>7}  {true}; {_per(events)}",
        f"  {percent(events.soon):>7}  {soon}",
        f"  {percent(events.strength_soon):>7}  {strength}",
        f"  volumes: {truthful(events.volume)}; strengths: {truthful(events.strength)}",
    ]


def _faults(faults: FaultTally) -> list[str]:
    """Sensor faults."""
    late = f"nine in ten within {number(faults.late_delay)} min"
    delays = f"median {number(faults.median_delay)} min, {late}"
    kinds = [f"{kind} {found}/{shown}" for kind, (shown, found) in faults.by_kind.items()]
    lasting = f"of {faults.lasting} that lasted a quarter of an hour"
    lines = [
        "sensor faults",
        f"  {percent(faults.flagged):>7}  flagged of {faults.shown} that showed",
        f"  {percent(faults.lasting_flagged):>7}  {lasting}; {delays}",
        f"  flags without a cause: {_per(faults)}",
    ]
    return [*lines, f"  flagged of shown: {', '.join(kinds)}"] if kinds else lines


def _clean(clean: Sequence[SumpRun]) -> list[str]:
    """False alarms where nothing goes wrong."""
    days = sum(run.days for run in clean)
    return [
        f"clean scenarios, {days:.0f} sump-days",
        f"  events that were none: {_per(tally_events(clean))}",
        f"  flags without a cause: {_per(tally_faults(clean))}",
    ]


def _advice(runs: Sequence[SumpRun]) -> list[str]:
    """Advice carried out on the true sump."""
    advice = tally_advice(runs)
    end = f"of {advice.count} pourings advised end in the band"
    off = f"{number(advice.off_target)} % of the mix off target"
    full = f"{advice.overfill} over the brim, the fullest to {percent(advice.fullest)} of it"
    return [
        "advice carried out on the true sump",
        f"  {percent(advice.in_band):>7}  {end}, {percent(advice.was_in_band)} began there; {off}",
        f"  {full}",
    ]


def _per(tally: EventTally | FaultTally) -> str:
    """False ones, and what that is in `PER` days."""
    return f"{tally.false} false, {tally.false_per_90_days:.2f} in {PER:g} sump-days"
