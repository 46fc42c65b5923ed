"""From a sensor's reading to the depth it means, as the yardstick turns it round."""

from collections.abc import Mapping

from simulators.scenario.signals import LevelSpec
from simulators.score.told import Witness
from simulators.sensors.units import LEVEL_UNITS
from simulators.tank import Tank
from simulators.water import GRAVITY, brix_correction, density

_LIGHTER = 0.03  # concentrate against water, as the pressure sensor has it


class Gauge:
    """A level sensor by its data sheet."""

    def __init__(self, witness: Witness, level: LevelSpec) -> None:
        self._level = level
        self._unit = LEVEL_UNITS[level.kind][level.unit]
        self._tank = Tank(witness.spec.tank)
        self._full = self._tank.volume(witness.spec.level_mm.brim)
        fluid = witness.scenario.fluid(witness.spec.concentrate)
        self._strength = fluid.target_pct / 100.0

    def depth(self, value: float, celsius: float) -> float:
        """Depth that a reading means, in a fluid of this temperature. [mm]"""
        plain = value * self._unit
        match self._level.kind:
            case "depth":
                return plain
            case "air-gap":
                return (self._level.mount_mm or 0.0) - plain
            case "volume":
                return self._tank.depth(plain)
            case "percent":
                return self._tank.depth(plain * self._full)
            case "pressure":
                heavy = density(celsius) * (1.0 - _LIGHTER * self._strength)
                return plain / (heavy * GRAVITY * 1e-3)

    def gap(self, depth: float) -> float:
        """Air gap over a depth; 0 where the sensor is of another kind. [mm]"""
        return (self._level.mount_mm or 0.0) - depth if self._level.kind == "air-gap" else 0.0


def at_20(value: float, celsius: float) -> float:
    """An uncompensated reading of a fluid at a temperature [°C] as it would be at 20 °C. [°Brix]"""
    corrected = value
    for _ in range(3):
        corrected = value + brix_correction(celsius, corrected)
    return corrected


def celsius_of(values: Mapping[str, float], unit: str, name: str = "temperature") -> float | None:
    """A temperature among the readings of a moment. [°C]"""
    value = values.get(name)
    if value is None:
        return None
    return (value - 32.0) / 1.8 if unit in {"degF", "°F"} else value
