"""What every form of payload promises: whatever comes, it counts or it is refused with a reason.

`GOOD` has a topic of each form with a payload that counts there; every test runs over all of them.
"""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.plan import SignalPlan
from advisor.words import MINUTE, Instant, Signal
from agent.admission import Accepted, Admission, Keep, Repeat, Take
from agent.arrival import Arrival
from agent.decode.decoder import PAYLOAD_MAX, Decoder
from agent.decode.results import (
    AlarmOrder,
    Decoded,
    Reason,
    Refusal,
    Report,
    Sample,
    StationAnswer,
    StockReport,
)
from agent.messages.incoming import PLANT_MESSAGES, SUMP_MESSAGES, SUPPLY_MESSAGES
from agent.refusals import EXCERPT_CHARACTERS
from tests.bindings import NOW, PREFIX, a_plant, bound

PLANT = a_plant(
    bound(Signal.LEVEL, "bare", unit="mm"),
    bound(Signal.RUNNING, "switch"),
    bound(Signal.CUTTING, "counter"),
    bound(Signal.BRIX, "json", value_pointer="/data/v", time_pointer="/data/ts"),
    bound(Signal.TEMPERATURE, "json", value_pointer="/t", unit_pointer="/u", unit="degC"),
    bound(Signal.PH, "senml", name="ph"),
    bound(Signal.CONDUCTIVITY, "senml", name="mill-07:conductivity"),
    bound(Signal.WATER_METER, "mixed", unit="L"),
    bound(Signal.CONCENTRATE_METER, "mixed", value_pointer="/concentrate", unit="L"),
    plans=(SignalPlan(signal=Signal.CUTTING, counter=True),),
)
DECODER = Decoder(PLANT)
ABOUT = f"{PREFIX}/mill-07/"

GOOD = {
    "bare": "412.5",
    "switch": "on",
    "counter": "1234",
    "json": '{"data": {"v": 7.9, "ts": "2026-03-02T06:00:00Z"}, "t": 77, "u": "degF"}',
    "senml": '[{"bn": "mill-07:", "bt": 1772431200, "n": "ph", "u": "pH", "v": 9.1},'
    ' {"n": "conductivity", "u": "S/m", "v": 0.21}]',
    "mixed": '{"concentrate": 12.5}',
    ABOUT + "check": '{"kind": "ph", "value": 9.1}',
    ABOUT + "addition": '{"water_l": 18.0, "concentrate_l": 1.5}',
    ABOUT + "drain": '{"all": true}',
    ABOUT + "charge": '{"stage": "begun"}',
    ABOUT + "service": '{"kind": "skimmed"}',
    ABOUT + "accepted": '{"setpoint": "p", "accepted": true}',
    ABOUT
    + "delivered": '{"setpoint": "p", "water_l": 9.0, "concentrate_l": 1.0, "finished": true}',
    ABOUT + "alarm-command": '{"alarm": "stagnant", "command": "acknowledge"}',
    f"{PREFIX}/supply/drum-1/stock": '{"volume_l": 120.0}',
    f"{PREFIX}/supply/drum-1/alarm-command": '{"alarm": "expired", "command": "acknowledge"}',
    f"{PREFIX}/alarm-command": '{"alarm": "feed-lost", "command": "shelve", "id": "o-1"}',
}
TOPICS = [*GOOD, "elsewhere", ABOUT + "state", f"{PREFIX}/mill-99/check"]


def decode(topic: str, payload: bytes, **how: bool) -> list[Decoded]:
    """What a message turns out to be."""
    return list(DECODER.decode(Arrival(NOW, topic, payload, **how)))


def check_promises(topic: str, payload: bytes, **how: bool) -> None:
    """Everything that holds of a message, whatever is in it."""
    for piece in decode(topic, payload, **how):
        match piece:
            case Refusal():
                assert piece.topic == topic
                assert isinstance(piece.reason, Reason)
                assert 0 < len(piece.detail) < 1500
                assert len(piece.excerpt) <= EXCERPT_CHARACTERS
                assert piece.excerpt.isprintable()
                (piece.detail + piece.excerpt).encode("utf-8")
                assert "\n" not in piece.detail
            case Sample():
                assert (piece.sump, piece.signal) in {(b.sump, b.signal) for b in PLANT.bindings}
                assert piece.value - piece.value == 0.0
            case AlarmOrder():
                about = (piece.sump, piece.supply)
                assert about in {("mill-07", None), ("", "drum-1"), ("", None)}
            case Report() | StationAnswer():
                assert piece.sump == "mill-07"
            case StockReport():
                assert piece.supply == "drum-1"


def test_every_form_is_here():
    """A channel or a topic that joins the decoder joins this suite."""
    channels = {topic.removeprefix(ABOUT) for topic in GOOD if topic.startswith(ABOUT)}

    assert channels == {model.channel for model in SUMP_MESSAGES}
    for about, messages in (("supply/drum-1/", SUPPLY_MESSAGES), ("", PLANT_MESSAGES)):
        assert {f"{PREFIX}/{about}{model.channel}" for model in messages} <= GOOD.keys()
    assert {binding.topic for binding in PLANT.bindings} <= GOOD.keys()


@pytest.mark.parametrize(("topic", "payload"), GOOD.items(), ids=GOOD)
def test_what_is_good_counts(topic, payload):
    """Each form has a message that is not refused; a retained or redelivered one decodes too."""
    for how in ({}, {"retain": True}, {"redelivered": True}):
        pieces = decode(topic, payload.encode(), **how)

        counting = [piece for piece in pieces if not isinstance(piece, Refusal)]
        assert counting
        assert len(counting) == len(pieces) or topic == "mixed"


# --- whatever comes ------------------------------------------------------------------------------


@given(st.sampled_from(TOPICS), st.binary(max_size=200))
def test_any_bytes_count_or_are_refused(topic, payload):
    """No bytes on any topic raise, and none pass without a word."""
    assert decode(topic, payload)
    check_promises(topic, payload)


@given(st.sampled_from(TOPICS), st.text(max_size=80))
def test_any_text_counts_or_is_refused(topic, text):
    """The same for text of any script."""
    check_promises(topic, text.encode("utf-8"))


VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.floats()
    | st.integers()
    | st.integers(10**300, 10**310)
    | st.text(max_size=9)
    | st.sampled_from(["7,9", "7.9", "on", "2026-03-02T06:00:00Z", "degF", "pH", "mm"]),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3)
    ),
    max_leaves=6,
)
KEYS = ["data", "v", "ts", "t", "u", "concentrate", "kind", "value", "unit", "at", "id"]
OBJECTS = st.fixed_dictionaries({}, optional=dict.fromkeys(KEYS, VALUES)) | st.builds(
    lambda v, ts: {"data": {"v": v, "ts": ts}}, VALUES, VALUES
)
SENML_KEYS = ["bn", "bt", "bu", "bv", "bs", "bver", "u", "v", "vs", "vb", "vd", "s", "t", "x_"]
PACKS = st.lists(
    st.fixed_dictionaries(
        {"n": st.sampled_from(["ph", "mill-07:conductivity"]) | VALUES},
        optional=dict.fromkeys(SENML_KEYS, VALUES),
    ),
    max_size=3,
)


@given(st.sampled_from(TOPICS), OBJECTS | PACKS | VALUES)
def test_any_document_counts_or_is_refused(topic, document):
    """Documents with the right keys and anything under them, NaN and huge numbers among it."""
    check_promises(topic, json.dumps(document).encode())


@given(st.sampled_from(list(GOOD)), st.data())
def test_a_good_message_spoilt_counts_or_is_refused(topic, data):
    """One byte of a good message changed, or its end cut off."""
    payload = bytearray(GOOD[topic].encode())
    place = data.draw(st.integers(0, len(payload) - 1))
    if data.draw(st.booleans()):
        payload[place] = data.draw(st.integers(0, 255))
    else:
        del payload[place:]

    check_promises(topic, bytes(payload))


@given(st.sampled_from(list(GOOD)), st.sampled_from([b"[", b'{"a":', b"9", b'"', b" ", b"\xff"]))
def test_a_payload_of_one_thing_only_counts_or_is_refused(topic, thing):
    """As much of it as is let in: no depth and no length is too much."""
    check_promises(topic, (thing * PAYLOAD_MAX)[:PAYLOAD_MAX])


# --- kinds of malformed payloads, each beside good ones ------------------------------------------

NOT_YET = '{"data": {"v": 7.9, "ts": "2026-03-02T06:05:01Z"}}'
LONG_AGO = '{"data": {"v": 7.9, "ts": "2026-02-20T06:00:00Z"}}'

MALFORMED: dict[str, tuple[str, str | bytes, Reason]] = {
    "empty": ("bare", "", Reason.EMPTY),
    "blanks": ("bare", " \r\n", Reason.EMPTY),
    "a word for a number": ("bare", "error", Reason.NOT_A_NUMBER),
    "a decimal comma": ("bare", "7,9", Reason.NOT_A_NUMBER),
    "not a number by name": ("bare", "NaN", Reason.NOT_A_NUMBER),
    "infinity by name": ("bare", "inf", Reason.NOT_A_NUMBER),
    "hexadecimal": ("bare", "0x10", Reason.NOT_A_NUMBER),
    "underscores": ("bare", "1_000", Reason.NOT_A_NUMBER),
    "a unit behind": ("bare", "412.5 mm", Reason.NOT_A_NUMBER),
    "JSON on a bare topic": ("bare", '{"v": 412.5}', Reason.NOT_A_NUMBER),
    "too large for a number": ("bare", "1e999", Reason.RANGE),
    "an error code": ("bare", "-999", Reason.RANGE),
    "no UTF-8": ("bare", b"\xff\x00\x01", Reason.NOT_TEXT),
    "UTF-16": ("bare", "412.5".encode("utf-16"), Reason.NOT_TEXT),
    "zero bytes": ("bare", b"412.5\x00\x00", Reason.NOT_TEXT),
    "oversized": ("bare", b"4" * (PAYLOAD_MAX + 1), Reason.OVERSIZED),
    "neither on nor off": ("switch", "maybe", Reason.WORD),
    "half on": ("switch", "0.5", Reason.WORD),
    "a withdrawn switch": ("switch", "", Reason.EMPTY),
    "a counter that says on": ("counter", "on", Reason.NOT_A_NUMBER),
    "a counter below nothing": ("counter", "-1", Reason.RANGE),
    "JSON cut off": ("json", '{"data": {"v": 7.9', Reason.NOT_JSON),
    "JSON with NaN": ("json", '{"data": {"v": NaN}}', Reason.NOT_JSON),
    "a key twice": ("json", '{"data": {"v": 7.9, "v": 8.9}}', Reason.NOT_JSON),
    "nested too deeply": ("json", "[" * 30_000, Reason.NOT_JSON),
    "nothing at the pointers": ("json", '{"date": {"v": 7.9}}', Reason.POINTER),
    "null": ("json", '{"data": {"v": null}}', Reason.NOT_A_NUMBER),
    "truth for a number": ("json", '{"data": {"v": true}}', Reason.NOT_A_NUMBER),
    "a structure for a number": ("json", '{"data": {"v": {"raw": 7.9}}}', Reason.NOT_A_NUMBER),
    "a huge whole number": ("json", f'{{"data": {{"v": 1{"0" * 400}}}}}', Reason.RANGE),
    "no time": ("json", '{"data": {"v": 7.9, "ts": "noon"}}', Reason.TIME),
    "a time without offset": (
        "json",
        '{"data": {"v": 7.9, "ts": "2026-03-02T06:00:00"}}',
        Reason.TIME,
    ),
    "microseconds": ("json", '{"data": {"v": 7.9, "ts": 1772431200000000}}', Reason.TIME),
    "from the future": ("json", NOT_YET, Reason.FUTURE),
    "from before the backlog": ("json", LONG_AGO, Reason.TOO_OLD),
    "a unit of something else": ("json", '{"t": 25, "u": "mm"}', Reason.UNIT),
    "a unit of nowhere": ("json", '{"t": 25, "u": "kelvins?"}', Reason.UNIT),
    "a pack that is empty": ("senml", "[]", Reason.SENML),
    "a pack of numbers": ("senml", "[9.1]", Reason.SENML),
    "a pack of a later version": ("senml", '[{"bver": 99, "n": "ph", "v": 9}]', Reason.SENML),
    "a pack to be understood": ("senml", '[{"n": "ph", "v": 9, "q_": 1}]', Reason.SENML),
    "a pack about others": ("senml", '[{"n": "battery", "u": "%EL", "v": 98}]', Reason.SENML),
    "a record in another unit": ("senml", '[{"n": "ph", "u": "m", "v": 9}]', Reason.UNIT),
    "a record of text": ("senml", '[{"n": "ph", "vs": "9"}]', Reason.NOT_A_NUMBER),
    "a body of another form": (ABOUT + "check", "9.1", Reason.SCHEMA),
    "a key misspelt": (ABOUT + "addition", '{"watter_l": 18.0}', Reason.SCHEMA),
    "a check in another unit": (
        ABOUT + "check",
        '{"kind": "dipstick", "value": 380, "unit": "L"}',
        Reason.UNIT,
    ),
    "a check that cannot be": (ABOUT + "check", '{"kind": "ph", "value": 91}', Reason.RANGE),
    "an unknown sump": (f"{PREFIX}/mill-99/addition", '{"water_l": 18.0}', Reason.UNKNOWN_SUMP),
    "an unknown supply": (
        f"{PREFIX}/supply/drum-9/stock",
        '{"volume_l": 1.0}',
        Reason.UNKNOWN_SUPPLY,
    ),
    "an unknown topic": ("elsewhere", "412.5", Reason.UNKNOWN_TOPIC),
}


def outcome(admission: Admission, arrival: Arrival) -> list[object]:
    """Samples and reports that count, and all refusals, of one message."""
    outcomes: list[object] = []
    for piece in DECODER.decode(arrival):
        match piece:
            case Sample():
                outcomes.append(admission.admit(piece, arrival))
            case Report():
                outcomes.append(admission.admit_report(piece, arrival))
            case _:
                outcomes.append(piece)
    return outcomes


def good_level(at: Instant, value: float) -> Arrival:
    """A reading that counts."""
    return Arrival(at, "bare", str(value).encode())


@pytest.mark.parametrize(("topic", "payload", "reason"), MALFORMED.values(), ids=MALFORMED)
def test_each_kind_is_refused_while_good_ones_beside_it_count(topic, payload, reason):
    """One refusal with its own reason; the readings before and after it are taken."""
    admission = Admission(PLANT, {}, lambda _sump, _signal, _at: False)
    octets = payload.encode() if isinstance(payload, str) else payload

    before = outcome(admission, good_level(NOW - MINUTE, 412.0))
    (refused,) = outcome(admission, Arrival(NOW, topic, octets))
    after = outcome(admission, good_level(NOW + 1, 413.0))

    assert [type(each) for each in before + after] == [Take, Take]
    assert isinstance(refused, Refusal), refused
    assert refused.reason is reason
    assert refused.detail
    assert octets == b"" or refused.excerpt


def test_all_kinds_in_a_row_leave_the_good_readings_as_they_are():
    """Every malformed message between two good ones: all good ones are taken, none is repeated."""
    admission = Admission(PLANT, {}, lambda _sump, _signal, _at: False)
    outcomes: list[object] = []

    for number, (topic, payload, _) in enumerate(MALFORMED.values()):
        octets = payload.encode() if isinstance(payload, str) else payload
        outcomes += outcome(admission, good_level(NOW + 10 * number, 400.0 + number))
        outcomes += outcome(admission, Arrival(NOW + 10 * number + 5, topic, octets))

    taken = [each.reading.value for each in outcomes if isinstance(each, Take)]
    refusals = [each for each in outcomes if isinstance(each, Refusal)]
    assert taken == [400.0 + number for number in range(len(MALFORMED))]
    assert len(refusals) == len(MALFORMED)
    assert not any(isinstance(each, Keep | Repeat | Accepted) for each in outcomes)


def test_the_kinds_cover_every_reason():
    """Only RETAINED depends on how a message came and not on what it is; Sparkplug has a node's
    life behind each message, and tests of its own."""
    found = {reason for _, _, reason in MALFORMED.values()}
    assert found == set(Reason) - {Reason.RETAINED, Reason.SPARKPLUG, Reason.TOO_MANY}
