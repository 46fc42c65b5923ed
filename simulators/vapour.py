"""Rates at which one sump's water evaporates, looked at once a minute: they change slowly."""

from simulators.evaporation import RELATIONS, latent_heat, saturation_pressure
from simulators.fluid import Body
from simulators.water import DENSITY_20

_MINUTE_S = 60.0
_WARMER = 0.1  # [°C], a change after which the rates are looked at before the minute is over


class Vapour:
    """Evaporation of an open tank, of the spray in the machine, and of hot chips.

    Attributes
    ----------
    pan, spray, chips : float
        Litres in one step of the physics, were that part at work. [L]
    heat : float
        Latent heat of what evaporates. [J/L]
    """

    def __init__(self, body: Body, step_s: float) -> None:
        self._body = body
        self._dt = step_s
        self._relation = RELATIONS[body.evaporation]
        self._litres = body.evaporation_factor * 1e3 / DENSITY_20 * step_s
        self._age = _MINUTE_S
        self._celsius = 1e9
        self.pan = self.spray = self.chips = self.heat = 0.0

    def look(self, celsius: float, vapour: float, inside: float) -> None:
        """Bring the rates up to date.

        Parameters
        ----------
        celsius
            Temperature of the fluid. [°C]
        vapour
            Pressure of the vapour in the hall. [Pa]
        inside
            Fluid in the tank. [L]
        """
        self._age += self._dt
        if self._age < _MINUTE_S and abs(celsius - self._celsius) < _WARMER:
            return
        self._age, self._celsius = 0.0, celsius
        body = self._body
        surface = saturation_pressure(celsius)
        area = body.tank.area(body.tank.depth(inside)) * body.open_share
        latent = latent_heat(celsius)
        self.pan = self._relation(area, surface, vapour, body.air_speed) * self._litres
        spray = self._relation(body.spray_area, surface, vapour, body.spray_speed)
        self.spray = spray * self._litres
        self.chips = body.cut_heat * body.cut_evaporates / latent * self._litres
        self.heat = latent * DENSITY_20 * 1e-3
