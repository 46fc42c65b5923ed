"""The journal of alarms: every change of an alarm that people saw, kept for five years."""

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass

from advisor.effects import AlarmState
from advisor.words import DAY, Instant, Priority, Signal
from agent.store.database import Database, Row

KEPT: Instant = 5 * 366 * DAY
"""How long a change is kept. [ms]"""

MIGRATION: tuple[str, ...] = (
    """CREATE TABLE alarm_change (
        number INTEGER PRIMARY KEY, at INTEGER NOT NULL, about TEXT NOT NULL, name TEXT NOT NULL,
        signal TEXT, was TEXT NOT NULL, state TEXT NOT NULL, priority TEXT NOT NULL, by TEXT,
        value REAL, "limit" REAL, unit TEXT NOT NULL, raised_at INTEGER, because_of TEXT,
        until INTEGER
    ) STRICT""",
    "CREATE INDEX alarm_change_by_time ON alarm_change (at)",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmChange:
    """One line of the journal. Times in ms."""

    at: Instant
    """By the clock."""
    about: str
    """Sump, supply or the whole plant, as `agent.messages.names` writes them."""
    name: str
    signal: Signal | None
    was: AlarmState
    state: AlarmState
    """The same as `was` where something else changed, such as who has acknowledged it."""
    priority: Priority
    by: str | None
    """Who ordered it, where somebody did."""
    value: float | None
    limit: float | None
    unit: str
    raised_at: Instant | None
    because_of: str | None
    until: Instant | None


def write_changes(connection: sqlite3.Connection, changes: Sequence[AlarmChange]) -> None:
    """Write changes in their order, and forget those that are older than `KEPT`."""
    if not changes:
        return
    connection.executemany(
        """INSERT INTO alarm_change (at, about, name, signal, was, state, priority, by, value,
        "limit", unit, raised_at, because_of, until)
        VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)""",
        [
            (
                *(c.at, c.about, c.name, c.signal, c.was, c.state, c.priority, c.by, c.value),
                *(c.limit, c.unit, c.raised_at, c.because_of, c.until),
            )
            for c in changes
        ],
    )
    connection.execute("DELETE FROM alarm_change WHERE at < ?", (changes[-1].at - KEPT,))


def read_changes(
    database: Database, begin: Instant, end: Instant, about: str | None = None
) -> list[AlarmChange]:
    """Changes from `begin` up to `end`, oldest first; of one sump, supply or the plant alone.

    Parameters
    ----------
    database : Database
        Where the table is.
    begin, end : Instant
        By the clock. [ms]
    about : str, optional
        What they are to be about; `None`: anything.
    """
    rows = database.rows(
        """SELECT at, about, name, signal, was, state, priority, by, value, "limit", unit,
        raised_at, because_of, until FROM alarm_change
        WHERE at BETWEEN ?1 AND ?2 AND (?3 IS NULL OR about = ?3) ORDER BY number""",
        begin,
        end,
        about,
    )
    return [_change(row) for row in rows]


def _change(row: Row) -> AlarmChange:
    """Line of the journal from its columns."""
    at, about, name, signal, was, state, priority, by, value, limit, unit, *rest = row
    raised_at, because_of, until = rest
    return AlarmChange(
        at=at,
        about=about,
        name=name,
        signal=None if signal is None else Signal(signal),
        was=AlarmState(was),
        state=AlarmState(state),
        priority=priority,
        by=by,
        value=value,
        limit=limit,
        unit=unit,
        raised_at=raised_at,
        because_of=because_of,
        until=until,
    )
