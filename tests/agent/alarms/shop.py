"""A plant of a few sumps, run through the pipeline with a recording made by hand."""

import json
from collections.abc import Iterable
from pathlib import Path

from advisor.estimate import SCHEMA
from advisor.words import MINUTE, Instant
from agent.arrival import Arrival, Outgoing, Tick
from agent.pipeline import Pipeline
from agent.plant.load import parse_plant
from agent.plant.plant import Plant
from agent.store.ledger import Ledger

START: Instant = 1_772_431_200_000
"""2026-03-02T06:00:00Z, a Monday."""

PREFIX = "millpond/shop"

_HEAD = """
[plant]
id = "shop"
timezone = "Europe/Dublin"
{plant}

[broker]
url = "mqtt://127.0.0.1:1883"

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
name = "Drum 1"
kind = "drum"
concentrate = "semi-a"
volume_l = 200
reorder_l = 50

[[supply]]
id = "drum-2"
kind = "drum"
concentrate = "synth-b"
"""

_SUMP = """
[[sump]]
id = "mill-{number}"
concentrate = "semi-a"
tank = {{ shape = "box", length_mm = 1500, width_mm = 700, height_mm = 450 }}
level_mm = {{ low = 180, target = 380, brim = 430 }}
holdup_l = 35
signals.level = {{ topic = "shop/{number}/level", unit = "mm", sd = 1.5, interval_s = 60 }}
signals.brix = {{ topic = "shop/{number}/brix", sd = 0.08, interval_s = 60, needs_flow = false }}
signals.running = {{ topic = "shop/{number}/running" }}
signals.ph = {{ topic = "shop/{number}/ph" }}
signals.conductivity = {{ topic = "shop/{number}/conductivity", unit = "mS/cm" }}
"""


def a_shop(sumps: int = 4, *, plant: str = "", more: str = "") -> Plant:
    """A plant of so many equal sumps; `plant` goes into its own table, `more` follows the rest."""
    text = _HEAD.format(plant=plant) + "".join(_SUMP.format(number=n) for n in range(sumps))
    return parse_plant(text + more, Path("/plants/shop.toml"))


class Shop:
    """Runs a shop through the pipeline, minute by minute, and keeps what it publishes."""

    def __init__(self, plant: Plant | None = None, ledger: Ledger | None = None) -> None:
        self.plant = a_shop() if plant is None else plant
        self.ledger = Ledger.open(None, belief_schema=SCHEMA) if ledger is None else ledger
        self.pipeline = Pipeline(self.plant, self.ledger)
        self.now = START
        self.told: list[tuple[Instant, Outgoing]] = []
        self.values = {"level": 340.0, "brix": 6.4, "running": 1.0}

    def restart(self) -> None:
        """Begin anew with what the store holds."""
        self.pipeline = Pipeline(self.plant, self.ledger)

    def take(self, *items: Arrival | Tick) -> None:
        """Take items in and commit what came of them."""
        for item in items:
            self.pipeline.take(item)
        self.told += self.pipeline.published
        self.ledger.commit(self.pipeline.seal())

    def say(self, topic: str, **body: object) -> None:
        """Let somebody say something under the agent's prefix, now."""
        self.take(Arrival(self.now, f"{PREFIX}/{topic}", json.dumps(body).encode()))

    def read(self, sump: int, signal: str, value: float) -> None:
        """Let a sensor say something now."""
        self.take(Arrival(self.now, f"shop/{sump}/{signal}", f"{value}".encode()))

    def minutes(
        self,
        count: int,
        *,
        silent: Iterable[int] = (),
        mute: Iterable[str] = (),
        **values: float,
    ) -> None:
        """Let minutes pass; every sump but the silent ones says all but the mute signals."""
        quiet, unsaid, self.values = set(silent), set(mute), self.values | values
        for _ in range(count):
            self.now += MINUTE
            items: list[Arrival | Tick] = [
                Arrival(self.now - 30_000 + sump, f"shop/{sump}/{signal}", f"{value}".encode())
                for sump in range(len(self.plant.sumps))
                if sump not in quiet
                for signal, value in self.values.items()
                if signal not in unsaid
            ]
            self.take(*items, Tick(self.now))

    def drift(self, signal: str, to: float, minutes: int) -> None:
        """Let a signal of all sumps go evenly to another value."""
        begin = self.values[signal]
        for minute in range(1, minutes + 1):
            self.minutes(1, **{signal: round(begin + (to - begin) * minute / minutes, 3)})

    def sleep(self, count: int) -> None:
        """Let minutes pass in which nothing is said at all."""
        self.minutes(count, silent=range(len(self.plant.sumps)))

    def bodies(self, about: str, alarm: str) -> list[dict[str, object]]:
        """What was told of an alarm, oldest first."""
        topic = f"{PREFIX}/{about}/alarm/{alarm}" if about else f"{PREFIX}/alarm/{alarm}"
        return [json.loads(m.payload) for _, m in self.told if m.topic == topic and m.payload]

    def states(self, about: str, alarm: str) -> list[object]:
        """States in which an alarm was told, oldest first."""
        return [body["state"] for body in self.bodies(about, alarm)]

    def standing(self) -> dict[str, object]:
        """State of every alarm that is retained, by its topic under the prefix."""
        kept: dict[str, object] = {}
        for _, message in self.told:
            if "/alarm/" in message.topic and message.retain:
                kept[message.topic.removeprefix(PREFIX + "/")] = message.payload
        return {t: json.loads(p)["state"] for t, p in kept.items() if p}  # type: ignore[arg-type]

    def answers(self) -> list[dict[str, object]]:
        """Answers to orders, oldest first."""
        return [json.loads(m.payload) for _, m in self.told if m.topic.endswith("alarm-answer")]
