"""The balance itself: how volume, concentrate and accounts move with time, and what is told of it.

Equations and what can be known of them: ``docs/balance.md``.
"""

import math

import numpy as np

from advisor import states as s
from advisor.filter_step import Matrix, Vector
from advisor.priors import Priors
from advisor.words import Estimate

_RATES = (s.WATER_REST, s.WATER_RUN, s.CONCENTRATE_REST, s.CONCENTRATE_CUT)
_NOISY = s.WANDER + 1


def _unit(*entries: tuple[int, float]) -> Vector:
    """Direction in the leading entries."""
    direction = np.zeros(_NOISY)
    for place, size in entries:
        direction[place] = size
    return direction


_WATER = _unit((s.V, -1.0), (s.LOST_WATER, 1.0))
_SOLUTE = _unit((s.V, -1.0), (s.C, -1.0), (s.LOST_CONCENTRATE, 1.0))
_LOSS = (_WATER, _WATER, _SOLUTE, _SOLUTE)
"""What a litre lost at each of the rates does to the leading entries."""


def _both(one: Vector, other: Vector) -> Vector:
    """Symmetric product of two directions, flat."""
    return (np.outer(one, other) + np.outer(other, one)).ravel() / 2.0


_STEPS = np.stack(
    [
        *(
            np.outer(loss, _unit((rate, 1.0)))[: s.MOVING, : s.MOVING].ravel()
            for loss, rate in zip(_LOSS, _RATES, strict=True)
        ),
        np.outer(_unit((s.FILM, 1.0)), _unit((s.FILM_RATE, 1.0)))[: s.MOVING, : s.MOVING].ravel(),
        *(
            np.outer(_unit((grown, 1.0)), _unit((source, 1.0)))[: s.MOVING, : s.MOVING].ravel()
            for grown, source in (
                (s.SHARED, s.SHARED_RATE),
                (s.SHARED, s.WATER_BRIX),
                (s.OIL, s.OIL_RATE),
            )
        ),
    ]
)
"""What an interval of one day adds to the transition, for each rate and for both offsets."""
_STILL = np.eye(s.MOVING).ravel()
_LUMP_WATER = _unit((s.V, -1.0), (s.LOST_WATER, 1.0))
_LUMP_SOLUTE = _unit((s.C, -1.0), (s.LOST_CONCENTRATE, 1.0), (s.LOST_WATER, -1.0))
_SPREADS = np.stack(
    [
        *(_both(loss, loss) for loss in _LOSS),
        *(2.0 * _both(loss, _unit((rate, 1.0))) for loss, rate in zip(_LOSS, _RATES, strict=True)),
        *(_both(_unit((rate, 1.0)), _unit((rate, 1.0))) for rate in _RATES),
        _both(_LUMP_WATER, _LUMP_WATER),
        2.0 * _both(_LUMP_WATER, _LUMP_SOLUTE),
        _both(_LUMP_SOLUTE, _LUMP_SOLUTE),
        *(_both(_unit((place, 1.0)), _unit((place, 1.0))) for place in (s.WAVES, s.SWAY, s.WANDER)),
    ]
)
"""Patterns of the noise; `passage` gives each its size."""

DEPLETION_SD = 0.15
"""Sd of depletion's share of the concentrate lost, where no tracer tells; common practice. [1]"""


def passage(
    mean: Vector, prior: Priors, days: float, run: float, cut: float
) -> tuple[Matrix, Vector, Matrix]:
    r"""Give transition and noise of the state over an interval.

    Each rate is a random walk of spectral density :math:`q`; with the share of time :math:`w` for
    which it applies, its loss over the interval :math:`t` has the exact moments
    :math:`q w^2 t^3/3`, with the rate :math:`q w t^2/2`, and the rate itself :math:`q t`. Mix that
    leaves in lumps adds its own variance, at the sump's concentration.

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
    dried = _dried(mean, days, run, cut)
    block = _STILL + np.array((days, run, days, cut, run, run, dried, run)) @ _STEPS
    decays = (
        math.exp(-days / prior.waves_days),
        math.exp(-days / prior.sway_days),
        math.exp(-days / prior.wander_days),
    )
    decay = np.ones(s.SIZE)
    decay[s.WAVES : s.WANDER + 1] = decays
    noise = np.array(_sizes(mean, prior, (days, run, cut), decays)) @ _SPREADS
    return block.reshape(s.MOVING, s.MOVING), decay, noise.reshape(_NOISY, _NOISY)


def _dried(mean: Vector, days: float, run: float, cut: float) -> float:
    """Share of the volume that dries up, its salts staying; mix that is lost takes them along. [1]

    `days` is the time that passes, `run` and `cut` those of pumps and machining. [d]
    """
    water = float(mean[s.WATER_REST]) * days + float(mean[s.WATER_RUN]) * run
    solute = float(mean[s.CONCENTRATE_CUT]) * cut
    strength = max(concentration(mean), 0.01)
    alone = water - max(solute, 0.0) * (1.0 - strength) / strength
    return min(max(alone, 0.0) / max(float(mean[s.V]), 1.0), 1.0)


def _sizes(
    mean: Vector, prior: Priors, times: tuple[float, float, float], decays: tuple[float, ...]
) -> tuple[float, ...]:
    """Give the size of every pattern of `_SPREADS`. [its own unit]"""
    days, run, cut = times
    water, concentrate = prior.water, prior.concentrate
    a = (prior.water_rest_walk * water) ** 2 * days
    b = (prior.water_run_walk * water) ** 2 * days
    c = (prior.concentrate_rest_walk * concentrate) ** 2 * days
    d = (prior.concentrate_cut_walk * concentrate) ** 2 * days
    strength = concentration(mean)
    lump = prior.lump_sd**2 * cut
    fast, slow, wander = decays
    return (
        a * days * days / 3.0, b * run * run / 3.0, c * days * days / 3.0, d * cut * cut / 3.0,
        a * days / 2.0, b * run / 2.0, c * days / 2.0, d * cut / 2.0,
        a, b, c, d,
        lump, lump * strength, lump * strength * strength,
        prior.waves_sd**2 * (1.0 - fast * fast),
        prior.sway_sd**2 * (1.0 - slow * slow),
        prior.wander_sd**2 * (1.0 - wander * wander),
    )  # fmt: skip


def concentration(mean: Vector) -> float:
    """Concentrate per mix, never outside 0..1; 0 where there is no fluid. [1]"""
    volume = mean[s.V]
    return min(max(float(mean[s.C] / volume), 0.0), 1.0) if volume > 0.0 else 0.0


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
