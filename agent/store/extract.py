"""Rows of the store in the order of time, a thousand at a time: for files that others read."""

from collections.abc import Iterator
from typing import NamedTuple

from advisor.words import HOUR, MINUTE, Instant, SumpEvent
from agent.store.database import Database, Row
from agent.store.history import History
from agent.store.told import Told

_OLDEST = "SELECT min(at) FROM {} WHERE signal = ?"
AT_ONCE = 5_000
"""Rows that are read in one step: so much is held in memory. [1]"""


class Summed(NamedTuple):
    """A reading, or what is kept of the readings of a minute or an hour. [internal unit]"""

    at: Instant
    sump: str
    signal: str
    kept: str
    """`reading`, `minute` or `hour`."""
    readings: int
    low: float
    high: float
    mean: float
    used: bool


class Extract:
    """Reads what is kept of a range of time, both ends included.

    Parameters
    ----------
    database : Database
        Where the tables are.
    begin, end : Instant
        The range. [ms]
    sump : str, optional
        Of this one only.
    """

    def __init__(
        self, database: Database, begin: Instant, end: Instant, sump: str | None = None
    ) -> None:
        self._database = database
        self._begin, self._end = begin, end
        self._sump = sump

    @property
    def span(self) -> tuple[Instant, Instant]:
        """First and last moment of which states were kept, within the range. [ms]"""
        row = self._database.row("SELECT min(at), max(at) FROM history_hour")
        if row is None or row[0] is None:
            return self._begin, self._begin - 1
        first = row[0] // HOUR * HOUR
        return max(self._begin, first), min(self._end, row[1])

    def readings(self) -> Iterator[Summed]:
        """Readings signal by signal: each hour as finely as it is kept still."""
        for number, sump, name in self._database.rows(
            "SELECT id, sump, name FROM signal WHERE ?1 IS NULL OR sump = ?1 ORDER BY sump, name",
            self._sump,
        ):
            begin = self._begin
            for kept in ("hour", "minute", "reading"):
                until = self._until(number, kept)
                for row in self._rows_of(number, kept, begin, until):
                    at, count, low, high, mean, used = row
                    yield Summed(at, sump, name, kept, count, low, high, mean, bool(used))
                begin = max(begin, until)

    def reports(self) -> Iterator[Row]:
        """Received, at, sump, kind, id, replaces, use, body of what people and stations said."""
        return self._paged(
            """SELECT number, received, at, sump, kind, id, replaces, used, body FROM entry
            WHERE at BETWEEN ?1 AND ?2 AND (?3 IS NULL OR sump = ?3) AND number > ?4
            ORDER BY number LIMIT ?5"""
        )

    def alarms(self) -> Iterator[Row]:
        """Columns of the alarms' journal: each change of an alarm that people saw."""
        return self._paged(
            """SELECT number, at, about, name, signal, was, state, priority, by, value, "limit",
            unit, raised_at FROM alarm_change
            WHERE at BETWEEN ?1 AND ?2 AND (?3 IS NULL OR about = ?3)
            AND number > ?4 ORDER BY number LIMIT ?5"""
        )

    def events(self) -> Iterator[Row]:
        """At, sump, id, kind, source, volume and strength, each with its sd."""
        yield from self._database.rows(
            """SELECT at, sump, id, kind, source, volume, volume_sd, strength, strength_sd
            FROM event WHERE at BETWEEN ?1 AND ?2 AND (?3 IS NULL OR sump = ?3) ORDER BY at""",
            self._begin,
            self._end,
            self._sump,
        )

    def sump_events(self) -> Iterator[tuple[str, SumpEvent]]:
        """Events, each with its sump, without the withdrawn."""
        told = Told(self._database)
        for (sump,) in self._database.rows("SELECT DISTINCT sump FROM event ORDER BY sump"):
            if self._sump in {None, sump}:
                for event in told.events(sump, self._begin, self._end):
                    yield sump, event

    def sumps(self) -> list[str]:
        """Sumps of which states were kept."""
        rows = self._database.rows("SELECT name FROM history_sump ORDER BY name")
        return [name for (name,) in rows if self._sump in {None, name}]

    def history(self) -> History:
        """Reader of states."""
        return History(self._database)

    def _until(self, number: int, kept: str) -> Instant:
        """From when on a signal is kept more finely than this."""
        if kept == "reading":
            return self._end + 1
        tables = ("reading", "reading_minute") if kept == "hour" else ("reading",)
        found = [
            row[0]
            for table in tables
            if (row := self._database.row(_OLDEST.format(table), number)) and row[0] is not None
        ]
        if not found:
            return self._end + 1
        size = HOUR if kept == "hour" else MINUTE
        # whole hours and minutes, so that nothing is told twice
        finer = -(-min(found) // size) * size
        is_summed = self._database.row(_OLDEST.format(f"reading_{kept}"), number)
        if is_summed is None or is_summed[0] is None or is_summed[0] >= min(found) // size * size:
            finer = min(found)  # nothing older is kept
        return int(min(self._end + 1, finer))

    def _rows_of(self, number: int, kept: str, begin: Instant, until: Instant) -> Iterator[Row]:
        """Time, count, lowest, highest, mean and use of a signal's rows of one kind."""
        columns, table = (
            ("at, 1, value, value, value, used", "reading")
            if kept == "reading"
            else ("at, count, low, high, mean, 1", f"reading_{kept}")
        )
        while begin < until:
            rows = self._database.rows(
                f"SELECT {columns} FROM {table} WHERE signal = ? AND at >= ? AND at < ?"  # noqa: S608  as above
                " ORDER BY at LIMIT ?",
                number,
                begin,
                until,
                AT_ONCE,
            )
            if not rows:
                return
            yield from rows
            begin = rows[-1][0] + 1

    def _paged(self, query: str) -> Iterator[Row]:
        """Rows of a query by number, without the number."""
        last = 0
        while rows := self._database.rows(query, self._begin, self._end, self._sump, last, AT_ONCE):
            for row in rows:
                yield row[1:]
            last = rows[-1][0]
