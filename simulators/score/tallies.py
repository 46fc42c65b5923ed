"""Counts over many runs: events found and invented, faults flagged, advice carried out."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from simulators.score.bootstrap import Interval, interval
from simulators.score.kalman import Matrix, Vector
from simulators.score.matching import Found
from simulators.score.published import Word
from simulators.score.run import SumpRun

WITHIN = 20.0
"""What counts as soon. [min]"""
PER = 90.0
"""False alarms are counted for so many days of a sump. [d]"""


@dataclass(frozen=True, slots=True)
class Truthful:
    """Whether errors are as large as their sd's say."""

    count: int
    rms_z: float | None
    """Root mean square of error over sd: 1 if the sd's are true. [1]"""
    covered: float | None
    """Within 2 sd. [1]"""


@dataclass(frozen=True, slots=True)
class EventTally:
    """Additions and drains over many runs. Shares are None of nothing."""

    unknown: int
    """Large ones that nobody metered or reported."""
    recall: float | None
    recall_interval: Interval | None
    at_start: int
    """Those of them within two minutes of a pump start."""
    recall_at_start: float | None
    small: int
    recall_small: float | None
    known: int
    """Metered or reported, of any size."""
    recall_known: float | None
    published: int
    precision: float | None
    precision_interval: Interval | None
    soon: float | None
    """Share of the large unknown ones told within `WITHIN` minutes of the first drop."""
    median_delay: float | None
    """[min]"""
    strength_soon: float | None
    """Share of them whose strength was settled so soon after the pumps ran."""
    volume: Truthful
    strength: Truthful
    false: int
    false_per_90_days: float


@dataclass(frozen=True, slots=True)
class FaultTally:
    """Sensor faults over many runs."""

    shown: int
    flagged: float | None
    lasting: int
    """Those that lasted a quarter of an hour after they showed."""
    lasting_flagged: float | None
    median_delay: float | None
    """Of the lasting ones that were flagged. [min]"""
    late_delay: float | None
    """Nine in ten were flagged sooner. [min]"""
    by_kind: dict[str, tuple[int, int]]
    """Signal and kind: shown, flagged."""
    false: int
    false_per_90_days: float


@dataclass(frozen=True, slots=True)
class AdviceTally:
    """Advice carried out on the true sump."""

    count: int
    in_band: float | None
    was_in_band: float | None
    overfill: int
    fullest: float | None
    """Fluid over what the tank holds. [1]"""
    off_target: float | None
    """Root mean square, in % of the mix."""


def tally_events(runs: Sequence[SumpRun]) -> EventTally:
    """Count events."""
    found = [f for run in runs for f in run.events.found]
    unknown = [f for f in found if _unknown(f) and f.large]
    small = [f for f in found if _unknown(f) and not f.large]
    known = [f for f in found if not _unknown(f)]
    starts = [f for f in unknown if f.event.near_start]
    told = [f for f in unknown if f.told]
    strengths = [f for f in told if f.event.inflow]
    published = sum(run.events.published for run in runs)
    false = sum(len(run.events.false) for run in runs)
    recalls = [[len(u), sum(f.told for f in u)] for u in map(_large_unknown, runs)]
    precisions = [[r.events.published, r.events.published - len(r.events.false)] for r in runs]
    return EventTally(
        unknown=len(unknown),
        recall=_share(unknown),
        recall_interval=interval(recalls, _second_of_first),
        at_start=len(starts),
        recall_at_start=_share(starts),
        small=len(small),
        recall_small=_share(small),
        known=len(known),
        recall_known=_share(known),
        published=published,
        precision=(published - false) / published if published else None,
        precision_interval=interval(precisions, _second_of_first),
        soon=_within([f.delay for f in told], len(unknown)),
        median_delay=_quantile([f.delay for f in told], 0.5),
        strength_soon=_within([f.strength_delay for f in strengths], len(strengths)),
        volume=_truthful([f.volume for f in told]),
        strength=_truthful([f.strength for f in strengths]),
        false=false,
        false_per_90_days=false / _days(runs) * PER,
    )


def tally_faults(runs: Sequence[SumpRun]) -> FaultTally:
    """Count faults."""
    faults = [fault for run in runs for fault in run.flags.faults]
    lasting = [fault for fault in faults if fault.lasting]
    by_kind: dict[str, tuple[int, int]] = {}
    for fault in faults:
        key = f"{fault.blemish.signal} {fault.blemish.kind}"
        shown, flagged = by_kind.get(key, (0, 0))
        by_kind[key] = (shown + 1, flagged + fault.flagged)
    delays = [fault.delay for fault in lasting if fault.flagged]
    false = sum(len(run.flags.false) for run in runs)
    return FaultTally(
        shown=len(faults),
        flagged=_mean([fault.flagged for fault in faults]),
        lasting=len(lasting),
        lasting_flagged=_mean([fault.flagged for fault in lasting]),
        median_delay=_quantile(delays, 0.5),
        late_delay=_quantile(delays, 0.9),
        by_kind=dict(sorted(by_kind.items())),
        false=false,
        false_per_90_days=false / _days(runs) * PER,
    )


def tally_advice(runs: Sequence[SumpRun]) -> AdviceTally:
    """Count advice."""
    advice = [poured for run in runs for poured in run.advice]
    off = [poured.off_target for poured in advice]
    return AdviceTally(
        count=len(advice),
        in_band=_mean([poured.in_band for poured in advice]),
        was_in_band=_mean([poured.was_in_band for poured in advice]),
        overfill=sum(poured.overfills for poured in advice),
        fullest=max((poured.fill for poured in advice), default=None),
        off_target=100.0 * math.sqrt(sum(x * x for x in off) / len(off)) if off else None,
    )


def _unknown(found: Found) -> bool:
    """Whether nobody metered or reported an event."""
    return not (found.event.metered or found.event.reported)


def _large_unknown(run: SumpRun) -> list[Found]:
    """Of one run."""
    return [found for found in run.events.found if found.large and _unknown(found)]


def _share(found: Sequence[Found]) -> float | None:
    """Share that was told. [1]"""
    return _mean([f.told for f in found])


def _mean(flags: Sequence[bool]) -> float | None:
    """Share that is true. [1]"""
    return sum(flags) / len(flags) if flags else None


def _second_of_first(sums: Matrix) -> Vector:
    """Share of each draw. [1]"""
    return np.asarray(sums[:, 1] / np.where(sums[:, 0] > 0.0, sums[:, 0], np.nan))


def _within(delays: Sequence[float | None], of: int) -> float | None:
    """Share of so many that came soon. [1]"""
    return sum(1 for d in delays if d is not None and d <= WITHIN) / of if of else None


def _quantile(delays: Sequence[float | None], share: float) -> float | None:
    """Of the delays that there are. [min]"""
    known = [delay for delay in delays if delay is not None]
    return float(np.quantile(known, share)) if known else None


def _truthful(words: Sequence[Word | None]) -> Truthful:
    """How errors stand to their sd's."""
    z = [word[0] / word[1] for word in words if word is not None and word[1] > 0.0]
    if not z:
        return Truthful(0, None, None)
    rms = math.sqrt(sum(x * x for x in z) / len(z))
    return Truthful(len(z), rms, _mean([abs(x) <= 2.0 for x in z]))


def _days(runs: Sequence[SumpRun]) -> float:
    """Sump-days. [d]"""
    return sum(run.days for run in runs) or 1.0
