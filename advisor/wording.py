"""How amounts are said to people: short, with their unit, no digits that nobody can measure."""

from math import floor, log10

from advisor.plan import Vessel
from advisor.units import FLUID_OUNCE, GALLON
from advisor.words import Estimate

IMPERIAL_GALLON = 4.54609
"""Units of Measurement Regulations 1995 (United Kingdom): exact. [L]"""

NEGLIGIBLE = 1e-7
"""An sd under this is none. [its unit]"""

LITRES_PER = {
    "L": 1.0,
    "mL": 1e-3,
    "gal": GALLON,
    "gallon": GALLON,
    "quart": GALLON / 4,
    "pint": GALLON / 8,
    "fluid_ounce": FLUID_OUNCE,
    "floz": FLUID_OUNCE,
    "imperial_gallon": IMPERIAL_GALLON,
    "imperial_fluid_ounce": IMPERIAL_GALLON / 160,
}
"""Units in which vessels are marked. [L]"""


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


def sd_digits(sd: float, digits: int) -> int:
    """Decimals at which an sd [its unit] is told: one or two digits that say something.

    >>> sd_digits(1.87, 1), sd_digits(12.3, 1), sd_digits(0.04, 1)
    (1, 0, 2)
    """
    first = -floor(log10(sd))
    return max(first, min(digits, first + 1), 0)


def litres_sd(volume: Estimate, digits: int = 1) -> str:
    """Volume with its sd, as said; one that is known exactly without. [L]

    >>> litres_sd(Estimate(312.43, 1.87)), litres_sd(Estimate(312.43, 0.04), 0)
    ('312.4 L (sd 1.9 L)', '312 L (sd 0.04 L)')
    >>> litres_sd(Estimate(280.0, 0.0))
    '280 L'
    """
    said = litres(volume.value, digits)
    if volume.sd < NEGLIGIBLE:
        return said
    return f"{said} (sd {litres(volume.sd, sd_digits(volume.sd, digits))})"


def percent_sd(strength: Estimate, digits: int = 2) -> str:
    """Strength [1] with its sd, in % of the mix.

    >>> percent_sd(Estimate(0.0762, 0.0008))
    '7.62 % (sd 0.08 %)'
    """
    said = percent(strength.value, digits)
    if strength.sd < NEGLIGIBLE:
        return said
    return f"{said} (sd {percent(strength.sd, sd_digits(100.0 * strength.sd, digits))})"


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
