"""Who changed what: in the log as it happens, and from the store afterwards."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.plant.differences import SHOWN_MOST, differences, form_of
from agent.plant.load import load_plant
from tests.brokers import Mosquitto
from tests.clients import a_gateway
from tests.e2e.plant_north import CLOCK, PREFIX, ROOT, reading, rfc3339, write_plant
from tests.security.runs import Run, a_run


def told(plant: Path) -> list[dict[str, Any]]:
    """What `millpond changes` says."""
    done = subprocess.run(
        [
            *(sys.executable, "-m", "agent", "changes", str(plant)),
            *("--json", "--from", "2026-01-01T00:00:00Z"),
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return list(json.loads(done.stdout)["changes"])


def logged(agent: Run) -> list[dict[str, Any]]:
    """Lines of the log about changes."""
    lines = [json.loads(line) for line in agent.text().splitlines()]
    return [line for line in lines if line["from"] == "millpond.changes"]


@pytest.mark.broker
def test_reports_orders_and_the_plant_file_are_told_with_whose_they_are(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """A check, an order on its alarm, a target changed while the agent runs and another between."""
    plant = write_plant(tmp_path / "plant", mosquitto.port)
    command = ("run", str(plant), "--log", "json", "--clock-topic", CLOCK)
    with a_run(tmp_path / "log", *command) as agent, a_gateway(mosquitto.port) as gateway:
        agent.wait_for("connected,")
        gateway.send(CLOCK, rfc3339(0))
        gateway.send("north/mill-07/level", reading(300.0, 1))
        body = {"kind": "nitrite", "value": 60, "by": "ann", "id": "c-1"}
        gateway.send(f"{PREFIX}/mill-07/check", json.dumps(body))
        gateway.send(CLOCK, rfc3339(300))
        order = {"alarm": "nitrite-high", "command": "acknowledge", "by": "bob"}
        gateway.send(f"{PREFIX}/mill-07/alarm-command", json.dumps(order))
        agent.wait_for('"by": "bob"')
        edit(plant, "target = 380", "target = 370")
        agent.wait_for("target: 380.0 -> 370.0")
        assert agent.stop() == 0
        live = logged(agent)
    edit(plant, "low = 180", "low = 170")
    with a_run(tmp_path / "log2", *command) as agent:
        agent.wait_for("low: 180.0 -> 170.0")
        assert agent.stop() == 0
    found = told(plant)

    me = plant.owner()
    assert [(c["by"], c["about"]) for c in live[:2]] == [(me, "plant file"), ("ann", "mill-07")]
    expected = [
        (me, "plant file", "first taken up"),
        ("ann", "mill-07", "check c-1 of 2026-03-02T06:00:00Z"),
        ("bob", "mill-07", "alarm nitrite-high: unacknowledged -> acknowledged"),
        (me, "plant file", "sumps.mill-07.levels.target: 380.0 -> 370.0"),
        (me, "plant file", "sumps.mill-07.levels.low: 180.0 -> 170.0"),
    ]
    assert {(c["by"], c["about"], c["what"]) for c in found} >= set(expected)
    said = {(c["by"], c["about"], c["what"]) for c in live}
    assert said >= set(expected[:4])


def edit(plant: Path, old: str, new: str) -> None:
    """Change one thing of a plant file, as an editor does."""
    text = plant.read_text("utf-8")
    assert text.count(old) == 1
    beside = plant.with_suffix(".new")
    beside.write_text(text.replace(old, new), "utf-8")
    beside.replace(plant)


@pytest.mark.broker
def test_an_unchanged_file_is_no_change(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """However often the agent starts."""
    plant = write_plant(tmp_path / "plant", mosquitto.port)
    for number in range(2):
        with a_run(tmp_path / f"log-{number}", "run", str(plant)) as agent:
            agent.wait_for("connected,")
            assert agent.stop() == 0

    assert [change["what"] for change in told(plant)] == ["first taken up"]


def test_every_key_of_a_plant_has_a_path(tmp_path: Path) -> None:
    """Sumps, signals, supplies and settings by their names; no address of an object among them."""
    form = form_of(load_plant(write_plant(tmp_path, 1883)))

    assert form["sumps.mill-07.levels.target"] == "380.0"
    assert form["broker.port"] == "1883"
    assert form["bindings.mill-07/level.topic"] == "north/mill-07/level"
    assert not [value for value in form.values() if " at 0x" in value]


FORMS = st.dictionaries(st.sampled_from("abcdef"), st.sampled_from("xyz"))


@given(FORMS, FORMS)
def test_differences_are_exactly_the_keys_that_differ(
    before: dict[str, str], now: dict[str, str]
) -> None:
    """None is missing, none is made up; of equal forms there are none."""
    found = {line.split(":")[0] for line in differences(before, now)}

    assert found == {key for key in "abcdef" if before.get(key) != now.get(key)}


def test_very_many_differences_are_cut_and_say_so() -> None:
    """A file replaced by another one."""
    found = differences({}, {f"k{n:04d}": "1" for n in range(SHOWN_MOST + 5)})

    assert len(found) == SHOWN_MOST + 1
    assert found[-1] == "and 5 more"
