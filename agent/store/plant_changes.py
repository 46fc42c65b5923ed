"""What the plant file said before and says now: each change of it, kept for five years."""

import json
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from advisor.words import DAY, Instant
from agent.store.database import Database

KEPT: Instant = 5 * 366 * DAY
"""How long a change is kept. [ms]"""

MIGRATION: tuple[str, ...] = (
    """CREATE TABLE plant_change (
        number INTEGER PRIMARY KEY, at INTEGER NOT NULL, by TEXT NOT NULL, version TEXT NOT NULL,
        what TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE plant_form (
        one INTEGER PRIMARY KEY CHECK (one = 1), body TEXT NOT NULL
    ) STRICT""",
)


@dataclass(frozen=True, slots=True)
class PlantChange:
    """One change."""

    at: Instant
    """When the agent took it up, by the machine's clock. [ms]"""
    by: str
    """Whose the file was then."""
    version: str
    """Of millpond."""
    what: tuple[str, ...]
    """Each key that changed, with what it said and says."""


class PlantChanges:
    """Reads and writes them; any thread may use it, as its database allows.

    Parameters
    ----------
    database : Database
        Where the tables are.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    def form(self) -> dict[str, str] | None:
        """Every key of the plant file that was last taken up; `None`: of none yet."""
        row = self._database.row("SELECT body FROM plant_form")
        return None if row is None else dict(json.loads(row[0]))

    def note(self, change: PlantChange, form: Mapping[str, str]) -> None:
        """Keep a change, and what the file says from now on."""
        body = json.dumps(dict(form), ensure_ascii=False)

        def write(connection: sqlite3.Connection) -> None:
            connection.execute(
                "INSERT INTO plant_change (at, by, version, what) VALUES (?, ?, ?, ?)",
                (change.at, change.by, change.version, "\n".join(change.what)),
            )
            connection.execute("INSERT OR REPLACE INTO plant_form VALUES (1, ?)", (body,))
            connection.execute("DELETE FROM plant_change WHERE at < ?", (change.at - KEPT,))

        self._database.transact(write)

    def between(self, begin: Instant, end: Instant) -> Sequence[PlantChange]:
        """Changes from `begin` up to `end`, oldest first. [ms]"""
        return [
            PlantChange(at, by, version, tuple(what.split("\n")))
            for at, by, version, what in self._database.rows(
                """SELECT at, by, version, what FROM plant_change WHERE at BETWEEN ? AND ?
                ORDER BY number""",
                begin,
                end,
            )
        ]
