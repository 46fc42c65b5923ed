"""The time in a payload: RFC 3339 text, or a number of seconds or milliseconds since 1970."""

from math import isfinite

from advisor.words import Instant
from agent.decode.problem import PayloadError
from agent.decode.results import Reason
from agent.instants import instant_of
from agent.refusals import shown

SECONDS_BELOW = 1e11
"""Epoch numbers under this are seconds (to the year 5138), others milliseconds (from 1973 on)."""
MILLISECONDS_BELOW = 1e14
"""Epoch numbers from this on are neither: micro- and nanoseconds are refused, not guessed."""

_EXPECTED = "expected RFC 3339 with offset, or seconds or milliseconds since 1970"


def instant_in(found: object) -> Instant | None:
    """Moment that a payload states; `None` where it states none.

    Parameters
    ----------
    found : object
        What stands in the payload: text, a number, or nothing (`None`).

    Raises
    ------
    PayloadError
        If something stands there that is no time.

    Examples
    --------
    >>> instant_in("2026-03-02T06:00:00Z") == instant_in(1772431200) == instant_in(1772431200000)
    True
    """
    match found:
        case None:
            return None
        case bool():
            pass
        case int() | float():
            return _of_epoch(float(found))
        case str():
            return _of_text(found)
        case _:
            pass
    raise PayloadError(Reason.TIME, f"the time is {shown(found)}; {_EXPECTED}")


def _of_epoch(number: float) -> Instant:
    """Instant of a number of seconds or milliseconds, told apart by their size."""
    if not (isfinite(number) and 0.0 <= number < MILLISECONDS_BELOW):
        raise PayloadError(Reason.TIME, f"the time is {shown(number)}; {_EXPECTED}")
    return round(number * 1000.0) if number < SECONDS_BELOW else round(number)


def _of_text(text: str) -> Instant:
    """Instant of RFC 3339 text, or of a number written as text."""
    if text.isascii() and text.replace(".", "", 1).isdigit():
        return _of_epoch(float(text))
    try:
        return instant_of(text)
    except ValueError as error:
        raise PayloadError(
            Reason.TIME, f"the time is {shown(text)}: {error}; {_EXPECTED}"
        ) from error
