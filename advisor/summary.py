"""From the filter to what is told of it: estimates with their sds, and what nothing tells."""

import math
from dataclasses import replace

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
LEAST_WINDOW: Instant = HOUR
"""Over less than this no losses are told. [ms]"""


def tell(mean: Vector, cov: Matrix, core: Core, plan: SumpPlan, prior: Priors) -> Told:
    """Tell all that the filter knows at its own moment; `None` where nothing tells. [L], [1]"""
    depth = depth_at_volume(plan, mean.item(s.V))
    area = surface(plan, depth)
    level = level_row(mean, 1.0 if core.pumps.running == 1 else 0.0, 0.0, area, prior.level_sd)
    brix = brix_row(mean, plan.fluid.refractometer_factor, prior.brix_sd)
    scale = 1.0 + mean.item(s.AREA)
    noise = float(mean[s.WAVES] + mean[s.SWAY] + mean[s.SHIFT])
    water, more_water, solute, more_solute = (
        mean[s.WATER_REST : s.CONCENTRATE_CUT + 1] * scale
    ).tolist()
    told = Told(
        rates=(water, more_water, solute, more_solute),
        area=area * scale,
        sensor_depth=depth + noise,
        sensor_up=mean.item(s.HOLDUP) / area,
        sensor_sd=_root(project(cov, level.places, level.weights)[1] + level.variance) / area,
        film=mean.item(s.FILM),
        brix=brix.expected,
        brix_sd=_root(project(cov, brix.places, brix.weights)[1] + brix.variance),
    )
    if core.volume_known:
        volume = _entry(mean, cov, s.V)
        over = max(mean.item(s.V) - prior.brim, 0.0) / area
        drawn_sd = _root(cov.item(s.V, s.V))
        told = replace(
            told,
            volume=volume,
            rest_depth=Estimate(depth + over, drawn_sd / area),
            holdup=_entry(mean, cov, s.HOLDUP),
            losses=_losses(mean, cov, core),
            lost=_account(mean, cov, core, s.LOST_WATER),
            added=_account(mean, cov, core, s.ADDED_WATER),
            drained=_account(mean, cov, core, s.DRAINED_WATER),
        )
    if core.concentration_known:
        concentration, correlation = _concentration(mean, cov)
        told = replace(told, concentration=concentration, correlation=correlation)
    return told


def _root(variance: float) -> float:
    """Give the sd of a variance that rounding may have made negative. [its own unit]"""
    return math.sqrt(max(variance, 0.0))


_Row = tuple[tuple[int, float], ...]


def _true(mean: Vector, row: _Row, *, concentrate: bool = False) -> tuple[float, _Row]:
    """Give a sum of drawn litres, or of read concentrate, in true litres, and its errors' row."""
    drawn = sum([mean.item(place) * weight for place, weight in row])
    wide = 1.0 + mean.item(s.AREA)
    keep = 1.0 - mean.item(s.FACTOR) if concentrate else 1.0
    scaled = tuple([(place, weight * wide * keep) for place, weight in row])
    errors: _Row = (*scaled, (s.AREA, drawn * keep))
    if concentrate:
        errors = (*errors, (s.FACTOR, -drawn * wide))
    return drawn * wide * keep, errors


def _entry(mean: Vector, cov: Matrix, place: int, *, concentrate: bool = False) -> Estimate:
    """Give one entry of the state in true litres. [L]"""
    value, row = _true(mean, ((place, 1.0),), concentrate=concentrate)
    return Estimate(value, _root(_product(cov, row, row)))


def _account(mean: Vector, cov: Matrix, core: Core, water: int) -> Account:
    """Give a running total; its concentrate stands behind its water. [L]"""
    return Account(
        since=core.since,
        water=_entry(mean, cov, water),
        concentrate=_entry(mean, cov, water + 1, concentrate=True),
    )


def _concentration(mean: Vector, cov: Matrix) -> tuple[Estimate, float]:
    """Give the concentration, and its error's correlation with the volume's. [1]"""
    volume, keep = max(mean.item(s.V), 1e-3), 1.0 - mean.item(s.FACTOR)
    read = balance.concentration(mean)
    strength = read * keep
    row = ((s.V, -strength / volume), (s.C, keep / volume), (s.FACTOR, -read))
    sd = _root(_product(cov, row, row))
    _, whole = _true(mean, ((s.V, 1.0),))
    scale = sd * _root(_product(cov, whole, whole))
    shared = _product(cov, whole, row) / scale if scale > 0.0 else 0.0
    return Estimate(strength, sd), min(max(shared, -1.0), 1.0)


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
    begin, mix = window_start(core.clones, at)
    span = days(at - begin)
    water, water_row = _since(mean, s.LOST_WATER, mix)
    hours = (at - begin) / HOUR
    lost = Estimate(water / span, _root(_product(cov, water_row, water_row)) / span)
    if not core.concentration_known:
        return Losses(
            window_h=hours, water=lost, concentrate=None, evaporation=None, carry_off=None
        )
    concentrate, row = _since(mean, s.LOST_CONCENTRATE, mix)
    solute = Estimate(concentrate / span, _root(_product(cov, row, row)) / span)
    strength = balance.concentration(mean)
    shared = _product(cov, water_row, row) / span**2
    parts = balance.split(lost, solute, shared, strength) if strength > 0.0 else (None, None)
    return Losses(
        window_h=hours, water=lost, concentrate=solute, evaporation=parts[0], carry_off=parts[1]
    )


def window_start(
    clones: tuple[tuple[Instant, int], ...], at: Instant
) -> tuple[Instant, tuple[tuple[int, float], ...]]:
    """Give where the window begins [ms], and the kept pairs that give it, with weights. [1]"""
    goal = at - WINDOW
    begin, place = clones[0]
    if goal <= begin:
        return begin, ((s.clone_pair(place), 1.0),)
    for later, other in clones[1:]:
        if later >= goal:
            share = (goal - begin) / (later - begin)
            return goal, ((s.clone_pair(place), 1.0 - share), (s.clone_pair(other), share))
        begin, place = later, other
    return begin, ((s.clone_pair(place), 1.0),)


def _since(mean: Vector, total: int, mix: _Row) -> tuple[float, _Row]:
    """Give what a total grew by since a kept moment, and the row that says so. [L]"""
    second = total - s.LOST_WATER
    row = ((total, 1.0), *((place + second, -weight) for place, weight in mix))
    return _true(mean, row, concentrate=second == 1)


def _product(cov: Matrix, one: _Row, other: _Row) -> float:
    """Give the covariance of two weighted sums of the state. [L²]"""
    return sum([a * b * cov.item(i, j) for i, a in one for j, b in other])
