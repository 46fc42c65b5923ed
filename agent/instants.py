"""Moments as text: RFC 3339 on the wire and in files, whole milliseconds inside."""

import re
from datetime import date, datetime
from functools import lru_cache
from math import floor
from typing import Final

from advisor.words import DAY, MINUTE, Instant

_HOURS_MINUTES: Final = r"(?:[01]\d|2[0-3]):[0-5]\d"
_as_usual: Final = re.compile(
    rf"\d{{4}}-\d\d-\d\dT{_HOURS_MINUTES}:[0-6]\d(?:\.\d+)?(?:Z|[+-]{_HOURS_MINUTES})", re.ASCII
).fullmatch
_moment: Final = datetime.fromisoformat
_DAY_ZERO: Final = date(1970, 1, 1).toordinal()
_LAST_DAY: Final = date.max.toordinal() - _DAY_ZERO
_BEGIN: Final = (1 - _DAY_ZERO) * DAY
_END: Final = (_LAST_DAY + 1) * DAY
_KNOWN_MINUTES: Final = 1024
_minutes: dict[str, Instant] = {}
"""Minutes read lately, by their text up to the second. [ms]"""
_SECONDS: Final = {f"{second:02d}": 1000 * second for second in range(60)}
_MILLISECONDS: Final = {f".{milli:03d}Z": milli for milli in range(1000)} | {"Z": 0}
_EXPECTED: Final = "expected an RFC 3339 time with offset, such as 2026-03-02T06:00:00Z"


def instant_of(text: str) -> Instant:
    """Read an RFC 3339 time with offset, to the nearest millisecond.

    Also with `t` and `z` in lower case, a space before the time, any number of decimals, and the
    offset -00:00, which says that the place is not known, not the time. A leap second, 23:59:60 UTC
    at the end of a month, is the first second of the next day, as in Unix time.

    Raises
    ------
    ValueError
        If it is none, or no such day or time exists.

    References
    ----------
    .. [1] G. Klyne and C. Newman, "Date and Time on the Internet: Timestamps", RFC 3339, 2002,
       sections 4.3, 5.6 and 5.7.

    Examples
    --------
    >>> instant_of("1970-01-01T01:00:00.5+01:00")
    500
    >>> instant_of("1990-12-31T23:59:60Z") == instant_of("1991-01-01T00:00:00Z")
    True
    """
    try:
        # Most are in UTC, with three decimals or none, and of a minute that was read before.
        return _minutes[text[:17]] + _SECONDS[text[17:19]] + _MILLISECONDS[text[19:]]
    except KeyError:
        return _instant_of_any(text)


def _instant_of_any(text: str) -> Instant:
    """Read a time of any of the forms."""
    if _as_usual(text) is None:
        text = _made_usual(text)
    try:
        at = round(_moment(text).timestamp() * 1000.0)
    except ValueError:
        at = _leap(text)
    if not _BEGIN <= at < _END:
        raise ValueError("the time in UTC is not within the years 1 to 9999")
    if text[-1] == "Z" and text[17:19] in _SECONDS:
        if len(_minutes) >= _KNOWN_MINUTES:
            _minutes.clear()
        _minutes[text[:17]] = at - at % MINUTE
    return at


def text_of(at: Instant) -> str:
    """Write a moment as RFC 3339 in UTC, with three decimals where the second is not whole.

    Raises
    ------
    ValueError
        If it is not within the years 1 to 9999.

    Examples
    --------
    >>> text_of(0), text_of(1500)
    ('1970-01-01T00:00:00Z', '1970-01-01T00:00:01.500Z')
    """
    minute, rest = divmod(at, MINUTE)
    start = _minute(minute)
    if rest % 1000:
        return f"{start}{rest // 1000:02d}.{rest % 1000:03d}Z"
    return f"{start}{rest // 1000:02d}Z"


def _made_usual(text: str) -> str:
    """Give what RFC 3339 also allows its usual form."""
    if text[10:11] in {"t", " "}:
        text = f"{text[:10]}T{text[11:]}"
    if text[-1:] == "z":
        text = f"{text[:-1]}Z"
    if _as_usual(text) is None:
        raise ValueError(_EXPECTED)
    return text


def _leap(text: str) -> Instant:
    """Read a second 60, which only the last minute of a month in UTC can have."""
    if text[17:19] != "60":
        raise ValueError(f"there is no such day or time; {_EXPECTED}")
    try:
        before = _moment(f"{text[:17]}59{text[19:]}").timestamp()
    except ValueError:
        raise ValueError(f"there is no such day; {_EXPECTED}") from None
    day, second = divmod(floor(before) + 1, DAY // 1000)
    if second or day > _LAST_DAY or date.fromordinal(_DAY_ZERO + day).day != 1:
        raise ValueError("a second 60 ends the last minute of a month in UTC, no other")
    return round(before * 1000.0) + 1000


@lru_cache(maxsize=1024)
def _minute(minute: int) -> str:
    """Write a minute up to its second; what is published stays in few of them for long."""
    day, of_day = divmod(minute, DAY // MINUTE)
    if not -_DAY_ZERO < day <= _LAST_DAY:
        raise ValueError(f"minute {minute} since 1970 is not within the years 1 to 9999")
    written = date.fromordinal(_DAY_ZERO + day).isoformat()
    return f"{written}T{of_day // 60:02d}:{of_day % 60:02d}:"
