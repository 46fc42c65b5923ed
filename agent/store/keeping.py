"""How long the store keeps what, and how readings become fewer with age.

Every reading first; then, of each whole minute and of each whole hour, how many there were, the
lowest, the highest and the mean. Minutes and hours are written behind the newest reading, and again
where something late came in. All of it is done in short transactions, so that the worker never
waits for long.
"""

import logging
import sqlite3
from collections.abc import Iterator, Sequence

from advisor.words import DAY, HOUR, MINUTE, Instant
from agent.plant.plant import Keeping
from agent.store.database import Database
from agent.store.history import thin_history
from agent.store.waiting import Waiting

LOG = logging.getLogger("millpond.store")

SETTLED_AFTER: Instant = HOUR
"""Minutes and hours are written once they are this far behind the newest reading. [ms]"""
STRETCH: Instant = 6 * HOUR
"""So much of one signal is summed up in one transaction. [ms]"""
ROWS_AT_ONCE = 5_000
"""So many rows are deleted in one transaction. [1]"""

MIGRATION: tuple[str, ...] = (
    *(
        f"""CREATE TABLE reading_{name} (
            signal INTEGER NOT NULL, at INTEGER NOT NULL, count INTEGER NOT NULL,
            low REAL NOT NULL, high REAL NOT NULL, mean REAL NOT NULL, PRIMARY KEY (signal, at)
        ) STRICT, WITHOUT ROWID"""
        for name in ("minute", "hour")
    ),
    "CREATE TABLE summed (signal INTEGER PRIMARY KEY, until INTEGER NOT NULL) STRICT",
    """CREATE TABLE unsummed (
        signal INTEGER NOT NULL, hour INTEGER NOT NULL, PRIMARY KEY (signal, hour)
    ) STRICT, WITHOUT ROWID""",
)


def note_late(connection: sqlite3.Connection, readings: Sequence[tuple[int, Instant]]) -> None:
    """Note hours that are to be summed up again: of readings (signal's number, time)."""
    connection.executemany(
        """INSERT OR IGNORE INTO unsummed SELECT ?, ? / 3600000
        WHERE ? < (SELECT until FROM summed WHERE signal = ?)""",
        [(number, at, at, number) for number, at in readings],
    )


class Keeper:
    """Sums up and forgets, a little at a time.

    Parameters
    ----------
    database : Database
        Where the tables are.
    keeping : Keeping
        How long what is kept.
    backlog_max : Instant
        Readings of this age may still come, and be folded again: so long every one is kept. [ms]
    """

    def __init__(self, database: Database, keeping: Keeping, backlog_max: Instant) -> None:
        self._database = database
        self._keeping = keeping
        self._waiting = Waiting(database)
        self._raw = max(keeping.raw, backlog_max + DAY)

    def keep_house(self) -> None:
        """Sum up what has settled, then forget what is old, counted from the newest reading."""
        numbers = [row[0] for row in self._database.rows("SELECT id FROM signal")]
        for number in numbers:
            for begin, end in self._unsummed(number):
                self._sum_up(number, begin, end)
        self._sum_up_late()
        newest = self._newest(numbers)
        if newest is not None:
            for number in numbers:
                self._forget_readings(number, newest)
            self._forget_records(newest - self._keeping.records)
            given_up = self._waiting.give_up(newest - self._raw)
            if given_up:
                LOG.error(
                    "%d lines have waited for the historian for %.0f days: given up; millpond"
                    " backfill sends what is kept of that time",
                    given_up,
                    self._raw / DAY,
                )
        self._database.transact(thin_history)

    def _newest(self, numbers: Sequence[int]) -> Instant | None:
        """Time of the newest reading of any signal."""
        found = [
            row[0]
            for number in numbers
            if (row := self._database.row(_NEWEST, number)) and row[0] is not None
        ]
        return max(found, default=None)

    def _unsummed(self, number: int) -> Iterator[tuple[Instant, Instant]]:
        """Stretches of a signal that have settled and are not summed up yet."""
        newest, oldest = (self._database.row(q, number) for q in (_NEWEST, _OLDEST))
        if newest is None or newest[0] is None or oldest is None:
            return
        known = self._database.row("SELECT until FROM summed WHERE signal = ?", number)
        until = (newest[0] - SETTLED_AFTER) // HOUR * HOUR
        begin = known[0] if known else oldest[0] // HOUR * HOUR
        while begin < until:
            following = self._database.row(
                "SELECT min(at) FROM reading WHERE signal = ? AND at >= ?", number, begin
            )
            if following and following[0] is not None:  # over a gap in one step
                begin = max(begin, following[0] // HOUR * HOUR)
            end = min(until, begin + STRETCH)
            if begin < end:
                yield begin, end
            begin = end

    def _sum_up(self, number: int, begin: Instant, end: Instant) -> None:
        """Write minutes and hours of a stretch of whole hours, in place of what was there."""

        def write(connection: sqlite3.Connection) -> None:
            given = {"signal": number, "begin": begin, "end": end}
            connection.execute(_MINUTES, given)
            connection.execute(_HOURS, given)
            connection.execute(
                """INSERT INTO summed VALUES (:signal, :end)
                ON CONFLICT DO UPDATE SET until = max(until, :end)""",
                given,
            )

        self._database.transact(write)

    def _sum_up_late(self) -> None:
        """Sum up again the hours in which something came in late."""
        for number, hour in self._database.rows("SELECT signal, hour FROM unsummed"):
            self._sum_up(number, hour * HOUR, (hour + 1) * HOUR)
            self._execute("DELETE FROM unsummed WHERE signal = ? AND hour = ?", number, hour)

    def _forget_readings(self, number: int, newest: Instant) -> None:
        """Forget a signal's old readings, as far as they are summed up, minutes and hours."""
        row = self._database.row("SELECT until FROM summed WHERE signal = ?", number)
        if row is None:
            return
        limits = {
            "reading": min(row[0], newest - self._raw),
            "reading_minute": newest - self._keeping.minutes,
            "reading_hour": newest - self._keeping.hours,
        }
        for table, limit in limits.items():
            statement = f"""DELETE FROM {table} WHERE signal = ? AND at < (SELECT max(at) FROM (
                SELECT at FROM {table} WHERE signal = ? AND at < ? ORDER BY at LIMIT ?)) + 1"""  # noqa: S608  names of our own
            while self._execute(statement, number, number, limit, ROWS_AT_ONCE):
                pass

    def _forget_records(self, before: Instant) -> None:
        """Forget what was said and told before a moment."""
        for table in ("entry", "event", "stock"):
            self._execute(f"DELETE FROM {table} WHERE at < ?", before)  # noqa: S608  as above

    def _execute(self, statement: str, *values: object) -> int:
        """Run one statement in a transaction of its own; how many rows it changed."""
        changed = 0

        def write(connection: sqlite3.Connection) -> None:
            nonlocal changed
            changed = connection.execute(statement, values).rowcount

        self._database.transact(write)
        return changed


_NEWEST = "SELECT max(at) FROM reading WHERE signal = ?"
_OLDEST = "SELECT min(at) FROM reading WHERE signal = ?"
_MINUTES = f"""INSERT OR REPLACE INTO reading_minute
    SELECT signal, at / {MINUTE} * {MINUTE} AS begin, count(*), min(value), max(value), avg(value)
    FROM reading WHERE signal = :signal AND at >= :begin AND at < :end AND used
    GROUP BY begin"""  # noqa: S608  numbers of our own
_HOURS = f"""INSERT OR REPLACE INTO reading_hour
    SELECT signal, at / {HOUR} * {HOUR} AS begin, sum(count), min(low), max(high),
        sum(mean * count) / sum(count)
    FROM reading_minute WHERE signal = :signal AND at >= :begin AND at < :end
    GROUP BY begin"""  # noqa: S608  as above
