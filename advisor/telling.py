"""The state of a sump at any moment, from the belief: what is told, moved on to the moment."""

from advisor.additions import METERS
from advisor.belief import Belief, Core
from advisor.events import KEPT
from advisor.findings import SIGNALS, findings, qualities
from advisor.plan import SumpPlan
from advisor.pumps import days
from advisor.words import HOUR, Account, Estimate, Instant, Signal, SumpState

TOLD_ON_CHANGE = frozenset(
    {Signal.RUNNING, Signal.CUTTING, Signal.WATER_METER, Signal.CONCENTRATE_METER}
)
"""They have no usual interval."""
PLACES = range(len(SIGNALS))
ON_CHANGE = frozenset(place for place in PLACES if SIGNALS[place] in TOLD_ON_CHANGE)
LEAST_INTERVAL = 30.0
"""Signals that come faster count as coming so often: networks pause for minutes. [s]"""


def state_at(belief: Belief, at: Instant, plan: SumpPlan) -> SumpState:
    """Tell what is known of a moment, predicted from the last slot; changes nothing.

    Parameters
    ----------
    belief : Belief
        What is known.
    at : Instant
        A moment not before the belief's newest evidence. [ms]
    plan : SumpPlan
        What is told about the sump.

    Returns
    -------
    SumpState
        Estimates in internal units; `None` where nothing tells. [L], [1], [mm], [L/d]
    """
    core = belief.core
    told = core.told
    water, solute = lost_ahead(core, at)
    running = core.pumps.running
    found = findings(belief)
    seen = belief.seen
    heard = [place for place in PLACES if seen[place] >= 0]
    return SumpState(
        at=at,
        volume=_shifted(told.volume, -water - solute),
        concentration=_thickened(told.volume, told.concentration, water, solute),
        correlation=told.correlation,
        rest_depth=_shifted(told.rest_depth, -(water + solute) / told.area),
        holdup=told.holdup,
        running=None if running < 0 else running == 1,
        losses=told.losses,
        lost=_grown(told.lost, water, solute),
        added=told.added,
        drained=told.drained,
        qualities=qualities(belief, plan, found),
        last_seen={SIGNALS[place]: seen[place] for place in heard},
        intervals={
            SIGNALS[place]: max(belief.paces[place], LEAST_INTERVAL)
            for place in heard
            if place not in ON_CHANGE
        },
        charging=core.charging,
        events=tuple([note.told for note in core.notes]),
        events_since=complete_since(core),
        findings=found,
        totals={
            signal: meter.total
            for signal, meter in zip(METERS, core.meters, strict=True)
            if meter.at >= 0
        },
        settled=core.at,
        depth_at_most=_depth_at_most(core) if running < 0 else None,
    )


def _depth_at_most(core: Core) -> float | None:
    """Give the depth at rest if everything is up that may be, whatever the filter makes of it.

    The level's expectation has half of the holdup up while nobody knows of the pumps.
    """
    told = core.told
    if told.holdup is None or not core.volume_known:
        return None
    return told.sensor_depth + 0.5 * told.sensor_up + 2.0 * told.holdup.sd / told.area


def complete_since(core: Core) -> Instant:
    """Give the moment from which on the events are complete: the oldest ones are let go of. [ms]

    They were not made in the order of their beginnings: an hour's grace.
    """
    if len(core.notes) < KEPT:
        return core.events_since
    return max(core.events_since, core.notes[0].told.at + HOUR)


def lost_ahead(core: Core, at: Instant) -> tuple[float, float]:
    """Give water and concentrate lost since the filter's moment, at the present rates. [L]"""
    if core.at < 0 or at <= core.at or core.charging:
        return 0.0, 0.0
    passed = days(at - core.at)
    pumps = core.pumps
    run = 0.0 if pumps.running == 0 else passed
    cut = run if pumps.cutting < 0 else passed * pumps.cutting
    water, more_water, solute, more_solute = core.told.rates
    return water * passed + more_water * run, solute * passed + more_solute * cut


def _shifted(estimate: Estimate | None, more: float) -> Estimate | None:
    """Give an estimate moved by a known amount. [its own unit]"""
    return None if estimate is None else Estimate(estimate.value + more, estimate.sd)


def _thickened(
    volume: Estimate | None, concentration: Estimate | None, water: float, solute: float
) -> Estimate | None:
    """Give the concentration once so much is lost. [1]"""
    if concentration is None or volume is None or volume.value - water - solute <= 0.0:
        return concentration
    left = volume.value - water - solute
    value = (concentration.value * volume.value - solute) / left
    return Estimate(min(max(value, 0.0), 1.0), concentration.sd)


def _grown(account: Account | None, water: float, solute: float) -> Account | None:
    """Give an account to which so much was added. [L]"""
    if account is None:
        return None
    return Account(
        since=account.since,
        water=Estimate(account.water.value + water, account.water.sd),
        concentrate=Estimate(account.concentrate.value + solute, account.concentrate.sd),
    )
