"""What people and stations say becomes the words of the computation."""

import json
from typing import Any

import pytest

from advisor.words import (
    DAY,
    MINUTE,
    Addition,
    AlarmOrder,
    Charge,
    Check,
    CheckKind,
    Delivery,
    Drain,
    Entry,
    Service,
    Signal,
)
from agent.arrival import Arrival
from agent.decode.decoder import Decoder
from agent.decode.results import (
    Decoded,
    Reason,
    Refusal,
    Report,
    StationAnswer,
    StockReport,
)
from tests.bindings import NOW, PREFIX, a_plant

AT = "2026-03-02T05:30:00Z"
WHEN = NOW - 30 * MINUTE


def said(channel: str, body: dict[str, Any] | str, arrived: int = NOW) -> Decoded:
    """What was said about mill-07 on a channel."""
    payload = body if isinstance(body, str) else json.dumps(body)
    arrival = Arrival(arrived, f"{PREFIX}/mill-07/{channel}", payload.encode())
    (piece,) = Decoder(a_plant()).decode(arrival)
    return piece


def reported(channel: str, body: dict[str, Any], arrived: int = NOW) -> Entry:
    """The entry that was reported about mill-07."""
    report = said(channel, body, arrived)
    assert isinstance(report, Report), report
    assert report.sump == "mill-07"
    return report.entry


def refused(channel: str, body: dict[str, Any] | str) -> Refusal:
    """The refusal of what was said about mill-07."""
    refusal = said(channel, body)
    assert isinstance(refusal, Refusal), refusal
    assert refusal.sump == "mill-07"
    return refusal


def test_a_check_comes_with_its_value_in_the_unit_inside():
    """A refractometer read in % is divided by the fluid's factor, 1.25."""
    body = {"id": "c1", "at": AT, "kind": "refractometer", "value": 8.0, "unit": "%", "by": "Ann"}

    assert reported("check", {**body, "sample": "settled", "replaces": "c0"}) == Check(
        at=WHEN,
        id="c1",
        kind=CheckKind.REFRACTOMETER,
        value=pytest.approx(6.4),
        sample="settled",
        by="Ann",
        replaces="c0",
    )


def test_an_addition_of_water_and_concentrate():
    """Both as they were poured, with what was said about them."""
    body = {"id": "a1", "at": AT, "water_l": 18.0, "concentrate_l": 1.5, "by": "Ann"}
    more = {"advice": "m-1", "supply": "drum-1", "concentrate": "semi-b", "replaces": "a0"}

    assert reported("addition", {**body, **more}) == Addition(
        at=WHEN,
        id="a1",
        water=18.0,
        concentrate=1.5,
        by="Ann",
        advice="m-1",
        supply="drum-1",
        fluid="semi-b",
        replaces="a0",
    )


def test_an_addition_of_a_mix_is_taken_apart():
    """Volume and strength, in % of the mix, give water and concentrate."""
    entry = reported("addition", {"id": "a", "at": AT, "volume_l": 20.0, "strength_pct": 5.0})

    assert isinstance(entry, Addition)
    assert (entry.water, entry.concentrate) == (pytest.approx(19.0), pytest.approx(1.0))


@pytest.mark.parametrize(
    ("body", "fields"),
    [
        ({"volume_l": 40.0}, {"volume": 40.0}),
        ({"to_level_mm": 100.0}, {"to_level": 100.0}),
        ({"all": True}, {"everything": True}),
    ],
)
def test_a_drain_in_each_of_its_forms(body, fields):
    """A volume, down to a depth, or everything."""
    entry = reported("drain", {"id": "d", "at": AT, "to": "tote 3", **body})

    assert entry == Drain(at=WHEN, id="d", to="tote 3", **fields)


def test_a_charge():
    """A stage, with what was poured so far."""
    body = {"id": "h", "at": AT, "stage": "filled", "water_l": 320.0, "concentrate_l": 28.0}

    assert reported("charge", body) == Charge(
        at=WHEN, id="h", stage="filled", water=320.0, concentrate=28.0
    )


def test_a_service():
    """What was done, with a note."""
    body = {"id": "s", "at": AT, "kind": "prism-cleaned", "note": "film", "by": "Bo"}

    assert reported("service", body) == Service(
        at=WHEN, id="s", kind="prism-cleaned", note="film", by="Bo"
    )


def test_a_station_s_report_and_answer():
    """Totals for a setpoint so far, and whether it will be carried out."""
    report = {"at": AT, "setpoint": "p1", "water_l": 9.0, "concentrate_l": 1.0, "finished": False}
    answer = {"at": AT, "setpoint": "p1", "accepted": False, "reason": "door open"}

    assert reported("delivered", report) == Delivery(
        at=WHEN, setpoint="p1", water=9.0, concentrate=1.0, finished=False
    )
    assert said("accepted", answer) == StationAnswer(
        sump="mill-07", at=WHEN, setpoint="p1", accepted=False, why="door open"
    )


def test_a_command_on_an_alarm():
    """The alarm, the signal it is about, what shall be done and until when."""
    body = {"at": AT, "alarm": "signal-stale", "signal": "brix", "command": "shelve", "by": "Ann"}

    assert said("alarm-command", {**body, "until": "2026-03-02T07:00:00+01:00"}) == AlarmOrder(
        sump="mill-07",
        at=WHEN,
        alarm="signal-stale",
        signal=Signal.BRIX,
        verb="shelve",
        until=NOW,
        by="Ann",
    )


def test_the_stock_of_a_supply():
    """What is left, of which lot, and how long it keeps: to the end of the day in UTC."""
    body = {"id": "k", "at": AT, "volume_l": 120.0, "lot": "L7", "expires": "2026-03-02"}
    arrival = Arrival(NOW, f"{PREFIX}/supply/drum-1/stock", json.dumps(body).encode())

    assert Decoder(a_plant()).decode(arrival) == (
        StockReport(
            supply="drum-1",
            at=WHEN,
            id="k",
            volume=120.0,
            lot="L7",
            expires=NOW - 6 * 60 * MINUTE + DAY - 1,
        ),
    )


# --- times and ids that are not said -------------------------------------------------------------


def test_what_is_not_dated_happened_on_arrival():
    """The time of arrival is taken where the body has none."""
    assert reported("service", {"kind": "skimmed"}).at == NOW


def test_a_dated_entry_without_an_id_gets_one_of_its_own_words():
    """The same message again is the same entry, whenever it comes; another body is another."""
    body = {"at": AT, "water_l": 18.0}

    first = reported("addition", body)
    again = reported("addition", body, NOW + MINUTE)
    other = reported("addition", {**body, "water_l": 19.0})

    assert isinstance(first, Addition)
    assert first == again
    assert isinstance(other, Addition)
    assert other.id != first.id


def test_the_same_words_without_a_time_are_another_entry_later():
    """Two buckets a day apart are two buckets."""
    first = reported("addition", {"water_l": 18.0})
    later = reported("addition", {"water_l": 18.0}, NOW + DAY)

    assert isinstance(first, Addition)
    assert isinstance(later, Addition)
    assert first.id != later.id


# --- what is refused -----------------------------------------------------------------------------

REFUSED = {
    "text for a number": ("addition", {"water_l": "7,9"}, "water_l"),
    "a negative amount": ("addition", {"water_l": -1.0}, "water_l"),
    "nothing poured": ("addition", {"water_l": 0.0}, "more than 0 L"),
    "two forms at once": ("addition", {"water_l": 1.0, "volume_l": 1.0}, "either"),
    "a key misspelt": ("addition", {"water_l": 1.0, "concentrat_l": 1.0}, "concentrate_l?"),
    "a key of nowhere": ("addition", {"water_l": 1.0, "zzz": 1.0}, "known are"),
    "an unknown kind": ("check", {"kind": "taste", "value": 1.0}, "kind"),
    "an absent value": ("check", {"kind": "ph"}, "value is absent"),
    "a refractometer without unit": ("check", {"kind": "refractometer", "value": 6.0}, "unit"),
    "a time without offset": ("service", {"kind": "skimmed", "at": "2026-03-02T05:30:00"}, "at"),
    "another schema": ("service", {"kind": "skimmed", "schema": 2}, "schema"),
    "a list": ("service", "[]", "an array"),
    "a drain of no form": ("drain", {"id": "d"}, "exactly one"),
    "an unknown alarm": ("alarm-command", {"alarm": "fire", "command": "reset"}, "alarm"),
    "an unknown command": ("alarm-command", {"alarm": "stagnant", "command": "stop"}, "command"),
}


@pytest.mark.parametrize(("channel", "body", "words"), REFUSED.values(), ids=REFUSED)
def test_a_body_that_is_not_as_expected_is_refused(channel, body, words):
    """The refusal names the key, what was found and what was expected."""
    refusal = refused(channel, body)

    assert refusal.reason is Reason.SCHEMA
    assert words in refusal.detail


@pytest.mark.parametrize(
    ("body", "reason"),
    [
        ("", Reason.EMPTY),
        ("412.5", Reason.SCHEMA),
        ("{", Reason.NOT_JSON),
        ('{"water_l": NaN}', Reason.NOT_JSON),
        ('{"water_l": 1e999}', Reason.SCHEMA),
        ('{"water_l": 18.0, "water_l": 1.0}', Reason.NOT_JSON),
        ('{"water_l": 18.0, "by": "\\ud800"}', Reason.SCHEMA),
    ],
)
def test_a_body_that_is_no_such_json_is_refused(body, reason):
    """What is not JSON, or says a thing twice, is told as that."""
    assert refused("addition", body).reason is reason


def test_units_of_checks_are_refused_with_their_reason():
    """A wrong unit is counted as a wrong unit, not as a wrong body."""
    assert refused("check", {"kind": "ph", "value": 9.0, "unit": "mm"}).reason is Reason.UNIT


def test_many_problems_are_told_shortly():
    """The first ones in full, the rest as a number."""
    refusal = refused("addition", {f"key{number}": 1 for number in range(9)})

    assert "more" in refusal.detail
    assert len(refusal.detail) < 1000
