"""From what somebody typed about a drum or a tote to the body of a message."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from advisor.words import Instant
from agent.arrival import Arrival
from agent.decode.people import decode_stock
from agent.decode.problem import PayloadError
from agent.instants import text_of
from agent.page.entering import FieldError, amount
from agent.page.supplies_view import Shelf
from agent.page.visitor import Visitor, clean_name

FORMS = ("left", "opened", "added")
"""So much is left; a new one was opened; so much came on top of what is left."""


@dataclass(slots=True)
class Stocking:
    """A form as it was typed, and what is wrong with it."""

    fields: Mapping[str, str]
    errors: dict[str, str] = field(default_factory=dict)
    """By field, in the person's language."""
    body: dict[str, Any] = field(default_factory=dict)
    """Of the message; complete where `errors` is empty."""

    @property
    def form(self) -> str:
        """One of `FORMS`."""
        form = self.fields.get("form", "")
        return form if form in FORMS else FORMS[0]


def first_fields(shelf: Shelf, visitor: Visitor) -> dict[str, str]:
    """What the empty form holds: the lot and its end stay as they were told last."""
    newest, say = shelf.newest, visitor.speech
    full = shelf.supply.volume
    return {
        "by": visitor.name,
        "volume": "",
        "full": "" if full is None else say.short(full / say.litres_each),
        "lot": "" if newest is None else newest.lot,
        "expires": ""
        if newest is None or newest.expires is None
        else say.local(newest.expires).date().isoformat(),
    }


def read_stocking(
    fields: Mapping[str, str], shelf: Shelf, visitor: Visitor, now: Instant
) -> Stocking:
    """Read the form on a supply."""
    typed = Stocking(fields)
    volume = _volume(typed, shelf, visitor)
    if volume is not None:
        typed.body["volume_l"] = round(volume, 6)
    typed.body["lot"] = clean_name(fields.get("lot", ""))
    ends = fields.get("expires", "")
    if ends:
        try:
            typed.body["expires"] = date.fromisoformat(ends).isoformat()
        except ValueError:
            typed.errors["expires"] = visitor.speech.text("supplies.error_day")
    typed.body["by"] = visitor.name if visitor.asks else clean_name(fields.get("by", ""))
    if not typed.errors:
        _try(typed, shelf, visitor, now)
    return typed


def _volume(typed: Stocking, shelf: Shelf, visitor: Visitor) -> float | None:
    """What is left then. [L]"""
    key = "full" if typed.form == "opened" else "volume"
    try:
        volume = amount(typed.fields.get(key, ""), visitor.speech)
    except FieldError as error:
        typed.errors[key] = visitor.speech.text(str(error))
        return None
    if typed.form == "added":
        return volume + (0.0 if shelf.left is None else shelf.left.value)
    return volume


def _try(typed: Stocking, shelf: Shelf, visitor: Visitor, now: Instant) -> None:
    """Have the message read by the decoder that reads everybody's."""
    body = {"at": text_of(now), **typed.body}
    payload = json.dumps(body, ensure_ascii=False, allow_nan=False).encode("utf-8", "replace")
    try:
        decode_stock(Arrival(now, "", payload), shelf.supply.id)
    except PayloadError as error:
        typed.errors[""] = visitor.speech.text("enter.error.other", detail=str(error))
