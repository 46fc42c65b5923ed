"""`millpond doctor` at a real broker, with an agent that runs and without."""

import json
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from agent.embedded import free_port
from agent.instants import text_of
from agent.store.batch import Batch
from agent.store.ledger import Ledger
from agent.store.notices import Notice
from agent.version import VERSION
from tests.brokers import Mosquitto, a_mosquitto
from tests.clients import a_gateway
from tests.e2e.plant_north import ROOT, running_agent, write_plant
from tests.waiting import wait_until

pytestmark = pytest.mark.broker

LEVEL = "north/mill-07/level"


def examined(plant: Path, *options: str, code: int = 0) -> dict[str, tuple[str, str]]:
    """Level and words by what was looked at."""
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "agent",
            "doctor",
            str(plant),
            "--json",
            "--listen",
            "0.5",
            *options,
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == code, done.stdout + done.stderr
    found = json.loads(done.stdout)["findings"]
    return {each["about"]: (each["level"], each["said"]) for each in found}


def test_a_plant_in_order(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """The shipped broker keeps what an absence needs; readings and refusals are told."""
    plant = write_plant(tmp_path / "plant", mosquitto.port)
    with running_agent(plant) as agent, a_gateway(mosquitto.port) as gateway:
        now = time.time_ns() // 1_000_000  # noqa: TID251  the agent's clock is the machine's here
        for n in range(20):
            at = text_of(now - 10_000 * (20 - n))
            gateway.send(LEVEL, json.dumps({"v": 300.0 - n, "t": at}))
        gateway.send(LEVEL, "no JSON")
        gateway.send(LEVEL, json.dumps({"v": 5.0, "t": text_of(now - 3_600_000)}))
        gateway.send("millpond/north/mill-07/check", '{"kind": "nitrite", "value": 60}')
        gateway.wait()
        wait_until(lambda: "mill-07 level" in str(examined(plant, "--no-probe")), "a first look")
        wait_until(lambda: "nitrite-high" in str(examined(plant, "--no-probe")), "the alarm", 90.0)
        found = examined(plant)
        assert agent.stop() == 0

    assert found["broker"][0] == "ok"
    assert found["queue"][0] == "ok"
    assert "all of 1500 messages are kept" in found["queue"][1]
    assert found["session"] == ("ok", "a session lives 14.0 d without its client; asked for 14.0 d")
    assert found["agent"] == ("ok", "it is running")
    assert "20 in its last day, one each 10 s" in found["mill-07 level"][1]
    assert "1 more came late" in found["mill-07 level"][1]
    assert found["mill-07 brix"] == ("look", "no reading was ever stored")
    assert found["refused, not-json"][1].startswith("1\n")
    assert found["disk"][0] == "ok"
    assert found["outbox"][0] == "ok"
    assert found["status"][0] == "ok"
    assert found["status"][1].startswith(f"online, version {VERSION}, its run began ")
    assert found["alarms"] == ("look", "1 stand")
    assert found["alarm mill-07 nitrite-high"][1].startswith("unacknowledged, ")


def test_a_broker_that_keeps_too_little_is_a_fault(tmp_path: Path) -> None:
    """mosquitto's own default, which loses messages without a word."""
    with a_mosquitto(tmp_path / "broker", max_queued_messages=1000) as broker:
        plant = write_plant(tmp_path / "plant", broker.port)
        found = examined(plant, code=1)

    level, said = found["queue"]
    assert level == "fault"
    assert "it keeps 1" in said
    assert "max_queued_messages" in said
    assert found["store"][0] == "fault"
    assert "has the agent of this plant run yet?" in found["store"][1]


def test_another_version_and_a_target_that_is_away_are_told(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """An older agent that still runs; junk in its place; a target that takes nothing."""
    plant = write_plant(tmp_path / "plant", mosquitto.port)
    with closing(Ledger.open(plant.with_name("north.db"))) as ledger:
        ledger.commit(Batch(notices=[Notice("maintenance", 0, "high", "t", "b")], clock=0))
        ledger.notices.failed("maintenance", 1_000, "connection refused")
    with a_gateway(mosquitto.port) as gateway:
        body = {"status": "online", "version": "0.0.1", "since": "2026-01-01T00:00:00Z"}
        gateway.send("millpond/north/agent", json.dumps(body), retain=True)
        gateway.wait()
        found = examined(plant, "--no-probe", code=1)
        gateway.send("millpond/north/agent", "junk", retain=True)
        gateway.wait()
        junk = examined(plant, "--no-probe", code=1)

    assert found["status"] == ("look", f"online with version 0.0.1; this is {VERSION}")
    assert junk["status"] == ("fault", "what stands there is not of an agent")
    assert found["notify maintenance"] == (
        "fault",
        "1 messages wait since 1970-01-01T00:00:01Z: connection refused",
    )
    assert found["alarms"] == ("ok", "none asks for anybody")


def test_a_broker_that_is_away_is_a_fault(tmp_path: Path) -> None:
    """Said with its address; the store is looked at all the same."""
    plant = write_plant(tmp_path / "plant", free_port())
    found = examined(plant, code=1)

    assert found["broker"][0] == "fault"
    assert "cannot be reached" in found["broker"][1]
    assert "disk" in found
