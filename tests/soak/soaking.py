"""One soak: a stream, troubles, and the books closed at the end, message by message."""

import io
import json
import os
import sqlite3
import time
from collections import Counter
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from advisor.words import Instant
from agent.arrival import Arrival
from agent.instants import instant_of
from agent.plant.load import load_plant
from agent.recording import read_recording
from agent.replay import replay
from agent.store.ledger import Ledger
from tests.bench.starting import _resident_mb
from tests.brokers import Mosquitto, a_mosquitto
from tests.clients import Gateway, Listener, a_gateway, a_listener
from tests.e2e.plant_north import RunningAgent
from tests.historians import TOKEN, StrictHistorian, a_strict_historian
from tests.soak.stream import CLOCK, PREFIX, Plan, Sent, as_items, plant_text, stream
from tests.soak.trouble import TROUBLES, schedule
from tests.waiting import wait_until

AHEAD: Instant = 40
"""Rounds of the stream that are sent ahead of what the agent has stored at most. [1]"""


class SoakedAgent(RunningAgent):
    """The agent of the soak, started again and again."""

    def start_again(self) -> None:
        """Start it, once it is gone."""
        self.process = self._started()


@dataclass
class Outcome:
    """What a soak came to."""

    sent: Counter[str] = field(default_factory=Counter)
    troubles: Counter[str] = field(default_factory=Counter)
    memory_mb: list[float] = field(default_factory=list)
    store_mb: list[float] = field(default_factory=list)
    seconds: float = 0.0
    failures: list[str] = field(default_factory=list)
    """What does not add up; empty: the books are closed."""


class Soak:
    """Runs a plan with so many troubles.

    Parameters
    ----------
    folder : Path
        Takes everything.
    plan : Plan
        What is sent.
    troubles : int
        How often something goes wrong. [1]
    """

    def __init__(self, folder: Path, plan: Plan, troubles: int) -> None:
        self._folder = folder
        self._plan = plan
        self._troubles = troubles
        self.outcome = Outcome()
        self.broker: Mosquitto
        self.historian: StrictHistorian
        self.agent: SoakedAgent
        self._refused: set[str] = set()
        self._readings: set[tuple[str, str, Instant]] = set()
        self._reports = 0

    @property
    def store(self) -> Path:
        """The agent's store."""
        return self._folder / "bench.db"

    def run(self) -> Outcome:
        """Run it; what came of it."""
        began = time.perf_counter()
        with (
            a_mosquitto(self._folder / "broker") as self.broker,
            a_strict_historian() as self.historian,
        ):
            plant = self._folder / "bench.toml"
            text = plant_text(self.broker.port, self._plan.sumps, self.historian.url)
            plant.write_text(text, "utf-8")
            os.environ["MILLPOND_HISTORIAN_TOKEN"] = TOKEN
            self.agent = SoakedAgent(plant, ("--clock-topic", CLOCK), within=40.0)
            try:
                self._send_all(plant)
            finally:
                self.agent.process.kill()
                self.agent.process.wait()
        self.outcome.seconds = time.perf_counter() - began
        return self.outcome

    def _send_all(self, plant: Path) -> None:
        """Send the stream with its troubles; then hold the books against it."""
        total = sum(1 for _ in stream(self._plan))
        troubles = schedule(total, self._troubles, self._plan.seed)
        with (
            a_gateway(self.broker.port) as gateway,
            a_listener(self.broker.port, f"{PREFIX}/+/state") as listener,
        ):
            for number, sent in enumerate(stream(self._plan)):
                if number in troubles:
                    TROUBLES[troubles[number]](self)
                    self.outcome.troubles[troubles[number]] += 1
                self._send(gateway, sent)
                if number % max(1, total // 40) == 0:
                    self._measure()
                    del listener.heard[:-1000]
            gateway.wait(120.0)
            self.historian.answer = None
            last = instant_of(sent.payload)
            wait_until(lambda: (self._clock() or 0) >= last, "the last tick in the store", 600.0)
            self._close_books()
            self._compare_states(plant, listener)
            self._close_historians_books()

    def _send(self, gateway: Gateway, sent: Sent) -> None:
        """Send one message and write it into the books; wait where the agent is far behind."""
        gateway.send(sent.topic, sent.payload)
        self.outcome.sent[sent.becomes] += 1
        if sent.becomes == "refused":
            self._refused.add(sent.payload)
        elif sent.becomes == "reading" and sent.key is not None:
            self._readings.add(sent.key)
        elif sent.becomes == "report":
            self._reports += 1
        elif sent.becomes == "clock" and self.outcome.sent["clock"] % 10 == 0:
            target = instant_of(sent.payload) - AHEAD * self._plan.interval
            wait_until(lambda: (self._clock() or target) >= target, "the agent to keep up", 120.0)

    def _clock(self) -> Instant | None:
        """Stamp of the newest item in the store."""
        rows = self._rows("SELECT at FROM clock")
        return int(rows[0][0]) if rows else None

    def _rows(self, query: str) -> list[tuple[object, ...]]:
        """What the store answers; nothing while it cannot."""
        try:
            with closing(sqlite3.connect(self.store, timeout=30.0)) as store:
                return store.execute(query).fetchall()
        except sqlite3.OperationalError:
            return []

    def _measure(self) -> None:
        """Note memory and size."""
        if self.agent.process.poll() is None:
            self.outcome.memory_mb.append(_resident_mb(self.agent.process.pid))
        files = [self.store, self.store.with_name(self.store.name + "-wal")]
        self.outcome.store_mb.append(sum(f.stat().st_size for f in files if f.exists()) / 1e6)

    def _close_books(self) -> None:
        """Every reading once, every malformed message refused, every report kept."""
        rows = self._rows("SELECT sump, name, at FROM reading JOIN signal ON id = signal")
        stored = [(str(sump), str(name), int(str(at))) for sump, name, at in rows]
        self._expect(len(stored) == len(set(stored)), "a reading is stored twice")
        self._expect(set(stored) == self._readings, _difference(set(stored), self._readings))
        found = {str(row[0]) for row in self._rows("SELECT excerpt FROM refusal")}
        self._expect(found == self._refused, f"refused: {_difference(found, self._refused)}")
        reports = self._rows("SELECT count(*), count(DISTINCT sump || id) FROM entry")[0]
        self._expect(reports == (self._reports, self._reports), f"reports: {reports}")
        check = self._rows("PRAGMA integrity_check")
        self._expect(check == [("ok",)], f"integrity: {check}")

    def _close_historians_books(self) -> None:
        """The historian has each used and unused reading once, with its value."""
        wanted = len(self._readings)
        wait_until(lambda: len(self.historian.values("reading")) >= wanted, "the historian", 120.0)
        stored = [float(str(v[0])) for v in self._rows("SELECT value FROM reading")]
        self._expect(
            sorted(self.historian.values("reading")) == sorted(stored), "the historian's values"
        )

    def _compare_states(self, plant: Path, listener: Listener) -> None:
        """The last state of each sump is that of a run without troubles."""
        out = io.BytesIO()
        replay(load_plant(plant), Ledger.open(None), as_items(self._plan), out)
        expected: dict[str, object] = {}
        for item in read_recording(out.getvalue().splitlines()):
            if isinstance(item, Arrival) and item.topic.endswith("/state"):
                expected[item.topic] = json.loads(item.payload)
        for topic, state in expected.items():
            wait_until(
                lambda t=topic, s=state: json.loads(listener.payloads(t)[-1])["at"] == s["at"],  # type: ignore[index,misc]  # a default binds the loop's values
                f"the last state on {topic}",
                60.0,
            )
            told = json.loads(listener.payloads(topic)[-1])
            self._expect(told == state, f"{topic}: {told} instead of {state}")

    def _expect(self, holds: bool, what: str) -> None:
        """Note what does not add up."""
        if not holds:
            self.outcome.failures.append(what)


def _difference(found: set[object], wanted: set[object]) -> str:
    """What is missing and what is too many, as far as a person reads."""
    missing, extra = sorted(map(str, wanted - found)), sorted(map(str, found - wanted))
    return f"{len(missing)} missing: {missing[:3]}; {len(extra)} too many: {extra[:3]}"
