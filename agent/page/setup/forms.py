"""Forms for parts of the plant file: what stands there as people read it, and back.

A field that was not touched gives back exactly what stands in the file, whatever unit it was shown
in.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias

from agent.errors import Problem
from agent.page.entering import FieldError, plain_number
from agent.page.speech import INCH, Speech
from agent.quantities import QuantityError, parse_quantity

Kind: TypeAlias = Literal["text", "number", "mm", "L", "pct", "yes", "words"]
Entry: TypeAlias = Mapping[str, Any]
"""A table of the plant file, as plain data."""

TEXT_MAX = 500

_LAST_PLACE = re.compile(r"\[\d+\]$")
"""Of a key that is about one item of a list."""


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a form.

    Parameters
    ----------
    name : str
        Of the form's field; its label stands in the catalogue under it.
    path : tuple of str or int
        Keys from the entry down; a number is a place in a list.
    kind : Kind
        How it is read: ``mm`` and ``L`` in the person's own unit.
    is_needed : bool
        Whether it may not be left empty.
    """

    name: str
    path: tuple[str | int, ...]
    kind: Kind = "text"
    is_needed: bool = False

    def unit(self, say: Speech) -> str:
        """Unit that stands behind the field."""
        us = say.units == "us"
        units = {"mm": "in" if us else "mm", "L": say.volume_unit, "pct": "%"}
        return units.get(self.kind, "")

    def per(self, say: Speech) -> float:
        """How much of the file's unit one of the person's is."""
        if self.kind == "mm" and say.units == "us":
            return INCH
        return say.litres_each if self.kind == "L" else 1.0


TANKS: Mapping[str, tuple[Field, ...]] = {
    "box": (
        Field("length", ("tank", "length_mm"), "mm", is_needed=True),
        Field("width", ("tank", "width_mm"), "mm", is_needed=True),
        Field("height", ("tank", "height_mm"), "mm", is_needed=True),
    ),
    "upright-cylinder": (
        Field("diameter", ("tank", "diameter_mm"), "mm", is_needed=True),
        Field("height", ("tank", "height_mm"), "mm", is_needed=True),
    ),
    "lying-cylinder": (
        Field("diameter", ("tank", "diameter_mm"), "mm", is_needed=True),
        Field("length", ("tank", "length_mm"), "mm", is_needed=True),
    ),
    "table": (),
}
"""Measures of each shape."""

TANK_KEYS = ("length_mm", "width_mm", "height_mm", "diameter_mm", "depth_mm", "volume_l")

SUMP = (
    Field("name", ("name",)),
    Field("concentrate", ("concentrate",), is_needed=True),
    Field("low", ("level_mm", "low"), "mm", is_needed=True),
    Field("top_up", ("level_mm", "top_up"), "mm"),
    Field("target", ("level_mm", "target"), "mm", is_needed=True),
    Field("brim", ("level_mm", "brim"), "mm", is_needed=True),
    Field("low_running", ("level_mm", "low_running"), "mm"),
    Field("holdup", ("holdup_l",), "L"),
    Field("headroom", ("headroom_mm",), "mm"),
)
CONCENTRATE = (
    Field("name", ("name",)),
    Field("factor", ("refractometer_factor",), "number", is_needed=True),
    Field("band_low", ("band_pct", 0), "pct", is_needed=True),
    Field("target_pct", ("target_pct",), "pct", is_needed=True),
    Field("band_high", ("band_pct", 1), "pct", is_needed=True),
    Field("premix_max", ("premix_max_pct",), "pct"),
    Field("weak_mix", ("weak_mix_pct",), "pct"),
    Field("price", ("price_per_l",), "number"),
    Field("disposal", ("disposal_per_l",), "number"),
    Field("density", ("density",), "number"),
    Field("ph_low", ("ph_band", 0), "number"),
    Field("ph_high", ("ph_band", 1), "number"),
    Field("hardness_limit", ("hardness_limit_mg_l",), "number"),
    Field("chloride_limit", ("chloride_limit_mg_l",), "number"),
)
_WHERE = (
    Field("topic", ("topic",), is_needed=True),
    Field("value_pointer", ("value_pointer",)),
    Field("time_pointer", ("time_pointer",)),
    Field("unit_pointer", ("unit_pointer",)),
    Field("record", ("name",)),
)
_UNIT = Field("unit", ("unit",))
_SD = Field("sd", ("sd",), "number")


def signal_fields(signal: str) -> tuple[Field, ...]:
    """Fields of a signal's form."""
    match signal:
        case "level":
            mount = Field("mount", ("mount_mm",), "mm")
            return (*_WHERE, Field("kind", ("kind",)), _UNIT, mount, _SD)
        case "brix":
            flags = (
                Field("compensated", ("compensated",), "yes"),
                Field("needs_flow", ("needs_flow",), "yes"),
            )
            return (*_WHERE, _UNIT, _SD, *flags)
        case "running":
            return (*_WHERE, Field("true_values", ("true_values",), "words"))
        case "cutting":
            words = Field("true_values", ("true_values",), "words")
            return (*_WHERE, Field("kind", ("kind",)), words)
        case "water_meter" | "concentrate_meter":
            return (*_WHERE, _UNIT, Field("rollover", ("rollover",), "number"))
        case _:
            return (*_WHERE, _UNIT, _SD)


@dataclass(slots=True)
class Filled:
    """A form as it was filled in, and what came of it."""

    values: dict[str, Any] = field(default_factory=dict)
    """As they would stand in the file; `None` takes a key away."""
    errors: dict[str, str] = field(default_factory=dict)
    """By field, in the person's language."""


def shown(fields: Sequence[Field], entry: Entry, say: Speech) -> dict[str, str]:
    """Text of every field for what stands in the file."""
    return {each.name: _shown(each, _at(entry, each.path), say) for each in fields}


def _shown(each: Field, value: object, say: Speech) -> str:
    """One value as a person reads and types it."""
    match value:
        case None:
            return ""
        case bool():
            return "yes" if value else "no"
        case int() | float():
            number = value / each.per(say)
            text = f"{number:.{2 if each.per(say) != 1.0 else 6}f}".rstrip("0").rstrip(".")
            return text.replace(".", ",") if say.text.language == "de" else text
        case list():
            return ", ".join(map(str, value))
        case _:
            return str(value)


def read(fields: Sequence[Field], typed: Mapping[str, str], entry: Entry, say: Speech) -> Filled:
    """Values of a form; what stood in the file and was not touched stays as it is."""
    filled = Filled()
    before = shown(fields, entry, say)
    for each in fields:
        text = typed.get(each.name, "")
        if text == before[each.name]:
            value = _at(entry, each.path)
        else:
            value = _read(each, text, say, filled)
        if value in (None, "") and each.is_needed and each.name not in filled.errors:
            filled.errors[each.name] = say.text("setup.error.needed")
        _put(filled.values, each.path, value)
    filled.values = {key: _joined(value) for key, value in filled.values.items()}
    return filled


def _read(each: Field, text: str, say: Speech, filled: Filled) -> object:
    """One value; an empty field is none."""
    if not text:
        return None
    readers: Mapping[Kind, Callable[[], object]] = {
        "text": lambda: _line(text),
        "yes": lambda: text == "yes",
        "words": lambda: [word.strip() for word in text.split(",") if word.strip()],
    }
    try:
        return readers.get(each.kind, lambda: _number(each, text, say))()
    except FieldError as error:
        filled.errors[each.name] = say.text(str(error))
        return None


def _line(text: str) -> str:
    """A short line of text."""
    if len(text) > TEXT_MAX or not text.isprintable():
        raise FieldError("setup.error.text")
    return text


def _number(each: Field, text: str, say: Speech) -> float:
    """A number in the file's unit, to the tenth of a millimetre or litre where it was converted."""
    try:
        number = plain_number(text)
    except FieldError:
        return _with_unit(each, text)
    per = each.per(say)
    return number if per == 1.0 else round(number * per, 1)


def _with_unit(each: Field, text: str) -> float:
    """A number with a unit behind it, such as ``15 in``."""
    if each.kind not in {"mm", "L"} or len(text) > 40:
        raise FieldError("enter.error.number")
    try:
        value = parse_quantity(text.replace(",", "."), each.kind)
    except QuantityError:
        raise FieldError(
            "setup.error.length" if each.kind == "mm" else "enter.error.amount"
        ) from None
    if value < 0.0:
        raise FieldError("enter.error.number")
    return round(value, 3)


def _at(entry: object, path: Sequence[str | int]) -> Any:  # noqa: ANN401  whatever stands there
    """What stands at a path; `None` where nothing does."""
    for key in path:
        if isinstance(entry, Mapping):
            entry = entry.get(str(key))
        elif isinstance(entry, list) and isinstance(key, int) and key < len(entry):
            entry = entry[key]
        else:
            return None
    return entry


def _put(values: dict[str, Any], path: Sequence[str | int], value: object) -> None:
    """Put a value at a path; places of a list are gathered for `_joined`."""
    target: dict[Any, Any] = values
    for key in path[:-1]:
        target = target.setdefault(key, {})
    target[path[-1]] = value


def _joined(value: object) -> object:
    """A list of what was gathered by place; `None` where all of it is empty."""
    if not (isinstance(value, dict) and value and all(isinstance(key, int) for key in value)):
        return value
    items = [item for _, item in sorted(value.items()) if item is not None]
    return items or None


def place_problems(
    problems: Sequence[Problem], fields: Sequence[Field], prefix: str
) -> tuple[dict[str, str], list[str]]:
    """Problems beside their fields, and those that belong to none.

    Parameters
    ----------
    problems : sequence of Problem
        Of the file as it would be.
    fields : sequence of Field
        Of the form.
    prefix : str
        Key of the entry, such as ``sump[mill-07]``.
    """
    by_key = {
        f"{prefix}." + ".".join(str(key) for key in each.path if isinstance(key, str)): each.name
        for each in reversed(fields)
    }
    beside: dict[str, str] = {}
    elsewhere: list[str] = []
    for problem in problems:
        name = by_key.get(_LAST_PLACE.sub("", problem.key))
        if name is None:
            elsewhere.append(str(problem))
        else:
            beside.setdefault(name, problem.expected)
    return beside, elsewhere
