"""The belief about a sump of which nothing has been heard yet."""

import numpy as np

from advisor import states as s
from advisor.belief import SCHEMA, Belief, Core
from advisor.filter_step import pack
from advisor.plan import SignalPlan, SumpPlan
from advisor.priors import Priors, priors
from advisor.words import Signal


def begin(plan: SumpPlan) -> Belief:
    """Give the belief before any evidence: the tank's size, the target, and wide spreads.

    Parameters
    ----------
    plan : SumpPlan
        What is told about the sump. [L], [mm], [1]
    """
    prior = priors(plan)
    mean, sd = np.zeros(s.SIZE), np.zeros(s.SIZE)
    for place, (value, spread) in _entries(prior, plan).items():
        mean[place], sd[place] = value, spread
    cov = np.diag(sd * sd)
    mean[s.C] = prior.volume * prior.concentration
    cov[s.C, s.C] += (prior.volume_sd * prior.concentration) ** 2
    cov[s.V, s.C] = cov[s.C, s.V] = prior.volume_sd**2 * prior.concentration
    return Belief(SCHEMA, -1, Core(mean=pack(mean), cov=pack(cov)))


def _entries(prior: Priors, plan: SumpPlan) -> dict[int, tuple[float, float]]:
    """Give expectation and sd of every entry that is not nothing at first. [its own unit]"""
    return {
        s.V: (prior.volume, prior.volume_sd),
        s.C: (0.0, prior.volume * prior.concentration_sd),
        s.WATER_REST: (0.2 * prior.water, 0.3 * prior.water),
        s.WATER_RUN: (0.8 * prior.water, 0.8 * prior.water),
        s.CONCENTRATE_REST: (0.3 * prior.concentrate, 0.3 * prior.concentrate),
        s.CONCENTRATE_CUT: (prior.concentrate, prior.concentrate),
        s.FILM: (0.0, prior.film_sd),
        s.FILM_RATE: (0.0, prior.film_rate_sd),
        s.WAVES: (0.0, prior.waves_sd),
        s.SWAY: (0.0, prior.sway_sd),
        s.WANDER: (0.0, prior.wander_sd),
        s.HOLDUP: (prior.holdup, prior.holdup_sd),
        s.AREA: (0.0, prior.area_sd),
        s.FACTOR: (0.0, prior.factor_sd),
        s.SHARED: (prior.shared, prior.shared_sd),
        s.SHARED_RATE: (0.0, prior.shared_rate_sd),
        s.WATER_BRIX: (prior.water_brix, prior.water_brix_sd),
        s.WARMTH: (0.0, prior.warmth_sd),
        s.OIL: (prior.oil, prior.oil_sd),
        s.OIL_RATE: (prior.oil_rate, prior.oil_rate_sd),
        s.SHIFT: (0.0, prior.zero_sd),
        s.REPORT_GAIN: (0.0, prior.report_sd),
        s.WATER_GAIN: (0.0, _gain_sd(plan.signals.get(Signal.WATER_METER))),
        s.CONCENTRATE_GAIN: (0.0, _gain_sd(plan.signals.get(Signal.CONCENTRATE_METER))),
    }


def _gain_sd(told: SignalPlan | None) -> float:
    """Relative sd of a totaliser. [1]"""
    return 0.0 if told is None else told.sd_fraction
