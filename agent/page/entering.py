"""From what somebody typed to the body of a message, and what the entry would change.

A form is read field by field, so that each mistake is said beside its field. What comes out is
then read by the decoder that reads everybody's messages: there is no second opinion on what is
allowed.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from math import hypot, isfinite
from typing import Any

from advisor import estimate
from advisor.estimate import Belief
from advisor.plan import SumpPlan
from advisor.words import Addition, Check, CheckKind, Drain, Entry, Instant, Service, SumpState
from agent.arrival import Arrival
from agent.decode.people import decode_sump_message
from agent.decode.problem import PayloadError
from agent.decode.results import Report
from agent.instants import text_of
from agent.page.people import Role
from agent.page.speech import INCH, Speech
from agent.page.visitor import Visitor, clean_name
from agent.quantities import QuantityError, parse_quantity

KINDS = ("check", "addition", "drain", "service")
SERVICES = ("prism-cleaned", "skimmed", "sump-cleaned", "biocide", "other")
SAMPLES = ("as-is", "settled", "filtered")
NOTE_MAX = 1000
FAR_SDS = 4.0
HANDHELD_SD = 0.003
"""Of a handheld refractometer's reading, as a concentration; common practice says 0.2 °Brix. [1]"""
MINUTE_SLACK: Instant = 120_000
"""A moment so far ahead of the agent's clock is a clock that goes a little fast. [ms]"""


class FieldError(ValueError):
    """A field does not hold what it should; its text is a key of the catalogue."""


@dataclass(slots=True)
class Typed:
    """A form as it was typed, and what is wrong with it."""

    kind: str
    fields: Mapping[str, str]
    errors: dict[str, str] = field(default_factory=dict)
    """By field, in the person's language."""
    body: dict[str, Any] = field(default_factory=dict)
    """Of the message; complete where `errors` is empty."""
    at: Instant | None = None
    """`None`: now. [ms]"""


def read_form(
    kind: str, fields: Mapping[str, str], plan: SumpPlan, visitor: Visitor, now: Instant
) -> Typed:
    """Read a form of one of `KINDS`."""
    typed = Typed(kind, fields)
    say = visitor.speech
    readers: Mapping[str, Callable[[Typed, Speech], None]] = {
        "check": _read_check,
        "addition": _read_addition,
        "drain": _read_drain,
        "service": _read_service,
    }
    readers[kind](typed, say)
    _read_when(typed, say, now)
    name = visitor.name if visitor.asks else clean_name(fields.get("by", ""))
    typed.body["by"] = name
    if fields.get("corrects"):
        typed.body["replaces"] = fields["corrects"]
    if not typed.errors:
        entry = decoded(typed, plan, now)
        if isinstance(entry, str):
            typed.errors[""] = say.text("enter.error.other", detail=entry)
    return typed


def decoded(typed: Typed, plan: SumpPlan, now: Instant) -> Entry | str:
    """The entry as the agent will read it, or why it would be refused."""
    body = {"at": text_of(now), **typed.body}
    payload = json.dumps(body, ensure_ascii=False, allow_nan=False).encode("utf-8", "replace")
    try:
        found = decode_sump_message(Arrival(now, "", payload), typed.kind, plan)
    except PayloadError as error:
        return str(error)
    return found.entry if isinstance(found, Report) else "no entry"


@dataclass(frozen=True, slots=True)
class Preview:
    """What is known of a sump before and after an entry."""

    before: SumpState
    after: SumpState

    def is_far(self, entry: Entry, plan: SumpPlan) -> bool:
        """Whether a check of the concentration is far from what was expected.

        Farther than `FAR_SDS` of the estimate's sd and of what a handheld reading is good to.
        """
        known = self.before.concentration
        if not isinstance(entry, Check) or known is None:
            return False
        match entry.kind:
            case CheckKind.REFRACTOMETER:
                found = entry.value * plan.fluid.refractometer_factor / 100.0
            case CheckKind.TITRATION:
                found = entry.value
            case _:
                return False
        limit: float = FAR_SDS * hypot(known.sd, HANDHELD_SD)
        return abs(found - known.value) > limit


def preview(belief: Belief | None, entry: Entry, plan: SumpPlan) -> Preview | None:
    """What an entry would change; nothing where it is about the past, or corrects another."""
    if belief is None or entry.at < belief.at or getattr(entry, "replaces", None):
        return None
    after = estimate.absorb(belief, entry, plan)
    return Preview(
        estimate.state_at(belief, entry.at, plan), estimate.state_at(after, entry.at, plan)
    )


def undoing(entry: Entry, name: str, note: str) -> tuple[str, dict[str, Any]] | None:
    """Channel and body of the entry that takes another one back.

    What was poured or drained becomes nothing; a check gives its place to a note.
    """
    common = {"at": text_of(entry.at), "replaces": getattr(entry, "id", ""), "by": name}
    match entry:
        case Addition():
            return "addition", {**common, "water_l": 0.0, "concentrate_l": 0.0}
        case Drain():
            return "drain", {**common, "volume_l": 0.0}
        case Check() | Service():
            return "service", {**common, "kind": "other", "note": note}
        case _:
            return None


def fields_of(entry: Entry, say: Speech) -> dict[str, str]:
    """Fields of the form that would have made an entry, to be corrected in."""
    fields = {"when": "then", "at": say.input_value(entry.at), "by": getattr(entry, "by", "")}
    match entry:
        case Check():
            fields |= _check_fields(entry, say)
        case Addition():
            fields |= {
                "water": say.short(entry.water / say.litres_each),
                "concentrate": say.short(entry.concentrate / say.litres_each),
            }
        case Drain():
            fields |= _drain_fields(entry, say)
        case Service():
            fields |= {"kind": entry.kind, "note": entry.note}
        case _:
            pass
    return fields


def may_correct(visitor: Visitor, entry: Entry) -> bool:
    """Whether a person may correct an entry: their own, or anybody's with the right to change."""
    if visitor.role is None or visitor.role < Role.ENTER:
        return False
    return not visitor.asks or visitor.may_change or getattr(entry, "by", "") == visitor.name


# --- fields --------------------------------------------------------------------------------------


def _read_check(typed: Typed, say: Speech) -> None:
    """A measurement: what, how much, in which unit, of which sample."""
    kind = typed.fields.get("kind", "refractometer")
    if kind not in set(CheckKind):
        typed.errors["kind"] = say.text("enter.error.choose")
        return
    typed.body["kind"] = kind
    unit = typed.fields.get("unit", "")
    if kind == CheckKind.REFRACTOMETER:
        typed.body["unit"] = "%" if unit == "%" else "degBrix"
    value = _number(typed, "value", say)
    if value is not None and kind == CheckKind.DIPSTICK and say.units == "us":
        value *= INCH
    if value is not None and kind == CheckKind.LOOK:
        value = min(value, 1.0)
    if value is not None:
        typed.body["value"] = value
    sample = typed.fields.get("sample", "as-is")
    typed.body["sample"] = sample if sample in SAMPLES else "as-is"


def _read_addition(typed: Typed, say: Speech) -> None:
    """Water and concentrate apart, or a mix and its strength."""
    if typed.fields.get("form") == "mix":
        volume = _amount(typed, "volume", say)
        strength = _number(typed, "strength", say)
        if strength is not None and not 0.0 <= strength <= 100.0:
            typed.errors["strength"] = say.text("enter.error.percent")
        typed.body |= {"volume_l": volume, "strength_pct": strength}
        amounts = [volume]
    else:
        amounts = [_amount(typed, key, say, empty=0.0) for key in ("water", "concentrate")]
        typed.body |= {"water_l": amounts[0], "concentrate_l": amounts[1]}
    nothing = not typed.errors and not any(amounts)
    if nothing and not typed.fields.get("corrects"):
        typed.errors["water"] = say.text("enter.error.nothing")


def _read_drain(typed: Typed, say: Speech) -> None:
    """A volume, down to a depth, or all of it."""
    match typed.fields.get("form"):
        case "all":
            typed.body["all"] = True
        case "level":
            depth = _number(typed, "level", say)
            if depth is not None:
                typed.body["to_level_mm"] = depth * (INCH if say.units == "us" else 1.0)
        case _:
            typed.body["volume_l"] = volume = _amount(typed, "volume", say)
            if volume == 0.0 and not typed.fields.get("corrects"):
                typed.errors["volume"] = say.text("enter.error.nothing")
    typed.body["to"] = clean_name(typed.fields.get("to", ""))


def _read_service(typed: Typed, say: Speech) -> None:
    """What was done, and a note."""
    kind = typed.fields.get("kind", "")
    if kind not in SERVICES:
        typed.errors["kind"] = say.text("enter.error.choose")
    typed.body["kind"] = kind
    note = "".join(c for c in typed.fields.get("note", "") if c.isprintable() or c == "\n")
    if len(note) > NOTE_MAX:
        typed.errors["note"] = say.text("enter.error.long", count=NOTE_MAX)
    typed.body["note"] = note


def _read_when(typed: Typed, say: Speech, now: Instant) -> None:
    """Now, or a moment on the plant's own clock."""
    if typed.fields.get("when", "now") != "then":
        return
    try:
        typed.at = say.instant(typed.fields.get("at", ""))
    except (ValueError, OverflowError):
        typed.errors["at"] = say.text("enter.error.moment")
        return
    if typed.at > now + MINUTE_SLACK:
        typed.errors["at"] = say.text("enter.error.future", now=say.moment(now, None))
    typed.body["at"] = text_of(min(typed.at, now))


def _number(typed: Typed, key: str, say: Speech) -> float | None:
    """Number of a field, 0 or more."""
    try:
        return plain_number(typed.fields.get(key, ""))
    except FieldError as error:
        typed.errors[key] = say.text(str(error))
        return None


def _amount(typed: Typed, key: str, say: Speech, *, empty: float | None = None) -> float | None:
    """Amount of a field: a number in the person's unit, or a number with a unit. [L]"""
    text = typed.fields.get(key, "")
    if not text and empty is not None:
        return empty
    try:
        return round(amount(text, say), 6)
    except FieldError as error:
        typed.errors[key] = say.text(str(error))
        return None


def plain_number(text: str) -> float:
    """A number as people type it, with a point or a comma before the decimals.

    Raises
    ------
    FieldError
        If it is none, or less than 0.

    Examples
    --------
    >>> plain_number("7,9"), plain_number("7.9")
    (7.9, 7.9)
    """
    shown = text.replace("\u202f", "").replace("\u00a0", "").strip()
    if shown.count(",") == 1 and "." not in shown:
        shown = shown.replace(",", ".")
    try:
        value = float(shown)
    except ValueError:
        raise FieldError("enter.error.number") from None
    if not isfinite(value) or value < 0.0 or "_" in shown:
        raise FieldError("enter.error.number")
    return value


def amount(text: str, say: Speech) -> float:
    """An amount as people type it. [L]

    Raises
    ------
    FieldError
        If it is none, or less than nothing.
    """
    try:
        return plain_number(text) * say.litres_each
    except FieldError:
        if not any(c.isalpha() for c in text) or len(text) > 40:
            raise
    try:
        value = parse_quantity(text.replace(",", "."), "L")
    except QuantityError:
        raise FieldError("enter.error.amount") from None
    if value < 0.0:
        raise FieldError("enter.error.amount")
    return value


def _check_fields(check: Check, say: Speech) -> dict[str, str]:
    """Fields of a check."""
    value = check.value
    match check.kind:
        case CheckKind.TITRATION | CheckKind.TRAMP_OIL:
            value *= 100.0
        case CheckKind.DIPSTICK:
            value /= INCH if say.units == "us" else 1.0
        case _:
            pass
    return {
        "kind": check.kind,
        "value": say.short(value),
        "unit": "degBrix",
        "sample": check.sample,
    }


def _drain_fields(drain: Drain, say: Speech) -> dict[str, str]:
    """Fields of a drain."""
    if drain.everything:
        return {"form": "all", "to": drain.to}
    if drain.to_level is not None:
        depth = drain.to_level / (INCH if say.units == "us" else 1.0)
        return {"form": "level", "level": say.short(depth), "to": drain.to}
    return {
        "form": "volume",
        "volume": say.short((drain.volume or 0.0) / say.litres_each),
        "to": drain.to,
    }
