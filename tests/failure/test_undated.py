"""Payloads without a time of their own, across kills and queues, with the real agent."""

import json
import re
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from agent.resources import shipped
from tests.brokers import Mosquitto
from tests.clients import a_gateway
from tests.failure.processes import ROOT
from tests.waiting import wait_until

pytestmark = pytest.mark.broker

LEVEL, ADDITION = "north/mill-07/level", "millpond/north/mill-07/addition"


class ExampleAgent:
    """The example's plant, whose payloads are bare numbers, in a process of its own."""

    def __init__(self, folder: Path, port: int) -> None:
        text = shipped("plant.example.toml").read_text("utf-8")
        text = re.sub(r'(?m)^url = "[^"]*"', f'url = "mqtt://127.0.0.1:{port}"', text)
        self.plant_file = folder / "north.toml"
        self.plant_file.write_text(text, "utf-8")
        self.record = folder / "record.jsonl"
        self.log = folder / "agent.log"
        self.process: subprocess.Popen[bytes] | None = None

    def start(self, *dies_at: str, online: bool = True) -> None:
        """Start it and wait until it is connected."""
        before = self.text().count("connected,")
        dying = ("tests.failure.dying_agent", *dies_at) if dies_at else ()
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                [
                    *(sys.executable, "-m", *dying, "agent", "run", str(self.plant_file)),
                    *("--record", str(self.record)),
                ],
                cwd=ROOT,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
        if not online:
            return
        wait_until(lambda: self.text().count("connected,") > before, "a connection", 20.0)
        self.wait_for_queue()

    def wait_for_queue(self) -> None:
        """Wait until what had waited at the broker has come in."""
        wait_until(
            lambda: self.text().rfind("what had waited") >= self.text().rfind("resumed"),
            "the end of the queue",
        )

    def text(self) -> str:
        """The log of all its runs."""
        return self.log.read_text() if self.log.exists() else ""

    def wait(self) -> None:
        """Wait until it is gone."""
        assert self.process is not None
        self.process.wait(40.0)

    def kill(self) -> None:
        """End it without a word."""
        assert self.process is not None
        self.process.kill()
        self.process.wait()

    def rows(self, query: str) -> list[tuple[float, ...]]:
        """What the store answers."""
        with closing(sqlite3.connect(self.plant_file.with_name("north.db"))) as store:
            return store.execute(query).fetchall()

    def levels(self) -> list[tuple[float, int]]:
        """Stored levels in the order of their times, and whether they are used."""
        return [
            (value, int(used))
            for value, used in self.rows(
                "SELECT value, used FROM reading JOIN signal ON signal.id = signal"
                " WHERE name = 'level' ORDER BY at"
            )
        ]

    def wait_for_levels(self, count: int) -> None:
        """Wait until so many are stored."""
        wait_until(lambda: len(self.levels()) >= count, f"{count} levels")


@pytest.fixture
def agent(mosquitto: Mosquitto, tmp_path: Path) -> Iterator[ExampleAgent]:
    """One that is not started."""
    agent = ExampleAgent(tmp_path, mosquitto.port)
    yield agent
    if agent.process is not None and agent.process.poll() is None:
        agent.kill()


def test_a_repeated_delivery_of_what_is_stored_is_dropped(
    mosquitto: Mosquitto, agent: ExampleAgent
) -> None:
    """Killed between commit and acknowledgement: what comes again without a time counts once."""
    with a_gateway(mosquitto.port) as gateway:
        agent.start("after-commit", "1")
        gateway.send(LEVEL, "380.5")
        agent.wait()
        assert agent.levels() == [(380.5, 1)]
        agent.start()
        gateway.send(LEVEL, "381.5")
        agent.wait_for_levels(2)

        assert agent.levels() == [(380.5, 1), (381.5, 1)]
        lines = [json.loads(line) for line in agent.record.read_text().splitlines()]
        assert [line["payload"] for line in lines if line.get("topic") == LEVEL] == [
            "380.5",
            "381.5",
        ]


def test_a_repeated_delivery_of_what_was_not_stored_is_kept_unused(
    mosquitto: Mosquitto, agent: ExampleAgent
) -> None:
    """Killed before the commit: the reading is not lost, but nobody knows when it held."""
    with a_gateway(mosquitto.port) as gateway:
        agent.start("before-commit", "1")
        gateway.send(LEVEL, "380.5")
        agent.wait()
        agent.start()
        gateway.send(LEVEL, "381.5")
        agent.wait_for_levels(2)

        assert agent.levels() == [(380.5, 0), (381.5, 1)]
        marks = [json.loads(line) for line in agent.record.read_text().splitlines()]
        again = [line for line in marks if line.get("redelivered")]
        assert [line["payload"] for line in again] == ["380.5"]


def test_what_waited_in_the_queue_is_kept_unused(mosquitto: Mosquitto, agent: ExampleAgent) -> None:
    """Sent while the agent was away, without a time: not fed to the balance; what comes is."""
    with a_gateway(mosquitto.port) as gateway:
        agent.start()
        gateway.send(LEVEL, "380.5")
        agent.wait_for_levels(1)
        agent.kill()
        for payload in ("381.5", "382.5"):
            gateway.send(LEVEL, payload)
        gateway.send(ADDITION, '{"volume_l": 16, "strength_pct": 8}')
        gateway.wait()
        agent.start()
        agent.wait_for_levels(3)
        gateway.send(LEVEL, "383.5")
        agent.wait_for_levels(4)

        assert agent.levels() == [(380.5, 1), (381.5, 0), (382.5, 0), (383.5, 1)]
        assert agent.rows("SELECT used FROM entry") == [(0,)]
        assert "does not say when it happened" in agent.text()


def test_a_cut_connection_is_a_queue_too(mosquitto: Mosquitto, agent: ExampleAgent) -> None:
    """While the broker restarts nothing is heard; afterwards readings count again."""
    with a_gateway(mosquitto.port) as gateway:
        agent.start()
        gateway.send(LEVEL, "380.5")
        agent.wait_for_levels(1)
        mosquitto.stop()
        mosquitto.start()
        wait_until(lambda: agent.text().count("connected,") == 2, "the second connection")
        agent.wait_for_queue()
        gateway.send(LEVEL, "381.5")
        agent.wait_for_levels(2)

        assert agent.levels() == [(380.5, 1), (381.5, 1)]


def test_a_report_without_id_and_time_counts_once(
    mosquitto: Mosquitto, agent: ExampleAgent
) -> None:
    """Killed before it was stored, and again before that was acknowledged."""
    with a_gateway(mosquitto.port) as gateway:
        agent.start("before-commit", "1")
        gateway.send(ADDITION, '{"volume_l": 16, "strength_pct": 8}')
        agent.wait()
        agent.start("after-commit", "1", online=False)
        agent.wait()
        agent.start()
        gateway.send(LEVEL, "301.5")
        agent.wait_for_levels(1)

        assert agent.rows("SELECT count(*), sum(used) FROM entry") == [(1, 1)]
