"""Where in a payload the values of a topic's signals stand."""

import json

import pytest

from advisor.words import MINUTE, Signal
from agent.decode.results import Reason, Refusal, Sample
from tests.bindings import NOW, bound, decoded

LEVEL = bound(Signal.LEVEL, name="level")
BRIX = bound(Signal.BRIX, name="brix")


def samples(pieces: list[object]) -> list[tuple[str, str, int | None, float]]:
    """All pieces, which must be samples, as plain tuples."""
    assert all(isinstance(piece, Sample) for piece in pieces), pieces
    return [(s.sump, s.signal.value, s.at, s.value) for s in pieces]  # type: ignore[attr-defined]


def refusal_in(pieces: list[object]) -> Refusal:
    """The one piece, which must be a refusal."""
    (refusal,) = pieces
    assert isinstance(refusal, Refusal), refusal
    return refusal


# --- bare values ---------------------------------------------------------------------------------


def test_a_bare_value_has_no_time():
    """It holds for its arrival, which is for others to say."""
    assert samples(decoded("412.5", LEVEL)) == [("mill-07", "level", None, 412.5)]


def test_one_bare_topic_may_serve_several_sumps():
    """The hall's climate is that of every sump in it."""
    here, there = bound(Signal.AIR_TEMPERATURE), bound(Signal.AIR_TEMPERATURE, sump="mill-08")

    assert samples(decoded("21.5", here, there)) == [
        ("mill-07", "air_temperature", None, 21.5),
        ("mill-08", "air_temperature", None, 21.5),
    ]


def test_each_of_several_signals_is_refused_for_itself():
    """A value that suits one signal and not another counts for the one."""
    brix, ph = bound(Signal.BRIX), bound(Signal.PH)

    sample, refusal = decoded("40", brix, ph)

    assert isinstance(sample, Sample)
    assert isinstance(refusal, Refusal)
    assert (refusal.reason, refusal.sump) == (Reason.RANGE, "mill-07")
    assert refusal.detail.startswith("ph: ")


# --- JSON with pointers --------------------------------------------------------------------------


def test_value_time_and_unit_stand_where_the_pointers_lead():
    """The example of the plant's own JSON."""
    binding = bound(Signal.BRIX, value_pointer="/data/v", time_pointer="/data/ts")
    payload = '{"data": {"v": 7.9, "ts": "2026-03-02T06:00:00Z"}}'

    assert samples(decoded(payload, binding)) == [("mill-07", "brix", NOW, 7.9)]


@pytest.mark.parametrize("time", ['"ts": null', '"other": 1'])
def test_a_document_without_a_time_holds_for_its_arrival(time):
    """The payload's time counts where it has one."""
    binding = bound(Signal.BRIX, value_pointer="/v", time_pointer="/ts")

    assert samples(decoded(f'{{"v": 7.9, {time}}}', binding)) == [("mill-07", "brix", None, 7.9)]


def test_a_time_that_is_none_is_refused():
    """A wrong time is not replaced by that of arrival."""
    binding = bound(Signal.BRIX, value_pointer="/v", time_pointer="/ts")

    assert refusal_in(decoded('{"v": 7.9, "ts": "noon"}', binding)).reason is Reason.TIME


def test_one_document_may_carry_several_signals_of_several_sumps():
    """Each has its pointer; what is wrong with one does not touch the others."""
    bindings = (
        bound(Signal.LEVEL, value_pointer="/a/level"),
        bound(Signal.BRIX, value_pointer="/a/brix"),
        bound(Signal.LEVEL, value_pointer="/b/level", sump="mill-08"),
    )
    payload = '{"a": {"level": 412.5, "brix": "foam"}, "b": {"level": 300}}'

    first, second, third = decoded(payload, *bindings)

    assert samples([first, third]) == [
        ("mill-07", "level", None, 412.5),
        ("mill-08", "level", None, 300.0),
    ]
    assert refusal_in([second]).reason is Reason.NOT_A_NUMBER


def test_a_document_with_some_of_the_signals_is_no_error():
    """Gateways send what has changed."""
    bindings = (bound(value_pointer="/level"), bound(Signal.BRIX, value_pointer="/brix"))

    assert samples(decoded('{"brix": 7.9}', *bindings)) == [("mill-07", "brix", None, 7.9)]


@pytest.mark.parametrize("payload", ["{}", "[]", "7", '{"Brix": 7.9}', '{"data": []}'])
def test_a_document_with_none_of_the_signals_is_refused(payload):
    """The refusal names the pointer, and the keys that are there."""
    binding = bound(Signal.BRIX, value_pointer="/data/brix")

    refusal = refusal_in(decoded(payload, binding))

    assert refusal.reason is Reason.POINTER
    assert "/data/brix" in refusal.detail


def test_without_a_value_pointer_the_document_is_the_value():
    """A pointer to the unit alone makes the payload JSON all the same."""
    binding = bound(time_pointer="/ts")

    assert samples(decoded("412.5", binding)) == [("mill-07", "level", None, 412.5)]


def test_a_topic_may_carry_both_forms():
    """What the one form cannot read the other one can."""
    plain, pointed = bound(Signal.LEVEL), bound(Signal.BRIX, value_pointer="/v")

    refusal, sample = decoded('{"v": 7.9}', plain, pointed)

    assert refusal_in([refusal]).reason is Reason.NOT_A_NUMBER
    assert samples([sample]) == [("mill-07", "brix", None, 7.9)]


# --- SenML ---------------------------------------------------------------------------------------


def test_a_pack_about_one_thing_needs_no_name():
    """All its records are the signal's, in the order of their times."""
    pack = (
        '[{"bn": "mill-07:", "bt": 1772431200, "bu": "m", "n": "level", "v": 0.4125},'
        ' {"n": "level", "t": -60, "v": 0.4135}]'
    )

    assert samples(decoded(pack, bound())) == [
        ("mill-07", "level", NOW - MINUTE, pytest.approx(413.5)),
        ("mill-07", "level", NOW, pytest.approx(412.5)),
    ]


@pytest.mark.parametrize("name", ["level", "mill-07:level"])
def test_a_name_picks_its_records(name):
    """The full name, or its last part; what nobody wants is passed over."""
    pack = (
        '[{"bn": "mill-07:", "n": "level", "v": 412.5}, {"n": "battery", "u": "%EL", "v": 98},'
        ' {"n": "water_level", "v": 1}]'
    )

    assert samples(decoded(pack, bound(name=name))) == [("mill-07", "level", None, 412.5)]


def test_several_signals_of_one_pack_come_in_the_order_of_time():
    """So that nothing is late against what came in the same message."""
    pack = json.dumps(
        [
            {"bn": "mill-07:", "bt": NOW / 1000, "n": "level", "v": 412.5},
            {"n": "level", "t": -60, "v": 413.5},
            {"n": "brix", "v": 7.9},
            {"n": "brix", "t": -60, "v": 7.8},
        ]
    )

    assert samples(decoded(pack, LEVEL, BRIX)) == [
        ("mill-07", "level", NOW - MINUTE, 413.5),
        ("mill-07", "brix", NOW - MINUTE, 7.8),
        ("mill-07", "level", NOW, 412.5),
        ("mill-07", "brix", NOW, 7.9),
    ]


def test_a_gateway_may_carry_several_sumps():
    """Full names keep them apart."""
    pack = '[{"bn": "mill-07:", "n": "l", "v": 400}, {"bn": "mill-08:", "n": "l", "v": 300}]'
    bindings = (bound(name="mill-07:l"), bound(name="mill-08:l", sump="mill-08"))

    assert samples(decoded(pack, *bindings)) == [
        ("mill-07", "level", None, 400.0),
        ("mill-08", "level", None, 300.0),
    ]


def test_a_short_name_that_fits_two_is_refused():
    """Two machines' levels are not mixed."""
    pack = '[{"bn": "mill-07:", "n": "l", "v": 400}, {"bn": "mill-08:", "n": "l", "v": 300}]'

    refusal = refusal_in(decoded(pack, bound(name="l")))

    assert refusal.reason is Reason.SENML
    assert "mill-08:l" in refusal.detail


def test_a_pack_of_several_names_needs_one_bound():
    """Which of them is meant is not guessed."""
    pack = '[{"bn": "mill-07:", "n": "level", "v": 400}, {"n": "brix", "v": 7.9}]'

    refusal = refusal_in(decoded(pack, bound()))

    assert refusal.reason is Reason.SENML
    assert "mill-07:brix" in refusal.detail


def test_a_pack_without_any_of_the_names_is_refused():
    """The refusal tells the names that are there and those that were expected."""
    refusal = refusal_in(decoded('[{"n": "mill-07:temp", "v": 25}]', LEVEL, BRIX))

    assert refusal.reason is Reason.SENML
    assert "mill-07:temp" in refusal.detail
    assert "'brix', 'level'" in refusal.detail


def test_a_record_that_is_wrong_does_not_hide_the_others():
    """Records are refused one by one where the pack itself is sound."""
    pack = '[{"bn": "a", "v": 412.5}, {"t": -60, "u": "Cel", "v": 25}, {"t": -120, "v": 1e9}]'

    pieces = decoded(pack, bound())

    assert [piece.reason for piece in pieces if isinstance(piece, Refusal)] == [
        Reason.RANGE,
        Reason.UNIT,
    ]
    assert samples(pieces[2:]) == [("mill-07", "level", None, 412.5)]


def test_relative_times_refer_to_the_arrival():
    """Five seconds before now are five seconds before it arrived; now itself is no time."""
    pack = '[{"n": "a", "t": -5, "v": 400}, {"n": "a", "v": 401}]'

    assert [at for _, _, at, _ in samples(decoded(pack, bound()))] == [NOW - 5_000, None]


@pytest.mark.parametrize("how", [{"retain": True}, {"redelivered": True}])
def test_relative_times_of_unknown_sending_are_none(how):
    """When a retained or redelivered pack was sent, its arrival does not tell."""
    pack = '[{"n": "a", "t": -5, "v": 400}, {"n": "a", "bt": 1772431200, "v": 401}]'

    assert [at for _, _, at, _ in samples(decoded(pack, bound(), **how))] == [None, NOW]


def test_a_pack_that_is_none_is_refused_once():
    """One refusal for the payload, not one for each signal of the topic."""
    assert refusal_in(decoded("[412.5]", LEVEL, BRIX)).reason is Reason.SENML
    assert refusal_in(decoded("[412.5", LEVEL, BRIX)).reason is Reason.NOT_JSON
