"""An edge node of Sparkplug B and the real agent at a real broker: births, gaps, deaths."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from agent.instants import instant_of
from tests.brokers import Mosquitto
from tests.clients import a_gateway, a_listener
from tests.e2e.plant_north import CLOCK, PLANT, PREFIX, rfc3339, running_agent
from tests.edge_nodes import LiveNode, Metric
from tests.waiting import wait_until

pytestmark = pytest.mark.broker

PLACE = 'sparkplug = {{ group = "works", edge = "gateway", device = "mill-07", metric = "{}" }}'


def a_plant(folder: Path, port: int) -> Path:
    """The plant of one sump with its level through Sparkplug; an hour of silence is allowed."""
    folder.mkdir()
    text = PLANT.format(port=port)
    begin, end = text.index("[sump.signals.level]"), text.index("[sump.signals.brix]")
    level = f'[sump.signals.level]\n{PLACE.format("Level")}\nunit = "mm"\nstale_after_s = 3600\n\n'
    path = folder / "north.toml"
    path.write_text(text[:begin] + level + text[end:], "utf-8")
    return path


def levels(plant: Path) -> list[float]:
    """Stored levels in the order of their times."""
    with closing(sqlite3.connect(plant.with_name("north.db"))) as store:
        rows = store.execute("SELECT value FROM reading ORDER BY at").fetchall()
    return [value for (value,) in rows]


def test_births_gaps_and_deaths(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """Values by alias after a birth; a gap and a restart of the agent ask for a birth; a cut
    cable, told by the will, makes the signal stale long before it would be by its age."""
    seconds = 0
    plant = a_plant(tmp_path / "plant", mosquitto.port)
    stale = f"{PREFIX}/mill-07/alarm/signal-stale/level"

    def now() -> int:
        return instant_of(rfc3339(seconds))

    with (
        a_gateway(mosquitto.port) as clock,
        a_listener(mosquitto.port, f"{PREFIX}/#") as listener,
        running_agent(plant, "--clock-topic", CLOCK) as agent,
    ):
        clock.send(CLOCK, rfc3339(0))
        live = LiveNode(mosquitto.port, now, [Metric("Level", 300.0, alias=3)])
        wait_until(lambda: levels(plant), "the birth's value")
        for seconds in range(30, 150, 30):
            live.node.send("DDATA", [Metric("", 300.0 - seconds, alias=3)], by_alias=True)
        wait_until(lambda: len(levels(plant)) == 5, "values by alias")
        assert levels(plant)[1:] == [270.0, 240.0, 210.0, 180.0]

        seconds = 160
        clock.send(CLOCK, rfc3339(seconds))
        asked = live.asked
        live.node.seq += 1
        live.node.send("DDATA", [Metric("", 170.0, alias=3)], by_alias=True)
        wait_until(lambda: live.asked > asked, "the question for a birth after a gap")
        wait_until(lambda: levels(plant)[-1] == 300.0, "the new birth's value")

        asked = live.asked
        agent.kill_and_start()
        clock.send(CLOCK, rfc3339(seconds))
        wait_until(lambda: live.asked > asked, "the question for a birth after a restart")

        live.break_off()
        for seconds in range(220, 400, 20):
            clock.send(CLOCK, rfc3339(seconds))
        wait_until(lambda: listener.payloads(stale), "the alarm of a stale signal")

        body = json.loads(listener.payloads(stale)[0])
        assert body["active"] is True
        assert body["signal"] == "level"
