"""The true reading of the fluid, and the inline refractometer that sees it only while it flows."""

import math

from simulators.climate import Hall
from simulators.draws import Draws
from simulators.instants import DAY, HOUR, MINUTE, SECOND
from simulators.physics import Sump
from simulators.scenario.signals import BrixSpec
from simulators.sensors.level import strength_of
from simulators.wander import Wander
from simulators.water import brix_correction

_LINE_S = 25.0  # [s], time constant of the line before the prism: common practice
_COOLS_MS = 25.0 * MINUTE  # [ms], how fast fluid standing in the line takes the hall's temperature


class Optics:
    """What a faultless refractometer at 20 °C would read in a fluid of this sump.

    Parameters
    ----------
    factor
        True refractometer factor of the concentrate. [%/°Brix]
    water
        Reading of the make-up water. [°Brix]
    oil
        Bias per litre of tramp oil in 100 L. [°Brix]
    """

    def __init__(self, factor: float, water: float, oil: float) -> None:
        self.factor = factor
        self.foreign_factor = factor
        self._water = water
        self._oil = oil

    def reading(self, strength: float, sump: Sump, oily: float = 1.0) -> float:
        """Reading of a strength [1] with this sump's salts and oil. [°Brix]

        Salts raise it in proportion: 0.12 °Brix per g/L (refractive increment of sodium chloride,
        from memory). What the water brings grows as water evaporates and salts stay.
        """
        volume = max(sump.volume, 1e-9)
        concentrate = sump.concentrate
        foreign = sump.foreign / concentrate if concentrate > 0.0 else 0.0
        made = 100.0 * strength
        own = made * ((1.0 - foreign) / self.factor + foreign / self.foreign_factor)
        fresh = sump.body.water_chloride
        salts = sump.chloride / volume / fresh if fresh > 0.0 else 1.0
        return own + self._water * salts + oily * self._oil * 100.0 * sump.oil / volume


class InlineRefractometer:
    """Reads in a line that the pumps feed, or in the tank itself.

    Film grows on the prism while it is wetted; bubbles make single readings fall, most of all
    after a pump start; with the pumps off the fluid before the prism stands, and the reading with
    it.
    """

    def __init__(self, spec: BrixSpec, optics: Optics, draws: tuple[int, str]) -> None:
        seed, sump = draws
        self._spec = spec
        self._optics = optics
        self._white = Draws.named(seed, sump, "brix", "white")
        wander = Draws.named(seed, sump, "brix", "wander")
        self._wander = Wander(spec.wander_brix, spec.wander_h * HOUR / SECOND, wander)
        self._bubbles = Draws.named(seed, sump, "brix", "bubbles")
        self._growth = Draws.named(seed, sump, "brix", "film")
        self.offset = spec.offset_brix * Draws.named(seed, sump, "brix", "zero").normal()
        """[°Brix]"""
        self.film = 0.0
        """[°Brix]"""
        self.out_of_tank = False
        self._strength: float | None = None
        self._celsius = 20.0
        self._at: int | None = None
        self._started = 0
        self._was_running = False

    def clean(self) -> None:
        """Somebody wipes the prism; a trace stays."""
        self.film *= 0.05

    def read(self, now: int, sump: Sump, hall: Hall) -> float:
        """Reading in °Brix, before resolution."""
        since = now - self._at if self._at is not None else 0
        self._at = now
        if self.out_of_tank:
            self._strength = None
            return max(0.1 + 0.1 * self._white.normal(), 0.0)
        self._see(now, since, sump, hall)
        strength = self._strength if self._strength is not None else strength_of(sump.suction)
        spec = self._spec
        true = self._optics.reading(strength, sump) + self.film + self.offset
        if not spec.compensated:
            true -= brix_correction(self._celsius, true)
        true += spec.temperature_brix_per_k * (self._celsius - 20.0)
        true += self._wander.at(now) + spec.sd_brix * self._white.normal()
        return max(true - self._bubble(now), 0.0)

    def _see(self, now: int, since: int, sump: Sump, hall: Hall) -> None:
        """Bring the fluid before the prism, its temperature and the film up to `now`."""
        flows = sump.running or not self._spec.needs_flow
        if sump.running and not self._was_running:
            self._started = now
        self._was_running = sump.running
        if flows:
            here = strength_of(sump.suction)
            keep = math.exp(-since / (_LINE_S * SECOND))
            before = self._strength if self._strength is not None else here
            self._strength = here + (before - here) * keep
            self._celsius = sump.celsius
            self._grow(since)
        else:
            keep = math.exp(-since / _COOLS_MS)
            self._celsius = hall.celsius + (self._celsius - hall.celsius) * keep

    def _grow(self, since: int) -> None:
        """Film grows by fits and starts towards its limit."""
        rate = self._spec.film_brix_per_day
        if rate and since:
            grown = rate * since / DAY * 2.0 * self._growth.uniform()
            self.film += grown * (1.0 - self.film / self._spec.film_limit_brix)

    def _bubble(self, now: int) -> float:
        """How far bubbles push this reading down. [°Brix]"""
        spec = self._spec
        if not self._was_running or spec.bubble_share <= 0.0:
            return 0.0
        fresh = math.exp(-(now - self._started) / (3.0 * MINUTE))
        if self._bubbles.chance(min(spec.bubble_share * (1.0 + 15.0 * fresh), 0.8)):
            return self._bubbles.waiting(spec.bubble_brix)
        return 0.0
