"""What a value means for its signal: numbers with units, on and off."""

import json

import pytest

from advisor.plan import SignalPlan
from advisor.words import Signal
from agent.decode.results import Reason, Refusal, Sample
from agent.decode.scale import plausible
from tests.bindings import bound, decoded


def value_of(pieces: list[object]) -> float:
    """Value of the one sample that there is."""
    (sample,) = pieces
    assert isinstance(sample, Sample), sample
    return sample.value


def refusal_in(pieces: list[object]) -> Refusal:
    """The one refusal that there is."""
    (refusal,) = pieces
    assert isinstance(refusal, Refusal), refusal
    return refusal


# --- numbers -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("signal", "kind", "unit", "found", "inside"),
    [
        (Signal.LEVEL, "depth", "inch", 10.0, 254.0),
        (Signal.LEVEL, "volume", "gal", 10.0, 37.85411784),  # NIST Handbook 44: 231 in3
        (Signal.LEVEL, "volume", "imperial_gallon", 10.0, 45.4609),
        (Signal.LEVEL, "percent", "%", 85.0, 0.85),
        (Signal.LEVEL, "percent", "", 85.0, 0.85),
        (Signal.LEVEL, "pressure", "mbar", 40.0, 4000.0),
        (Signal.TEMPERATURE, "depth", "degF", 77.0, 25.0),
        (Signal.AIR_TEMPERATURE, "depth", "degF", -40.0, -40.0),
        (Signal.HUMIDITY, "depth", "", 45.0, 0.45),
        (Signal.CONDUCTIVITY, "depth", "uS/cm", 2100.0, 2.1),
        (Signal.PH, "depth", "", 9.1, 9.1),
        (Signal.WATER_METER, "depth", "m^3", 1.5, 1500.0),
        (Signal.BRIX, "depth", "degBrix", 7.9, 7.9),
    ],
)
def test_a_bare_number_is_in_the_bound_unit(signal, kind, unit, found, inside):
    """It comes out in the signal's internal unit; without a unit bound, in the usual one."""
    plans = (SignalPlan(signal=signal, kind=kind),)

    pieces = decoded(str(found), bound(signal, unit=unit), plans=plans)

    assert value_of(pieces) == pytest.approx(inside, rel=1e-9)


def test_a_unit_in_the_payload_goes_before_the_bound_one():
    """A gateway that says inches means inches."""
    binding = bound(unit="mm", value_pointer="/v", unit_pointer="/u")

    assert value_of(decoded('{"v": 10, "u": "inch"}', binding)) == pytest.approx(254.0)
    assert value_of(decoded('{"v": 10, "u": null}', binding)) == 10.0
    assert value_of(decoded('{"v": 10}', binding)) == 10.0


@pytest.mark.parametrize(
    "unit", ["degC", "furlong/fortnight", "", "9**9**9**9", "mm" * 500, "\ud800"]
)
def test_a_unit_that_does_not_fit_is_refused(unit):
    """The refusal names what was found and what was expected."""
    binding = bound(unit="mm", value_pointer="/v", unit_pointer="/u")

    refusal = refusal_in(decoded(json.dumps({"v": 10, "u": unit}), binding))

    assert refusal.reason is Reason.UNIT
    assert "expected one such as mm" in refusal.detail
    assert refusal.detail.encode()


def test_a_unit_that_is_no_text_is_refused():
    """A code for a unit is not guessed at."""
    binding = bound(value_pointer="/v", unit_pointer="/u")

    assert refusal_in(decoded('{"v": 10, "u": 3}', binding)).reason is Reason.UNIT


@pytest.mark.parametrize(
    ("found", "value"), [("7.9", 7.9), ('"7.9"', 7.9), ('" 7.9 "', 7.9), ("79e-1", 7.9)]
)
def test_numbers_and_text_that_is_one_are_read_from_json(found, value):
    """Gateways that put numbers in quotes are understood; the same rules hold as for bare ones."""
    binding = bound(Signal.BRIX, value_pointer="/v")

    assert value_of(decoded(f'{{"v": {found}}}', binding)) == value


@pytest.mark.parametrize("found", ["null", "true", "{}", "[7.9]", '"7,9"', '"NaN"', '"1_0"'])
def test_what_is_no_number_is_refused(found):
    """A value of null is no reading, and true is not 1."""
    binding = bound(Signal.BRIX, value_pointer="/v")

    assert refusal_in(decoded(f'{{"v": {found}}}', binding)).reason is Reason.NOT_A_NUMBER


@pytest.mark.parametrize("found", ["1e999", "1" + "0" * 400])
def test_a_number_that_no_double_holds_is_out_of_range(found):
    """It does not come in as infinity."""
    binding = bound(Signal.BRIX, value_pointer="/v")

    assert refusal_in(decoded(f'{{"v": {found}}}', binding)).reason is Reason.RANGE


@pytest.mark.parametrize(
    "record", ['"vs": "7.9"', '"vb": true', '"vd": "aGkgCg"', '"u": "degBrix", "s": 7.9']
)
def test_a_record_without_a_number_is_no_measurement(record):
    """Text, truth, bytes and a sum are not the value of a measured signal."""
    pack = f'[{{"n": "brix", {record}}}]'

    assert refusal_in(decoded(pack, bound(Signal.BRIX))).reason is Reason.NOT_A_NUMBER


@pytest.mark.parametrize("signal", [s for s in Signal if s is not Signal.RUNNING])
def test_the_plausible_range_ends_where_it_says(signal):
    """Both ends are taken, what is beyond them is refused, and the refusal tells them."""
    low, high = plausible(signal, "depth")
    binding = bound(signal, unit="mm" if signal is Signal.LEVEL else "")
    plans = (SignalPlan(signal=signal, counter=signal is Signal.CUTTING),)
    per_unit = 100.0 if signal is Signal.HUMIDITY else 1.0
    beyond = 1e-3 * (high - low)

    for end in (low, high):
        assert value_of(decoded(repr(end * per_unit), binding, plans=plans)) == pytest.approx(end)
    for outside in (low - beyond, high + beyond):
        refusal = refusal_in(decoded(repr(outside * per_unit), binding, plans=plans))
        assert refusal.reason is Reason.RANGE
        assert f"{high:.12g}" in refusal.detail


def test_a_bound_range_is_narrower():
    """Limits in the plant file are in the internal unit and are kept to."""
    binding = bound(unit="inch", low=100.0, high=400.0)

    assert value_of(decoded("10", binding)) == pytest.approx(254.0)
    assert refusal_in(decoded("16", binding)).reason is Reason.RANGE
    assert refusal_in(decoded("3", binding)).reason is Reason.RANGE


@pytest.mark.parametrize("code", ["-999", "32767", "65535", "-32768", "9999"])
def test_common_error_codes_are_no_depth(code):
    """What transmitters send when they have nothing to say is refused."""
    assert refusal_in(decoded(code, bound(unit="mm"))).reason is Reason.RANGE


# --- on and off ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("payload", "value"),
    [
        ("1", 1.0),
        ("on", 1.0),
        ("ON\r\n", 1.0),
        ("True", 1.0),
        ("running", 1.0),
        ("1.0", 1.0),
        ("0", 0.0),
        ("Off", 0.0),
        ("false", 0.0),
        ("STOPPED", 0.0),
        ("no", 0.0),
        ("0.0", 0.0),
        ("-0", 0.0),
    ],
)
def test_common_words_for_on_and_off(payload, value):
    """Without regard to case, blanks around, and how a number is written."""
    assert value_of(decoded(payload, bound(Signal.RUNNING))) == value


@pytest.mark.parametrize(
    ("found", "value"),
    [("true", 1.0), ("false", 0.0), ("1", 1.0), ("0.0", 0.0), ('"on"', 1.0), ('"Stopped"', 0.0)],
)
def test_on_and_off_in_json(found, value):
    """True and false, 1 and 0, and the words."""
    assert (
        value_of(decoded(f'{{"r": {found}}}', bound(Signal.RUNNING, value_pointer="/r"))) == value
    )


@pytest.mark.parametrize(
    ("record", "value"),
    [('"vb": true', 1.0), ('"vb": false', 0.0), ('"v": 1', 1.0), ('"vs": "off"', 0.0)],
)
def test_on_and_off_in_senml(record, value):
    """A boolean, a number or a string value."""
    assert value_of(decoded(f'[{{"n": "r", {record}}}]', bound(Signal.RUNNING))) == value


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        ("maybe", Reason.WORD),
        ("2", Reason.WORD),
        ("0.5", Reason.WORD),
        ("fault", Reason.WORD),
        ("nan", Reason.WORD),
        ("", Reason.EMPTY),
        ("  ", Reason.EMPTY),
    ],
)
def test_other_words_are_refused(payload, reason):
    """They are not taken for off, an empty payload neither: it withdraws a retained message."""
    refusal = refusal_in(decoded(payload, bound(Signal.RUNNING)))

    assert refusal.reason is reason
    assert "expected" in refusal.detail


@pytest.mark.parametrize("found", ["null", "[]", "{}"])
def test_what_is_no_word_is_refused(found):
    """Nothing and structures are neither on nor off."""
    binding = bound(Signal.RUNNING, value_pointer="/r")

    assert refusal_in(decoded(f'{{"r": {found}}}', binding)).reason is Reason.WORD


def test_true_values_of_the_plant_replace_the_usual_ones():
    """A plant's own words mean on, and the usual ones for off mean off."""
    binding = bound(Signal.RUNNING, true_values=frozenset({"pump a", "2"}))

    assert value_of(decoded("Pump A", binding)) == 1.0
    assert value_of(decoded("2.0", binding)) == 1.0
    assert value_of(decoded("off", binding)) == 0.0
    assert refusal_in(decoded("1", binding)).reason is Reason.WORD


def test_a_contact_that_opens_turns_the_words_round():
    """Where 0 means on, 1 means off."""
    binding = bound(Signal.RUNNING, true_values=frozenset({"0", "false"}))

    assert value_of(decoded("0", binding)) == 1.0
    assert value_of(decoded("1", binding)) == 0.0
    assert value_of(decoded("true", binding)) == 0.0
    assert value_of(decoded("off", binding)) == 0.0


def test_cutting_is_on_and_off_or_a_counter():
    """A part counter is a number, and not on or off."""
    counter = (SignalPlan(signal=Signal.CUTTING, counter=True),)

    assert value_of(decoded("on", bound(Signal.CUTTING))) == 1.0
    assert value_of(decoded("1234", bound(Signal.CUTTING), plans=counter)) == 1234.0
    assert refusal_in(decoded("1234", bound(Signal.CUTTING))).reason is Reason.WORD
    assert refusal_in(decoded("on", bound(Signal.CUTTING), plans=counter)).reason is (
        Reason.NOT_A_NUMBER
    )
