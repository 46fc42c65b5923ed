"""Units at the edge: the right factor, a useful refusal, and nothing that stalls the agent."""

import math
import subprocess
import sys
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from agent import quantities
from agent.errors import MillpondError
from agent.quantities import KNOWN, QuantityError, conversion, for_people, parse_quantity


@pytest.mark.parametrize(
    ("unit", "to", "factor", "offset"),
    [
        ("mm", "mm", 1.0, 0.0),
        ("m", "mm", 1000.0, 0.0),
        # An inch is 25.4 mm, a US gallon 231 in³, an imperial one 4.54609 L, by law.
        ("inch", "mm", 25.4, 0.0),
        ("in", "mm", 25.4, 0.0),
        ("gal", "L", 3.785411784, 0.0),
        ("US gal", "L", 3.785411784, 0.0),
        ("imperial_gallon", "L", 4.54609, 0.0),
        ("imp gal", "L", 4.54609, 0.0),
        ("fl oz", "L", 0.0295735295625, 0.0),
        ("fl_oz", "L", 0.0295735295625, 0.0),
        ("imperial_fluid_ounce", "L", 0.0284130625, 0.0),
        ("m³", "L", 1000.0, 0.0),
        ("m3", "L", 1000.0, 0.0),
        ("ft^3", "L", 28.316846592, 0.0),
        ("barrel", "L", 119.240471196, 0.0),  # not the oil barrel of 42 gallons: 31.5 of them
        ("%", "1", 0.01, 0.0),
        ("percent", "1", 0.01, 0.0),
        ("", "1", 1.0, 0.0),
        ("%RH", "1", 0.01, 0.0),
        ("degC", "degC", 1.0, 0.0),
        ("°C", "degC", 1.0, 0.0),
        ("Cel", "degC", 1.0, 0.0),
        ("K", "degC", 1.0, -273.15),
        ("kPa", "Pa", 1000.0, 0.0),
        ("mbar", "Pa", 100.0, 0.0),
        ("inH2O", "Pa", 249.0889, 0.0),  # conventional, NIST SP 811
        ("degBrix", "degBrix", 1.0, 0.0),
        ("°Bx", "degBrix", 1.0, 0.0),
        ("%Brix", "degBrix", 1.0, 0.0),
        ("pH", "pH", 1.0, 0.0),
        ("uS/cm", "mS/cm", 0.001, 0.0),
        ("µS/cm", "mS/cm", 0.001, 0.0),
        ("S/m", "mS/cm", 10.0, 0.0),
        # One German degree is 10 mg/L CaO, so 17.848 mg/L CaCO3; molar masses 56.0774, 100.0869.
        ("dH", "mg/L", 10.0 * 100.0869 / 56.0774, 0.0),
        ("°dH", "mg/L", 17.848, 0.0),
        ("gpg", "mg/L", 64.79891 / 3.785411784, 0.0),  # a grain is 64.79891 mg, by law
        ("ppm", "mg/L", 1.0, 0.0),
        ("CFU/mL", "CFU/mL", 1.0, 0.0),
        ("gal/min", "L/h", 227.12470704, 0.0),
    ],
)
def test_each_unit_becomes_the_internal_one(unit, to, factor, offset):
    """Factor and offset are those of the law or the standard, to six digits and more."""
    assert conversion(unit, to) == pytest.approx((factor, offset), rel=1e-6)


@pytest.mark.parametrize(("fahrenheit", "celsius"), [(32.0, 0.0), (212.0, 100.0), (-40.0, -40.0)])
def test_fahrenheit_has_its_offset(fahrenheit, celsius):
    """Freezing, boiling, and where the scales meet."""
    factor, offset = conversion("degF", "degC")
    assert fahrenheit * factor + offset == pytest.approx(celsius, abs=1e-10)
    factor, offset = conversion("degC", "degF")
    assert celsius * factor + offset == pytest.approx(fahrenheit, abs=1e-10)


@pytest.mark.parametrize("name", KNOWN.split())
def test_every_unit_that_is_offered_is_one(name):
    """A guess at what was meant is never itself refused."""
    assert conversion(name, name) == (1.0, 0.0)


@pytest.mark.parametrize(
    ("unit", "to", "said"),
    [
        ("psi", "L", "'psi' cannot be turned into 'L'"),
        ("mm", "L", "'mm' cannot be turned into 'L'"),
        ("kg", "L", "'kg' cannot be turned into 'L'"),
        ("%", "degBrix", "'%' cannot be turned into 'degBrix'"),
        ("delta_degC", "degC", "'delta_degC' cannot be turned into 'degC'"),
        ("degC*m", "degC", "cannot be turned"),
        ("C", "degC", "perhaps degC"),  # a coulomb
        ("oz", "L", "perhaps fl_oz"),  # a weight
        ("Gal", "L", "perhaps gal"),  # an acceleration
        ("galon", "L", "perhaps gallon"),
        ("Liter", "L", "perhaps liter"),
        ("furlongs per pint glass", "mm", "no unit that is known here"),
        ("m*", "mm", "no unit"),
        ("(m)", "mm", "no unit"),
        ("3 mm", "mm", "no unit"),
        ("m" * 41, "mm", "no unit"),
        ("\x00", "mm", "no unit"),
        ("m**999999", "mm", "cannot be turned"),
        ("km**400", "m**400", "cannot be turned"),
    ],
)
def test_a_refusal_names_what_was_given_and_what_may_be_meant(unit, to, said):
    """Both units stand in the message, or the unknown one with its neighbours."""
    with pytest.raises(QuantityError) as raised:
        conversion(unit, to)
    assert said in str(raised.value)
    assert isinstance(raised.value, MillpondError)


@pytest.mark.parametrize("unit", ["9**9**9**9", "m**9**9**9", "9^9^9^9", "m²^9^9", "9 ** 9 ** 9"])
def test_a_unit_cannot_stall_the_agent(unit):
    """Powers of numbers, which the unit library would work out to the last digit, are refused."""
    conversion("mm", "mm")
    begun = time.perf_counter()
    with pytest.raises(QuantityError):
        conversion(unit, "mm")
    assert time.perf_counter() - begun < 1.0


@settings(max_examples=300)
@given(st.text(max_size=60) | st.text(alphabet="mLgal*/^ °%0123456789²_.-", max_size=12))
def test_any_text_is_a_unit_or_a_refusal(text):
    """Whatever stands in a payload's unit, the answer is a finite factor or a refusal."""
    try:
        factor, offset = conversion(text, "mm")
    except QuantityError:
        return
    assert math.isfinite(factor)
    assert factor != 0.0
    assert math.isfinite(offset)


def test_a_refusal_is_remembered_too(monkeypatch):
    """A unit that is refused in every payload costs its search once, not each time."""
    searches = []
    monkeypatch.setattr(quantities, "_guess", lambda name: searches.append(name) or "")

    for _ in range(5):
        with pytest.raises(QuantityError):
            conversion("once only", "mm")

    assert searches == ["once only"]


def test_the_unit_library_is_not_loaded_before_it_is_needed():
    """The command line starts without it; the first conversion brings it in."""
    code = (
        "import sys, agent.quantities as q; before = 'pint' in sys.modules;"
        "q.for_people(3.0, 'us'); between = 'pint' in sys.modules;"
        "q.conversion('inch', 'mm'); print(before, between, 'pint' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False", "True"]


@pytest.mark.parametrize(
    ("text", "litres"),
    [
        ("95 gal", 359.61411948),
        ("95 imperial_gallon", 431.87855),
        ("20 L", 20.0),
        ("20L", 20.0),
        (" 20  litres ", 20.0),
        ("1e3 mL", 1.0),
        (".5 L", 0.5),
        ("5. L", 5.0),
        ("-5 L", -5.0),
        ("+5 L", 5.0),
        ("16 fl oz", 0.473176473),
    ],
)
def test_a_quantity_is_read_with_its_unit(text, litres):
    """Gallons are US gallons; the sign is the caller's business."""
    assert parse_quantity(text, "L") == pytest.approx(litres, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("20", "'20' has no unit; expected such as 20 L"),
        ("20 ", "has no unit"),
        ("L", "is no quantity"),
        ("", "is no quantity"),
        ("nan L", "is no quantity"),
        ("inf L", "is no quantity"),
        ("1e999 L", "too large"),
        ("7,9 L", "write a point"),
        ("1,000 L", "write a point"),
        ("1'000 L", "write a point"),
        ("- 5 L", "is no quantity"),
        ("20 psi", "'psi' cannot be turned into 'L'"),
        ("20 galons", "perhaps"),
        ("٥ L", "is no quantity"),
        ("5 L\n5 L", "no quantity"),
    ],
)
def test_what_is_no_quantity_is_refused_and_says_why(text, said):
    """The text is shown, and what was expected."""
    with pytest.raises(QuantityError) as raised:
        parse_quantity(text, "L")
    assert said in str(raised.value)


@pytest.mark.parametrize(
    ("litres", "metric", "us"),
    [
        (0.0, "0 L", "0 gal"),
        (0.0004, "0 L", "0 gal"),
        (0.02, "20 mL", "0.7 fl oz"),
        (0.42, "420 mL", "14 fl oz"),
        (0.9996, "1 L", "34 fl oz"),
        (3.785411784, "3.79 L", "1 gal"),
        (4.2, "4.2 L", "1 gal 14 fl oz"),
        (9.996, "10 L", "2 gal 82 fl oz"),
        (33.62, "33.6 L", "8 gal 113 fl oz"),
        (37.84, "37.8 L", "10 gal"),  # 9 gal 127.5 fl oz
        (99.96, "100 L", "26.4 gal"),
        (312.4, "312 L", "82.5 gal"),
        (1234.0, "1234 L", "326 gal"),
        (-4.2, "-4.2 L", "-1 gal 14 fl oz"),
        (-0.0001, "0 L", "0 gal"),
    ],
)
def test_a_volume_is_written_as_people_measure_it(litres, metric, us):
    """About three digits, in bottles' marks when small; no sign on nothing."""
    assert for_people(litres, "metric") == metric
    assert for_people(litres, "us") == us


@given(st.floats(0.03, 20_000.0), st.sampled_from(["metric", "us"]))
def test_what_people_read_is_what_was_meant(litres, units):
    """Read back, the text is the volume to 1 %, or 0.6 fl oz."""
    text = for_people(litres, units)
    words = text.split(" ")
    if "gal" in words and "fl" in words:
        read = parse_quantity(" ".join(words[:2]), "L") + parse_quantity(" ".join(words[2:]), "L")
    else:
        read = parse_quantity(text, "L")
    assert read == pytest.approx(litres, rel=0.01, abs=0.6 * 0.0296)


def test_people_read_one_of_two_systems():
    """Another word for the units is refused, not guessed."""
    with pytest.raises(QuantityError, match="metric or us"):
        for_people(1.0, "imperial")
