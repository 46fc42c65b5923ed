"""From the belief to the state that is told: estimates with their sds, and what nothing tells."""

import math

from advisor import balance
from advisor import states as s
from advisor.belief import Belief, Core, EventNote
from advisor.events import weigh
from advisor.filter_step import Matrix, Vector, unpack
from advisor.geometry import depth_at, volume_at
from advisor.observation import surface
from advisor.plan import SumpPlan
from advisor.pumps import days
from advisor.words import (
    DAY,
    HOUR,
    Account,
    Estimate,
    Instant,
    Losses,
    Quality,
    Signal,
    SumpEvent,
    SumpState,
)

WINDOW: Instant = DAY
"""Over how long the losses are told. [ms]"""
LEAST_WINDOW: Instant = HOUR
"""Over less than this no losses are told. [ms]"""
SIGNALS = tuple(Signal)
_NO_LOSSES = Losses(window_h=0.0, water=None, concentrate=None, evaporation=None, carry_off=None)


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
    mean, cov = unpack(core.mean), unpack(core.cov).reshape(s.SIZE, s.SIZE)
    ahead = _lost_ahead(mean, core, at)
    volume = concentration = depth = holdup = None
    correlation = 0.0
    if core.volume_known:
        volume = _at(mean, cov, s.V, -ahead[0] - ahead[1])
        depth = _rest_depth(plan, volume)
        holdup = _at(mean, cov, s.HOLDUP, 0.0)
    if core.concentration_known:
        concentration, correlation = _concentration(mean, cov, ahead)
    running = core.pumps.running
    return SumpState(
        at=at,
        volume=volume,
        concentration=concentration,
        correlation=correlation,
        rest_depth=depth,
        holdup=holdup,
        running=None if running < 0 else running == 1,
        losses=_losses(mean, cov, core, at, ahead),
        lost=_account(mean, cov, core, s.LOST_WATER, ahead),
        added=_account(mean, cov, core, s.ADDED_WATER, (0.0, 0.0)),
        drained=_account(mean, cov, core, s.DRAINED_WATER, (0.0, 0.0)),
        qualities=qualities(belief, plan),
        last_seen={
            signal: seen for signal, seen in zip(SIGNALS, belief.seen, strict=True) if seen >= 0
        },
        charging=core.charging,
        events=tuple([tell_event(note, mean, cov) for note in core.events]),
        events_since=core.events_since,
    )


def _at(mean: Vector, cov: Matrix, place: int, more: float) -> Estimate:
    """One entry of the state, shifted. [its own unit]"""
    return Estimate(mean.item(place) + more, math.sqrt(max(cov.item(place, place), 0.0)))


def _lost_ahead(mean: Vector, core: Core, at: Instant) -> tuple[float, float]:
    """Water and concentrate lost since the last slot, at the present rates. [L]"""
    if core.at < 0 or at <= core.at or core.charging:
        return 0.0, 0.0
    passed = days(at - core.at)
    pumps = core.pumps
    run = 0.0 if pumps.running == 0 else passed
    cut = run if pumps.cutting < 0 else passed * pumps.cutting
    water, more_water, concentrate, more_concentrate = mean[
        s.WATER_REST : s.CONCENTRATE_CUT + 1
    ].tolist()
    return water * passed + more_water * run, concentrate * passed + more_concentrate * cut


def _concentration(mean: Vector, cov: Matrix, ahead: tuple[float, float]) -> tuple[Estimate, float]:
    """Concentration, and the correlation of its error with the volume's. [1]"""
    volume = max(mean.item(s.V) - ahead[0] - ahead[1], 1e-3)
    strength = min(max((mean.item(s.C) - ahead[1]) / volume, 0.0), 1.0)
    vv, vc, cc = cov.item(s.V, s.V), cov.item(s.V, s.C), cov.item(s.C, s.C)
    variance = max(cc - 2.0 * strength * vc + strength * strength * vv, 0.0) / volume**2
    scale = math.sqrt(variance * max(vv, 0.0))
    shared = (vc - strength * vv) / volume / scale if scale > 0.0 else 0.0
    return Estimate(strength, math.sqrt(variance)), min(max(shared, -1.0), 1.0)


def _rest_depth(plan: SumpPlan, volume: Estimate) -> Estimate:
    """Depth with the pumps stopped and everything drained back, within the tank. [mm]"""
    brim = volume_at(plan.tank, plan.levels.brim)
    depth = depth_at(plan.tank, min(max(volume.value, 0.0), brim))
    if volume.value > brim:
        depth += (volume.value - brim) / surface(plan, plan.levels.brim)
    area = surface(plan, min(depth, plan.levels.brim))
    return Estimate(depth, volume.sd / area)


def _account(
    mean: Vector, cov: Matrix, core: Core, water: int, ahead: tuple[float, float]
) -> Account | None:
    """Give a running total; its concentrate stands behind its water. [L]"""
    if not core.volume_known:
        return None
    return Account(
        since=core.since,
        water=_at(mean, cov, water, ahead[0]),
        concentrate=_at(mean, cov, water + 1, ahead[1]),
    )


def _losses(
    mean: Vector, cov: Matrix, core: Core, at: Instant, ahead: tuple[float, float]
) -> Losses:
    """Mean losses over the window, from the losses kept beside. [L/d]

    Between two kept moments they are taken as a straight line.
    """
    if not core.volume_known or not core.clones or at - core.clones[0][0] < LEAST_WINDOW:
        return _NO_LOSSES
    begin, mix = window_start(core, at)
    span = days(at - begin)
    water, water_row = _since(mean, s.LOST_WATER, mix)
    concentrate, concentrate_row = _since(mean, s.LOST_CONCENTRATE, mix)
    lost = Estimate((water + ahead[0]) / span, _root(_product(cov, water_row, water_row)) / span)
    if not core.concentration_known:
        return Losses(
            window_h=(at - begin) / HOUR,
            water=lost,
            concentrate=None,
            evaporation=None,
            carry_off=None,
        )
    solute = Estimate(
        (concentrate + ahead[1]) / span,
        _root(_product(cov, concentrate_row, concentrate_row)) / span,
    )
    shared = _product(cov, water_row, concentrate_row) / span**2
    strength = balance.concentration(mean)
    parts = balance.split(lost, solute, shared, strength) if strength > 0.0 else (None, None)
    return Losses(
        window_h=(at - begin) / HOUR,
        water=lost,
        concentrate=solute,
        evaporation=parts[0],
        carry_off=parts[1],
    )


def window_start(core: Core, at: Instant) -> tuple[Instant, tuple[tuple[int, float], ...]]:
    """Where the window begins [ms], and the kept pairs that give it, with their weights. [1]"""
    goal = at - WINDOW
    begin, place = core.clones[0]
    if goal <= begin:
        return begin, ((s.clone_pair(place), 1.0),)
    for later, other in core.clones[1:]:
        if later >= goal:
            share = (goal - begin) / (later - begin)
            return goal, ((s.clone_pair(place), 1.0 - share), (s.clone_pair(other), share))
        begin, place = later, other
    return begin, ((s.clone_pair(place), 1.0),)


_Row = tuple[tuple[int, float], ...]


def _since(mean: Vector, total: int, mix: _Row) -> tuple[float, _Row]:
    """Give what a total grew by since a kept moment, and the row that says so. [L]"""
    second = total - s.LOST_WATER
    row = ((total, 1.0), *((place + second, -weight) for place, weight in mix))
    return sum([mean.item(place) * weight for place, weight in row]), row


def _product(cov: Matrix, one: _Row, other: _Row) -> float:
    """Covariance of two weighted sums of the state. [L²]"""
    return sum([a * b * cov.item(i, j) for i, a in one for j, b in other])


def _root(variance: float) -> float:
    """Sd of a variance that rounding may have made negative. [its own unit]"""
    return math.sqrt(max(variance, 0.0))


def tell_event(note: EventNote, mean: Vector, cov: Matrix) -> SumpEvent:
    """Give an event as it is known by now. [L], [1]"""
    if note.place >= 0:
        note = weigh(note, mean, cov)
    strength = None if note.strength is None else Estimate(note.strength, note.strength_sd)
    return SumpEvent(
        id=note.id,
        at=note.at,
        kind=note.kind,
        source=note.source,
        volume=Estimate(note.volume, note.volume_sd),
        strength=strength,
    )


def qualities(belief: Belief, plan: SumpPlan) -> dict[Signal, Quality]:
    """How far every signal can be trusted; staleness is judged where the time is known."""
    return {
        signal: Quality.GOOD if signal in plan.signals else Quality.ABSENT for signal in SIGNALS
    }
