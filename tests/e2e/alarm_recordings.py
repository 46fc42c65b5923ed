"""Recordings made by hand, minute by minute, and the alarms that a replay of them tells.

A sump of 399 L at its target (380 mm in a box of 1.05 L/mm), at 8 % (6.4 °Brix x 1.25). With its
pumps running 35 L are up in the machine, so that the level sensor reads 33 mm less than at rest.
"""

import io
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random

from advisor.estimate import SCHEMA
from advisor.words import HOUR, MINUTE, Instant
from agent.arrival import Arrival, Tick
from agent.instants import text_of
from agent.plant.load import parse_plant
from agent.plant.plant import Plant
from agent.recording import line_of, read_recording
from agent.replay import replay
from agent.store.ledger import Ledger

START: Instant = 1_772_431_200_000
"""2026-03-02T06:00:00Z, a Monday."""

PREFIX = "millpond/shop"

_PLANT = """
[plant]
id = "shop"
timezone = "Europe/Dublin"

[broker]
url = "mqtt://127.0.0.1:1883"

[checks]
look_d = 400

[[concentrate]]
id = "semi-a"
refractometer_factor = 1.25
band_pct = [6.0, 10.0]
target_pct = 8.0
ph_band = [8.6, 9.6]
conductivity_band_ms_cm = [1.0, 4.0]
hardness_limit_mg_l = 600
chloride_limit_mg_l = 150

[[concentrate]]
id = "synth-b"
refractometer_factor = 2.0
band_pct = [4.0, 8.0]
target_pct = 6.0

[[supply]]
id = "drum-1"
kind = "drum"
concentrate = "semi-a"
volume_l = 200

[[supply]]
id = "drum-2"
kind = "drum"
concentrate = "synth-b"
volume_l = 200
"""

_SUMP = """
[[sump]]
id = "mill-{n}"
concentrate = "semi-a"
tank = {{ shape = "box", length_mm = 1500, width_mm = 700, height_mm = 450 }}
level_mm = {{ low = 180, target = 380, brim = 430 }}
holdup_l = 35
signals.level = {{ topic = "shop/{n}/level", unit = "mm", sd = 1.5, interval_s = 60 }}
signals.brix = {{ topic = "shop/{n}/brix", sd = 0.08, interval_s = 60 }}
signals.running = {{ topic = "shop/{n}/running" }}
signals.ph = {{ topic = "shop/{n}/ph", interval_s = 60 }}
signals.conductivity = {{ topic = "shop/{n}/conductivity", unit = "mS/cm", interval_s = 60 }}
"""

SUMP = "mill-0"
NOISE = {"level": 0.8, "brix": 0.04, "ph": 0.02, "conductivity": 0.02}
"""Sds of what the sensors of these recordings say: a sensor that stands still is a broken one."""


def a_plant(sumps: int = 1, more: str = "") -> Plant:
    """A plant of so many equal sumps; `more` follows the last of them."""
    text = _PLANT + "".join(_SUMP.format(n=n) for n in range(sumps))
    return parse_plant(text + more, Path("/plants/shop.toml"))


class Recording:
    """A recording that grows minute by minute.

    Parameters
    ----------
    sumps : int
        How many sumps there are; all say the same.
    step : int
        Minutes between two readings of a signal.
    """

    def __init__(self, sumps: int = 1, *, step: int = 1) -> None:
        self.now = START
        self.items: list[Arrival | Tick] = []
        self._sumps = sumps
        self._step = step
        self._noise = Random(11)
        self.values: dict[str, float] = {"level": 345.0, "brix": 6.4, "running": 1.0}

    def minutes(self, count: int, *, mute: Iterable[str] = (), **to: float) -> "Recording":
        """Let minutes pass in which signals go evenly to other values, and the mute say nothing."""
        unsaid = set(mute)
        begin = {signal: self.values.get(signal, value) for signal, value in to.items()}
        for minute in range(self._step, count + 1, self._step):
            for signal, value in to.items():
                self.values[signal] = begin[signal] + (value - begin[signal]) * minute / count
            self.now += self._step * MINUTE
            for signal, value in self.values.items():
                if signal not in unsaid:
                    self._read(signal, value)
            self.items.append(Tick(self.now))
        return self

    def hours(self, count: float, *, mute: Iterable[str] = (), **to: float) -> "Recording":
        """Let hours pass."""
        return self.minutes(round(60 * count), mute=mute, **to)

    def now_reads(self, **to: float) -> "Recording":
        """Let signals say something else from now on."""
        self.values |= to
        return self

    def say(self, topic: str, **body: object) -> "Recording":
        """Let somebody say something under the agent's prefix."""
        payload = json.dumps(body).encode()
        self.items.append(Arrival(self.now, f"{PREFIX}/{topic}", payload))
        return self

    def check(self, kind: str, value: float, **more: object) -> "Recording":
        """Let somebody check the first sump."""
        return self.say(f"{SUMP}/check", kind=kind, value=value, **more)

    def _read(self, signal: str, value: float) -> None:
        """Let every sump's sensor say a value, with its noise."""
        for sump in range(self._sumps):
            said = value + self._noise.gauss(0.0, NOISE.get(signal, 0.0))
            arrival = Arrival(self.now - 30_000, f"shop/{sump}/{signal}", f"{said:.3f}".encode())
            self.items.append(arrival)


@dataclass(frozen=True)
class Told:
    """One alarm as it was told."""

    at: Instant
    about: str
    """Sump, ``supply/ID`` or nothing, and the alarm, as in the topic."""
    state: str
    body: dict[str, object]


class Replayed:
    """What a replay of a recording told of alarms."""

    def __init__(self, recording: Recording, plant: Plant | None = None) -> None:
        lines = [line_of(item) for item in recording.items]
        out = io.BytesIO()
        ledger = Ledger.open(None, belief_schema=SCHEMA)
        replay(plant or a_plant(recording._sumps), ledger, read_recording(lines), out)
        self.changes = ledger.changes(0, recording.now + 1)
        ledger.close()
        self.messages = [
            item
            for item in read_recording(out.getvalue().splitlines())
            if isinstance(item, Arrival)
        ]
        self.told = [
            Told(item.at, _about(item.topic), body["state"], body)
            for item in self.messages
            if "/alarm/" in item.topic or item.topic.startswith(f"{PREFIX}/alarm/")
            if item.payload
            for body in [json.loads(item.payload)]
        ]

    def states(self, alarm: str) -> list[str]:
        """States in which an alarm was told, oldest first."""
        return [told.state for told in self.told if told.about == alarm]

    def first(self, alarm: str, state: str = "unacknowledged") -> Told:
        """When an alarm was first told in a state."""
        return next(t for t in self.told if (t.about, t.state) == (alarm, state))

    def raised(self) -> set[str]:
        """Alarms that asked for somebody."""
        return {told.about for told in self.told if told.state == "unacknowledged"}

    def timeline(self) -> list[str]:
        """All that was told of alarms, for a person who looks why a test fails."""
        return [f"{(t.at - START) / HOUR:.2f} h {t.about} {t.state}" for t in self.told]


def _about(topic: str) -> str:
    """Alarm and what it is about, from its topic."""
    about, _, alarm = topic.removeprefix(PREFIX + "/").rpartition("alarm/")
    return about + alarm


def said(body: dict[str, object], words: Sequence[str]) -> bool:
    """Whether the sentences of an alarm have these words."""
    text = f"{body['cause']} {body['consequence']} {body['action']}"
    return all(word in text for word in words)


def text(at: Instant) -> str:
    """A moment on the wire."""
    return text_of(at)
