"""A range of time as somebody typed it."""

from advisor.words import Instant
from agent.errors import MillpondError
from agent.instants import instant_of

FOREVER: Instant = 2**53


class RangeError(MillpondError):
    """What was typed is no range of time."""


def range_of(begin: str | None, end: str | None) -> tuple[Instant, Instant]:
    """Read the options `--from` and `--to`; an open end is 1970, or for ever. [ms]

    Raises
    ------
    RangeError
        If one of them is no RFC 3339 time, or the range ends before it begins.
    """
    first = 0 if begin is None else _moment("--from", begin)
    last = FOREVER if end is None else _moment("--to", end)
    if last < first:
        raise RangeError(f"--to {end} is before --from {begin}")
    return first, last


def _moment(option: str, text: str) -> Instant:
    """Read one of them."""
    try:
        return instant_of(text)
    except ValueError as error:
        raise RangeError(f"{option} {text!r}: {error}") from error
