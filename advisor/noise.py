"""How noisy the sensors are, learned from what they say and not trusted from the data sheet.

Within a slot readings scatter by white noise and quick waves; from slot to slot by foam and swell
with a memory. Squared differences of slot means one, and six, slots apart tell the size and the
memory of the latter.
"""

import math
from typing import NamedTuple

from advisor.priors import Priors
from advisor.words import MINUTE, Instant

FAR_APART = 6
"""Slots between the means of the longer difference. [1]"""
SLOT_DAYS = 10.0 / 1440.0
"""Usual time between slots; others are not compared. [d]"""
BELIEVED = 8.0
"""How many slots the expectation counts for at first. [1]"""
MEMORY = 40.0
"""Over how many slots is averaged. [1]"""
QUICK = 20.0
"""Likewise within slots, where every one tells much. [1]"""
CLIP = 12.0
"""A square counts for at most so many times the mean: steps are no noise. [1]"""
MOST_SURPRISED = 9.0
"""A squared surprise counts for so much at most: steps are no noise. [1]"""
CORRELATED = 6
"""Readings of one slot tell at most as much as so many independent ones; common practice. [1]"""


class Noise(NamedTuple):
    """Running means of squares, and the means of the last slots they are made of."""

    slots: float = 0.0
    within: float = 0.0
    """Variance of one level reading about its slot's mean; 0 before the first slot. [mm²]"""
    near: float = 0.0
    far: float = 0.0
    """Mean squared difference of slot means, one and `FAR_APART` slots apart. [mm²]"""
    fars: float = 0.0
    """Slots that the latter is made of. [1]"""
    brix: float = 0.0
    """Variance of one inline reading about its slot's mean; 0 before the first. [°Brix²]"""
    brixes: float = 0.0
    surprise: float = 1.0
    """Mean of the level's squared surprises per their variance: above 1 it is noisier yet. [1]"""
    depths: tuple[tuple[Instant, float], ...] = ()
    """Newest slot means with what was lost added back. [ms], [mm]"""


QUIET = Noise()


def forget_depths(noise: Noise) -> Noise:
    """Compare nothing across this moment: pumps switched, or something was poured."""
    return noise._replace(depths=())


def take_level(
    noise: Noise, prior: Priors, at: Instant, depth: float, scatter: float | None
) -> Noise:
    """Take in a slot's mean depth, and the variance within it unless too few. [mm], [mm²]"""
    within, near, far, fars = noise.within, noise.near, noise.far, noise.fars
    if scatter is not None:
        old = within if within > 0.0 else prior.level_sd**2
        share = 1.0 / min(BELIEVED + noise.slots, QUICK)
        within = old + share * (min(scatter, CLIP * old + 1.0) - old)
    depths = noise.depths
    if depths and _apart(depths[-1][0], at, 1):
        near = _mean(near, (depth - depths[-1][1]) ** 2, noise.slots, _expected(prior, within, 1))
    if len(depths) >= FAR_APART and _apart(depths[-FAR_APART][0], at, FAR_APART):
        square = (depth - depths[-FAR_APART][1]) ** 2
        far = _mean(far, square, fars, _expected(prior, within, FAR_APART))
        fars += 1.0
    kept = (*depths, (at, depth))[-FAR_APART:]
    return noise._replace(
        slots=noise.slots + 1.0, within=within, near=near, far=far, fars=fars, depths=kept
    )


def take_surprise(noise: Noise, surprise: float, variance: float) -> Noise:
    """Take in how far a slot was from what the filter expected. [L], [L²]"""
    square = min(surprise * surprise / variance, MOST_SURPRISED)
    return noise._replace(surprise=noise.surprise + (square - noise.surprise) / QUICK)


def take_brix(noise: Noise, prior: Priors, scatter: float) -> Noise:
    """Take in the variance of inline readings within one slot. [°Brix²]"""
    old = noise.brix if noise.brix > 0.0 else prior.brix_sd**2
    share = 1.0 / min(BELIEVED + noise.brixes, QUICK)
    return noise._replace(
        brix=old + share * (min(scatter, CLIP * old) - old), brixes=noise.brixes + 1.0
    )


def _apart(before: Instant, now: Instant, slots: int) -> bool:
    """Whether two slots lie about so many usual slots apart."""
    return 0.7 * slots < (now - before) / (10 * MINUTE) < 1.6 * slots


def _expected(prior: Priors, within: float, slots: int) -> float:
    """Mean squared difference that the expectations stand for. [mm²]"""
    fade = math.exp(-slots * SLOT_DAYS / prior.waves_days)
    white = (within if within > 0.0 else prior.level_sd**2) / CORRELATED
    return 2.0 * (white + prior.waves_sd**2 * (1.0 - fade))


def _mean(old: float, square: float, count: float, expected: float) -> float:
    """Running mean of a square that begins with its expectation. [mm²]"""
    if old <= 0.0:
        old = expected
    return old + (min(square, CLIP * old) - old) / min(BELIEVED + count, MEMORY)


def adapted(prior: Priors, noise: Noise) -> Priors:
    r"""Give the expectations with the noise as learned.

    With white variance :math:`w` of a slot's mean and an Ornstein-Uhlenbeck process of variance
    :math:`\sigma^2` and lag-one correlation :math:`\rho`, the mean squared difference over
    :math:`j` slots is :math:`2 (w + \sigma^2 (1 - \rho^j))`: two of them give both.

    Parameters
    ----------
    prior : Priors
        Before any evidence. [mm], [d], [°Brix]
    noise : Noise
        What was learned. [mm²], [°Brix²]
    """
    within = noise.within if noise.within > 0.0 else prior.level_sd**2
    brix = noise.brix if noise.brix > 0.0 else prior.brix_sd**2
    if noise.near <= 0.0:
        return prior._replace(
            level_sd=within**0.5,
            brix_sd=brix**0.5,
            waves_sd=prior.waves_sd * max(noise.surprise, 1.0) ** 0.5,
        )
    white = within / CORRELATED
    near = max(noise.near / 2.0 - white, 0.02)
    far = noise.far if noise.far > 0.0 else _expected(prior, noise.within, FAR_APART)
    ratio = (far / 2.0 - white) / near
    rho = _correlation(min(max(ratio, 1.05), 0.93 * FAR_APART))
    return prior._replace(
        level_sd=within**0.5,
        brix_sd=brix**0.5,
        waves_sd=min(max((near / (1.0 - rho)) ** 0.5, 0.15), 30.0)
        * max(noise.surprise, 1.0) ** 0.5,
        waves_days=-SLOT_DAYS / math.log(rho),
    )


def _correlation(ratio: float) -> float:
    """Solve 1 + r + ... + r^(n-1) = ratio for r in 0..1, by bisection. [1]"""
    low, high = 0.02, 0.99
    for _ in range(12):
        middle = (low + high) / 2.0
        if (1.0 - middle**FAR_APART) / (1.0 - middle) < ratio:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0
