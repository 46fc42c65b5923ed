"""Where the agent's messages go, and which of them stay there."""

import json
from dataclasses import replace

import pytest

from advisor.effects import (
    Advice,
    AlarmReport,
    AlarmState,
    Batch,
    Limits,
    Mix,
    NextTopUp,
    PublishAdvice,
    PublishAlarm,
    PublishEvent,
    PublishLease,
    PublishSetpoint,
    PublishState,
    Range,
    Setpoint,
)
from advisor.words import (
    Account,
    AlarmOrder,
    Estimate,
    Losses,
    Quality,
    Signal,
    SumpEvent,
    SumpState,
)
from agent.arrival import Outgoing
from agent.messages.publish import alarm_answer, outgoing_for, topic_of, withdrawn

PREFIX, SUMP = "millpond/north", "mill-07"
SIX = 1_772_431_200_000  # 2026-03-02T06:00:00Z

NOTHING = SumpState(
    at=SIX,
    volume=None,
    concentration=None,
    correlation=0.0,
    rest_depth=None,
    holdup=None,
    running=None,
    losses=Losses(window_h=0.0, water=None, concentrate=None, evaporation=None, carry_off=None),
    lost=None,
    added=None,
    drained=None,
    qualities={},
    last_seen={},
    charging=False,
    events=(),
    events_since=SIX,
)

ALARM = AlarmReport(
    name="signal-stale",
    signal=Signal.BRIX,
    state=AlarmState.UNACKNOWLEDGED,
    active=True,
    acknowledged=False,
    priority="low",
    raised_at=SIX,
    value=None,
    limit=600.0,
    unit="s",
    cause='the sensor says "nothing"',
    consequence="—",
    action="look",
)


def body_of(outgoing: Outgoing) -> object:
    """The payload as JSON."""
    return json.loads(outgoing.payload)


def test_the_design_s_state_is_told_key_for_key() -> None:
    """The numbers of the documented example come out as they stand there."""
    state = replace(
        NOTHING,
        volume=Estimate(312.4, 1.9),
        concentration=Estimate(0.0762, 0.0008),
        losses=Losses(
            window_h=24.0,
            water=Estimate(21.3, 1.2),
            concentrate=Estimate(0.41, 0.2),
            evaporation=None,
            carry_off=None,
        ),
        lost=Account(since=SIX - 500, water=Estimate(-0.001, 0.1), concentrate=Estimate(1.0, 0.1)),
        qualities={Signal.LEVEL: Quality.GOOD, Signal.BRIX: Quality.SUSPECT},
    )

    (outgoing,) = outgoing_for(PublishState(state), PREFIX, SUMP)

    absent = dict.fromkeys((signal.value for signal in Signal), "absent")
    assert outgoing.topic == "millpond/north/mill-07/state"
    assert outgoing.retain
    assert body_of(outgoing) == {
        "schema": 1,
        "sump": "mill-07",
        "at": "2026-03-02T06:00:00Z",
        "volume_l": {"value": 312.4, "sd": 1.9},
        "concentration_pct": {"value": 7.62, "sd": 0.08},
        "losses": {
            "window_h": 24.0,
            "water_l_per_day": {"value": 21.3, "sd": 1.2},
            "concentrate_l_per_day": {"value": 0.41, "sd": 0.2},
            "evaporation_l_per_day": None,
            "carry_off_l_per_day": None,
        },
        "lost_total": {
            "since": "2026-03-02T05:59:59.500Z",
            "water_l": {"value": 0.0, "sd": 0.1},
            "concentrate_l": {"value": 1.0, "sd": 0.1},
        },
        "added_total": None,
        "drained_total": None,
        "signals": {**absent, "level": "good", "brix": "suspect"},
    }
    assert b"-0.0" not in outgoing.payload


def test_an_event_is_not_retained() -> None:
    """Events are told as they are found; the newest is no state of the sump."""
    event = SumpEvent(
        id="e1",
        at=SIX,
        kind="addition",
        source="inferred",
        volume=Estimate(20.0, 1.0),
        strength=Estimate(0.05, 0.01),
    )

    (outgoing,) = outgoing_for(PublishEvent(event), PREFIX, SUMP)

    assert (outgoing.topic, outgoing.retain) == ("millpond/north/mill-07/event", False)
    assert body_of(outgoing) == {
        "schema": 1,
        "id": "e1",
        "sump": "mill-07",
        "at": "2026-03-02T06:00:00Z",
        "kind": "addition",
        "source": "inferred",
        "volume_l": {"value": 20.0, "sd": 1.0},
        "strength_pct": {"value": 5.0, "sd": 1.0},
    }


def test_advice_is_told_key_for_key() -> None:
    """Mix, portions, limits in the sensor's own unit, and the next top-up."""
    advice = Advice(
        id="a1",
        sump=SUMP,
        issued_at=SIX,
        valid_until=SIX + 3_600_000,
        kind="top-up",
        mix=Mix(33.6, 4.2),
        batches=(Batch(3, 11.2, 1.4),),
        drain=0.0,
        after=None,
        limits=Limits(
            level_running=Range(7.0866141732, None),
            level_stopped=None,
            level_unit="in",
            brix=Range(4.8, 8.0),
            water_loss_high=40.0,
            concentrate_loss_high=None,
        ),
        next=NextTopUp(at=SIX + 86_400_000, sd_h=2.5, strength=0.021),
        why=("the level is low",),
        cautions=("water first, then concentrate",),
    )

    (outgoing,) = outgoing_for(PublishAdvice(advice), PREFIX, SUMP)

    assert (outgoing.topic, outgoing.retain) == ("millpond/north/mill-07/advice", True)
    assert body_of(outgoing) == {
        "schema": 1,
        "id": "a1",
        "sump": "mill-07",
        "issued_at": "2026-03-02T06:00:00Z",
        "valid_until": "2026-03-02T07:00:00Z",
        "kind": "top-up",
        "mix": {"water_l": 33.6, "concentrate_l": 4.2, "strength_pct": 11.111},
        "batches": [{"count": 3, "water_l": 11.2, "concentrate_l": 1.4}],
        "drain_l": 0.0,
        "after": None,
        "limits": {
            "level": {"running": {"low": 7.08661, "high": None}, "stopped": None, "unit": "in"},
            "brix": {"low": 4.8, "high": 8.0, "unit": "degBrix"},
            "loss": {
                "water_l_per_day": {"high": 40.0},
                "concentrate_l_per_day": {"high": None},
            },
        },
        "next": {"at": {"value": "2026-03-03T06:00:00Z", "sd_h": 2.5}, "strength_pct": 2.1},
        "why": ["the level is low"],
        "cautions": ["water first, then concentrate"],
    }


def test_an_alarm_about_a_signal_has_a_topic_of_its_own() -> None:
    """Two signals of one sump can be stale at once."""
    (outgoing,) = outgoing_for(PublishAlarm(ALARM), PREFIX, SUMP)

    assert outgoing.topic == "millpond/north/mill-07/alarm/signal-stale/brix"
    assert outgoing.retain
    other = PublishAlarm(replace(ALARM, name="level-low", signal=None))
    assert topic_of(PREFIX, SUMP, other) == "millpond/north/mill-07/alarm/level-low"


@pytest.mark.parametrize(
    ("about", "name", "topic"),
    [
        ("", "feed-lost", "millpond/north/alarm/feed-lost"),
        ("supply/drum-1", "expired", "millpond/north/supply/drum-1/alarm/expired"),
    ],
)
def test_alarms_of_plant_and_supply_have_their_own_places(
    about: str, name: str, topic: str
) -> None:
    """They stand beside the sumps' under the same prefix."""
    alarm = replace(ALARM, name=name, signal=None)

    (outgoing,) = outgoing_for(PublishAlarm(alarm), PREFIX, about)

    assert outgoing.topic == topic


@pytest.mark.parametrize(
    ("sump", "supply", "topic"),
    [
        ("mill-07", None, "millpond/north/mill-07/alarm-answer"),
        ("", None, "millpond/north/alarm-answer"),
        ("", "drum-1", "millpond/north/supply/drum-1/alarm-answer"),
    ],
)
def test_an_order_is_answered_where_it_was_given(sump: str, supply: str | None, topic: str) -> None:
    """Who ordered hears beside the order's topic whether it was carried out, once."""
    order = AlarmOrder(
        sump=sump, supply=supply, at=SIX, alarm="expired", signal=None, verb="reset", id="o-1"
    )

    answer = alarm_answer(order, "it is normal", PREFIX)

    assert (answer.topic, answer.retain) == (topic, False)
    assert json.loads(answer.payload)["reason"] == "it is normal"


def test_a_normal_alarm_is_told_once_and_then_withdrawn() -> None:
    """Who listens hears that it is over; who comes later finds nothing."""
    normal = replace(ALARM, state=AlarmState.NORMAL, active=False)

    told, gone = outgoing_for(PublishAlarm(normal), PREFIX, SUMP)

    assert not told.retain
    assert b'"state":"normal"' in told.payload
    assert gone == withdrawn(told.topic) == Outgoing(told.topic, b"", retain=True)


def test_text_that_utf_8_cannot_carry_does_no_harm() -> None:
    """Half a surrogate pair from somebody's keyboard goes out as the escape it came in as."""
    (outgoing,) = outgoing_for(PublishAlarm(replace(ALARM, by="a\ud83d")), PREFIX, SUMP)

    assert json.loads(outgoing.payload.decode("utf-8"))["by"] == "a\ud83d"


@pytest.mark.parametrize("state", [state for state in AlarmState if state != "normal"])
def test_every_other_state_of_an_alarm_is_retained(state: AlarmState) -> None:
    """Shelved, suppressed and the rest are still there for who comes later."""
    (outgoing,) = outgoing_for(PublishAlarm(replace(ALARM, state=state)), PREFIX, SUMP)

    assert outgoing.retain


def test_what_a_station_is_told_is_never_retained() -> None:
    """A setpoint that is found later would be carried out on evidence that is gone."""
    setpoint = Setpoint(
        id="s-29540520",
        sump=SUMP,
        advice="a-000003",
        mix=Mix(18.0, 2.0),
        max_strength=0.135,
        water_meter_end=1234.5678,
        concentrate_meter_end=None,
        stop_at_level=379.8,
        level_unit="mm",
        issued_at=SIX,
        expires_at=SIX + 600_000,
    )
    (asked,) = outgoing_for(PublishSetpoint(setpoint), PREFIX, SUMP)
    (lease,) = outgoing_for(PublishLease("s-29540520", SIX + 600_000), PREFIX, SUMP)

    assert (asked.topic, asked.retain) == ("millpond/north/mill-07/setpoint", False)
    assert (lease.topic, lease.retain) == ("millpond/north/mill-07/lease", False)
    assert body_of(asked) == {
        "schema": 1,
        "id": "s-29540520",
        "sump": SUMP,
        "advice": "a-000003",
        "water_l": 18.0,
        "concentrate_l": 2.0,
        "max_strength_pct": 13.5,
        "water_meter_end_l": 1234.568,
        "concentrate_meter_end_l": None,
        "stop_at_level": {"value": 379.8, "unit": "mm"},
        "issued_at": "2026-03-02T06:00:00Z",
        "expires_at": "2026-03-02T06:10:00Z",
    }
    assert body_of(lease) == {
        "schema": 1,
        "setpoint": "s-29540520",
        "until": "2026-03-02T06:10:00Z",
    }
