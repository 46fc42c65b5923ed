r"""How the yardstick's state moves between two readings, discretised exactly.

.. math:: dL_j = (r_{j0} + u\,r_{j1})\,dt + u\sqrt{w_j}\,dB, \quad dV = -dL_w - dL_c, \quad
          dC = -dL_c

Oil and film grow at rates of their own while the pumps run (u = 1). Noise with a memory forgets:
:math:`x \leftarrow e^{-dt/\tau} x`, and regains :math:`\sigma^2(1 - e^{-2dt/\tau})`.
"""

import math

import numpy as np

from simulators.scenario.sump import SumpSpec
from simulators.score import places as p
from simulators.score.fitting import RateNoise
from simulators.score.kalman import Matrix
from simulators.score.offsets import Offsets

_DAY_S = 86_400.0
_DAY_MS = 86_400_000.0
_WARM_DAYS = 0.3
"""How long a temperature that nobody measures stays off: part of a shift. [d]"""


class Motion:
    """Transition and noise of the moving entries, kept for the intervals that come again."""

    def __init__(
        self, spec: SumpSpec, offsets: Offsets, water: RateNoise, concentrate: RateNoise
    ) -> None:
        self._noises = ((water, p.WATER), (concentrate, p.CONCENTRATE))
        self.memories = _memories(spec, offsets)
        self._kept: dict[tuple[int, bool], tuple[Matrix, Matrix]] = {}

    def over(self, interval: int, *, running: bool) -> tuple[Matrix, Matrix]:
        """Transition and noise over an interval. [ms]"""
        key = (interval, running)
        if key not in self._kept:
            self._kept[key] = self._make(interval / _DAY_MS, 1.0 if running else 0.0)
        return self._kept[key]

    def _make(self, days: float, u: float) -> tuple[Matrix, Matrix]:
        """Work them out. [d]"""
        transition, noise = np.eye(p.MOVING), np.zeros((p.MOVING, p.MOVING))
        for rates, total in self._noises:
            load = np.zeros(p.MOVING)
            load[total], load[p.V] = 1.0, -1.0
            if total == p.CONCENTRATE:
                load[p.C] = -1.0
            noise += np.outer(load, load) * (u * rates.lumps * days)
            rest = p.WATER_REST if total == p.WATER else p.CONCENTRATE_REST
            for place, share, walk in ((rest, 1.0, rates.rest), (rest + 1, u, rates.run)):
                transition[:, place] += load * (share * days)
                noise += _walk(load * share, place, walk, days)
        transition[p.OIL, p.OIL_RATE] = transition[p.FILM, p.FILM_RATE] = u * days
        for place, (sd, memory) in self.memories.items():
            transition[place, place] = math.exp(-days / memory)
            noise[place, place] = sd * sd * -math.expm1(-2.0 * days / memory)
        return transition, noise


def _walk(load: np.ndarray, place: int, walk: float, days: float) -> Matrix:
    """Covariance of a rate that walks, and of what grows at it."""
    step = np.zeros(p.MOVING)
    step[place] = 1.0
    both = np.outer(load, step)
    return walk * (
        np.outer(load, load) * days**3 / 3.0
        + (both + both.T) * days**2 / 2.0
        + np.outer(step, step) * days
    )


def _memories(spec: SumpSpec, offsets: Offsets) -> dict[int, tuple[float, float]]:
    """Spread and memory [d] of each noise that remembers."""
    level, brix = spec.signals.level, spec.signals.brix
    found = {
        p.WARM: (offsets.warm, _WARM_DAYS),
        p.BRIX_WARM: (offsets.brix_warm, _WARM_DAYS),
    }
    if level is not None:
        found[p.FOAM] = (level.foam_mm, level.foam_min / 1440.0)
        found[p.WAVES] = (level.wave_mm, level.wave_s / _DAY_S)
        found[p.WANDER] = (level.wander_mm, level.wander_h / 24.0)
    if brix is not None:
        found[p.BRIX_WANDER] = (brix.wander_brix, brix.wander_h / 24.0)
    return found
