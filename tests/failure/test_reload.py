"""The plant file changed under a running agent, at a real broker."""

import os
import signal
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.brokers import Mosquitto
from tests.clients import a_gateway
from tests.e2e.plant_north import CLOCK, reading, rfc3339, running_agent, write_plant
from tests.waiting import wait_until

pytestmark = pytest.mark.broker

OLD, NEW = "north/mill-07/level", "north/mill-07/depth"


def levels(plant: Path) -> list[float]:
    """Stored levels in the order of their times."""
    with closing(sqlite3.connect(plant.with_name("north.db"))) as store:
        rows = store.execute("SELECT value FROM reading ORDER BY at").fetchall()
    return [value for (value,) in rows]


def change(plant: Path, before: str, after: str) -> None:
    """Write the file anew, as editors do."""
    text = plant.read_text("utf-8")
    assert before in text
    fresh = plant.with_suffix(".new")
    fresh.write_text(text.replace(before, after), "utf-8")
    fresh.replace(plant)


def test_a_changed_file_is_taken_up_without_a_restart(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """Bound to another topic by a change, refused with mistakes, read at once on SIGHUP; what was
    stored stays, and a kill afterwards finds the new topic's messages waiting."""
    plant = write_plant(tmp_path / "plant", mosquitto.port)
    with (
        running_agent(plant, "--clock-topic", CLOCK) as agent,
        a_gateway(mosquitto.port) as gateway,
    ):
        gateway.send(CLOCK, rfc3339(0))
        gateway.send(OLD, reading(300.0, 0))
        wait_until(lambda: levels(plant) == [300.0], "the first reading")
        change(plant, OLD, NEW)
        wait_until(lambda: "the plant file has changed" in agent.text(), "the change")
        gateway.send(OLD, reading(1.0, 10))
        gateway.send(NEW, reading(299.0, 20))
        wait_until(lambda: levels(plant) == [300.0, 299.0], "a reading of the new topic")

        change(plant, "target = 380", "target = 999")
        os.kill(agent.process.pid, signal.SIGHUP)
        wait_until(lambda: "what was read before stays" in agent.text(), "the refusal")
        gateway.send(NEW, reading(298.0, 30))
        wait_until(lambda: len(levels(plant)) == 3, "a reading all the same")
        change(plant, "target = 999", "target = 380")

        agent.process.kill()
        agent.process.wait()
        gateway.send(NEW, reading(297.0, 40))
        gateway.wait()
        agent.kill_and_start()
        wait_until(lambda: levels(plant) == [300.0, 299.0, 298.0, 297.0], "what had waited")
        assert agent.stop() == 0
