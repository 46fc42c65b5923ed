"""People's measurements in their units."""

import pytest

from advisor.words import CheckKind
from agent.decode.checks import check_value
from agent.decode.problem import PayloadError
from agent.decode.results import Reason
from tests.plants import FLUID

# kind, reading, unit, inside. dH: 10 mg/L of CaO are 17.848 mg/L of CaCO3 (molar masses 56.0774 and
# 100.0869 g/mol); gpg: 64.79891 mg in 3.785411784 L.
READINGS = [
    ("refractometer", 6.4, "degBrix", 6.4),
    ("refractometer", 6.4, "°Brix", 6.4),
    ("refractometer", 8.0, "%", 6.4),  # factor 1.25
    ("titration", 8.0, "", 0.08),
    ("titration", 8.0, "%", 0.08),
    ("dipstick", 380.0, "", 380.0),
    ("dipstick", 15.0, "inch", 381.0),
    ("ph", 9.1, "", 9.1),
    ("ph", 9.1, "pH", 9.1),
    ("dip-slide", 1e5, "", 1e5),
    ("dip-slide", 1e5, "CFU/mL", 1e5),
    ("hardness", 200.0, "", 200.0),
    ("hardness", 200.0, "ppm", 200.0),
    ("hardness", 10.0, "dH", 178.48),
    ("hardness", 10.0, "gpg", 171.18),
    ("nitrite", 20.0, "mg/L", 20.0),
    ("chloride", 60.0, "", 60.0),
    ("conductivity", 2.1, "", 2.1),
    ("conductivity", 2100.0, "uS/cm", 2.1),
    ("tramp-oil", 2.0, "%", 0.02),
    ("look", 0.5, "", 0.5),
]


@pytest.mark.parametrize(("kind", "value", "unit", "inside"), READINGS)
def test_readings_come_out_in_the_unit_inside(kind, value, unit, inside):
    """Each kind in the units in which people read it, and in its usual one where none is said."""
    assert check_value(CheckKind(kind), value, unit, FLUID) == pytest.approx(inside, rel=1e-4)


@pytest.mark.parametrize(
    ("kind", "unit"),
    [
        ("refractometer", "mm"),
        ("titration", "degBrix"),
        ("dipstick", "L"),
        ("ph", "%"),
        ("look", "mm"),
        ("hardness", "°C"),
        ("dip-slide", "mg/L"),
    ],
)
def test_units_of_something_else_are_refused(kind, unit):
    """The refusal names the unit and one that would do."""
    with pytest.raises(PayloadError) as caught:
        check_value(CheckKind(kind), 1.0, unit, FLUID)

    assert caught.value.reason is Reason.UNIT
    assert unit in caught.value.detail


@pytest.mark.parametrize(
    ("kind", "value", "unit"),
    [
        ("refractometer", 95.1, "degBrix"),
        ("titration", 100.1, "%"),
        ("ph", 14.1, ""),
        ("look", 1.1, ""),
        ("dipstick", 21.0, "m"),
        ("tramp-oil", 101.0, ""),
    ],
)
def test_what_cannot_be_is_refused(kind, value, unit):
    """A value that no such measurement can have is a slip of the pen."""
    with pytest.raises(PayloadError) as caught:
        check_value(CheckKind(kind), value, unit, FLUID)

    assert caught.value.reason is Reason.RANGE


def test_every_kind_is_known():
    """A new kind of check cannot be forgotten here."""
    for kind in CheckKind:
        unit = "degBrix" if kind is CheckKind.REFRACTOMETER else ""
        assert check_value(kind, 0.0, unit, FLUID) == 0.0
