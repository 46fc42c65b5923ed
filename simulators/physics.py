"""The true sump: where water, concentrate and oil go, step by step, nothing lost.

The fluid is in three places: on the suction side of the tank, on its return side, and up in the
machine while the pumps run (the holdup). Each flow takes mix out of one place, or out of the sump,
at that place's own concentration; each is booked. So what came in less what went out is what is
there, to rounding. Volumes are at 20 °C.

    dV/dt = a_w + a_c + g - e - d - k C
    dC/dt = a_c           - c d   - k C
"""

import math

from simulators.fluid import Body, Book, Mix, Trouble
from simulators.vapour import Vapour
from simulators.water import expansion

DAY_S = 86_400.0
_HEAT_CAPACITY = 4180.0  # [J/(L K)], water, 1 L is taken as 1 kg
_STILL_MIXING = 8.0 * 3600.0  # [s], time constant of mixing with the pumps off: common practice
_SUCKS_AIR = 0.06  # share of the tank's height under which the pumps suck air


def _mix(volume: float, concentration: float) -> Mix:
    """A volume [L] of a concentration [1]."""
    return Mix(volume * (1.0 - concentration), volume * concentration)


class Sump:
    """State and laws of one sump; `step` moves it by one fixed step."""

    def __init__(self, body: Body, step_s: float, depth: float, concentration: float) -> None:
        self.body = body
        self.dt = step_s
        self.oil = 0.0
        self.book = Book()
        self.trouble = Trouble()
        self.celsius = 21.0
        self.running = False
        self.cutting = False
        volume = body.tank.volume(depth)
        self.suction = _mix(volume * (1.0 - body.return_share), concentration)
        self.back = _mix(volume * body.return_share, concentration)
        self.machine = Mix()
        self._slow = 0.0
        self.foreign = 0.0
        """Concentrate of another kind among the concentrate. [L]"""
        self.chloride = volume * body.water_chloride
        """[mg]"""
        self.hardness = volume * body.water_hardness
        """[mg]"""
        self.owed_parts = 0.0
        self.owed_bin = 0.0
        self._still, self._fill, self._drain, self._drain_slow = (
            -math.expm1(-step_s / memory)
            for memory in (_STILL_MIXING, body.fill_s, body.drain_s, body.drain_slow_s)
        )
        self._vapour = Vapour(body, step_s)
        self._room = body.tank.volume(body.brim)
        self.evaporation_now = 0.0
        """[L/d]"""

    # --- what there is ---------------------------------------------------------------------------

    @property
    def volume(self) -> float:
        """All the fluid, holdup included, without oil. [L]"""
        return self.suction.volume + self.back.volume + self.machine.volume

    @property
    def concentrate(self) -> float:
        """Concentrate in it, whatever its kind. [L]"""
        return self.suction.concentrate + self.back.concentrate + self.machine.concentrate

    @property
    def holdup(self) -> float:
        """Fluid up in the machine. [L]"""
        return self.machine.volume

    @property
    def depth(self) -> float:
        """Depth in the tank as it is now, at the fluid's temperature, oil included. [mm]"""
        inside = self.suction.volume + self.back.volume + self.oil
        return self.body.tank.depth(inside * expansion(self.celsius))

    # --- what people and equipment do to it ------------------------------------------------------

    def add(self, water: float, concentrate: float, place: Mix) -> None:
        """Pour water and concentrate [L] into one place; warm with the make-up's temperature."""
        total = self.volume
        place.water += water
        place.concentrate += concentrate
        self.book.water_added += water
        self.book.concentrate_added += concentrate
        self._with_water(water)
        if total > 0.0:
            share = (water + concentrate) / (total + water + concentrate)
            self.celsius += share * (self.body.water_celsius - self.celsius)

    def add_foreign(self, concentrate: float, place: Mix) -> None:
        """Pour a concentrate of another kind in. [L]"""
        place.concentrate += concentrate
        self.book.concentrate_added += concentrate
        self.foreign += concentrate

    def drain(self, volume: float) -> tuple[float, float]:
        """Take mix out of the tank, evenly: water and concentrate that went. [L]"""
        water, concentrate = self._out_of_tank(volume)
        self.book.drained_water += water
        self.book.drained_concentrate += concentrate
        return water, concentrate

    def skim(self, share: float, mix: float) -> float:
        """Take a share of the oil off, with some mix [L]: oil that went. [L]"""
        oil = self.oil * share
        self.oil -= oil
        self.book.oil_out += oil
        self.drain(mix)
        return oil

    def spill_oil(self, volume: float) -> None:
        """Oil that falls into the sump at once. [L]"""
        self.oil += volume
        self.book.oil_in += volume

    def finish_part(self, factor: float) -> None:
        """A part leaves and takes with it what it is owed, times a factor about 1."""
        self._carried(self.machine, self.owed_parts * factor)
        self.owed_parts -= self.owed_parts * factor

    def empty_bin(self, factor: float) -> None:
        """The chip bin is raked out, with the mix that clings to the chips."""
        self._carried(self.back, self.owed_bin * factor)
        self.owed_bin -= self.owed_bin * factor

    # --- one step --------------------------------------------------------------------------------

    def step(self, running: bool, cutting: bool, air: float, vapour: float) -> None:  # noqa: FBT001
        """Go on by one step.

        Parameters
        ----------
        running, cutting
            State of the machine in this step.
        air
            Temperature of the hall. [°C]
        vapour
            Pressure of the vapour in it. [Pa]
        """
        dry = self.suction.volume < _SUCKS_AIR * self.body.tank.volume(self.body.brim)
        self.running = running and not dry
        self.cutting = cutting
        self._move()
        heat = self._evaporate(vapour)
        if self.running and cutting:
            self._carry_off()
        self._deplete()
        self._disturb()
        if self.running:
            oil = self.body.oil_rate * self.dt
            self.oil += oil
            self.book.oil_in += oil
        self._spill()
        self._level_out()
        self._warm(air, heat)

    def _move(self) -> None:
        """Pumps: fill the machine and keep it flowing, or let it drain back."""
        body, machine = self.body, self.machine
        if self.running:
            most = body.pump * self.dt
            missing = (body.holdup * (1.08 if self.cutting else 1.0) - machine.volume) * self._fill
            self.suction.pour_into(machine, min(max(missing, 0.0), most))
            if missing < 0.0:
                machine.pour_into(self.back, -missing)
            turned = self.suction.volume * -math.expm1(-most / max(self.suction.volume, 1e-9))
            self.suction.pour_into(machine, turned)
            machine.pour_into(self.back, turned)
            self._slow = body.drain_slow_share * machine.volume
        elif machine.volume > 1e-12:
            fast = max(machine.volume - self._slow, 0.0)
            slow = self._slow * self._drain_slow
            self._slow -= slow
            machine.pour_into(self.back, fast * self._drain + slow)

    def _level_out(self) -> None:
        """Both sides of the weir keep the same depth; standing, they mix slowly."""
        suction, back = self.suction, self.back
        total = suction.volume + back.volume
        excess = back.volume - self.body.return_share * total
        if excess > 0.0:
            back.pour_into(suction, excess)
        else:
            suction.pour_into(back, -excess)
        if not self.running:
            exchanged = min(suction.volume, back.volume) * self._still
            there = suction.give(exchanged)
            back.pour_into(suction, exchanged)
            back.water += there[0]
            back.concentrate += there[1]

    def _evaporate(self, vapour: float) -> float:
        """Water into the air: heat that it takes from the fluid in a step. [J]"""
        rates, suction, back = self._vapour, self.suction, self.back
        rates.look(self.celsius, vapour, suction.volume + back.volume)
        share = self.body.return_share
        cooling = self._dry(suction, rates.pan * (1.0 - share)) + self._dry(back, rates.pan * share)
        gone = cooling
        if self.running:
            sprayed = self._dry(self.machine, rates.spray)
            cooling += sprayed
            gone += sprayed
            if self.cutting:
                gone += self._dry(self.machine, rates.chips)
        self.evaporation_now = gone * DAY_S / self.dt
        self.book.evaporation += gone
        return cooling * rates.heat

    def _dry(self, place: Mix, volume: float) -> float:
        """Water that leaves one place, at most a tenth of it; less than none comes in."""
        gone = min(volume, 0.1 * place.water)
        place.water -= gone
        return gone

    def _carry_off(self) -> None:
        """Mist and films leave steadily; parts and chips are owed until they leave."""
        body = self.body
        rate = (body.carry_off + self.trouble.carry_off) * self.dt
        self._carried(self.machine, rate * (1.0 - body.lumps))
        self.owed_parts += rate * body.lumps * (1.0 - body.bins)
        self.owed_bin += rate * body.lumps * body.bins

    def _carried(self, place: Mix, volume: float) -> None:
        """Mix that leaves with parts, chips or mist. [L]"""
        water, concentrate = self._lose(place, volume)
        self.book.carry_off_water += water
        self.book.carry_off_concentrate += concentrate

    def _deplete(self) -> None:
        """Concentrate that is used up, everywhere alike."""
        share = self.body.depletion * self.dt
        gone = 0.0
        for place in (self.suction, self.back, self.machine):
            used = place.concentrate * share
            place.concentrate -= used
            gone += used
        self.foreign -= self.foreign * share
        self.book.depletion += gone

    def _disturb(self) -> None:
        """Leaks and ingress."""
        trouble = self.trouble
        leak = trouble.leak + (trouble.leak_running if self.running else 0.0)
        if leak > 0.0:
            water, concentrate = self._lose(self.suction, leak * self.dt)
            self.book.leak_water += water
            self.book.leak_concentrate += concentrate
        ingress = trouble.ingress + (trouble.ingress_running if self.running else 0.0)
        if ingress > 0.0:
            water = ingress * self.dt
            self.back.water += water
            self.book.ingress += water
            self._with_water(water)

    def _spill(self) -> None:
        """What stands over the brim runs off: oil afloat goes with the mix."""
        inside = self.suction.volume + self.back.volume + self.oil
        if inside < 0.98 * self._room:
            return  # fluid swells by less than 1 % up to 45 °C
        over = inside - self._room / expansion(self.celsius)
        if over <= 0.0:
            return
        oil = min(self.oil, 0.5 * over)
        self.oil -= oil
        self.book.oil_out += oil
        water, concentrate = self._out_of_tank(over - oil)
        self.book.spilled_water += water
        self.book.spilled_concentrate += concentrate

    def _warm(self, air: float, evaporating: float) -> None:
        """Heat of pumps and cutting, less what the hall and the vapour take."""
        body = self.body
        watts = -body.cooling * (self.celsius - air)
        if self.running:
            watts += body.pump_heat
            if self.cutting:
                watts += body.cut_heat * (1.0 - body.cut_evaporates)
        heat = watts * self.dt - evaporating
        self.celsius += heat / (_HEAT_CAPACITY * max(self.volume, 5.0))

    # --- flows -----------------------------------------------------------------------------------

    def _with_water(self, water: float) -> None:
        """Salts that come in with water. [L]"""
        chloride, hardness = water * self.body.water_chloride, water * self.body.water_hardness
        self.chloride += chloride
        self.hardness += hardness
        self.book.chloride_in += chloride
        self.book.hardness_in += hardness

    def _out_of_tank(self, volume: float) -> tuple[float, float]:
        """Take mix from both sides in proportion. [L]"""
        inside = self.suction.volume + self.back.volume
        if inside <= 0.0 or volume <= 0.0:
            return 0.0, 0.0
        share = min(volume / inside, 1.0)
        first = self._lose(self.suction, self.suction.volume * share)
        second = self._lose(self.back, self.back.volume * share)
        return first[0] + second[0], first[1] + second[1]

    def _lose(self, place: Mix, volume: float) -> tuple[float, float]:
        """Mix that leaves the sump from one place, with its salts: water and concentrate. [L]"""
        before, concentrate_before = self.volume, self.concentrate
        water, concentrate = place.give(volume)
        if before > 0.0:
            share = (water + concentrate) / before
            chloride, hardness = self.chloride * share, self.hardness * share
            self.chloride -= chloride
            self.hardness -= hardness
            self.book.chloride_out += chloride
            self.book.hardness_out += hardness
        if concentrate_before > 0.0:
            self.foreign *= max(1.0 - concentrate / concentrate_before, 0.0)
        return water, concentrate

    def precipitate(self, share: float) -> None:
        """Part of the hardness beyond that of the make-up water falls out as soap. [mg]"""
        excess = self.hardness - self.volume * self.body.water_hardness
        if excess > 0.0:
            self.hardness -= excess * share
            self.book.hardness_precipitated += excess * share
