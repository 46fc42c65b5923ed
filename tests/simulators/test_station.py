"""A station obeys setpoints within its limits, reports, and fails in the ways that stations do."""

import json

import pytest

from simulators.instants import MINUTE, rfc3339
from tests.simulators.floors import plant, run, said, values

STATION = """
[work]
breaks = []
[each.signals.water_meter]
gain_error = 0
resolution = 0.01
[each.signals.concentrate_meter]
gain_error = 0
resolution = 0.01
[each.station]
meter_error = 0.0
"""


def setpoint(floor, ident="s1", **changes):
    """Ask for 12 L of water and 1 L of concentrate."""
    body = {
        "schema": 1, "id": ident, "sump": "m1", "advice": "a1", "water_l": 12.0,
        "concentrate_l": 1.0, "max_strength_pct": 20.0, "water_meter_end_l": 12.0,
        "concentrate_meter_end_l": 1.0, "stop_at_level": {"value": 400.0, "unit": "mm"},
        "issued_at": rfc3339(floor.now), "expires_at": rfc3339(floor.now + 10 * MINUTE),
    }  # fmt: skip
    floor.hear("millpond/shop/m1/setpoint", json.dumps(body | changes).encode())


def dosed(toml="", hours=0.5, **changes):
    """A plant after one setpoint: the floor, its messages, the true events."""
    floor = plant(STATION + toml)
    run(floor, 0.1)
    setpoint(floor, **changes)
    messages = run(floor, hours)
    events = [r for r in floor.take_truth() if r["type"] == "event"]
    return floor, messages, events


def test_pours_what_was_asked_and_reports_it():
    """Accepted before it pours, delivered in full, the meters where they should stand."""
    floor, messages, events = dosed()
    accepted, delivered = said(messages, "/accepted"), said(messages, "/delivered")
    assert accepted == [accepted[0] | {"setpoint": "s1", "accepted": True}]
    last = delivered[-1]
    assert (last["water_l"], last["concentrate_l"]) == (12.0, 1.0)
    assert last["finished"]
    assert last["fault"] is None
    assert [body["finished"] for body in delivered[:-1]] == [False] * (len(delivered) - 1)
    assert events[0]["water_l"] == pytest.approx(12.0, abs=1e-6)
    assert events[0]["concentrate_l"] == pytest.approx(1.0, abs=1e-6)
    assert values(messages, "water_meter")[-1] == pytest.approx(12.0, abs=0.02)
    assert floor.tools["m1"].sump.book.water_added == pytest.approx(12.0, abs=1e-6)


def test_setpoint_delivered_twice_is_poured_once():
    """The same id again is answered and not poured, even after the dose has ended."""
    floor = plant(STATION)
    setpoint(floor)
    setpoint(floor)
    messages = run(floor, 0.5)
    setpoint(floor)
    messages += run(floor, 0.5)
    assert len(said(messages, "/accepted")) == 3
    assert floor.tools["m1"].sump.book.water_added == pytest.approx(12.0, abs=1e-6)


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"expires_at": "2026-03-02T05:00:00Z"}, "expired"),
        ({"water_l": 60.0}, "more than 40 L at once"),
    ],
)
def test_refuses_what_is_beyond_its_limits(changes, reason):
    """Too late or too much: refused with the reason, nothing poured."""
    floor, messages, events = dosed(**changes)
    assert [body["reason"] for body in said(messages, "/accepted")] == [reason]
    assert said(messages, "/accepted")[0]["accepted"] is False
    assert events == []
    assert floor.tools["m1"].sump.book.water_added == 0.0


def test_refuses_when_busy_and_when_the_day_is_full():
    """One dose at a time, and no more than the day's limit."""
    floor = plant(STATION + "max_day_l = 20\n")
    setpoint(floor, "s1")
    setpoint(floor, "s2")
    run(floor, 0.5)
    setpoint(floor, "s3", water_meter_end_l=24.0, concentrate_meter_end_l=2.0)
    reasons = [body["reason"] for body in said(run(floor, 0.1), "/accepted")]
    assert reasons == ["more than 20 L in a day"]


def test_not_automatic_pours_nothing():
    """A station set to manual refuses."""
    _, messages, events = dosed("automatic = false\n")
    assert said(messages, "/accepted")[0]["reason"] == "not set to automatic"
    assert events == []


def test_stops_at_the_level():
    """The level sensor's reading ends the dose early."""
    floor, messages, _ = dosed(stop_at_level={"value": 333.0, "unit": "mm"})
    last = said(messages, "/delivered")[-1]
    assert last["fault"] == "level reached"
    assert 1.0 < last["water_l"] < 11.0
    assert floor.tools["m1"].shown["level"] < 338.0


def test_lease_that_runs_out_ends_the_dose_and_a_new_one_prolongs_it():
    """Two minutes of lease give 12 L at 6 L/min or less; renewed, all of it comes."""
    ends = {"expires_at": "2026-03-02T05:07:00Z"}
    _, messages, _ = dosed(**ends)
    assert said(messages, "/delivered")[-1]["fault"] == "lease ran out"
    floor = plant(STATION)
    run(floor, 0.1)
    setpoint(floor, **ends)
    until = json.dumps({"setpoint": "s1", "until": rfc3339(floor.now + 10 * MINUTE)})
    floor.hear("millpond/shop/m1/lease", until.encode())
    assert said(run(floor, 0.5), "/delivered")[-1]["fault"] is None


def test_a_clock_that_is_behind_does_not_stretch_the_lease():
    """An hour behind, it still stops ten minutes after it last heard anything, by its stopwatch."""
    slow = "l_min = 1.0\n" + trouble("clock", -3600)
    _, messages, events = dosed(slow)
    assert said(messages, "/delivered")[-1]["fault"] == "lease ran out"
    assert 9.5 < events[0]["volume_l"] < 11.5


def test_counters_that_stand_there_already_pour_nothing_more():
    """Where the meters already read the ends, nothing is left to pour."""
    floor, messages, _ = dosed(water_meter_end_l=0.0, concentrate_meter_end_l=0.0)
    assert said(messages, "/delivered")[-1]["water_l"] == 0.0
    assert floor.tools["m1"].sump.book.water_added == 0.0


def trouble(kind, size=0.5):
    """A station with this trouble at its first dose."""
    return f'trouble = [{{ kind = "{kind}", begin = "0d 00:00", size = {size} }}]\n'


def test_half_delivered():
    """It stops halfway and says so."""
    _, messages, events = dosed(trouble("half-delivered"))
    assert said(messages, "/delivered")[-1]["fault"] == "flow lost"
    assert 5.5 < events[0]["volume_l"] < 7.6


def test_never_finished():
    """It stands still in mid-dose and never reports the end."""
    _, messages, events = dosed(trouble("never-finished"))
    assert not any(body["finished"] for body in said(messages, "/delivered"))
    assert 4.0 < events[0]["volume_l"] < 8.0


def test_what_a_dose_without_an_end_poured_counts_in_the_day():
    """After five litres of a dose that hangs, twenty more are over a day's limit of 22."""
    floor, _, events = dosed("max_day_l = 22\n" + trouble("never-finished"))
    poured = events[0]["volume_l"]
    setpoint(floor, "s2", water_l=19.0, water_meter_end_l=poured + 19.0)
    reasons = [body["reason"] for body in said(run(floor, 0.1), "/accepted")]
    assert reasons == ["more than 22 L in a day"]


def test_wrong_strength_is_metered_as_right():
    """Half the concentrate truly goes in; the report and the meter say all."""
    _, messages, events = dosed(trouble("wrong-strength", 0.5))
    assert said(messages, "/delivered")[-1]["concentrate_l"] == 1.0
    assert events[0]["concentrate_l"] == pytest.approx(0.5, abs=1e-6)
    assert values(messages, "concentrate_meter")[-1] == pytest.approx(1.0, abs=0.02)


def test_empty_drum():
    """Water alone goes in; it says that the drum is empty."""
    _, messages, events = dosed(trouble("drum-empty"))
    assert said(messages, "/delivered")[-1]["fault"] == "drum empty"
    assert events[0]["concentrate_l"] == 0.0
    assert events[0]["water_l"] == pytest.approx(12.0, abs=0.1)


def test_silent_pours_and_says_nothing():
    """The dose goes in, no report comes."""
    _, messages, events = dosed(trouble("silent"))
    assert said(messages, "/delivered") == []
    assert events[0]["water_l"] == pytest.approx(12.0, abs=1e-6)


def test_reboot_in_mid_dose_pours_the_rest_once():
    """After a minute and a half of silence it goes on where it was; the total is right."""
    _, messages, events = dosed(trouble("rebooted"))
    last = said(messages, "/delivered")[-1]
    assert last["finished"]
    assert events[0]["water_l"] == pytest.approx(12.0, abs=1e-6)


def test_reported_twice():
    """Every report comes two times."""
    _, messages, _ = dosed(trouble("reported-twice"))
    reports = [m.payload for m in messages if m.topic.endswith("/delivered")]
    assert sorted(reports) == sorted(2 * list(set(reports)))


def test_wrong_clock_refuses_setpoints_as_expired():
    """A clock twenty minutes ahead finds every setpoint expired."""
    _, messages, events = dosed(trouble("clock", 1200))
    assert said(messages, "/accepted")[0]["reason"] == "expired"
    assert events == []


@pytest.mark.parametrize(
    ("topic", "payload"),
    [
        ("setpoint", b"no json"),
        ("setpoint", b"{}"),
        ("setpoint", b"[1]"),
        ("lease", b'{"setpoint": 3}'),
        ("advice", b'{"id": "a"}'),
        ("advice", b"\xff"),
        ("advice", b'{"id": "a", "mix": {"water_l": "x"}, "kind": "top-up"}'),
    ],
)
def test_what_nobody_understands_does_no_harm(topic, payload):
    """A broken message is in the truth, and the plant goes on."""
    floor = plant(STATION)
    floor.hear(f"millpond/shop/m1/{topic}", payload)
    run(floor, 0.05)
    records = [r for r in floor.take_truth() if r["type"] == "not-understood"]
    if topic == "lease":
        assert records == []  # no dose is in hand: nobody listens for leases
    else:
        assert [r["what"] for r in records] == [topic]


def alarm(floor, state, name="delivery-differs"):
    """Let the plant hear an alarm of the agent's."""
    body = json.dumps({"state": state})
    floor.hear(f"millpond/shop/m1/alarm/{name}", body.encode())


def test_somebody_looks_into_an_alarm_about_the_station_and_resets_it():
    """Four hours after it has latched, once: acknowledged, then reset."""
    floor = plant(STATION)
    alarm(floor, "unacknowledged")
    alarm(floor, "latched-unacknowledged")
    alarm(floor, "latched-unacknowledged")
    assert said(run(floor, 3.9), "/alarm-command") == []

    orders = said(run(floor, 0.3), "/alarm-command")
    assert [order["command"] for order in orders] == ["acknowledge", "reset"]
    assert {order["alarm"] for order in orders} == {"delivery-differs"}


def test_nobody_looks_into_other_alarms_or_where_nobody_is_there():
    """The station is not the reason, or the scenario says that nobody comes."""
    floor = plant(STATION)
    alarm(floor, "latched-unacknowledged", "level-low")
    assert said(run(floor, 5.0), "/alarm-command") == []
