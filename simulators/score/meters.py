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

    def see(self, belief: Gaussian, sight: Sight) -> None:
        """Book what the totals have grown by."""
        if not self.there:
            return
        for name in _SIGNALS:
            if name in sight.values:
                self._grown(belief, name, sight)

    def _grown(self, belief: Gaussian, name: str, sight: Sight) -> None:
        """Book one meter's growth, unless a fault lies between its two readings."""
        total = sight.values[name]
        before = self._last.get(name)
        self._last[name] = (sight.at, total)
        if before is None or name in sight.spoilt:
            return
        if self._broken_between(before[0] - SECOND, sight.at):
            return
        spec = self._specs[name]
        grown = total - before[1]
        if grown < 0.0 and spec.rollover is not None:
            grown += spec.rollover
        if grown > 0.0:
            unit = VOLUME[spec.unit]
            _book(belief, name, grown * unit, (spec.resolution * unit) ** 2 / 12.0)


def _book(belief: Gaussian, name: str, counted: float, variance: float) -> None:
    """What was counted [L] came in, but for the meter's gain."""
    gain = p.WATER_GAIN if name == "water_meter" else p.CONCENTRATE_GAIN
    into = (p.V,) if name == "water_meter" else (p.V, p.C)
    n = len(into)
    turn = np.eye(n + 1)
    turn[:n, n] = -counted
    belief.bend((*into, gain), turn)
    belief.hit(into, np.ones(n), counted, variance)
