"""Refusals as people read them: short, printable, and with a look at what was refused.

The store keeps the log and its counters; here a refusal gets its words.
"""

from agent.arrival import Arrival
from agent.decode.results import Reason, Refusal

EXCERPT_CHARACTERS = 120
SHOWN_CHARACTERS = 48


def refusal_of(
    arrival: Arrival, reason: Reason, detail: str, *, sump: str | None = None
) -> Refusal:
    """Refuse what arrived, or a part of it."""
    return Refusal(arrival.topic, reason, detail, excerpt(arrival.payload), sump)


def excerpt(payload: bytes) -> str:
    r"""Beginning of a payload, escaped where it does not print; at most 120 characters.

    Examples
    --------
    >>> excerpt(b"412.5 mm\r\n\xff")
    '412.5 mm\\r\\n\\xff'
    """
    # No character of UTF-8 takes more than four bytes: this many fill any excerpt.
    head = payload[: 4 * EXCERPT_CHARACTERS + 4]
    return printable(head.decode("utf-8", "backslashreplace"), EXCERPT_CHARACTERS)


def shown(found: object) -> str:
    """Say which JSON value was found, for a detail: on one line, bounded.

    Examples
    --------
    >>> shown("7,9"), shown(7.0), shown(True), shown(None), shown({"v": 7.9})
    ("'7,9'", '7', 'true', 'null', 'an object')
    """
    match found:
        case str():
            return f"'{printable(found, SHOWN_CHARACTERS)}'"
        case None | bool():
            return {None: "null", True: "true", False: "false"}[found]
        case int() | float():
            return f"{found:.12g}"
        case list():
            return "an array"
        case _:
            return "an object"


def printable(text: str, room: int) -> str:
    """Escape what does not print, and cut to `room` characters; an ellipsis marks the cut."""
    if len(text) > room or not text.isprintable():
        text = "".join(map(_escaped, text[: room + 1]))
    return text if len(text) <= room else f"{text[: room - 1]}…"


def _escaped(character: str) -> str:
    """Write a character so that it prints."""
    if character.isprintable():
        return character
    return character.encode("unicode_escape").decode("ascii")
