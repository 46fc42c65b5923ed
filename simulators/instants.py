"""Moments of simulated time: whole milliseconds since 1970 UTC, and how people write them."""

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

SECOND = 1000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
DAY = 24 * HOUR


def rfc3339(at: int) -> str:
    """Write a moment as RFC 3339 in UTC, with milliseconds only where there are any.

    >>> rfc3339(1772431200000)
    '2026-03-02T06:00:00Z'
    >>> rfc3339(1772431200137)
    '2026-03-02T06:00:00.137Z'
    """
    minutes, rest = divmod(at, MINUTE)
    seconds, millis = divmod(rest, SECOND)
    if millis:
        return f"{_minute(minutes)}{seconds:02d}.{millis:03d}Z"
    return f"{_minute(minutes)}{seconds:02d}Z"


@lru_cache(maxsize=64)
def _minute(minutes: int) -> str:
    """Everything before the seconds, which many messages share."""
    return datetime.fromtimestamp(minutes * 60, UTC).strftime("%Y-%m-%dT%H:%M:")


def instant(text: str) -> int:
    """Read RFC 3339 with an offset. [ms]

    Raises
    ------
    ValueError
        If the text is no such time, or has no offset.
    """
    moment = datetime.fromisoformat(text)
    if moment.tzinfo is None:
        raise ValueError(f"{text!r} has no offset; expected RFC 3339 such as 2026-03-02T06:00:00Z")
    return round(moment.timestamp() * SECOND)


@dataclass(frozen=True, slots=True)
class When:
    """A time of day some days after the day on which a scenario begins, on the wall clock there."""

    days: int
    time: time

    @classmethod
    def parse(cls, text: str) -> "When":
        """Read ``"2d 10:30"``: two days after the first day, at half past ten.

        >>> When.parse("2d 10:30")
        When(days=2, time=datetime.time(10, 30))
        """
        head, _, clock = text.strip().partition(" ")
        if not head.endswith("d") or not head[:-1].isdigit() or not clock:
            raise ValueError(f"{text!r} is no moment; expected days and time, such as '2d 10:30'")
        return cls(int(head[:-1]), time.fromisoformat(clock.strip()))


class Calendar:
    """The local days of a scenario; knows summer time."""

    def __init__(self, begin: datetime, zone: ZoneInfo) -> None:
        self.zone = zone
        self.first_day = begin.date()
        self.begin = round(begin.replace(tzinfo=zone).timestamp() * SECOND)

    def moment(self, when: When) -> int:
        """Moment at which the wall clock there shows `when`. [ms]"""
        day = self.first_day + timedelta(days=when.days)
        return round(datetime.combine(day, when.time, self.zone).timestamp() * SECOND)

    def weekday(self, days: int) -> int:
        """Day of the week, Monday is 0, so many days after the first."""
        return (self.first_day + timedelta(days=days)).weekday()

    def hour_of_day(self, at: int) -> float:
        """What the wall clock there shows. [h]"""
        there = datetime.fromtimestamp(at / SECOND, self.zone)
        return there.hour + there.minute / 60.0 + there.second / 3600.0
