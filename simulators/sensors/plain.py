"""Totalisers, switches, counters and plain sensors."""

from collections.abc import Callable

from simulators.climate import Hall
from simulators.draws import Draws
from simulators.physics import Sump
from simulators.scenario.signals import MeterSpec, PlainSpec
from simulators.sensors.units import VOLUME, to_celsius_unit


class Totaliser:
    """A meter on a make-up line: a running total that rolls over and can be set back.

    Attributes
    ----------
    poured : float
        True volume that went through since the scenario began. [L]
    gain : float
        Counted over true volume. [1]
    """

    def __init__(self, spec: MeterSpec, draws: Draws) -> None:
        self._spec = spec
        self._unit = VOLUME[spec.unit]
        self.gain = 1.0 + spec.gain_error * draws.normal()
        self.poured = 0.0
        self._since = 0.0
        self._base = spec.begins_at

    def pass_through(self, volume: float) -> None:
        """Count a true volume. [L]"""
        self.poured += volume

    def set_back(self) -> None:
        """Start again at zero, as after a reboot."""
        self._since = self.poured
        self._base = 0.0

    def read(self, _now: int, _sump: Sump, _hall: Hall) -> float:
        """Total in its unit, before resolution."""
        total = self._base + (self.poured - self._since) * self.gain / self._unit
        if self._spec.rollover is not None:
            total %= self._spec.rollover
        return total

    def until(self, end: float) -> float:
        """What is left to count until the total stands at `end`, past a rollover if need be. [L]"""
        total = self._base * self._unit + (self.poured - self._since) * self.gain
        left = end - total
        if self._spec.rollover is not None:
            around = self._spec.rollover * self._unit
            left = (left + 0.5 * around) % around - 0.5 * around
        return left


def conductivity(sump: Sump) -> float:
    """Electrical conductivity of the fluid as it is, at its temperature. [mS/cm]

    Salts and the concentrate's own ions, with 2 % per degree from 25 °C. The sizes are common
    practice: a tap-water mix of 5 to 10 % has 1.5 to 4 mS/cm.
    """
    volume = max(sump.volume, 1e-9)
    salts = (4.0 * sump.chloride + 1.6 * sump.hardness) / volume * 1e-3
    ions = salts + 22.0 * sump.concentrate / volume
    return ions * (1.0 + 0.02 * (sump.celsius - 25.0))


def acidity(sump: Sump) -> float:
    """PH: that of a fresh mix, lower in a lean one and with the salts that age it. [pH]

    Common practice: 9.0 to 9.6 fresh, some tenths less in an old fluid.
    """
    volume = max(sump.volume, 1e-9)
    strength = sump.concentrate / volume
    age = sump.chloride / volume / max(sump.body.water_chloride, 1.0) - 1.0
    return 9.1 + 3.0 * (strength - 0.08) - 0.08 * max(age, 0.0)


class PlainSensor:
    """White noise on a true value, in the sensor's unit."""

    def __init__(self, spec: PlainSpec, truth: Callable[[Sump, Hall], float], draws: Draws) -> None:
        self._sd = spec.sd
        self._truth = truth
        self._draws = draws

    def read(self, _now: int, sump: Sump, hall: Hall) -> float:
        """Reading in its unit, before resolution."""
        return self._truth(sump, hall) + self._sd * self._draws.normal()


def plain_truth(name: str, unit: str) -> Callable[[Sump, Hall], float]:
    """What the plain sensor of this name sees, in this unit."""
    truths: dict[str, Callable[[Sump, Hall], float]] = {
        "temperature": lambda sump, _hall: to_celsius_unit(sump.celsius, unit),
        "air_temperature": lambda _sump, hall: to_celsius_unit(hall.celsius, unit),
        "humidity": lambda _sump, hall: hall.humidity * (1.0 if unit in {"", "1", "/"} else 100.0),
        "ph": lambda sump, _hall: acidity(sump),
        "conductivity": lambda sump, _hall: (
            conductivity(sump) * {"uS/cm": 1000.0, "S/m": 0.1}.get(unit, 1.0)
        ),
    }
    return truths[name]
