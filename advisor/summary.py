"""From the filter to what is told of it: estimates with their sds, and what nothing tells."""

import math

import numpy as np

from advisor import balance
from advisor import states as s
from advisor.belief import NO_LOSSES, Core, Told
from advisor.filter_step import Matrix, Vector, project
from advisor.geometry import depth_at, volume_at
from advisor.observation import brix_row, level_row, surface
from advisor.plan import SumpPlan
from advisor.priors import Priors
from advisor.pumps import days
from advisor.words import DAY, HOUR, Account, Estimate, Instant, Losses

WINDOW: Instant = DAY
"""Over how long the losses are told. [ms]"""
RECENT: Instant = 6 * HOUR
"""The last hours, in which something new shows sooner. [ms]"""
LEAST_WINDOW: Instant = HOUR
"""Over less than this no losses are told. [ms]"""


_TOTALS = (
    s.V,
    s.HOLDUP,
    s.LOST_WATER,
    s.LOST_CONCENTRATE,
    s.ADDED_WATER,
    s.ADDED_CONCENTRATE,
    s.DRAINED_WATER,
    s.DRAINED_CONCENTRATE,
)
_SOLUTES = (3, 5, 7)
"""Which of the totals are concentrate, by their order."""
_COUNT = len(_TOTALS)
_UNITS = np.zeros((_COUNT, s.SIZE))
_UNITS[range(_COUNT), _TOTALS] = 1.0
_ORDER = list(_TOTALS)


def tell(mean: Vector, cov: Matrix, core: Core, plan: SumpPlan, prior: Priors) -> Told:
    """Tell all that the filter knows at its own moment; `None` where nothing tells. [L], [1]"""
    told = _expectations(mean, cov, core, plan, prior)
    if not core.volume_known:
        return told
    values, spreads = _totals(mean, cov)
    volume, holdup, *rest = [Estimate(*pair) for pair in zip(values, spreads, strict=True)]
    depth = depth_at_volume(plan, mean.item(s.V))
    drawn = told.area / (1.0 + mean.item(s.AREA))
    over = max(mean.item(s.V) - prior.brim, 0.0) / drawn
    concentration, correlation = None, 0.0
    if core.concentration_known:
        concentration, correlation = _concentration(mean, cov)
    told.volume, told.holdup = volume, holdup
    told.concentration, told.correlation = concentration, correlation
    told.rest_depth = Estimate(depth + over, _root(cov.item(s.V, s.V)) / drawn)
    told.losses = _losses(mean, cov, core)
    told.recent = _recent(mean, cov, core)
    told.lost = Account(since=core.since, water=rest[0], concentrate=rest[1])
    told.added = Account(since=core.since, water=rest[2], concentrate=rest[3])
    told.drained = Account(since=core.since, water=rest[4], concentrate=rest[5])
    return told


def _expectations(mean: Vector, cov: Matrix, core: Core, plan: SumpPlan, prior: Priors) -> Told:
    """Tell what the sensors should read, and the concentration where the volume is not known."""
    depth = depth_at_volume(plan, mean.item(s.V))
    area = surface(plan, depth)
    level = level_row(mean, 1.0 if core.pumps.running == 1 else 0.0, 0.0, area, prior.level_sd)
    brix = brix_row(mean, plan.fluid.refractometer_factor, prior.brix_sd)
    scale = 1.0 + mean.item(s.AREA)
    noise = mean.item(s.WAVES) + mean.item(s.SWAY) + mean.item(s.SHIFT)
    rates = mean[s.WATER_REST : s.CONCENTRATE_CUT + 1].tolist()
    known = core.concentration_known and not core.volume_known
    concentration, correlation = _concentration(mean, cov) if known else (None, 0.0)
    return Told(
        concentration=concentration,
        correlation=correlation,
        rates=(rates[0] * scale, rates[1] * scale, rates[2] * scale, rates[3] * scale),
        area=area * scale,
        sensor_depth=depth_at_volume(plan, mean.item(s.V) + mean.item(s.OIL)) + noise,
        sensor_up=mean.item(s.HOLDUP) / area,
        sensor_sd=_root(project(cov, level.places, level.weights)[1] + level.variance) / area,
        film=mean.item(s.FILM),
        brix=brix.expected,
        brix_sd=_root(project(cov, brix.places, brix.weights)[1] + brix.variance),
    )


def _root(variance: float) -> float:
    """Give the sd of a variance that rounding may have made negative. [its own unit]"""
    return math.sqrt(max(variance, 0.0))


def _totals(mean: Vector, cov: Matrix) -> tuple[list[float], list[float]]:
    """Give volume, holdup and accounts in true litres, and their sds. [L]"""
    wide, keep = 1.0 + mean.item(s.AREA), 1.0 - mean.item(s.FACTOR)
    drawn = mean[_ORDER]
    scale = np.full(_COUNT, wide)
    scale[[*_SOLUTES]] *= keep
    rows = _UNITS * scale[:, None]
    rows[:, s.AREA] = drawn * scale / wide
    rows[_SOLUTES, s.FACTOR] = -wide * drawn[[*_SOLUTES]]
    variances = ((rows @ cov) * rows).sum(axis=1)
    return (drawn * scale).tolist(), np.sqrt(np.maximum(variances, 0.0)).tolist()


def _concentration(mean: Vector, cov: Matrix) -> tuple[Estimate, float]:
    """Give the concentration, and its error's correlation with the volume's. [1]"""
    volume, keep = max(mean.item(s.V), 1e-3), 1.0 - mean.item(s.FACTOR)
    read = balance.concentration(mean)
    wide, strength = 1.0 + mean.item(s.AREA), read * keep
    rows = np.zeros((2, s.SIZE))
    rows[0, [s.V, s.AREA]] = wide, volume
    rows[1, [s.V, s.C, s.FACTOR]] = -strength / volume, keep / volume, -read
    (vv, vc), (_, cc) = (rows @ cov @ rows.T).tolist()
    sd, scale = _root(cc), _root(vv) * _root(cc)
    return Estimate(strength, sd), min(max(vc / scale, -1.0), 1.0) if scale > 0.0 else 0.0


def depth_at_volume(plan: SumpPlan, volume: float) -> float:
    """Give the depth of a volume, kept within what the plant file calls full. [mm]"""
    brim = volume_at(plan.tank, plan.levels.brim)
    return depth_at(plan.tank, min(max(volume, volume_at(plan.tank, 0.0)), brim))


def _losses(mean: Vector, cov: Matrix, core: Core) -> Losses:
    """Give the mean losses over the window, from the losses kept beside. [L/d]

    Between two kept moments they are taken as a straight line.
    """
    at = core.at
    if not core.clones or at - core.clones[0][0] < LEAST_WINDOW:
        return NO_LOSSES
    begin, mix = window_start(core.clones, at - WINDOW)
    span, hours = days(at - begin), (at - begin) / HOUR
    rows = np.zeros((2, s.SIZE))
    rows[0, s.LOST_WATER] = rows[1, s.LOST_CONCENTRATE] = 1.0
    for place, weight in mix:
        rows[0, place] = rows[1, place + 1] = -weight
    drawn_water, drawn_solute = (rows @ mean).tolist()
    wide, keep = 1.0 + mean.item(s.AREA), 1.0 - mean.item(s.FACTOR)
    rows[0] *= wide
    rows[1] *= wide * keep
    rows[0, s.AREA], rows[1, s.AREA] = drawn_water, drawn_solute * keep
    rows[1, s.FACTOR] = -drawn_solute * wide
    (ww, wc), (_, cc) = (rows @ cov @ rows.T).tolist()
    water = Estimate(drawn_water * wide / span, _root(ww) / span)
    if not core.concentration_known:
        return Losses(
            window_h=hours, water=water, concentrate=None, evaporation=None, carry_off=None
        )
    solute = Estimate(drawn_solute * wide * keep / span, _root(cc) / span)
    strength = balance.concentration(mean) * keep
    parts: tuple[Estimate | None, Estimate | None] = (None, None)
    if strength > 0.0:
        parts = balance.split(water, solute, wc / span**2, strength)
    return Losses(
        window_h=hours, water=water, concentrate=solute, evaporation=parts[0], carry_off=parts[1]
    )


def _recent(mean: Vector, cov: Matrix, core: Core) -> Estimate | None:
    """Give the mean net loss of water over the last hours. [L/d]"""
    if not core.clones or core.at - core.clones[0][0] < RECENT:
        return None
    begin, mix = window_start(core.clones, core.at - RECENT)
    span, wide = days(core.at - begin), 1.0 + mean.item(s.AREA)
    places = [s.LOST_WATER, *[place for place, _ in mix]]
    weights = np.array((1.0, *[-weight for _, weight in mix]))
    drawn = float(mean[places] @ weights)
    _, variance = project(cov, [*places, s.AREA], np.append(weights * wide, drawn))
    return Estimate(drawn * wide / span, _root(variance) / span)


def window_start(
    clones: tuple[tuple[Instant, int], ...], goal: Instant
) -> tuple[Instant, tuple[tuple[int, float], ...]]:
    """Give where the window begins [ms], and the kept pairs that give it, with weights. [1]"""
    begin, place = clones[0]
    if goal <= begin:
        return begin, ((s.clone_pair(place), 1.0),)
    for later, other in clones[1:]:
        if later >= goal:
            share = (goal - begin) / (later - begin)
            return goal, ((s.clone_pair(place), 1.0 - share), (s.clone_pair(other), share))
        begin, place = later, other
    return begin, ((s.clone_pair(place), 1.0),)
