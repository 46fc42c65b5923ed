"""A signal's readings over any range, for charts: few points, and no peak lost."""

from collections.abc import Iterable
from typing import NamedTuple

from advisor.words import DAY, HOUR, MINUTE, Instant, Signal
from agent.store.database import Database, Row

POINTS = 2_000
"""Points of a series at most. [1]"""
RAW_RANGE: Instant = 2 * DAY
"""Ranges up to this are read from the readings themselves, where they are still kept. [ms]"""
MINUTE_RANGE: Instant = 16 * DAY
"""Ranges up to this are read by minutes, longer ones by hours. [ms]"""


class Point(NamedTuple):
    """A stretch of time: how many readings it had, and what they say, in the internal unit."""

    at: Instant
    """Time of the stretch's first reading, or of the minute or hour that it stands in. [ms]"""
    readings: int
    low: float
    high: float
    mean: float


class Series:
    """Reads used readings; any thread may use it, as its database allows.

    Parameters
    ----------
    database : Database
        Where the tables are.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    def points(
        self, sump: str, signal: Signal, begin: Instant, end: Instant, *, points: int = POINTS
    ) -> list[Point]:
        """Readings from `begin` up to `end`, both included, oldest first, at most `points`. [ms]

        Each point has the lowest and the highest reading of its stretch of time; where the readings
        are few enough, each stands alone.
        """
        row = self._database.row(
            "SELECT id, until FROM signal LEFT JOIN summed ON signal = id"
            " WHERE sump = ? AND name = ?",
            sump,
            signal.value,
        )
        if row is None or end < begin:
            return []
        number, until = row
        width = -(-(end - begin + 1) // max(1, points - 2))
        if not self._is_raw(number, begin, end):
            table, size = (
                ("reading_minute", MINUTE)
                if end - begin <= MINUTE_RANGE and self._reaches(number, begin)
                else ("reading_hour", HOUR)
            )
            split = min(end + 1, until or begin)
            width = -(-width // size) * size
            summed = self._summed(table, number, begin // size * size, split - 1, width)
            return _joined([*summed, *self._raw(number, max(begin, split), end, width)], width)
        return self._raw(number, begin, end, width)

    def _is_raw(self, number: int, begin: Instant, end: Instant) -> bool:
        """Whether a range is short, and its readings are there still."""
        if end - begin > RAW_RANGE:
            return False
        row = self._database.row("SELECT min(at) FROM reading_minute WHERE signal = ?", number)
        oldest = self._database.row("SELECT min(at) FROM reading WHERE signal = ?", number)
        if row is None or row[0] is None or oldest is None or oldest[0] is None:
            return True
        return bool(oldest[0] <= max(begin, row[0] + MINUTE - 1))

    def _reaches(self, number: int, begin: Instant) -> bool:
        """Whether minutes are kept as far back as a range begins, or as hours are."""
        minute, hour = (
            self._database.row(f"SELECT min(at) FROM {table} WHERE signal = ?", number)  # noqa: S608
            for table in ("reading_minute", "reading_hour")
        )
        if minute is None or minute[0] is None:
            return False
        return bool(
            minute[0] <= begin or hour is None or hour[0] is None or minute[0] < hour[0] + HOUR
        )

    def _raw(self, number: int, begin: Instant, end: Instant, width: Instant) -> list[Point]:
        """Points of the readings themselves."""
        return _points(
            self._database.rows(
                """SELECT min(at), count(*), min(value), max(value), avg(value) FROM reading
                WHERE signal = ?1 AND at BETWEEN ?2 AND ?3 AND used
                GROUP BY at / ?4""",
                number,
                begin,
                end,
                width,
            )
        )

    def _summed(
        self, table: str, number: int, begin: Instant, end: Instant, width: Instant
    ) -> list[Point]:
        """Points of minutes or hours."""
        return _points(
            self._database.rows(
                f"""SELECT min(at), sum(count), min(low), max(high), sum(mean * count) / sum(count)
                FROM {table} WHERE signal = ?1 AND at BETWEEN ?2 AND ?3
                GROUP BY at / ?4""",  # noqa: S608  a table of our own
                number,
                begin,
                end,
                width,
            )
        )


def _points(rows: Iterable[Row]) -> list[Point]:
    """Rows as points."""
    return [Point(*row) for row in rows]


def _joined(points: list[Point], width: Instant) -> list[Point]:
    """Join two points of one stretch, where minutes or hours end and readings begin."""
    joined: list[Point] = []
    for point in points:
        last = joined[-1] if joined else None
        if last is not None and last.at // width == point.at // width:
            count = last.readings + point.readings
            mean = (last.mean * last.readings + point.mean * point.readings) / count
            low, high = min(last.low, point.low), max(last.high, point.high)
            joined[-1] = Point(last.at, count, low, high, mean)
        else:
            joined.append(point)
    return joined
