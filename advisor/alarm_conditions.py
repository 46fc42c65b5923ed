"""Whether an alarm's condition holds at a moment: beyond its limit, back inside, or not to be told.

Nothing here remembers anything; delays are the business of `advisor.alarm_progress`.
"""

from collections.abc import Iterator, Mapping
from enum import Enum, auto
from typing import NamedTuple

from advisor.alarm_definitions import Definition, default, definition, sds_for
from advisor.geometry import capacity, depth_at, volume_at
from advisor.plan import SignalPlan, SumpPlan
from advisor.words import (
    HOUR,
    MINUTE,
    Estimate,
    Finding,
    Instant,
    Quality,
    Signal,
    SumpState,
)

INTERVALS_TO_STALE = 10
"""A signal is stale after so many of its usual intervals, unless the plant file says. [1]"""

STALE_UNKNOWN: Instant = HOUR
"""Age at which a signal is stale whose usual interval nobody knows, *common practice*. [ms]"""

FILLING: Instant = 20 * MINUTE
"""So long after an addition began the level may stand high: somebody is there. [ms]"""

DEADBAND_SHARE = 0.05
"""Deadband as a share of the range (EEMUA 191 for levels, from memory). [1]"""


class Verdict(Enum):
    """What the evidence says of a condition."""

    BEYOND = auto()
    """The value is at or beyond its limit."""
    BETWEEN = auto()
    """Inside the limit, by less than the deadband; or beyond it, but not surely."""
    WITHIN = auto()
    """Inside the limit by the deadband or more."""
    UNKNOWN = auto()
    """There is no evidence: whatever was, stays."""


class Judgement(NamedTuple):
    """One alarm's condition at a moment; value and limit as people read them, in `unit`."""

    name: str
    signal: Signal | None
    verdict: Verdict
    at: Instant
    """Moment by which its delays are counted: of the data or of the clock. [ms]"""
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    detail: str = ""


# --- silence --------------------------------------------------------------------------------------


def stale_after(signal: SignalPlan, intervals: Mapping[Signal, float]) -> Instant:
    """Age at which a signal is stale: as planned, or ten usual intervals, or an hour. [ms]"""
    if signal.stale_after is not None:
        return round(signal.stale_after * 1000)
    usual = signal.interval or intervals.get(signal.signal)
    return STALE_UNKNOWN if not usual else round(usual * 1000 * INTERVALS_TO_STALE)


def stale_signals(state: SumpState, plan: SumpPlan, now: Instant) -> frozenset[Signal]:
    """Signals that have been silent for too long, by the clock.

    One that was never heard of is not stale, and `running` never is: it is told on change.
    """
    return frozenset(_silent(state, plan, now))


def _silent(state: SumpState, plan: SumpPlan, now: Instant) -> list[Signal]:
    """Stale signals, in the order of the plan."""
    seen, intervals = state.last_seen, state.intervals
    silent = []
    for signal, bound in plan.signals.items():
        heard = seen.get(signal)
        if heard is not None and now - heard > stale_after(bound, intervals):
            silent.append(signal)
    return [signal for signal in silent if signal is not Signal.RUNNING]


def _heard(signal: Signal, state: SumpState, plan: SumpPlan, at: Instant) -> bool | None:
    """Whether a signal was heard lately at a moment of data time; `None`: never, or not bound."""
    seen = state.last_seen.get(signal)
    bound = plan.signals.get(signal)
    if seen is None or bound is None:
        return None
    return at - seen <= stale_after(bound, state.intervals)


# --- limits ---------------------------------------------------------------------------------------


def verdict(estimate: Estimate, limit: float, deadband: float, side: int, sds: float) -> Verdict:
    """Judge an estimate against a limit, all in one unit.

    Parameters
    ----------
    estimate : Estimate
        What is known of the quantity.
    limit : float
        The condition holds at or beyond it.
    deadband : float
        How far inside the limit the value must be for the condition to be gone.
    side : int
        1 for a high limit, -1 for a low one.
    sds : float
        How many sds the estimate must be beyond the limit. [1]

    Returns
    -------
    Verdict
        BEYOND, BETWEEN or WITHIN.

    Examples
    --------
    >>> verdict(Estimate(5.9, 0.1), limit=6.0, deadband=0.2, side=-1, sds=1.645).name
    'BETWEEN'
    >>> verdict(Estimate(5.8, 0.1), limit=6.0, deadband=0.2, side=-1, sds=1.645).name
    'BEYOND'
    """
    beyond = side * (estimate.value - limit)
    if beyond >= sds * estimate.sd:
        return Verdict.BEYOND
    if beyond < -deadband:
        return Verdict.WITHIN
    return Verdict.BETWEEN


def level_limits(plan: SumpPlan, holdup: Estimate | None = None) -> tuple[float, float]:
    """Rest depths at which a level is low and high, unless the plant file says. [mm]

    High is the brim less the headroom that no advised dose ever uses. Low is the plant file's, or
    higher where the pumps need more once they have taken up what the machine surely holds.

    Parameters
    ----------
    plan : SumpPlan
        Tank and levels.
    holdup : Estimate or None
        Volume up in the machine while the pumps run, as learned; else the plan's is taken. [L]

    Examples
    --------
    >>> from advisor.geometry import Box
    >>> from advisor.plan import Fluid, Levels
    >>> fluid = Fluid(id="a", refractometer_factor=1, band_low=0.06, band_high=0.1, target=0.08)
    >>> levels = Levels(low=180, target=380, brim=430, top_up=280, low_running=170)
    >>> tank = Box(length=1500, width=700, height=450)
    >>> plan = SumpPlan(id="m", name="M", fluid=fluid, tank=tank, levels=levels, holdup=21.0)
    >>> level_limits(plan)
    (190.0, 415.0)
    """
    levels = plan.levels
    low, high = levels.low, levels.brim - plan.headroom
    if levels.low_running is None:
        return low, high
    held = plan.holdup or 0.0 if holdup is None else max(holdup.value - holdup.sd, 0.0)
    needed = min(volume_at(plan.tank, levels.low_running) + held, capacity(plan.tank))
    return max(low, depth_at(plan.tank, needed)), high


def _levels(
    state: SumpState, plan: SumpPlan, *, at: Instant, now: Instant
) -> tuple[Judgement, Judgement]:
    """Level against both limits, at the depth with everything drained back.

    It is low too where it would be, with all drained back that may be up in the machine.
    """
    heard = _heard(Signal.LEVEL, state, plan, at)
    when = now if heard is None else at
    depth = state.rest_depth
    lost = heard is False or state.qualities.get(Signal.LEVEL) is Quality.BAD
    if depth is None or state.charging or lost:
        return (
            Judgement("level-low", None, Verdict.UNKNOWN, when),
            Judgement("level-high", None, Verdict.UNKNOWN, when),
        )
    levels = plan.levels
    low, high = level_limits(plan, state.holdup)
    band = _Band(low, levels.target, high, DEADBAND_SHARE * (levels.brim - low))
    most = state.depth_at_most
    bound = depth if most is None or most >= depth.value else Estimate(most, 0.0)
    below = _against(bound, band, definition(plan.alarms, "level-low"), -1, when)
    above = _against(depth, band, definition(plan.alarms, "level-high"), 1, when)
    if above.verdict is Verdict.BEYOND and _is_filling(state, at):
        above = above._replace(verdict=Verdict.UNKNOWN)
    return below, above


def _has_own_limits(plan: SumpPlan) -> bool:
    """Whether the plant file sets a limit of level or concentration."""
    rules = plan.alarms
    return bool(rules) and any(
        name in rules and rules[name].limit is not None
        for name in ("level-low", "level-high", "concentration-low", "concentration-high")
    )


def _is_calm(state: SumpState, plan: SumpPlan) -> bool:
    """Whether level and concentration, as far as known, lie inside the default limits."""
    depth, strength, fluid = state.rest_depth, state.concentration, plan.fluid
    if depth is not None:
        low, high = level_limits(plan, state.holdup)
        most = state.depth_at_most
        if not low < depth.value < high or (most is not None and most <= low):
            return False
    return strength is None or fluid.band_low < strength.value < fluid.band_high


def _is_filling(state: SumpState, at: Instant) -> bool:
    """Whether something was poured in only just now."""
    return any(
        event.kind == "addition" and event.at <= at < event.at + FILLING for event in state.events
    )


def _concentrations(
    state: SumpState, plan: SumpPlan, *, at: Instant, now: Instant
) -> tuple[Judgement, Judgement]:
    """Probability that the concentration is outside its band, against the one asked for.

    Without an inline reading the estimate lives on the balance and on checks; its sd says how far.
    """
    when = at if _heard(Signal.BRIX, state, plan, at) else now
    strength = state.concentration
    if strength is None or state.charging:
        return (
            Judgement("concentration-low", None, Verdict.UNKNOWN, when),
            Judgement("concentration-high", None, Verdict.UNKNOWN, when),
        )
    fluid = plan.fluid
    width = fluid.band_high - fluid.band_low
    band = _Band(fluid.band_low, fluid.target, fluid.band_high, DEADBAND_SHARE * width, 100.0, "%")
    return (
        _against(strength, band, definition(plan.alarms, "concentration-low"), -1, when),
        _against(strength, band, definition(plan.alarms, "concentration-high"), 1, when),
    )


class _Band(NamedTuple):
    """Limits of a quantity and the point aimed for, in its internal unit."""

    low: float
    target: float
    high: float
    deadband: float
    scale: float = 1.0
    """From the internal unit to `unit`."""
    unit: str = "mm"


def _against(
    estimate: Estimate, band: _Band, rule: Definition, side: int, when: Instant
) -> Judgement:
    """Judge an estimate against one end of its band; the deadband leaves the target free."""
    limit = rule.limit
    if limit is None:
        limit = band.low if side < 0 else band.high
    deadband = rule.deadband
    if deadband is None:
        deadband = min(band.deadband, abs(band.target - limit) / 2)
    found = verdict(estimate, limit, deadband, side, sds_for(rule.confidence))
    if found is not Verdict.BEYOND:
        return Judgement(rule.name, None, found, when)
    scale, unit = band.scale, band.unit
    detail = f"sd {scale * estimate.sd:.2g} {unit}"
    value, limit = scale * estimate.value, scale * limit
    return Judgement(rule.name, None, found, when, value, limit, unit, detail)


# --- all of one sump ------------------------------------------------------------------------------


def judgements(
    state: SumpState, plan: SumpPlan, *, at: Instant, now: Instant, remembered: bool = True
) -> Iterator[Judgement]:
    """Judge all that this module can tell of a sump.

    What is not told of is inside its limits: a finding that is gone, a signal that is heard again.

    Parameters
    ----------
    state : SumpState
        What is known at `at`.
    plan : SumpPlan
        The sump.
    at : Instant
        Moment of data time. [ms]
    now : Instant
        The clock. [ms]
    remembered : bool
        Whether any alarm stands or is on its way; where none is, only what is beyond its limit
        matters, and a sump in good order is passed over quickly.

    Yields
    ------
    Judgement
        Level and concentration, and silence and findings where there are any.
    """
    if remembered or _has_own_limits(plan) or not _is_calm(state, plan):
        yield from _levels(state, plan, at=at, now=now)
        yield from _concentrations(state, plan, at=at, now=now)
    for signal in _silent(state, plan, now):
        age = (now - state.last_seen[signal]) / 1000
        limit = stale_after(plan.signals[signal], state.intervals) / 1000
        yield Judgement("signal-stale", signal, Verdict.BEYOND, now, age, limit, "s")
    for finding in state.findings:
        yield from_finding(finding, at=at if plan.signals else now, now=now)


def from_finding(finding: Finding, *, at: Instant, now: Instant) -> Judgement:
    """Judge what the evidence, or somebody, has found: it holds."""
    return Judgement(
        finding.name,
        finding.signal,
        Verdict.BEYOND,
        now if default(finding.name).clocked else at,
        finding.value,
        finding.limit,
        finding.unit,
        finding.detail,
    )
