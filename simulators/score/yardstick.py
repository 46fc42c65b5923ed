"""An informed filter: what can be known of a sump by one who is told nearly everything.

It is told the simulator's noise, the holdup, the time constants and when the pumps run; when
something was poured in or taken out, but not how much; which readings are spoilt. Film, oil,
temperature, zero, factor and area are offsets of the simulator's own spread. docs/score.md has the
equations.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from simulators.instants import HOUR, MINUTE
from simulators.score import places as p
from simulators.score.fitting import RateNoise, fit
from simulators.score.gauges import celsius_of
from simulators.score.kalman import Gaussian
from simulators.score.looking import Eye
from simulators.score.meters import Meters
from simulators.score.motion import Motion, Now
from simulators.score.offsets import Offsets, offsets_of
from simulators.score.scales import concentrate_between, true_product, water_between
from simulators.score.told import Check, Happening, Service, Sight, Witness
from simulators.score.warmth import Drive, assumed, hall

QUANTITIES = ("volume", "concentration", "water_lost", "concentrate_lost", "water_24h",
              "concentrate_24h")  # fmt: skip
"""What is compared. [L], [1], [L], [L], [L/d], [L/d]"""
_POUR = 0.06  # spread of what one reading's interval may bring, over the volume at the brim
_RESIDUE = 0.02  # what a drained sump keeps
_WITH_OIL = 0.3  # fluid that is skimmed off with the oil [L]
_SKIMMED, _WIPED = 0.15, 0.05  # what skimming leaves of the oil, wiping of the film


@dataclass(slots=True)
class Account:
    """A filter's word on every quantity at each hour; NaN where it says nothing."""

    marks: list[int]
    """Moments. [ms]"""
    values: dict[str, list[float]] = field(default_factory=dict)
    sds: dict[str, list[float]] = field(default_factory=dict)
    effects: list[tuple[str, int, float]] = field(default_factory=list)
    """Of each spoilt reading: signal, moment [ms], how far off in sd's. [1]"""

    def say(self, said: dict[str, tuple[float, float]]) -> None:
        """Add the word of one hour."""
        for name in QUANTITIES:
            value, sd = said.get(name, (math.nan, math.nan))
            self.values.setdefault(name, []).append(value)
            self.sds.setdefault(name, []).append(sd)


class Yardstick:
    """Runs once through what one sump's instruments and people said."""

    def __init__(self, witness: Witness, *, holdup_told: bool = True) -> None:
        self.witness = witness
        offsets = offsets_of(witness, holdup_told=holdup_told)
        rates = rates_of(witness)
        self._motion = Motion(witness.spec, offsets, rates, witness.brim)
        self._eye = Eye(witness, offsets)
        self._meters = Meters(witness)
        self._drive = Drive(witness)
        self._warmth, self._hall = assumed(witness), hall(witness)
        self._zero = (0.5 * offsets.sludge, offsets.zero**2 + 0.25 * offsets.sludge**2)
        self.belief = _prior(witness, offsets, rates, self._motion)
        self._at = self._looked = witness.begin
        self._hours = 0
        self._newest: Happening | None = None
        self._before_burst: list[tuple[float, float]] | None = None
        self._begun: set[int] = set()

    def run(self, marks: Sequence[int]) -> Account:
        """Go through everything: what is known at each mark [ms], a whole hour each."""
        account = Account(list(marks))
        checks, services = iter(self.witness.checks), iter(self.witness.services)
        next_check, next_service = next(checks, None), next(services, None)
        waiting = iter(marks)
        mark = next(waiting, None)
        for sight in self.witness.sights:
            while mark is not None and mark < sight.at:
                self._tell(mark, sight, account)
                mark = next(waiting, None)
            next_service = self._serve(sight.at, next_service, services)
            self._see(sight, account)
            next_check = self._check(sight, next_check, checks)
            if mark is not None and mark == sight.at:
                self._tell(mark, sight, account)
                mark = next(waiting, None)
        while mark is not None:
            self._tell(mark, self.witness.sights[-1], account)
            mark = next(waiting, None)
        return account

    # --- time ------------------------------------------------------------------------------------

    def _move(self, at: int, *, running: bool) -> None:
        """Let time pass up to a moment. [ms]"""
        if at > self._at:
            mean = self.belief.mean
            now = Now(
                volume=max(float(mean[p.V]), 1.0),
                strength=max(float(mean[p.C]), 0.0),
                drive=self._drive.at(self._eye.celsius),
                running=running,
            )
            transition, noise, twice = self._motion.over(at - self._at, mean, now)
            self.belief.move(transition, noise)
            self.belief.shift(p.CONCENTRATE, -twice)
            self._at = at

    def _see(self, sight: Sight, account: Account) -> None:
        """Take in all that was read at one moment, after what was poured before it."""
        before, eye = self._looked, self._eye
        self._looked = sight.at
        self._feel(sight)
        self._burst(before, sight.at)
        self._move(sight.at, running=sight.running)
        pours = self._pouring(before, sight.at)
        grown = self._meters.grown(sight)
        if pours or grown:
            self._by_amount()
            for event in pours:
                self._unknown(event)
            for meter, counted in grown:
                self._meters.book(self.belief, meter, counted)
        if "level" in sight.values:
            eye.stir(sight)
            self._note(account, "level", sight.at, eye.see_level(self.belief, sight))
        if pours or grown:
            self._hear(before, sight.at)
            self._by_strength()
        if "brix" in sight.values:
            self._note(account, "brix", sight.at, eye.see_brix(self.belief, sight))

    def _feel(self, sight: Sight) -> None:
        """Temperatures of fluid and air, as measured or as they are to be expected."""
        signals, eye = self.witness.spec.signals, self._eye
        if signals.temperature is None:
            eye.celsius = float(self._warmth[self.witness.place(sight.at)])
        else:
            warm = celsius_of(sight.values, signals.temperature.unit)
            eye.celsius = warm if warm is not None else eye.celsius
        if signals.air_temperature is None:
            eye.air = float(self._hall[self.witness.place(sight.at)])
        else:
            air = celsius_of(sight.values, signals.air_temperature.unit, "air_temperature")
            eye.air = air if air is not None else eye.air

    def _burst(self, before: int, now: int) -> None:
        """While something runs in or out that is stronger than any usual loss, all is open."""
        belief, rates = self.belief, (p.DRY_REST, p.MIX_REST)
        size = sum(b.size for b in self.witness.bursts if b.begin < now and b.end >= before)
        if size > 0.0:
            if self._before_burst is None:
                self._before_burst = [belief.sum((rate,), np.ones(1)) for rate in rates]
            for rate in rates:
                belief.hit((rate,), np.ones(1), 0.0, size * size * (now - before) / HOUR)
        elif self._before_burst is not None:
            for rate, (mean, sd) in zip(rates, self._before_burst, strict=True):
                belief.forget(rate, mean, sd * sd)
            self._before_burst = None

    def _by_amount(self) -> None:
        """Keep the concentrate for a moment, to which what is poured adds up."""
        volume, strength = self.belief.mean[[p.V, p.C]]
        slopes = np.array(((1.0, 0.0), (strength, volume)))
        self.belief.bend((p.V, p.C), slopes, np.array((volume, strength * volume)))

    def _by_strength(self) -> None:
        """Keep the concentration again, which no loss of mix changes."""
        volume, concentrate = self.belief.mean[[p.V, p.C]]
        volume = max(volume, 1.0)
        strength = concentrate / volume
        slopes = np.array(((1.0, 0.0), (-strength / volume, 1.0 / volume)))
        self.belief.bend((p.V, p.C), slopes, np.array((volume, strength)))

    @staticmethod
    def _note(account: Account, signal: str, at: int, effect: float | None) -> None:
        """Keep how far off a spoilt reading was."""
        if effect is not None:
            account.effects.append((signal, at, effect))

    def _check(self, sight: Sight, check: Check | None, rest: Iterator[Check]) -> Check | None:
        """Take in checks made up to now: the next one."""
        while check is not None and check.at <= sight.at:
            self._eye.see_check(self.belief, check, sight)
            check = next(rest, None)
        return check

    # --- events ----------------------------------------------------------------------------------

    def _pouring(self, before: int, now: int) -> list[Happening]:
        """Events in which something came or went since the last reading; metered ones are not."""
        found: list[Happening] = []
        for i, event in enumerate(self.witness.happenings):
            if event.at > now:
                break
            if i not in self._begun:
                self._begun.add(i)
                self._begin(event)
            if event.until > before and not self._meters.counts(event):
                found.append(event)
        return found

    def _begin(self, event: Happening) -> None:
        """Start a count of its own for the newest event."""
        belief = self.belief
        self._newest = event
        belief.forget(p.POURED, 0.0, 0.0)
        belief.forget(p.POURED_CONCENTRATE, 0.0, 0.0)
        if event.kind == "charge":
            belief.copy(p.LOST, p.BASE)
            belief.copy(p.CONCENTRATE, p.BASE + 1)
        if event.foreign:
            belief.hit((p.FACTOR,), np.ones(1), 0.0, 0.1**2)

    def _unknown(self, event: Happening) -> None:
        """An unknown amount, as wide as may be, between two readings."""
        belief, spread = self.belief, _POUR * self.witness.brim
        if event.all:
            belief.bend((p.V, p.C), _RESIDUE * np.eye(2))
            belief.hit((p.V,), np.ones(1), 0.0, (0.1 * spread) ** 2)
            return
        if event.kind == "charge":
            spread *= 4.0
        strength = 0.5 * self._target()
        if not event.inflow:
            strength = belief.mean[p.C] / max(belief.mean[p.V], 1.0)
        sign = 1.0 if event.inflow else -1.0
        four = (p.V, p.C, p.POURED, p.POURED_CONCENTRATE)
        shape = np.array((sign, sign * strength, 1.0, strength))
        belief.hit(four, shape, 0.0, spread**2)
        if event.inflow:
            own = spread * (0.5 if event.foreign else self._target())
            belief.hit((p.C, p.POURED_CONCENTRATE), np.ones(2), 0.0, own**2)

    def _target(self) -> float:
        """Concentration aimed at. [1]"""
        spec = self.witness.spec
        return self.witness.scenario.fluid(spec.concentrate).target_pct / 100.0

    def _hear(self, before: int, now: int) -> None:
        """What was said of the newest event counts from its last drop on."""
        event = self._newest
        if event is None or event.told is None or not before < event.until <= now:
            return
        if self._meters.counts(event) or event.all:
            return
        told, belief = event.told, self.belief
        wide, poured = 1.0 + belief.mean[p.AREA], belief.mean[p.POURED]
        row = np.array((wide, poured))
        surprise = told.volume - wide * poured
        belief.observe((p.POURED, p.AREA), row, surprise, told.volume_sd**2)
        if event.inflow and told.volume > 0.0:
            strength = told.concentrate / told.volume
            poured, solute = belief.mean[[p.POURED, p.POURED_CONCENTRATE]]
            strong = 1.0 + belief.mean[p.FACTOR]
            row = np.array((-strength, strong, solute))
            sd = max(told.strength_sd * told.volume, 1e-3)
            three = (p.POURED, p.POURED_CONCENTRATE, p.FACTOR)
            belief.observe(three, row, strength * poured - strong * solute, sd * sd)

    def _serve(self, now: int, service: Service | None, rest: Iterator[Service]) -> Service | None:
        """Skimmed, wiped, spilt, hung anew up to now: the next one."""
        belief = self.belief
        while service is not None and service.at <= now:
            if service.kind == "skimmed":
                belief.bend((p.OIL,), np.array([[_SKIMMED]]))
                belief.shift(p.V, -_WITH_OIL)
            elif service.kind == "prism-cleaned":
                belief.bend((p.FILM,), np.array([[_WIPED]]))
            elif service.kind == "oil-spill":
                belief.hit((p.OIL,), np.ones(1), 0.0, service.size**2)
            elif service.kind == "hung-anew":
                belief.forget(p.ZERO, *self._zero)
                belief.bend((p.FILM,), np.array([[_WIPED]]))
                belief.bend((p.OIL,), np.array([[_RESIDUE]]))
            service = next(rest, None)
        return service

    # --- what is known ---------------------------------------------------------------------------

    def _tell(self, mark: int, sight: Sight, account: Account) -> None:
        """Say what is known at a whole hour, and keep the losses up to it for a day."""
        self._move(mark, running=sight.running)
        belief, place = self.belief, p.hour(self._hours)
        said = {
            "volume": true_product(belief, (p.V,), np.ones(1), (p.AREA,)),
            "concentration": true_product(belief, (p.C,), np.ones(1), (p.FACTOR,)),
            "water_lost": water_between(belief, p.BASE),
            "concentrate_lost": concentrate_between(belief, p.BASE),
        }
        if self._hours >= p.WINDOW:
            said["water_24h"] = water_between(belief, place)
            said["concentrate_24h"] = concentrate_between(belief, place)
        belief.copy(p.LOST, place)
        belief.copy(p.CONCENTRATE, place + 1)
        self._hours += 1
        account.say(said)


def rates_of(witness: Witness) -> tuple[RateNoise, RateNoise]:
    """Rate noise of the dry loss of water and of the loss of mix, fitted to the truth."""
    tracks = witness.minutes
    running, even = tracks["running"], np.ones(len(tracks["running"]))
    usual = even.copy()
    for burst in witness.bursts:
        usual[witness.place(burst.begin) : witness.place(burst.end) + 2] = 0.0
    strength = tracks["concentrate"] / np.maximum(tracks["volume"], 1e-6)
    mix = np.diff(tracks["concentrate_lost"], prepend=0.0) / np.maximum(strength, 1e-6)
    dry = tracks["water_lost"] - np.cumsum((1.0 - strength) * mix)
    drive = Drive(witness)
    driven = np.array([drive.at(celsius) for celsius in assumed(witness).tolist()])
    return fit(dry, running, driven, usual), fit(np.cumsum(mix), running, even, usual)


def _prior(
    witness: Witness, offsets: Offsets, rates: tuple[RateNoise, RateNoise], motion: Motion
) -> Gaussian:
    """Before any reading: a sump about its target, offsets of their own spread."""
    mean, sds = np.zeros(p.SIZE), np.zeros(p.SIZE)
    fluid = witness.scenario.fluid(witness.spec.concentrate)
    mean[p.V], sds[p.V] = 0.8 * witness.brim, 0.3 * witness.brim
    mean[p.C] = sds[p.C] = fluid.target_pct / 100.0
    for noise, place in zip(rates, (p.DRY_REST, p.MIX_REST), strict=True):
        mean[[place, place + 1]] = noise.mean
        sds[[place, place + 1]] = abs(noise.mean)
    for place, (sd, _) in motion.memories.items():
        sds[place] = sd
    sds[[p.ZERO, p.AREA, p.HOLDUP]] = offsets.zero, offsets.area, offsets.holdup
    sds[[p.BRIX_ZERO, p.FACTOR]] = offsets.brix, offsets.factor
    sds[[p.WATER_GAIN, p.CONCENTRATE_GAIN]] = offsets.meter, offsets.concentrate_meter
    fixed = {
        p.OIL: offsets.oil,
        p.OIL_RATE: offsets.oil_rate,
        p.FILM_RATE: offsets.film_rate,
        p.FRESH: offsets.water,
        p.KELVIN: offsets.kelvin,
        p.AIR: offsets.air,
    }
    for place, size in fixed.items():
        mean[place] = sds[place] = 0.5 * size
    mean[p.ZERO] = 0.5 * offsets.sludge
    sds[p.ZERO] = math.hypot(offsets.zero, 0.5 * offsets.sludge)
    return Gaussian(mean, sds)


def marks_of(begin: int, end: int) -> Iterable[int]:
    """All whole hours of a run from its beginning on. [ms]"""
    return range(begin, end + MINUTE, HOUR)
