"""The balance itself: how volume, concentrate and accounts move with time, and what is told of it.

Equations and what can be known of them: ``docs/balance.md``.
"""

import math

import numpy as np

from advisor import states as s
from advisor.filter_step import Matrix, Vector, project
from advisor.priors import Priors
from advisor.words import Account, Estimate, Instant

_RATES = (s.WATER_REST, s.WATER_RUN, s.CONCENTRATE_REST, s.CONCENTRATE_CUT)
_LOSS = np.zeros((s.MOVING, 4))
"""What a litre lost at each of the rates does to the moving entries."""
_LOSS[[s.V, s.LOST_WATER], 0] = _LOSS[[s.V, s.LOST_WATER], 1] = -1.0, 1.0
for _place in (2, 3):
    _LOSS[[s.V, s.C, s.LOST_CONCENTRATE], _place] = -1.0, -1.0, 1.0
_PICK = np.zeros((s.MOVING, 4))
_PICK[_RATES, range(4)] = 1.0

DEPLETION_SD = 0.15
"""Sd of depletion's share of the concentrate lost, where no tracer tells; common practice. [1]"""


def passage(
    mean: Vector, prior: Priors, days: float, run: float, cut: float
) -> tuple[Matrix, Vector, Matrix]:
    r"""Transition and noise of the state over an interval.

    Each rate is a random walk of spectral density :math:`q`; with the share of time :math:`w` for
    which it applies, its loss over the interval :math:`t` has the exact moments
    :math:`q w^2 t^3/3`, with the rate :math:`q w t^2/2`, and the rate itself :math:`q t`.

    Parameters
    ----------
    mean : shape (n,)
        State at the beginning, for the concentration of what is carried off. [its own unit]
    prior : Priors
        Spreads. [its own unit]
    days : float
        Length of the interval, not negative. [d]
    run, cut : float
        Time in it with the pumps on, and with the machine cutting. [d]

    Returns
    -------
    block : shape (MOVING, MOVING)
        Transition of the moving entries. [its own unit]
    decay : shape (SIZE,)
        Factor on every entry. [1]
    noise : shape (WANDER + 1, WANDER + 1)
        Covariance added. [its own unit]

    References
    ----------
    .. [1] Y. Bar-Shalom, X. R. Li, T. Kirubarajan, "Estimation with Applications to Tracking and
       Navigation", Wiley, 2001, ch. 6.2, discretised white-noise acceleration (from memory).
    """
    weights = np.array((days, run, days, cut))
    lost = _LOSS * weights
    block = np.eye(s.MOVING)
    block[:, _RATES] += lost
    block[s.FILM, s.FILM_RATE] += days
    decay = np.ones(s.SIZE)
    noise = np.zeros((s.WANDER + 1, s.WANDER + 1))
    density = _densities(prior)
    cross = (lost * (density * days / 2.0)) @ _PICK.T
    moving = noise[: s.MOVING, : s.MOVING]
    moving += (lost * (density * days / 3.0)) @ lost.T + cross + cross.T
    moving += (_PICK * (density * days)) @ _PICK.T
    lump = _lump(mean)
    moving += np.multiply.outer(lump, lump) * (prior.lump_sd**2 * cut)
    for place, sd, time in (
        (s.WAVES, prior.waves_sd, prior.waves_days),
        (s.SWAY, prior.sway_sd, prior.sway_days),
        (s.WANDER, prior.wander_sd, prior.wander_days),
    ):
        decay[place] = math.exp(-days / time)
        noise[place, place] = sd * sd * (1.0 - decay[place] ** 2)
    return block, decay, noise


def _densities(prior: Priors) -> Vector:
    """Spectral densities of the four rates: how far each may go in a day, squared. [L²/d³]"""
    water, concentrate = prior.water, prior.concentrate
    return np.array((0.25 * water, 0.35 * water, 0.05 * concentrate, 0.5 * concentrate)) ** 2


def _lump(mean: Vector) -> Vector:
    """Give what a litre of mix carried off does to the moving entries. [1]"""
    strength = concentration(mean)
    lump = np.zeros(s.MOVING)
    lump[[s.V, s.C]] = -1.0, -strength
    lump[[s.LOST_WATER, s.LOST_CONCENTRATE]] = 1.0 - strength, strength
    return lump


def concentration(mean: Vector) -> float:
    """Concentrate per mix, never outside 0..1; 0 where there is no fluid. [1]"""
    volume = mean[s.V]
    return min(max(float(mean[s.C] / volume), 0.0), 1.0) if volume > 0.0 else 0.0


def concentration_row(mean: Vector) -> tuple[list[int], Vector]:
    """Places and weights of the concentration, linear about the mean. [1/L]"""
    volume = max(float(mean[s.V]), 1e-3)
    return [s.V, s.C], np.array((-concentration(mean) / volume, 1.0 / volume))


def estimate_of(cov: Matrix, value: float, places: list[int], weights: Vector) -> Estimate:
    """Give a value whose error is a weighted sum of the state's errors. [its own unit]"""
    return Estimate(value, max(project(cov, places, weights)[1], 0.0) ** 0.5)


def account(mean: Vector, cov: Matrix, since: Instant, water: int, concentrate: int) -> Account:
    """Give a running total as the state has it. [L]"""
    return Account(
        since=since,
        water=Estimate(float(mean[water]), math.sqrt(max(cov.item(water, water), 0.0))),
        concentrate=Estimate(
            float(mean[concentrate]), math.sqrt(max(cov.item(concentrate, concentrate), 0.0))
        ),
    )


def split(
    water: Estimate, concentrate: Estimate, covariance: float, strength: float
) -> tuple[Estimate, Estimate]:
    r"""Losses told apart into evaporation and carry-off, with no third equation to help.

    With depletion and ingress taken as zero, :math:`d = l_c / c` and
    :math:`e = l_w - (1 - c) d`. That depletion may have taken a share of `DEPLETION_SD` stands in
    the sds, which carry the concentrate's error about 1/c-fold.

    Parameters
    ----------
    water, concentrate : Estimate
        Mean losses. [L/d]
    covariance : float
        Of their errors. [L²/d²]
    strength : float
        Concentration of the fluid, above 0. [1]

    Returns
    -------
    evaporation, carry_off : Estimate
        [L/d]
    """
    part = (1.0 - strength) / strength
    spread = concentrate.sd**2 + (DEPLETION_SD * concentrate.value) ** 2
    evaporation = water.sd**2 + part**2 * spread - 2.0 * part * covariance
    return (
        Estimate(water.value - part * concentrate.value, max(evaporation, 0.0) ** 0.5),
        Estimate(concentrate.value / strength, spread**0.5 / strength),
    )
