r"""What the yardstick expects each instrument to read, and how it learns from what it read.

A level is compared as a depth, with the drawing turned round about the depth that is expected (and
not the one that is read: a slope that goes with the reading's noise would lead the filter astray):

.. math:: z = h\left(\left(V + \frac{O - H(1+\eta)}{1+\alpha}\right)\varepsilon(T)\right) + \Delta z

h is the depth by the drawing of a volume in its litres, H the holdup at that moment,
:math:`\varepsilon` the swelling from 20 °C and :math:`\Delta z` all that the sensor is off by. A
refractometer reads

.. math:: B = \frac{100\,c}{f} + \sigma b_w + \beta\frac{100\,O}{V(1+\alpha)} + \Delta B

with the make-up water's own reading :math:`b_w` times the fluid's salts over the water's.
"""

import math

import numpy as np

from simulators.instants import MINUTE
from simulators.score import places as p
from simulators.score.gauges import Gauge, at_20
from simulators.score.kalman import Gaussian, Vector
from simulators.score.offsets import Offsets, millimetres
from simulators.score.told import Check, Sight, Witness
from simulators.tank import Tank
from simulators.water import expansion

_FOAM_FALLS = 4 * MINUTE
_SURFACE = (p.V, p.OIL, p.HOLDUP, p.AREA)
_LEVEL = (*_SURFACE, p.FOAM, p.WAVES, p.WANDER, p.WARM, p.ZERO, p.AIR)
_HAND = (p.V, p.C, p.OIL, p.AREA, p.FRESH)
_INLINE = (*_HAND, p.FILM, p.BRIX_ZERO, p.KELVIN, p.BRIX_WANDER, p.BRIX_WARM)
_HAND_SD = {"refractometer": 0.15, "titration": 0.2, "dipstick": 2.5, "tramp-oil": 0.3}
_STEP = {"refractometer": 0.1, "titration": 0.1, "dipstick": 1.0, "tramp-oil": 0.1}
_OILY = {"as-is": 1.0, "settled": 0.35, "filtered": 0.1}


class Eye:
    """Compares readings of one sump with a belief."""

    def __init__(self, witness: Witness, offsets: Offsets) -> None:
        spec = witness.spec
        self._level, self._brix = spec.signals.level, spec.signals.brix
        self._tank = Tank(spec.tank)
        self._gauge = Gauge(witness, self._level) if self._level is not None else None
        fluid = witness.scenario.fluid(spec.concentrate)
        self._factor = fluid.refractometer_factor
        self._oil_brix = offsets.oil_brix
        self._sds: dict[str, float] = {
            check.kind: check.sd for check in spec.checks if check.sd is not None
        }
        self._step = 0.0
        if self._level is not None:
            marks = spec.level_mm
            self._step = millimetres(self._level, self._tank, marks.brim, marks.target)
        self.celsius = 20.0
        self.air = 20.0
        self._stirred = 0.0
        self._at = 0

    # --- the level -------------------------------------------------------------------------------

    def stir(self, sight: Sight) -> None:
        """Foam stands while the pumps run and falls within minutes after."""
        if sight.running:
            self._stirred = 1.0
        else:
            self._stirred *= max(0.0, 1.0 - (sight.at - self._at) / _FOAM_FALLS)
        self._at = sight.at

    def depth(self, value: float, *, running: bool) -> float:
        """Depth that a level reading means, its known errors taken off. [mm]"""
        level, gauge = self._level, self._gauge
        if level is None or gauge is None:
            return 0.0
        known = level.foam_mm * self._stirred + (level.tilt_mm if running else 0.0)
        return gauge.depth(value, self.celsius) - known

    def surface_row(self, belief: Gaussian, sight: Sight) -> tuple[Vector, float]:
        """Weights of what the fluid's surface depends on, and where it is expected. [mm]"""
        mean = belief.mean
        wide = 1.0 + mean[p.AREA]
        over = (mean[p.OIL] - sight.holdup * (1.0 + mean[p.HOLDUP])) / wide
        swell = expansion(self.celsius)
        expected = self._tank.depth((mean[p.V] + over) * swell)
        slope = swell / self._tank.area(expected)
        weights = np.array((1.0, 1.0 / wide, -sight.holdup / wide, -over / wide))
        return weights * slope, expected

    def level_row(self, belief: Gaussian, sight: Sight) -> tuple[Vector, float]:
        """Weights of all that a level reading depends on, and what is expected. [mm]"""
        surface, expected = self.surface_row(belief, sight)
        gap = self._gauge.gap(expected) * (self.air - 20.0) if self._gauge is not None else 0.0
        waves = 1.0 if sight.running else 0.0
        own = np.array((self._stirred, waves, 1.0, 1.0, 1.0, gap))
        expected += float(own @ belief.mean[list(_LEVEL[len(_SURFACE) :])])
        return np.concatenate((surface, own)), expected

    def see_level(self, belief: Gaussian, sight: Sight) -> float | None:
        """Take in a level, or give how far off a spoilt one is, in sd's of what was to be read."""
        weights, expected = self.level_row(belief, sight)
        seen = self.depth(sight.values["level"], running=sight.running)
        sd = self._level.sd_mm if self._level is not None else 0.0
        noise = sd * sd + self._step**2 / 12.0
        spoilt = sight.spoilt.get("level")
        if spoilt is None:
            belief.observe(_LEVEL, weights, seen - expected, noise)
            return None
        _, variance = belief.toward(_LEVEL, weights)
        return abs(seen - self.depth(spoilt, running=sight.running)) / math.sqrt(variance + noise)

    # --- refractometers --------------------------------------------------------------------------

    def brix_row(self, belief: Gaussian, salts: float, oily: float) -> tuple[Vector, float]:
        """Weights of what every refractometer sees, and what is expected. [°Brix]"""
        mean = belief.mean
        volume = max(mean[p.V], 1.0)
        slope = 100.0 / self._factor
        oil = oily * self._oil_brix * 100.0 / (volume * (1.0 + mean[p.AREA]))
        bias = oil * mean[p.OIL]
        weights = np.array((-bias / volume, slope, oil, -bias / (1.0 + mean[p.AREA]), salts))
        return weights, slope * mean[p.C] + bias + salts * mean[p.FRESH]

    def see_brix(self, belief: Gaussian, sight: Sight) -> float | None:
        """Take in an inline reading, or say how far off a spoilt one is, as for the level."""
        spec = self._brix
        if spec is None or not sight.running or not sight.mixed:
            return None
        warm = self.celsius - 20.0
        shared, expected = self.brix_row(belief, sight.salts, 1.0)
        own = np.array((1.0, 1.0, warm, 1.0, 1.0))
        weights = np.concatenate((shared, own))
        expected += float(own @ belief.mean[list(_INLINE[len(_HAND) :])])
        noise = spec.sd_brix**2 + spec.resolution**2 / 12.0
        seen = self._corrected(sight.values["brix"])
        spoilt = sight.spoilt.get("brix")
        if spoilt is None:
            belief.observe(_INLINE, weights, seen - expected, noise)
            return None
        _, variance = belief.toward(_INLINE, weights)
        return abs(seen - self._corrected(spoilt)) / math.sqrt(variance + noise)

    def _corrected(self, value: float) -> float:
        """As it would be at 20 °C. [°Brix]"""
        if self._brix is None or self._brix.compensated:
            return value
        return at_20(value, self.celsius)

    # --- checks ----------------------------------------------------------------------------------

    def see_check(self, belief: Gaussian, check: Check, sight: Sight) -> None:
        """Take in a measurement by hand, of a kind that tells of volume, strength or oil."""
        if check.kind not in _HAND_SD:
            return
        sd = self._sds.get(check.kind, _HAND_SD[check.kind])
        noise = sd * sd + _STEP[check.kind] ** 2 / 12.0
        mean = belief.mean
        volume = max(mean[p.V], 1.0)
        if check.kind == "refractometer":
            if sight.mixed or not sight.running:
                weights, expected = self.brix_row(belief, sight.salts, _OILY[check.sample])
                value = check.value / self._factor if check.unit == "%" else check.value
                belief.observe(_HAND, weights, value - expected, noise)
        elif check.kind == "dipstick":
            self._dip(belief, check, sight, noise)
        elif check.kind == "titration":
            scale = 100.0 * (1.0 + mean[p.FACTOR])
            weights = np.array((scale, 100.0 * mean[p.C]))
            belief.observe((p.C, p.FACTOR), weights, check.value - scale * mean[p.C], noise)
        else:
            volume *= 1.0 + mean[p.AREA]
            share = 100.0 * mean[p.OIL] / volume
            weights = np.array((-share / volume, 100.0 / volume))
            belief.observe((p.V, p.OIL), weights, check.value - share, noise)

    def _dip(self, belief: Gaussian, check: Check, sight: Sight, noise: float) -> None:
        """Take in a depth by dipstick: the surface without a sensor's errors."""
        weights, expected = self.surface_row(belief, sight)
        belief.observe(_SURFACE, weights, check.value - expected, noise)
