"""What a refractometer's reading of a fresh charge says, in sentences and as JSON."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from advisor.calibration import TELLS, Calibration, Charged, calibrate
from advisor.errors import AdvisorError
from advisor.mixing import exchange_volume
from advisor.wording import number, percent
from agent.errors import MillpondError
from agent.quantities import parse_quantity
from agent.typed import ImpossibleInputError

MISTAKES = (
    "Look for a mistake first: fluid not mixed yet, a refractometer not set to zero with the "
    "water in use, oil on the sample, a bucket miscounted, the drum of another concentrate."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """A reading, what it says of the charge, and in which words."""

    calibration: Calibration
    said: tuple[str, ...]
    cautions: tuple[str, ...]


def verdict(
    charged: Charged, text: str, factor: float | None, say: Callable[[float], str]
) -> Verdict:
    """Say what a reading as typed says of a charge; `say` words a volume [L].

    Raises
    ------
    ImpossibleInputError
        If it is no reading that a charge can have.
    """
    reading = reading_of(text, factor)
    try:
        found = calibrate(charged, reading, factor)
    except AdvisorError as error:
        raise ImpossibleInputError("--check", text, error.expected) from error
    doubt = () if found.is_plausible or found.is_as_expected else (_implausible(found, factor),)
    return Verdict(
        calibration=found,
        said=tuple(_sentences(found, charged, factor, say)),
        cautions=doubt,
    )


def reading_of(text: str, factor: float | None) -> float:
    """A refractometer's reading as typed, such as ``5.1 degBrix``. [°Brix]

    One in % is of an instrument that has the factor in it.
    """
    try:
        return parse_quantity(text, "degBrix")
    except MillpondError as error:
        try:
            shown = 100.0 * parse_quantity(text, "1")
        except MillpondError:
            expected = f"a reading with its unit, such as 5.1 degBrix: {error}"
            raise ImpossibleInputError("--check", text, expected) from error
    if factor is None:
        raise ImpossibleInputError("--check", text, "degBrix, or --factor besides")
    return shown / factor


def as_json(found: Calibration) -> dict[str, Any]:
    """The verdict as one object."""
    add = found.add
    return {
        "reading_brix": round(found.reading, 6),
        "expected_brix": None if found.expected is None else round(found.expected, 6),
        "as_expected": found.is_as_expected,
        "implied_factor": round(found.factor, 6),
        "factor_plausible": found.is_plausible,
        "concentration_pct": None if found.strength is None else round(100.0 * found.strength, 6),
        "correction": None
        if add is None
        else {
            "water_l": round(add.water, 6),
            "concentrate_l": round(add.concentrate, 6),
            "strength_pct": round(100.0 * add.strength, 6),
        },
    }


def _sentences(
    found: Calibration, charged: Charged, factor: float | None, say: Callable[[float], str]
) -> Iterator[str]:
    """Say what was read, and what to make of it. Volumes in [L]."""
    read = f"Read {number(found.reading, 2)} °Brix"
    new = number(found.factor, 3)
    if factor is None or found.expected is None or found.strength is None:
        yield f"{read}: the charge, if it is as measured in, speaks for a factor of {new}."
        return
    expected = f"expected {number(found.expected, 2)} (factor {number(factor, 3)})"
    if found.is_as_expected:
        yield (
            f"{read}, {expected}: the charge is as it was measured in, to the {number(TELLS)} "
            "°Brix that a handheld refractometer tells apart."
        )
        return
    yield (
        f"{read}, {expected}: by the factor the charge has {percent(found.strength)}, not "
        f"{percent(charged.strength)}."
    )
    if found.is_plausible:
        yield f"If it was measured in with care, the factor is {new}: use that from now on."
    yield from _correcting(found, charged, say)
    yield "One reading cannot tell which of the two it is; a titration can."


def _correcting(found: Calibration, charged: Charged, say: Callable[[float], str]) -> Iterator[str]:
    """Say what to add if the factor is right. Volumes in [L]."""
    add, strength = found.add, found.strength
    if add is None or strength is None:
        yield "No mix that may be made would correct it."
        return
    parts = f"{say(add.water)} of water"
    if add.concentrate > 0.0:
        parts += f", then {say(add.concentrate)} of concentrate into it"
    after = (charged.volume * strength + add.concentrate) / (charged.volume + add.volume)
    comes = "" if charged.mark == 0.0 else f", which makes it {percent(after)}"
    swap = exchange_volume(charged.volume, strength, charged.target, add.strength)
    yield (
        f"If the factor is right, add {say(add.volume)} at {percent(add.strength)}: {parts}"
        f"{comes}. Where there is no room for that, drain {say(swap)} and add as much of that mix."
    )


def _implausible(found: Calibration, factor: float | None) -> str:
    """Say that there is no such factor."""
    new = number(found.factor, 3)
    if factor is None:
        return f"A factor of {new} is not plausible of any concentrate. {MISTAKES}"
    sheet = number(factor, 3)
    return f"A factor of {new} is not plausible beside the data sheet's {sheet}. {MISTAKES}"
