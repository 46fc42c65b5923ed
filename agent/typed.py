"""What a person typed for a calculation, read into litres and fractions, or refused.

Every refusal names the option, what was typed, and what would have been accepted.
"""

from dataclasses import dataclass
from math import inf, isclose, isfinite

from advisor.cautions import USUAL_MIN
from advisor.units import FLUID_OUNCE, GALLON, fraction_from_parts, fraction_from_ratio
from advisor.wording import IMPERIAL_GALLON, percent
from agent.errors import MillpondError
from agent.quantities import parse_quantity

USUAL_PREMIX = "4:1"
"""Water to concentrate where nothing else is said: *common practice*."""

NOTHING = 1e-6
"""Less than this is none. [L]"""


CONVENTIONS = ("of-mix", "per-water")
"""What a target counts: % of the mix, or parts of concentrate per 100 of water."""

LARGEST = 1e7
"""More than any sump holds. [L]"""

LONGEST_MIN = 1440.0
"""Longer nobody waits for a mix: a day. [min]"""

SALTIEST = 1e6
"""More than any water holds. [mg/L]"""


class ImpossibleInputError(MillpondError):
    """Something was typed that no calculation can start from.

    Attributes
    ----------
    option : str
        The option, such as ``--volume``.
    """

    def __init__(self, option: str, value: str, expected: str) -> None:
        self.option = option
        super().__init__(f"{option} is {value!r}; expected {expected}")


@dataclass(frozen=True, slots=True)
class Measure:
    """A unit in which a person wrote a volume, and its size. [L]"""

    unit: str = "L"
    litres: float = 1.0

    @property
    def ounce(self) -> float | None:
        """The fluid ounce that goes with a gallon, `None` with any other unit. [L]"""
        if isclose(self.litres, GALLON, rel_tol=1e-9):
            return FLUID_OUNCE
        if isclose(self.litres, IMPERIAL_GALLON, rel_tol=1e-9):
            return IMPERIAL_GALLON / 160.0
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChargeInput:
    """`millpond charge` as typed; empty where an option was left out."""

    volume: str
    target: str
    convention: str = "of-mix"
    premix: str = ""
    bucket: str = ""
    weak_mix: str = ""
    graduation: str = ""
    residue: str = ""
    factor: str = ""
    price: str = ""
    hardness: str = ""
    circulate: str = ""
    check: str = ""
    change_out: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TopUpInput:
    """`millpond top-up` as typed; empty where an option was left out."""

    volume: str
    concentration: str
    to_volume: str
    target: str
    convention: str = "of-mix"
    premix: str = ""
    bucket: str = ""
    weak_mix: str = ""
    graduation: str = ""
    factor: str = ""
    exchange: bool = False
    circulate: str = ""
    price: str = ""
    disposal: str = ""


def measure_of(option: str, text: str) -> Measure:
    """The unit in which a volume was written, and its size. [L]"""
    unit = text.strip().lstrip("+-0123456789.eE").strip()
    return Measure(unit, litres(option, f"1 {unit}")) if unit else Measure()


def litres(option: str, text: str, least: float = 0.0) -> float:
    """A volume as typed. [L]"""
    try:
        volume = parse_quantity(text, "L")
    except (ValueError, MillpondError) as error:
        raise ImpossibleInputError(option, text, f"a volume with its unit: {error}") from error
    if not least <= volume <= LARGEST:
        kind = "more than 0" if least > 0.0 else "0 or more"
        raise ImpossibleInputError(option, text, f"a volume of {kind}, at most {LARGEST:g} L")
    return volume


def number(option: str, text: str) -> float:
    """A plain number as typed, such as a percentage; a percent sign may follow. [1]"""
    try:
        value = float(text.strip().removesuffix("%"))
    except ValueError:
        raise ImpossibleInputError(option, text, "a number") from None
    if not isfinite(value):
        raise ImpossibleInputError(option, text, "a number")
    return value


def percentage(option: str, text: str) -> float:
    """A percentage of the mix as typed. [1]"""
    value = number(option, text)
    if not 0.0 <= value < 100.0:
        raise ImpossibleInputError(option, text, "0 up to 100 % of the mix, 100 not included")
    return value / 100.0


def target_of(text: str, convention: str) -> float:
    """The target as typed, in either convention. [1]"""
    if convention not in CONVENTIONS:
        raise ImpossibleInputError("--convention", convention, " or ".join(CONVENTIONS))
    if convention == "per-water":
        parts = number("--target", text)
        if parts <= 0.0:
            raise ImpossibleInputError("--target", text, "more than 0 parts per 100 of water")
        return fraction_from_parts(parts)
    target = percentage("--target", text)
    if target <= 0.0:
        raise ImpossibleInputError("--target", text, "more than 0 % of the mix")
    return target


def strengths_of(premix: str, weak_mix: str) -> tuple[float, float]:
    """Strongest and weakest mix that may be made. [1]"""
    strongest = fraction_from_ratio(*ratio_of(premix or USUAL_PREMIX))
    weakest = percentage("--weak-mix", weak_mix or "0")
    if weakest > strongest:
        limit = percent(strongest)
        raise ImpossibleInputError("--weak-mix", weak_mix, f"at most the premix, {limit}")
    return strongest, weakest


def ratio_of(text: str) -> tuple[float, float]:
    """Water and concentrate of a premix, the larger part being the water. [1]"""
    one, colon, other = text.partition(":")
    try:
        parts = float(one), float(other)
    except ValueError:
        parts = (0.0, 0.0)
    if not colon or not all(0.0 < part < inf for part in parts):
        raise ImpossibleInputError("--premix", text, "a ratio of water to concentrate, like 4:1")
    return max(parts), min(parts)


def bucket_of(text: str) -> float:
    """What one batch holds; no end where no bucket was named. [L]"""
    return litres("--bucket", text, least=NOTHING) if text else inf


def mark_of(text: str, bucket: str) -> float:
    """Distance of the bucket's marks; 0 where any amount can be measured. [L]"""
    if not text:
        return 0.0
    mark = litres("--graduation", text, least=NOTHING)
    if mark > bucket_of(bucket):
        raise ImpossibleInputError("--graduation", text, f"at most the bucket, {bucket}")
    return mark


def price_of(option: str, text: str) -> float | None:
    """A price as typed, of whatever currency, for a litre; `None` where none was. [1/L]"""
    if not text:
        return None
    price = number(option, text)
    if price < 0.0:
        raise ImpossibleInputError(option, text, "0 or more for a litre")
    return price


def minutes_of(text: str) -> float:
    """For how long the pumps run until a mix is mixed. [min]"""
    if not text:
        return USUAL_MIN
    minutes = number("--circulate", text.strip().removesuffix("min"))
    if not 0.0 < minutes <= LONGEST_MIN:
        expected = f"minutes, more than 0 and at most {LONGEST_MIN:g}"
        raise ImpossibleInputError("--circulate", text, expected)
    return minutes


def factor_of(text: str) -> float | None:
    """The refractometer factor. [%/°Brix]"""
    if not text:
        return None
    factor = number("--factor", text)
    if factor <= 0.0:
        raise ImpossibleInputError("--factor", text, "more than 0 % of the mix per °Brix")
    return factor


def content(option: str, text: str) -> float | None:
    """What dissolves in a water as typed, such as ``180 mg/L`` or ``10 dH``. [mg/L]"""
    if not text:
        return None
    try:
        value = parse_quantity(text, "mg/L")
    except MillpondError as error:
        raise ImpossibleInputError(option, text, f"a content with its unit: {error}") from error
    if not 0.0 <= value <= SALTIEST:
        raise ImpossibleInputError(option, text, f"0 to {SALTIEST:g} mg/L")
    return value
