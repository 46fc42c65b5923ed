r"""A sump that runs out: a sequential test on the level alone, within half an hour of a leak.

Depths of slots follow one another while nothing but losses moves them. Under the hypothesis that
the sump loses no more than it may, the fall over :math:`j` slots, less what it may lose, is at most
noise of a known spread. It is a leak where for some :math:`j` of `SPANS` the excess is more than
`SURE` sds, and no step: each of the last slots has its share in it.

One look finds a leak falsely with a probability of less than :math:`|SPANS|\,Q(SURE)`, by the union
bound for normal noise; `LOOKS_A_YEAR` looks a year make `FALSE_A_YEAR`, at most. That every one of
the last slots must fall too makes it fewer.

References
----------
The window-limited likelihood ratio test of T. L. Lai, "Sequential changepoint detection in quality
control and dynamical systems", J. R. Stat. Soc. B 57 (1995) 613-658, for the mean of a stationary
noise.
"""

import math
from itertools import pairwise
from statistics import NormalDist

from advisor.priors import Priors
from advisor.words import DAY, MINUTE, Instant, days_between

SURE = 6.0
"""Sds of the excess from which on it is a leak. [1]"""
SPANS = (3, 4, 5, 6)
"""Slots over which a fall is looked at. [1]"""
SLOT: Instant = 10 * MINUTE
"""Usual time between two slots. [ms]"""
LOOKS_A_YEAR = 365.0 * DAY / SLOT
FALSE_A_YEAR = LOOKS_A_YEAR * len(SPANS) * NormalDist().cdf(-SURE)
"""Most false alarms of one sump in a year, for normal noise of the learned spread: 0.0002. [1]"""
LEAST = 0.012
"""A leak has taken at least so much of the volume aimed for. [1]"""
EVEN_SHARE = 0.2
"""... and each of the last slots at least so much of the mean of all. [1]"""
MOST_CORRELATED = 6
"""Readings of one slot tell at most as much as so many independent ones; common practice. [1]"""
Depths = tuple[tuple[Instant, float, float], ...]
"""Moments [ms], mean depths [mm] and the sd of foam and swell as known by then [mm]."""


def take_depth(depths: Depths, at: Instant, depth: float, waves: float) -> Depths:
    """Take in a slot's mean depth, with everything as before; a gap begins anew. [ms], [mm]

    A slot that was cut short is passed over.
    """
    if depths and at - depths[-1][0] < SLOT // 2:
        return depths
    if depths and at - depths[-1][0] > 2 * SLOT:
        depths = ()
    return (*depths, (at, depth, waves))[-1 - SPANS[-1] :]


def runs_out(depths: Depths, readings: int, prior: Priors, *, may: float, least: float) -> bool:
    """Whether the depths fall by more than losses explain.

    Parameters
    ----------
    depths : Depths
        Of slots in which nothing else moved the level, oldest first.
    readings : int
        In a slot. [1]
    prior : Priors
        Noise of the level as learned; how large foam and swell are is taken from before the fall,
        which itself looks like them. [mm], [d]
    may : float
        How fast the level may fall. [mm/d]
    least : float
        Less than this is no leak. [mm]
    """
    white = prior.level_sd**2 / max(min(readings, MOST_CORRELATED), 1)
    end, last, _ = depths[-1] if depths else (0, 0.0, 0.0)
    for span in SPANS:
        if span >= len(depths):
            return False
        begin, first, waves = depths[-1 - span]
        passed = days_between(begin, end)
        fade = math.exp(-passed / prior.waves_days)
        sd = (2.0 * (white + waves**2 * (1.0 - fade))) ** 0.5
        fall = first - last
        if fall - may * passed > max(SURE * sd, least) and _is_even(depths[-1 - span :]):
            return True
    return False


def _is_even(depths: Depths) -> bool:
    """Whether each of the last slots fell too, so that it is no step."""
    fall = (depths[0][1] - depths[-1][1]) / (len(depths) - 1)
    newest = depths[-1 - SPANS[0] :]
    return all(
        before - after >= EVEN_SHARE * fall for (_, before, _), (_, after, _) in pairwise(newest)
    )
