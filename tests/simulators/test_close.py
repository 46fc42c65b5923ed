"""The loop closed through a pipe: the real agent's advice, carried out on the simulated plant."""

import io
import json
import re
import sys
from typing import get_args

import pytest

from simulators.close import Files, close_loop, summary
from simulators.errors import SimulatorError
from simulators.instants import instant
from simulators.prepare import floor_of
from simulators.scenario.load import find
from simulators.scenario.people import StationFault
from tests.simulators.floors import plant

ECHO = """
import sys
for line in sys.stdin:
    if '"topic"' not in line:
        print(line, end="", flush=True)
"""
"""An agent that only echoes ticks."""

QUITS = "import sys; sys.stdin.readline(); sys.exit(3)"


def python(program: str) -> list[str]:
    """A command that runs a program and ignores what is put after it."""
    return [sys.executable, "-c", program]


def test_every_message_and_tick_goes_through_the_pipe():
    """An agent that says nothing hears all; the recording kept is what it heard."""
    floor = plant("days = 0.1\n")
    kept = io.StringIO()
    keeping = close_loop(floor, python(ECHO), Files(recording=kept))
    lines = [json.loads(line) for line in kept.getvalue().splitlines()]
    assert sum(list(line) == ["at"] for line in lines) == 144
    assert instant(lines[-1]["at"]) == floor.now
    assert keeping["m1"].ticks == 144
    assert keeping["m1"].heard == {}


def test_agent_that_ends_early_is_reported():
    """Its exit code is in the message."""
    with pytest.raises(SimulatorError, match="ended with code 3"):
        close_loop(plant("days = 0.1\n"), python(QUITS), Files())


def test_agent_that_fails_at_the_end_is_reported():
    """A code other than 0 after the last tick is no success."""
    failing = ECHO + "\nsys.exit(1)\n"
    with pytest.raises(SimulatorError, match="ended with code 1"):
        close_loop(plant("days = 0.01\n"), python(failing), Files())


DOSES = """
import json, sys
n = 0
for line in sys.stdin:
    body = json.loads(line)
    if "topic" in body:
        continue
    n += 1
    if n == 30:
        ask = {"id": "s1", "water_l": 9.0, "concentrate_l": 0.5, "max_strength_pct": 20,
               "water_meter_end_l": None, "concentrate_meter_end_l": None, "stop_at_level": None,
               "expires_at": "2026-03-02T06:00:00Z"}
        print(json.dumps({"at": body["at"], "topic": "millpond/shop/m1/setpoint",
                          "payload": json.dumps(ask)}))
    print(line, end="", flush=True)
"""
"""An agent that asks for one dose, half an hour in."""


def test_setpoint_out_of_the_pipe_reaches_the_station():
    """Asked at 05:30, poured from then on; accepted and delivered go into the next lines."""
    floor = plant("days = 0.1\n[each.station]\nmeter_error = 0.0\n")
    kept, truth = io.StringIO(), io.StringIO()
    keeping = close_loop(floor, python(DOSES), Files(recording=kept, truth=truth))
    said = [json.loads(line) for line in kept.getvalue().splitlines()]
    topics = [line["topic"].rpartition("/")[2] for line in said if "topic" in line]
    events = [json.loads(line) for line in truth.getvalue().splitlines()]
    poured = [event for event in events if event["type"] == "event"]
    assert topics.count("accepted") == 1
    assert topics.count("delivered") >= 2
    assert keeping["m1"].heard == {"setpoint": 1}
    assert poured[0]["at"] == "2026-03-02T05:30:00Z"
    assert poured[0]["volume_l"] == pytest.approx(9.5, abs=1e-6)


@pytest.mark.slow
def test_people_do_what_the_real_agent_advises():
    """A few days with `millpond replay`: advice comes, is poured and reported; nothing spills."""
    floor = floor_of("followed-by-hand", 1, 4.0)
    truth, published = io.StringIO(), io.StringIO()
    agent = [sys.executable, "-m", "agent"]
    rows = summary(floor, close_loop(floor, agent, Files(published=published, truth=truth)))
    records = [json.loads(line) for line in truth.getvalue().splitlines()]
    poured = [r for r in records if r["type"] == "event" and r["kind"] == "addition"]
    advised = {
        json.loads(json.loads(line)["payload"])["id"]
        for line in published.getvalue().splitlines()
        if json.loads(line)["topic"].endswith("/advice") and json.loads(line)["payload"]
    }
    assert poured
    assert {event["advice"] for event in poured} <= advised
    assert rows[0]["spilled_l"] == 0.0
    assert rows[0]["in_band_pct"] > 90.0


@pytest.mark.slow
def test_each_trouble_of_a_station_strikes_a_dose_of_the_real_agents(tmp_path):
    """A trouble a day: all eight happen, those that show raise the alarm, nothing spills."""
    days = iter(range(1, 9))
    text = find("station-trouble").read_text(encoding="utf-8")
    text = text.replace('like = "station"', f'like = "{find("station").with_suffix("")}"')
    daily = re.sub(r'begin = "\d+d', lambda _: f'begin = "{next(days)}d', text)
    scenario = tmp_path / "daily.toml"
    scenario.write_text(daily.replace('end = "22d', 'end = "8d'), encoding="utf-8")
    floor = floor_of(str(scenario), 1, 9.5)
    truth, published = io.StringIO(), io.StringIO()
    agent = [sys.executable, "-m", "agent"]
    rows = summary(floor, close_loop(floor, agent, Files(published=published, truth=truth)))
    records = [json.loads(line) for line in truth.getvalue().splitlines()]
    doses = {r["setpoint"]: r["fault"] for r in records if r["type"] == "event" and r.get("fault")}
    causes = {
        json.loads(line["payload"])["cause"]
        for line in map(json.loads, published.getvalue().splitlines())
        if line["topic"].endswith("/alarm/delivery-differs") and line["payload"]
    }
    alarmed = {kind for ident, kind in doses.items() if any(ident in cause for cause in causes)}

    assert set(doses.values()) == set(get_args(StationFault))
    assert alarmed == {"half-delivered", "drum-empty", "never-finished", "silent"}
    assert any("clock is ahead" in cause for cause in causes)
    assert rows[0]["spilled_l"] == 0.0
    assert rows[0]["in_band_pct"] > 95.0
