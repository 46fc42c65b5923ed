"""Moments as somebody typed them, on the clocks of the plant, and how they are said back."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from advisor.words import Instant
from agent.instants import instant_of
from agent.typed import ImpossibleInputError

WORK_ENDS, WORK_BEGINS = time(18), time(6)
"""On a day that is typed without a time, *common practice*."""

FRIDAY, MONDAY = 4, 0


def moment_of(option: str, text: str, zone: str, day_time: time) -> Instant:
    """A day, a time of the plant's clocks, or an RFC 3339 time. [ms]

    Raises
    ------
    ImpossibleInputError
        If it is none of them.
    """
    try:
        if len(text) == len("2026-03-02"):
            return _instant(datetime.combine(date.fromisoformat(text), day_time), zone)
        local = datetime.fromisoformat(text)
        return instant_of(text) if local.tzinfo is not None else _instant(local, zone)
    except ValueError:
        expected = "a day such as 2026-03-06, or a time such as 2026-03-06T18:00"
        raise ImpossibleInputError(option, text, expected) from None


def standstill_of(begin: str, end: str, now: Instant, zone: str) -> tuple[Instant, Instant]:
    """Begin and end of the next time without pumps; the next weekend where nothing is typed. [ms]

    Raises
    ------
    ImpossibleInputError
        If it ends before it begins.
    """
    if not begin and not end:
        return _weekend(now, zone)
    first = moment_of("--from", begin, zone, WORK_ENDS) if begin else now
    if end:
        last = moment_of("--until", end, zone, WORK_BEGINS)
    else:
        last = _next(MONDAY, WORK_BEGINS, first, zone)
    if last <= first:
        raise ImpossibleInputError("--until", end, f"a time after {said(first, zone)}")
    return first, last


def said(at: Instant, zone: str) -> str:
    """A moment on the plant's clocks, to the minute.

    >>> said(1_772_431_200_000, "Europe/Berlin"), said(1_772_431_200_000, "UTC")
    ('Mon 2026-03-02 07:00', 'Mon 2026-03-02 06:00 UTC')
    """
    words = _local(at, zone).strftime("%a %Y-%m-%d %H:%M")
    return f"{words} UTC" if zone == "UTC" else words


def said_day(at: Instant, zone: str) -> str:
    """The day of a moment on the plant's clocks.

    >>> said_day(1_772_431_200_000, "Europe/Berlin")
    'Mon 2026-03-02'
    """
    return _local(at, zone).strftime("%a %Y-%m-%d")


def _local(at: Instant, zone: str) -> datetime:
    """A moment on the plant's clocks."""
    return datetime.fromtimestamp(at / 1000.0, UTC).astimezone(ZoneInfo(zone))


def _weekend(now: Instant, zone: str) -> tuple[Instant, Instant]:
    """Begin and end of the next weekend, or of this one from now on. [ms]"""
    end = _next(MONDAY, WORK_BEGINS, now, zone)
    begin = _next(FRIDAY, WORK_ENDS, now, zone)
    return (begin, end) if begin < end else (now, end)


def _next(weekday: int, of_day: time, after: Instant, zone: str) -> Instant:
    """Next time that it is so late on such a weekday. [ms]"""
    local = _local(after, zone)
    day = local.date() + timedelta(days=(weekday - local.weekday()) % 7)
    at = _instant(datetime.combine(day, of_day), zone)
    if at <= after:
        at = _instant(datetime.combine(day + timedelta(days=7), of_day), zone)
    return at


def _instant(local: datetime, zone: str) -> Instant:
    """Moment of a time of the plant's clocks. [ms]"""
    return round(local.replace(tzinfo=ZoneInfo(zone)).timestamp() * 1000.0)
