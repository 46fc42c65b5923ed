r"""How the yardstick's state moves between two readings, linear about its mean.

Concentrate is lost with the mix that it is in, and water beyond that dry (evaporation, less
ingress; depletion counts as mix from which the water came back):

.. math:: dV = -E - D, \quad dc = \frac{c}{V} E, \quad dL = E + D, \quad dL_c = c D

.. math:: E = \varphi(e_0 + u\,e_1)\,dt + u\sqrt{w_e}\,dB_e, \quad
          D = (d_0 + u\,d_1)\,dt + u\sqrt{w_d}\,dB_d

The four rates walk at random; :math:`\varphi` is how strongly the fluid's temperature drives
evaporation. The concentration and not the concentrate is kept, because a loss of mix leaves it as
it is: a filter that keeps C and is unsure of c would learn from every leak what cannot be learned
from it. Oil and film grow at rates of their own while the pumps run (u = 1). Noise with a memory
forgets: :math:`x \leftarrow e^{-dt/\tau} x`, and regains :math:`\sigma^2(1 - e^{-2dt/\tau})`.
"""

import math
from dataclasses import dataclass

import numpy as np

from simulators.scenario.sump import SumpSpec
from simulators.score import places as p
from simulators.score.fitting import RateNoise
from simulators.score.kalman import Matrix, Vector
from simulators.score.offsets import Offsets

_DAY_S = 86_400.0
_DAY_MS = 86_400_000.0
_GRAINS = (0.002, 0.02, 0.05)
"""Of concentration, volume over the brim, and drive, to which the noise is worked out. [1]"""
_WARM_DAYS = 0.5
"""How long a temperature that nobody measures stays off: a shift, or some weather. [d]"""


@dataclass(frozen=True, slots=True)
class Now:
    """What a step is linear about."""

    volume: float
    """[L]"""
    strength: float
    """[1]"""
    drive: float
    """How strongly evaporation is driven. [1]"""
    running: bool


class Motion:
    """Transition and noise of the moving entries; the noise is kept for steps that come again."""

    def __init__(
        self, spec: SumpSpec, offsets: Offsets, rates: tuple[RateNoise, RateNoise], brim: float
    ) -> None:
        self._rates = rates
        self._brim = brim
        self.memories = _memories(spec, offsets)
        self._kept: dict[tuple[int, bool, int, int, int], tuple[Matrix, Matrix]] = {}

    def over(self, interval: int, mean: Vector, now: Now) -> tuple[Matrix, Matrix, float]:
        """Transition and noise over an interval [ms], and the concentrate lost in it [L].

        The transition counts that concentrate twice, once for the rate and once for the
        concentration.
        """
        days = interval / _DAY_MS
        kept, noise = self._about(interval, now)
        transition = kept.copy()
        u = 1.0 if now.running else 0.0
        flows = np.array((now.drive, now.drive * u, 1.0, u)) * days
        dry = float(flows[:2] @ mean[p.DRY_REST : p.MIX_REST])
        mix = float(flows[2:] @ mean[p.MIX_REST : p.OIL])
        strength, volume = now.strength, now.volume
        transition[p.V, p.DRY_REST : p.OIL] = -flows
        transition[p.LOST, p.DRY_REST : p.OIL] = flows
        transition[p.C, p.DRY_REST : p.MIX_REST] = flows[:2] * (strength / volume)
        transition[p.C, p.C] = 1.0 + dry / volume
        transition[p.C, p.V] = -dry * strength / (volume * volume)
        transition[p.CONCENTRATE, p.MIX_REST : p.OIL] = flows[2:] * strength
        transition[p.CONCENTRATE, p.C] = mix
        return transition, noise, strength * mix

    def _about(self, interval: int, now: Now) -> tuple[Matrix, Matrix]:
        """Part of the transition that is the same at all times, and the noise, to a grain."""
        about = (now.strength, now.volume / self._brim, now.drive)
        steps = [round(value / grain) for value, grain in zip(about, _GRAINS, strict=True)]
        key = (interval, now.running, steps[0], steps[1], steps[2])
        if key not in self._kept:
            strength, full, drive = (n * grain for n, grain in zip(steps, _GRAINS, strict=True))
            grained = Now(max(full, 0.01) * self._brim, strength, drive, now.running)
            self._kept[key] = self._make(interval / _DAY_MS, grained)
        return self._kept[key]

    def _make(self, days: float, now: Now) -> tuple[Matrix, Matrix]:
        """Work them out. [d]"""
        u = 1.0 if now.running else 0.0
        transition, noise = np.eye(p.MOVING), np.zeros((p.MOVING, p.MOVING))
        transition[p.OIL, p.OIL_RATE] = transition[p.FILM, p.FILM_RATE] = u * days
        dry, mix = np.zeros(p.MOVING), np.zeros(p.MOVING)
        dry[[p.V, p.C, p.LOST]] = -1.0, now.strength / now.volume, 1.0
        mix[[p.V, p.LOST, p.CONCENTRATE]] = -1.0, 1.0, now.strength
        losses = ((dry, p.DRY_REST, now.drive), (mix, p.MIX_REST, 1.0))
        for (load, rest, drive), rates in zip(losses, self._rates, strict=True):
            noise += np.outer(load, load) * (u * rates.lumps * days)
            noise += _walk(load * drive, rest, rates.rest, days)
            noise += _walk(load * (drive * u), rest + 1, rates.run, days)
        for place, (sd, memory) in self.memories.items():
            transition[place, place] = math.exp(-days / memory)
            noise[place, place] = sd * sd * -math.expm1(-2.0 * days / memory)
        return transition, noise


def _walk(load: Vector, place: int, walk: float, days: float) -> Matrix:
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
