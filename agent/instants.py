"""Moments as text: RFC 3339 on the wire and in files, whole milliseconds inside."""

import re
from datetime import UTC, datetime, timedelta

from advisor.words import Instant

_RFC_3339 = re.compile(
    r"(\d{4}-\d\d-\d\d)[Tt ](\d\d:\d\d:\d\d)(?:\.(\d{1,12}))?([Zz]|[+-]\d\d:\d\d)", re.ASCII
)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MILLISECOND = timedelta(milliseconds=1)


def instant_of(text: str) -> Instant:
    """Read an RFC 3339 time with offset; digits beyond the millisecond are cut off.

    Raises
    ------
    ValueError
        If it is none, or no such day or time exists.

    References
    ----------
    .. [1] G. Klyne and C. Newman, "Date and Time on the Internet: Timestamps", RFC 3339, 2002,
       section 5.6.

    Examples
    --------
    >>> instant_of("1970-01-01T01:00:00.5+01:00")
    500
    """
    match = _RFC_3339.fullmatch(text)
    if match is None:
        raise ValueError("expected an RFC 3339 time with offset, such as 2026-03-02T06:00:00Z")
    day, clock, fraction, offset = match.groups()
    moment = datetime.fromisoformat(f"{day}T{clock}{offset.upper()}")
    elapsed = moment - _EPOCH
    thousandths = int(fraction[:3].ljust(3, "0")) if fraction else 0
    return elapsed.days * 86_400_000 + elapsed.seconds * 1000 + thousandths


def text_of(at: Instant) -> str:
    """Write a moment as RFC 3339 in UTC, with three decimals where the second is not whole.

    Examples
    --------
    >>> text_of(0), text_of(1500)
    ('1970-01-01T00:00:00Z', '1970-01-01T00:00:01.500Z')
    """
    moment = _EPOCH + at * _MILLISECOND
    precision = "milliseconds" if at % 1000 else "seconds"
    return moment.replace(tzinfo=None).isoformat(timespec=precision) + "Z"
