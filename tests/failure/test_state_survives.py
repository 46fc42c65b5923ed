"""The real agent, killed in mid-stream, ends with the state of an undisturbed run."""

import io
import json
import math
import re
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from advisor.words import MINUTE
from agent.arrival import Arrival, Tick
from agent.instants import text_of
from agent.plant.load import load_plant
from agent.recording import read_recording
from agent.replay import replay
from agent.resources import shipped
from agent.store.ledger import Ledger
from tests.brokers import Mosquitto
from tests.clients import Gateway, a_gateway, a_listener
from tests.failure.processes import ROOT
from tests.waiting import wait_until

pytestmark = pytest.mark.broker

BEGIN = 1_772_431_200_000  # 2026-03-02T06:00:00Z
MINUTES = 240
STATE = "millpond/north/mill-07/state"


def the_stream() -> Iterator[Arrival | Tick]:
    """Four hours of a sump whose sensors date their readings, a tick behind each minute."""
    for minute in range(MINUTES):
        at = BEGIN + minute * MINUTE
        values = {
            "level": round(380.0 - 0.02 * minute + math.sin(1.7 * minute), 2),
            "brix": round(6.4 + 0.0004 * minute + 0.05 * math.sin(2.3 * minute), 3),
            "pumps": 1,
        }
        for name, value in values.items():
            body = json.dumps({"v": value, "t": text_of(at)})
            yield Arrival(at, f"north/mill-07/{name}", body.encode())
        yield Tick(at + 1000)
    yield Tick(BEGIN + MINUTES * MINUTE + 60 * MINUTE)


def a_plant_file(folder: Path, port: int) -> Path:
    """The example's plant with dated payloads, at this broker."""
    text = shipped("plant.example.toml").read_text("utf-8")
    text = re.sub(r'(?m)^url = "[^"]*"', f'url = "mqtt://127.0.0.1:{port}"', text)
    text, count = re.subn(
        r'(?m)^(topic = "north/mill-07/(?:level|brix|pumps)")',
        r'\1\nvalue_pointer = "/v"\ntime_pointer = "/t"',
        text,
    )
    assert count == 3
    path = folder / "north.toml"
    path.write_text(text, "utf-8")
    return path


class RealAgent:
    """`millpond run` with a clock on a topic and a recording."""

    def __init__(self, plant_file: Path) -> None:
        self.plant_file = plant_file
        self.record = plant_file.with_name("record.jsonl")
        self.log = plant_file.with_name("agent.log")

    def start(self) -> None:
        """Start it, and wait until it is connected."""
        before = self.text().count("connected,")
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                [
                    *(sys.executable, "-m", "agent", "run", str(self.plant_file)),
                    *("--clock-topic", "clock", "--record", str(self.record)),
                ],
                cwd=ROOT,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
        wait_until(lambda: self.text().count("connected,") > before, "a connection", 20.0)

    def text(self) -> str:
        """The log of all its runs."""
        return self.log.read_text() if self.log.exists() else ""

    def kill(self) -> None:
        """End it without a word."""
        self.process.kill()
        self.process.wait()

    def readings(self) -> list[tuple[int, int, float, int]]:
        """Every stored reading."""
        path = self.plant_file.with_name("north.db")
        with closing(sqlite3.connect(path)) as connection:
            return connection.execute("SELECT * FROM reading ORDER BY at, signal").fetchall()


@pytest.fixture
def agent(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[RealAgent]:
    """One that runs."""
    agent = RealAgent(a_plant_file(tmp_path, mosquitto.port))
    agent.start()
    yield agent
    agent.kill()


def publish(gateway: Gateway) -> None:
    """Send the stream as a gateway would."""
    breath = threading.Event()
    for item in the_stream():
        if isinstance(item, Tick):
            gateway.send("clock", text_of(item.at))
            breath.wait(0.005)
        else:
            gateway.send(item.topic, item.payload)


def replayed(plant_file: Path, items: Iterator[Arrival | Tick]) -> list[bytes]:
    """The states that an undisturbed agent would have told."""
    out = io.BytesIO()
    replay(load_plant(plant_file), Ledger.open(None), items, out)
    told = read_recording(out.getvalue().splitlines())
    return [item.payload for item in told if isinstance(item, Arrival) and item.topic == STATE]


def test_kills_change_neither_what_is_stored_nor_what_is_known(
    mosquitto: Mosquitto, agent: RealAgent
) -> None:
    """Three SIGKILLs: every reading is there once, and the last state is that of a replay."""
    with a_gateway(mosquitto.port) as gateway, a_listener(mosquitto.port, STATE) as listener:
        sender = threading.Thread(target=publish, args=(gateway,))
        sender.start()
        for part in (60, 120, 180):
            wait_until(lambda part=part: len(agent.readings()) >= 3 * part, "readings", 20.0)  # type: ignore[misc]  # a default binds the loop's value
            agent.kill()
            agent.start()
        sender.join()
        gateway.wait()
        expected = replayed(agent.plant_file, the_stream())[-1]
        wait_until(
            lambda: listener.heard and json.loads(listener.heard[-1][1])["at"] == at_of(expected),
            "the last state",
            20.0,
        )

        stored = agent.readings()
        assert len(stored) == len({row[:2] for row in stored}) == 3 * MINUTES
        assert json.loads(listener.heard[-1][1]) == json.loads(expected)


def test_a_recording_replays_to_the_same_states(mosquitto: Mosquitto, agent: RealAgent) -> None:
    """What `run` kept gives, through `replay`, the states that `run` told, byte for byte."""
    with a_gateway(mosquitto.port) as gateway, a_listener(mosquitto.port, STATE) as listener:
        publish(gateway)
        gateway.wait()
        expected = replayed(agent.plant_file, the_stream())
        wait_until(lambda: len(listener.heard) >= len(expected), "all states", 20.0)

        told = [payload for _, payload, _ in listener.heard]
        assert told == expected
        with agent.record.open("rb") as recording:
            assert replayed(agent.plant_file, read_recording(recording)) == told


def at_of(state: bytes) -> str:
    """The time for which a state holds."""
    return str(json.loads(state)["at"])
