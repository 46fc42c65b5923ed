r"""How restless a loss rate truly is: fitted to the truth by maximum likelihood.

A loss L grows at a rate that walks at random, with a part of its own while the pumps run, and in
lumps (parts, chip bins) on top:

.. math:: dL = (r_0 + u\,r_1)\,dt + u\sqrt{w}\,dB_w, \quad
          dr_0 = \sqrt{q_0}\,dB_0, \quad dr_1 = \sqrt{q_1}\,dB_1

u is the share of the time in which the pumps ran. The truth gives L without error at even
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


def increments(lost: Vector, running: Vector) -> tuple[Vector, Vector]:
    """Losses over half hours [L], and the share of them in which the pumps ran. [1]"""
    count = len(lost) // _INTERVAL
    ends = np.arange(1, count + 1) * _INTERVAL - 1
    totals = lost[ends]
    grown = np.diff(totals, prepend=0.0)
    shares = running[: count * _INTERVAL].reshape(count, _INTERVAL).mean(axis=1)
    return grown, shares


def likelihood(
    noise: RateNoise, grown: Sequence[float], shares: Sequence[float], days: float
) -> float:
    """Log-likelihood of losses [L] over even intervals of so many days.

    The two rates and the growth over the next interval are jointly normal; the exact covariances
    of a walk and its integral are q dt, q dt²/2 and q dt³/3.
    """
    a = b = noise.mean
    paa = pbb = max(noise.mean * noise.mean, 1e-12)
    pab = 0.0
    half, third = days * days / 2.0, days**3 / 3.0
    total = 0.0
    for y, u in zip(grown, shares, strict=True):
        ga = days * (paa + u * pab)
        gb = days * (pab + u * pbb)
        s = days * (ga + u * gb) + noise.rest * third + u * u * noise.run * third
        s += u * noise.lumps * days + 1e-12
        surprise = y - days * (a + u * b)
        total -= 0.5 * (1.8378770664093453 + math.log(s) + surprise * surprise / s)
        ga += noise.rest * half
        gb += u * noise.run * half
        a += ga * surprise / s
        b += gb * surprise / s
        paa += noise.rest * days - ga * ga / s
        pab -= ga * gb / s
        pbb += noise.run * days - gb * gb / s
    return total


def fit(lost: Vector, running: Vector) -> RateNoise:
    """Rate noise under which the true losses [L], minute by minute, are likeliest."""
    grown, shares = increments(lost, running)
    days = _INTERVAL / _DAY_MIN
    mean = float(np.sum(grown)) / (len(grown) * days)
    size = max(abs(mean), float(np.std(grown)) / days, 1e-6)
    ys, us = grown.tolist(), shares.tolist()

    def of(logs: Sequence[float]) -> RateNoise:
        """Noise of these logarithms."""
        rest, run, lumps = (math.exp(x) for x in logs)
        return RateNoise(mean if abs(mean) > 1e-9 else size, rest, run, lumps)

    square = 2.0 * math.log(size)
    start = (square - 3.0, square - 1.0, square - 5.0)
    best = climb(lambda logs: likelihood(of(logs), ys, us, days), start)
    return of(best)


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
