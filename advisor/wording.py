"""How amounts are said to people: short, with their unit, no digits that nobody can measure."""

from collections.abc import Mapping
from math import floor, log10

from advisor.plan import Vessel
from advisor.units import FLUID_OUNCE, GALLON
from advisor.words import Estimate

IMPERIAL_GALLON = 4.54609
"""Units of Measurement Regulations 1995 (United Kingdom): exact. [L]"""

NEGLIGIBLE = 1e-7
"""An sd under this is none. [its unit]"""

_SIZES: Mapping[str, tuple[str, float]] = {
    "l": ("L", 1.0),
    "litre": ("L", 1.0),
    "liter": ("L", 1.0),
    "ml": ("mL", 1e-3),
    "gal": ("gal", GALLON),
    "gallon": ("gal", GALLON),
    "quart": ("qt", GALLON / 4),
    "pint": ("pt", GALLON / 8),
    "fl oz": ("fl oz", FLUID_OUNCE),
    "floz": ("fl oz", FLUID_OUNCE),
    "fluid ounce": ("fl oz", FLUID_OUNCE),
    "imperial gal": ("imperial gal", IMPERIAL_GALLON),
    "imperial gallon": ("imperial gal", IMPERIAL_GALLON),
    "imperial fluid ounce": ("imperial fl oz", IMPERIAL_GALLON / 160),
}
"""Units in which vessels are marked, as said to people, and their size. [L]"""


def mark_unit(unit: str) -> tuple[str, float]:
    """Unit of a vessel's marks as said to people, and its size; litres where it is none. [L]

    >>> mark_unit("fluid_ounce"), mark_unit("fl. oz.")[0], mark_unit("bushel")
    (('fl oz', 0.02957), 'fl oz', ('L', 1.0))
    """
    words = " ".join(unit.lower().replace("_", " ").replace(".", " ").split())
    singular = words.removesuffix("s")
    return _SIZES.get(words) or _SIZES.get(singular) or ("L", 1.0)


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
    return mark_unit(vessel.graduation_unit)[1]


def measured(value: float, vessel: Vessel | None) -> str:
    """Volume [L] as it is read off a vessel's marks.

    >>> measured(1.5, None)
    '1.5 L'
    >>> bucket = Vessel(id="b", volume=18.927, graduation=0.0295735, graduation_unit="fluid_ounce")
    >>> measured(0.207015, bucket)
    '7 fl oz (0.207 L)'
    >>> measured(11.12, bucket)
    '2 gal 120 fl oz (11.12 L)'
    """
    unit, size = ("L", 1.0) if vessel is None else mark_unit(vessel.graduation_unit)
    if unit == "L":
        return litres(value, 3)
    gallon = unit.replace("fl oz", "gal")
    parts, rest = [], value
    if gallon != unit:
        each = mark_unit(gallon)[1]
        whole = int(value / each + 1e-6)
        parts, rest = [f"{whole} {gallon}"] * (whole > 0), value - whole * each
    if not parts or rest >= size / 100.0:
        parts.append(f"{number(rest / size, 1 if parts else 2)} {unit}")
    return f"{' '.join(parts)} ({litres(value, 3)})"
