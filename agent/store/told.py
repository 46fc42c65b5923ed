"""What the agent last told: retained messages as they stand, and the events, for whoever looks.

The outbox forgets a message once the broker has it; the page and a restart want to know what
stands.
"""

import sqlite3
from collections.abc import Mapping, Sequence

from advisor.words import Estimate, Instant, SumpEvent
from agent.store.database import Database

MIGRATION: tuple[str, ...] = (
    "CREATE TABLE retained (topic TEXT PRIMARY KEY, payload BLOB NOT NULL) STRICT, WITHOUT ROWID",
    """CREATE TABLE event (
        sump TEXT NOT NULL, id TEXT NOT NULL, at INTEGER NOT NULL, kind TEXT NOT NULL,
        source TEXT NOT NULL, volume REAL, volume_sd REAL, strength REAL, strength_sd REAL,
        PRIMARY KEY (sump, id)
    ) STRICT, WITHOUT ROWID""",
    "CREATE INDEX event_by_time ON event (sump, at)",
)


def write_retained(connection: sqlite3.Connection, newest: Mapping[str, bytes]) -> None:
    """Keep what stands on each topic; an empty payload takes it back."""
    connection.executemany(
        "INSERT OR REPLACE INTO retained VALUES (?, ?)",
        [(topic, payload) for topic, payload in newest.items() if payload],
    )
    connection.executemany(
        "DELETE FROM retained WHERE topic = ?",
        [(topic,) for topic, payload in newest.items() if not payload],
    )


def write_events(connection: sqlite3.Connection, events: Sequence[tuple[str, SumpEvent]]) -> None:
    """Keep the last account of each event."""
    connection.executemany(
        "INSERT OR REPLACE INTO event VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            (sump, e.id, e.at, e.kind, e.source, *_pair(e.volume), *_pair(e.strength))
            for sump, e in events
        ],
    )


def _pair(estimate: Estimate | None) -> tuple[float | None, float | None]:
    """Value and sd. [L], [1]"""
    return (None, None) if estimate is None else (estimate.value, estimate.sd)


class Told:
    """Reads what was told; any thread may use it, as its database allows.

    Parameters
    ----------
    database : Database
        Where the tables are.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    def retained(self) -> list[tuple[str, bytes]]:
        """Topic and payload of every retained message that stands."""
        return self._database.rows("SELECT topic, payload FROM retained ORDER BY topic")

    def events(self, sump: str, begin: Instant, end: Instant) -> list[SumpEvent]:
        """Events that began from `begin` up to `end`, oldest first, without the withdrawn. [ms]"""
        return [
            SumpEvent(
                id=id_,
                at=at,
                kind=kind,
                source=source,
                volume=_estimate(volume, volume_sd),
                strength=_estimate(strength, strength_sd),
            )
            for id_, at, kind, source, volume, volume_sd, strength, strength_sd in (
                self._database.rows(
                    """SELECT id, at, kind, source, volume, volume_sd, strength, strength_sd
                    FROM event WHERE sump = ? AND at BETWEEN ? AND ? AND kind != 'withdrawn'
                    ORDER BY at, id""",
                    sump,
                    begin,
                    end,
                )
            )
        ]


def _estimate(value: float | None, sd: float | None) -> Estimate | None:
    """Estimate of two columns."""
    return None if value is None or sd is None else Estimate(value, sd)
