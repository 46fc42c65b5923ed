r"""How restless a loss rate truly is: fitted to the truth by maximum likelihood.

A loss L grows at a rate that walks at random, with a part of its own while the pumps run, and in
lumps (parts, chip bins) on top:

.. math:: dL = \varphi(r_0 + u\,r_1)\,dt + u\sqrt{w}\,dB_w, \quad
          dr_0 = \sqrt{q_0}\,dB_0, \quad dr_1 = \sqrt{q_1}\,dB_1

u is the share of the time in which the pumps ran, :math:`\varphi` how strongly the fluid's
temperature drives evaporation (1 for a loss of mix). The truth gives L without error at even
intervals, so the likelihood of (q0, q1, w) follows from the increments alone.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from simulators.score.kalman import Vector

_INTERVAL = 30
"""Minutes over which losses are summed up."""
_DAY_MIN = 1440.0
_LOG_2PI = math.log(2.0 * math.pi)
_FAINT = -25.0
"""Logarithm of a noise that is as good as none."""


@dataclass(frozen=True, slots=True)
class RateNoise:
    """One loss: where its rates begin, and how they move."""

    mean: float
    """Over the run; its own size is its spread at the beginning. [L/d]"""
    rest: float
    """q0. [L²/d³]"""
    run: float
    """q1. [L²/d³]"""
    lumps: float
    """w. [L²/d]"""


def halves(track: Vector) -> Vector:
    """Means of a track over each half hour, in its unit."""
    count = len(track) // _INTERVAL
    return np.asarray(track[: count * _INTERVAL].reshape(count, _INTERVAL).mean(axis=1))


def increments(lost: Vector) -> Vector:
    """Losses over each half hour. [L]"""
    count = len(lost) // _INTERVAL
    return np.diff(lost[np.arange(1, count + 1) * _INTERVAL - 1], prepend=0.0)


@dataclass(frozen=True, slots=True)
class Growth:
    """A loss over one interval: how much, and the weights with which its two rates made it."""

    lost: float
    """[L]; NaN where it was not to be expected."""
    rest: float
    run: float
    share: float
    """Of the interval in which the pumps ran."""


def likelihood(noise: RateNoise, growths: Sequence[Growth], days: float) -> float:
    """Log-likelihood of losses over even intervals of so many days.

    The two rates and the growth over the next interval are jointly normal; the exact covariances
    of a walk and its integral are q dt, q dt²/2 and q dt³/3.
    """
    a = b = noise.mean
    paa = pbb = max(noise.mean * noise.mean, 1e-12)
    pab = 0.0
    half, third = days * days / 2.0, days**3 / 3.0
    total = 0.0
    for growth in growths:
        f, g = growth.rest, growth.run
        if not math.isnan(growth.lost):
            ga = days * (f * paa + g * pab)
            gb = days * (f * pab + g * pbb)
            s = days * (f * ga + g * gb) + third * (f * f * noise.rest + g * g * noise.run)
            s += growth.share * noise.lumps * days + 1e-12
            surprise = growth.lost - days * (f * a + g * b)
            total -= 0.5 * (_LOG_2PI + math.log(s) + surprise * surprise / s)
            ga += f * noise.rest * half
            gb += g * noise.run * half
            a += ga * surprise / s
            b += gb * surprise / s
            paa -= ga * ga / s
            pab -= ga * gb / s
            pbb -= gb * gb / s
        paa += noise.rest * days
        pbb += noise.run * days
    return total


def fit(lost: Vector, running: Vector, drive: Vector, usual: Vector) -> RateNoise:
    """Rate noise under which the true losses are likeliest.

    Parameters
    ----------
    lost, running, drive
        Minute by minute: the running total [L], whether the pumps ran, and how strongly the rates
        were driven. [1]
    usual
        Whether a minute was as usual; what was lost in other half hours is passed over.
    """
    days = _INTERVAL / _DAY_MIN
    grown = increments(lost)
    grown[halves(usual) < 1.0] = np.nan
    shares, drives = halves(running), halves(drive)
    both = halves(running * drive)
    rows = zip(grown.tolist(), drives.tolist(), both.tolist(), shares.tolist(), strict=True)
    growths = [Growth(*row) for row in rows]
    known = grown[np.isfinite(grown)]
    mean = float(np.mean(known)) / days
    size = max(abs(mean), float(np.std(known)) / days, 1e-6)
    if abs(mean) < 1e-9:
        mean = size

    def of(logs: Sequence[float]) -> RateNoise:
        """Noise of these logarithms."""
        return RateNoise(mean, *(math.exp(max(x, _FAINT)) for x in logs))

    square = 2.0 * math.log(size)
    start = (square - 3.0, square - 1.0, square - 5.0)
    return of(climb(lambda logs: likelihood(of(logs), growths, days), start))


def climb(
    height: Callable[[Sequence[float]], float],
    start: Sequence[float],
    step: float = 2.0,
    least: float = 0.05,
) -> list[float]:
    """Find a maximum by looking along each axis, with steps that shrink.

    References
    ----------
    .. [1] R. Hooke and T. A. Jeeves, J. ACM 8 (1961) 212 (from memory).
    """
    here = list(start)
    top = height(here)
    while step >= least:
        before, base = top, list(here)
        for axis in range(len(here)):
            for move in (step, -step):
                there = list(here)
                there[axis] += move
                found = height(there)
                if found > top:
                    here, top = there, found
                    break
        if top <= before:
            step /= 2.0
            continue
        further = [2.0 * x - x0 for x, x0 in zip(here, base, strict=True)]
        found = height(further)
        if found > top:
            here, top = further, found
    return here
