"""A level sensor: depth, air gap, volume, percent or pressure, with waves, foam and its errors."""

from simulators.climate import Hall
from simulators.draws import Draws
from simulators.fluid import Mix
from simulators.instants import HOUR, MINUTE, SECOND
from simulators.physics import Sump
from simulators.scenario.signals import LevelSpec
from simulators.sensors.units import LEVEL_UNITS
from simulators.tank import Tank
from simulators.wander import Wander
from simulators.water import GRAVITY, density, speed_of_sound

_FOAM_FALLS = 4.0 * MINUTE  # [ms], foam that is left after the pumps stop: common practice


class LevelSensor:
    """Reads the surface in the tank, in its own unit and sense.

    Parameters
    ----------
    spec
        What it is.
    drawn
        Tank by the drawing: a sensor of volume or percent was set up with it.
    brim
        Depth that is 100 %. [mm]
    draws
        Parent name of its streams: seed, sump.
    """

    def __init__(self, spec: LevelSpec, drawn: Tank, brim: float, draws: tuple[int, str]) -> None:
        seed, sump = draws
        self._spec = spec
        self._drawn = drawn
        self._full = drawn.volume(brim)
        self._unit = LEVEL_UNITS[spec.kind][spec.unit]
        self._white = Draws.named(seed, sump, "level", "white")
        self._waves = Wander(spec.wave_mm, spec.wave_s, Draws.named(seed, sump, "level", "wave"))
        foam = Draws.named(seed, sump, "level", "foam")
        self._foam = Wander(spec.foam_mm, spec.foam_min * MINUTE / SECOND, foam)
        wander = Draws.named(seed, sump, "level", "wander")
        self._wander = Wander(spec.wander_mm, spec.wander_h * HOUR / SECOND, wander)
        self._zero = Draws.named(seed, sump, "level", "zero")
        self.offset = spec.offset_mm * self._zero.normal()
        """[mm]"""
        self.out_of_tank = False
        self._stirred = 0.0
        self._at = 0

    def mounted_again(self) -> None:
        """Somebody took it out and put it back: its zero is another one."""
        self.offset = self._spec.offset_mm * self._zero.normal()

    def read(self, now: int, sump: Sump, hall: Hall) -> float:
        """Reading in its own unit, before resolution."""
        depth = self._seen(now, sump)
        spec = self._spec
        match spec.kind:
            case "depth":
                return depth / self._unit
            case "air-gap":
                return self._gap(depth, hall) / self._unit
            case "volume":
                return self._drawn.volume(depth) / self._unit
            case "percent":
                return self._drawn.volume(depth) / self._full / self._unit
            case "pressure":
                return self._pressure(depth, sump) / self._unit

    def _seen(self, now: int, sump: Sump) -> float:
        """Depth as the sensor sees it; out of the tank it looks at the floor. [mm]"""
        spec = self._spec
        if self.out_of_tank:
            return 15.0 * self._white.normal()
        if sump.running:
            self._stirred = 1.0
        else:
            self._stirred *= max(0.0, 1.0 - (now - self._at) / _FOAM_FALLS)
        self._at = now
        waves = self._waves.at(now) if sump.running else 0.0
        foam = (spec.foam_mm + self._foam.at(now)) * self._stirred
        tilt = spec.tilt_mm if sump.running else 0.0
        noise = spec.sd_mm * self._white.normal() + self._wander.at(now) + self.offset
        return sump.depth + waves + foam + tilt + noise

    def _gap(self, depth: float, hall: Hall) -> float:
        """Air gap by time of flight, computed with the speed of sound at 20 °C. [mm]

        The sensor's own thermometer takes the larger part of the error out.
        """
        gap = (self._spec.mount_mm or 0.0) - depth
        felt = 20.0 + self._spec.air_c_share * (hall.celsius - 20.0)
        return gap * speed_of_sound(20.0) / speed_of_sound(felt)

    def _pressure(self, depth: float, sump: Sump) -> float:
        """Pressure at the floor; concentrate is taken as a little lighter than water. [Pa]"""
        volume = sump.volume
        strength = sump.concentrate / volume if volume > 0.0 else 0.0
        heavy = density(sump.celsius) * (1.0 - 0.03 * strength)
        return heavy * GRAVITY * depth * 1e-3


def strength_of(mix: Mix) -> float:
    """Concentration in one place; 0 where nothing is. [1]"""
    volume = mix.volume
    return mix.concentrate / volume if volume > 0.0 else 0.0
