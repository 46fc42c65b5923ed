"""What went through the make-up meters, as the yardstick books it."""

import numpy as np

from simulators.instants import MINUTE, SECOND
from simulators.score import places as p
from simulators.score.kalman import Gaussian
from simulators.score.told import Happening, Sight, Witness
from simulators.sensors.units import VOLUME

_SIGNALS = ("water_meter", "concentrate_meter")


class Meters:
    """Two totalisers of one sump; without both of them nothing is metered."""

    def __init__(self, witness: Witness) -> None:
        signals = witness.spec.signals
        self._specs = {name: getattr(signals, name) for name in _SIGNALS}
        self.there = all(spec is not None for spec in self._specs.values())
        self._broken = [
            (blemish.begin, blemish.end)
            for blemish in witness.blemishes
            if blemish.signal in _SIGNALS
        ]
        self._last: dict[str, tuple[int, float]] = {}

    def counts(self, event: Happening) -> bool:
        """Whether an event went through meters that worked."""
        if not (self.there and event.metered):
            return False
        return not self._broken_between(event.at - 10 * MINUTE, event.until + 10 * MINUTE)

    def _broken_between(self, begin: int, end: int) -> bool:
        """Whether a fault of a meter falls into a time. [ms]"""
        return any(first <= end and last >= begin for first, last in self._broken)

    def grown(self, sight: Sight) -> list[tuple[str, float]]:
        """What the totals have grown by since they were read last, by meter. [L]"""
        if not self.there:
            return []
        found = [(name, self._growth(name, sight)) for name in _SIGNALS if name in sight.values]
        return [(name, growth) for name, growth in found if growth > 0.0]

    def _growth(self, name: str, sight: Sight) -> float:
        """One meter's growth; 0 where a fault lies between its two readings. [L]"""
        total = sight.values[name]
        before = self._last.get(name)
        self._last[name] = (sight.at, total)
        if before is None or name in sight.spoilt:
            return 0.0
        if self._broken_between(before[0] - SECOND, sight.at):
            return 0.0
        spec = self._specs[name]
        growth = total - before[1]
        if growth < 0.0 and spec.rollover is not None:
            growth += spec.rollover
        return float(growth * VOLUME[spec.unit])

    def book(self, belief: Gaussian, name: str, counted: float) -> None:
        """What was counted [L] came in, but for the meter's gain; C stands for concentrate."""
        spec, mean = self._specs[name], belief.mean
        water = name == "water_meter"
        gain = p.WATER_GAIN if water else p.CONCENTRATE_GAIN
        wide, strong = 1.0 + mean[p.AREA], 1.0 + mean[p.FACTOR]
        volume = counted * (1.0 - mean[gain]) / wide
        solute = 0.0 if water else volume / strong
        places = (p.V, p.C, gain, p.AREA, p.FACTOR)
        slopes = np.eye(5)
        slopes[0, 2:] = -counted / wide, -volume / wide, 0.0
        if not water:
            slopes[1, 2:] = -counted / (wide * strong), -solute / wide, -solute / strong
        means = mean[list(places)] + np.array((volume, solute, 0.0, 0.0, 0.0))
        belief.bend(places, slopes, means)
        variance = (spec.resolution * VOLUME[spec.unit]) ** 2 / 12.0
        belief.hit((p.V, p.C), np.array((1.0, 0.0 if water else 1.0)), 0.0, variance)
