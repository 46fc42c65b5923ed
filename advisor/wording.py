"""How amounts are said to people: short, with their unit, no digits that nobody can measure."""

from advisor.plan import Vessel

LITRES_PER = {
    "L": 1.0,
    "mL": 1e-3,
    "gal": 3.785411784,
    "gallon": 3.785411784,
    "imperial_gallon": 4.54609,
    "quart": 0.946352946,
    "pint": 0.473176473,
    "fluid_ounce": 0.0295735295625,
    "floz": 0.0295735295625,
    "imperial_fluid_ounce": 0.0284130625,
}
"""Litres in a unit in which vessels are marked. [L]

References
----------
NIST Handbook 44, appendix C (US units); Units of Measurement Regulations 1995 (imperial gallon).
"""


def number(value: float, digits: int = 1) -> str:
    """Decimal number without trailing zeros; of no unit. [1]

    >>> number(11.0), number(1.50), number(-0.04), number(0.396, 3)
    ('11', '1.5', '0', '0.396')
    """
    text = f"{value:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def litres(value: float, digits: int = 1) -> str:
    """Volume in litres, as said. [L]

    >>> litres(33.6)
    '33.6 L'
    """
    return f"{number(value, digits)} L"


def percent(fraction: float, digits: int = 2) -> str:
    """Strength [1] in % of the mix, as said.

    >>> percent(0.0762)
    '7.62 %'
    """
    return f"{number(100.0 * fraction, digits)} %"


def count_unit(vessel: Vessel) -> float:
    """Volume of which people count wholes in a vessel. [L]"""
    return LITRES_PER.get(vessel.graduation_unit, 1.0)


def measured(value: float, vessel: Vessel | None) -> str:
    """Volume [L] as it is read off a vessel's marks.

    >>> measured(1.5, None)
    '1.5 L'
    >>> bucket = Vessel(id="b", volume=18.927, graduation=0.0295735, graduation_unit="fluid_ounce")
    >>> measured(0.207015, bucket)
    '7 fluid_ounce (0.207 L)'
    """
    if (
        vessel is None
        or vessel.graduation_unit in ("L", "")
        or vessel.graduation_unit not in LITRES_PER
    ):
        return litres(value, 3)
    unit = vessel.graduation_unit
    return f"{number(value / LITRES_PER[unit], 2)} {unit} ({litres(value, 3)})"
