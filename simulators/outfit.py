"""Fits the instruments of a scenario to a machine."""

from collections.abc import Callable
from dataclasses import dataclass, field

from simulators.draw_machine import Drawn
from simulators.draws import Draws
from simulators.faults import FaultyLine, windows
from simulators.instants import Calendar
from simulators.instrument import Instrument, Reader, Switch, Wire
from simulators.payloads import encoder
from simulators.scenario.load import Scenario
from simulators.scenario.signals import PlainSpec, SignalName, SignalSpec, SwitchSpec
from simulators.scenario.sump import SumpSpec
from simulators.sensors.brix import InlineRefractometer
from simulators.sensors.level import LevelSensor
from simulators.sensors.plain import PlainSensor, Totaliser, plain_truth

PLAIN: tuple[SignalName, ...] = (
    "temperature",
    "ph",
    "conductivity",
    "air_temperature",
    "humidity",
)


@dataclass(slots=True)
class Outfit:
    """The instruments of one machine."""

    instruments: list[Instrument] = field(default_factory=list)
    running: Switch | None = None
    cutting: Switch | None = None
    level: LevelSensor | None = None
    brix: InlineRefractometer | None = None
    water_meter: Totaliser | None = None
    concentrate_meter: Totaliser | None = None


class Outfitter:
    """Makes the outfit of one machine; every instrument has streams of its own."""

    def __init__(self, scenario: Scenario, spec: SumpSpec, calendar: Calendar, seed: int) -> None:
        self._scenario = scenario
        self._spec = spec
        self._calendar = calendar
        self._seed = seed
        self._end = calendar.begin + round(scenario.days * 86_400_000)

    def outfit(self, drawn: Drawn) -> Outfit:
        """Fit everything that the scenario names."""
        signals, outfit = self._spec.signals, Outfit()
        own = (self._seed, self._spec.id)
        if signals.level is not None:
            brim = self._spec.level_mm.brim
            outfit.level = LevelSensor(signals.level, drawn.drawing, brim, own)
            self._add(outfit, "level", signals.level, outfit.level)
        if signals.brix is not None:
            outfit.brix = InlineRefractometer(signals.brix, drawn.optics, own)
            self._add(outfit, "brix", signals.brix, outfit.brix)
        if signals.water_meter is not None:
            outfit.water_meter = Totaliser(signals.water_meter, self._draws("water_meter"))
            self._add(outfit, "water_meter", signals.water_meter, outfit.water_meter)
        if signals.concentrate_meter is not None:
            meter = Totaliser(signals.concentrate_meter, self._draws("concentrate_meter"))
            outfit.concentrate_meter = meter
            self._add(outfit, "concentrate_meter", signals.concentrate_meter, meter)
        for name in PLAIN:
            self._plain(outfit, name)
        outfit.running = self._switch("running", signals.running)
        outfit.cutting = self._switch("cutting", signals.cutting)
        return outfit

    def _draws(self, *names: str) -> Draws:
        """A stream of this sump."""
        return Draws.named(self._seed, self._spec.id, *names)

    def _plain(self, outfit: Outfit, name: SignalName) -> None:
        """Fit a plain sensor, if there is one of that name."""
        spec: PlainSpec | None = getattr(self._spec.signals, name)
        if spec is not None:
            truth = plain_truth(name, spec.unit)
            self._add(outfit, name, spec, PlainSensor(spec, truth, self._draws(name, "white")))

    def _add(self, outfit: Outfit, name: SignalName, spec: SignalSpec, reader: Reader) -> None:
        """Wire one instrument."""
        wire = self._wire(name, spec)
        outfit.instruments.append(Instrument(name, reader, self._line(name), wire))

    def _switch(self, name: SignalName, spec: SwitchSpec | None) -> Switch | None:
        """Wire a switch, if there is one."""
        if spec is None:
            return None
        wire = self._wire(name, spec)
        wire.retain = spec.retained
        return Switch(name, spec, self._line(name), wire)

    def _line(self, name: SignalName) -> FaultyLine:
        """Faults of one signal."""
        own = tuple(fault for fault in self._spec.fault if fault.signal == name)
        found = windows(own, self._calendar, self._end, self._draws(name, "when"))
        return FaultyLine(found, self._draws(name, "faults"))

    def _wire(self, name: SignalName, spec: SignalSpec) -> Wire:
        """Topic, spacing and form of one signal."""
        unit = getattr(spec, "unit", "")
        wire = Wire(
            topic_of(self._scenario, self._spec, name),
            encoder(spec, self._spec.id, name, unit),
            spec.interval_s,
            self._calendar.begin,
        )
        wire.resolution = getattr(spec, "resolution", 1.0)
        wire.phase = round(self._draws(name, "phase").between(0.0, 900.0))
        return wire


def topic_of(scenario: Scenario, sump: SumpSpec, name: str) -> str:
    """Topic of a signal, ``PLANT/SUMP/SIGNAL`` unless the scenario says otherwise."""
    spec: SignalSpec = getattr(sump.signals, name)
    return spec.topic or f"{scenario.plant.id}/{sump.id}/{name}"


Telling = Callable[[str, dict[str, object]], None]
"""Publishes what people and stations say: last part of the topic, body."""
