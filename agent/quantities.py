"""Quantities at the edge: what plants and people write in their units, what people read in theirs.

Inside, plain floats in internal units. A conversion is a factor and an offset, found once for a
pair of units; the library that finds it takes half a second to load and is loaded at first use.
"""

import re
from difflib import get_close_matches
from functools import lru_cache
from math import isfinite
from typing import TYPE_CHECKING, Any, Final

from advisor.units import FLUID_OUNCE, GALLON
from agent.errors import MillpondError

if TYPE_CHECKING:
    from pint import UnitRegistry

OWN_UNITS: Final = (
    "degBrix = [brix] = Brix = brix = Bx = degBx",
    "pH = [acidity]",  # without this, a picohenry
    "CFU = [colony_forming_unit] = cfu",
    # Hardness as CaCO3, 100.0869 g/mol: 10 mg/L CaO, 56.0774 g/mol, are a German degree.
    "dH = 17.848 * milligram / liter",  # without this, a decihenry
    "fH = 10 * milligram / liter",  # French degrees (from memory)
    "degree_Clark = 14.254 * milligram / liter",  # English degrees (from memory)
    "grain_per_gallon = grain / gallon = gpg",
)
"""What the unit library lacks or takes for something else."""

SPELLINGS: Final = {
    "1": "dimensionless",
    "fl oz": "fluid_ounce",
    "fl. oz.": "fluid_ounce",
    "fl_oz": "fluid_ounce",
    "us gal": "gallon",
    "us gallon": "gallon",
    "us_gal": "gallon",
    "us fl oz": "fluid_ounce",
    "imp gal": "imperial_gallon",
    "imp_gal": "imperial_gallon",
    "uk gal": "imperial_gallon",
    "imperial gallon": "imperial_gallon",
    "imperial gallons": "imperial_gallon",
    "imp fl oz": "imperial_fluid_ounce",
    "imperial fl oz": "imperial_fluid_ounce",
    "%brix": "degBrix",
    "% brix": "degBrix",
    "%rh": "percent",
    "% rh": "percent",
    "°brix": "degBrix",
    "°bx": "degBrix",
    "°dh": "dH",
    "°fh": "fH",
    "cel": "degC",
    "ºc": "degC",
    "℃": "degC",
    "ºf": "degF",
    "℉": "degF",
    "m3": "m^3",
    "m3/h": "m^3/hour",
    "m3/s": "m^3/s",
    "ft3": "ft^3",
    "in3": "inch^3",
    "cm3": "cm^3",
    "dm3": "dm^3",
}
"""Names in lower case that people write and the unit library does not read, or misreads."""

KNOWN: Final = (
    "mm cm m inch ft L mL m^3 ft^3 gal gallon imperial_gallon fl_oz imperial_fluid_ounce quart pint"
    " litre liter percent % ppm degC degF kelvin degBrix Brix Pa hPa kPa mbar bar psi inH2O"
    " cmH2O pH mS/cm uS/cm S/m mg/L dH fH gpg CFU/mL L/min L/h m^3/h gal/min"
)
"""Units that sumps are measured in: from these comes a guess at what was meant."""

_MEANT: Final = {"C": "degC", "F": "degF", "oz": "fl_oz", "Gal": "gal", "GAL": "gal"}

_QUANTITY: Final = re.compile(r"\s*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)(.*)")
_UNIT: Final = re.compile(r"[\w°º℃℉%·*/^. -]{0,40}")
_POWER_OF_NUMBER: Final = re.compile(r"[0-9²³]\s*(?:\*\*|\^)")
_PPM_IN_WATER: Final = "mg/L"
"""A litre of water is a kilogram, to 0.4 % at 30 °C."""


class QuantityError(MillpondError, ValueError):
    """A text is no quantity, or its unit is not one of what was wanted."""


def conversion(unit_from: str, unit_to: str) -> tuple[float, float]:
    """Factor and offset that turn a value in one unit into another's. [its own unit]

    ``in unit_to = factor * (in unit_from) + offset``; the offset is 0 but for temperatures.

    Raises
    ------
    QuantityError
        If a unit is unknown, or the two measure different things. It names them.

    Notes
    -----
    Kept for a thousand pairs, failures too: a unit may stand in every payload, and what stands
    there is not to be trusted. So powers of plain numbers are refused before the library, which
    works them out, sees them.

    Examples
    --------
    >>> conversion("inch", "mm")
    (25.4, 0.0)
    >>> conversion("degF", "degC")
    (0.5556, -17.7778)
    """
    found = _conversion(unit_from, unit_to)
    if isinstance(found, str):
        raise QuantityError(found)
    return found


def parse_quantity(text: str, unit: str) -> float:
    """Read a number with its unit, such as ``95 gal``, and give it in another unit.

    A gallon is the US one; ``imperial_gallon`` is the other. The sign is left to the caller.

    Raises
    ------
    QuantityError
        If there is no number, no unit, an unknown one, or one that measures something else.

    Examples
    --------
    >>> parse_quantity("95 gal", "L"), parse_quantity("95 imperial_gallon", "L")
    (359.614, 431.879)
    """
    match = _QUANTITY.fullmatch(text)
    if match is None:
        raise QuantityError(f"{_quoted(text)} is no quantity; expected such as 20 {unit}")
    number, named = float(match[1]), match[2].strip()
    if not isfinite(number):
        raise QuantityError(f"{_quoted(text)} is too large a number")
    if named[:1] in {",", "'"}:
        raise QuantityError(f"{_quoted(text)}: write a point before decimals, and no separator")
    if not named:
        raise QuantityError(f"{_quoted(text)} has no unit; expected such as {match[1]} {unit}")
    factor, offset = conversion(named, unit)
    return number * factor + offset


def for_people(litres: float, units: str) -> str:
    """Write a volume as people measure it: to about three digits, none of them noise.

    Parameters
    ----------
    litres : float
        Any sign. [L]
    units : str
        ``metric`` or ``us``.

    Examples
    --------
    >>> for_people(33.62, "metric"), for_people(0.42, "metric")
    ('33.6 L', '420 mL')
    >>> for_people(33.62, "us"), for_people(0.42, "us")
    ('8 gal 113 fl oz', '14 fl oz')
    """
    sign = "-" if litres < 0.0 else ""
    match units:
        case "metric":
            text = _metric(abs(litres))
        case "us":
            text = _customary(abs(litres))
        case _:
            raise QuantityError(f"units are {_quoted(units)}; expected metric or us")
    return text if text.startswith("0 ") else sign + text


def _metric(litres: float) -> str:
    """Litres, and millilitres under one."""
    millilitres = round(litres * 1000.0)
    if 0 < millilitres < 1000:
        return f"{millilitres} mL"
    return f"{_digits(litres)} L"


def _customary(litres: float) -> str:
    """US gallons and fluid ounces: both up to ten gallons, as jugs and buckets are marked."""
    ounces = litres / FLUID_OUNCE
    if 0.05 <= ounces < 9.95:
        return f"{_digits(round(ounces, 1))} fl oz"
    gallons, rest = divmod(round(ounces), 128)
    if gallons >= 10 or not ounces >= 0.05:
        return f"{_digits(litres / GALLON)} gal"
    parts = (f"{gallons} gal" if gallons else "", f"{rest} fl oz" if rest else "")
    return " ".join(part for part in parts if part)


def _digits(value: float) -> str:
    """Two decimals under 10, one under 100, none above; no zeros at the end."""
    decimals = 2 if value < 9.995 else 1 if value < 99.95 else 0
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if decimals else text


@lru_cache(maxsize=1024)
def _conversion(unit_from: str, unit_to: str) -> tuple[float, float] | str:
    """Find the conversion, or say what is wrong."""
    for name in (unit_from, unit_to):
        if not _is_unit(name):
            return f"{_quoted(name)} is no unit that is known here{_guess(name)}"
    registry = _registry()
    start, end = _spelt(unit_from), _spelt(unit_to)
    try:
        if start == "ppm" and registry.is_compatible_with(_PPM_IN_WATER, end):
            start = _PPM_IN_WATER
        offset = _rounded(registry.convert(0.0, start, end))
        factor = _rounded((registry.convert(1000.0, start, end) - offset) / 1000.0)
    except Exception:  # noqa: BLE001  whatever the library makes of two odd units, it is a refusal
        meant = f"; perhaps {_MEANT[unit_from]}" if unit_from in _MEANT else ""
        return f"{_quoted(unit_from)} cannot be turned into {_quoted(unit_to)}{meant}"
    if not (isfinite(factor) and isfinite(offset) and factor):
        return f"{_quoted(unit_from)} cannot be turned into {_quoted(unit_to)}"
    return factor, offset


def _rounded(number: float) -> float:
    """Drop the last two digits, which the library's own chain of factors has blurred."""
    return float(f"{number:.14g}")


def _is_unit(name: str) -> bool:
    """Whether the unit library, given this, finds a unit in it."""
    if not _UNIT.fullmatch(name) or _POWER_OF_NUMBER.search(name):
        return False
    try:
        _registry().parse_units(_spelt(name))
    except Exception:  # noqa: BLE001  its parser raises whatever its tokens lead to
        return False
    return True


def _spelt(name: str) -> str:
    """Spell a unit as the unit library reads it."""
    words = " ".join(name.split())
    return SPELLINGS.get(words.lower(), words)


def _guess(name: str) -> str:
    """Say what may have been meant, if anything comes near."""
    near = get_close_matches(name[:40], KNOWN.split(), n=3, cutoff=0.6)
    return f"; perhaps {' or '.join(near)}" if near else ""


def _quoted(text: str) -> str:
    """Show at most forty characters of somebody's text, escaped."""
    return repr(text if len(text) <= 40 else text[:40] + "…")


@lru_cache(maxsize=1)
def _registry() -> "UnitRegistry[Any]":
    """Load the unit library, once."""
    from pint import UnitRegistry  # half a second: not before the first conversion

    registry: UnitRegistry[Any] = UnitRegistry()
    for definition in OWN_UNITS:
        registry.define(definition)
    return registry
