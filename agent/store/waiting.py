"""Lines that wait for the historian, in the store."""

import sqlite3
from collections.abc import Sequence

from advisor.words import Instant
from agent.store.database import Database

REFUSED_KEPT = 10_000
"""Lines that the historian did not take are kept with its words, the newest so many. [1]"""

MIGRATION: tuple[str, ...] = (
    """CREATE TABLE historian (
        number INTEGER PRIMARY KEY AUTOINCREMENT, at INTEGER NOT NULL, count INTEGER NOT NULL,
        lines TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE historian_refused (
        number INTEGER PRIMARY KEY AUTOINCREMENT, line TEXT NOT NULL, words TEXT NOT NULL
    ) STRICT""",
)


def write_lines(connection: sqlite3.Connection, lines: Sequence[str], at: Instant) -> None:
    """Write lines, as one row, behind those that wait."""
    if lines:
        connection.execute(
            "INSERT INTO historian (at, count, lines) VALUES (?, ?, ?)",
            (at, len(lines), "\n".join(lines)),
        )


class Waiting:
    """Reads and settles what waits; any thread may use it, as its database allows.

    Parameters
    ----------
    database : Database
        Where the tables are.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    @property
    def count(self) -> int:
        """Lines that wait. [1]"""
        return int((self._database.row("SELECT sum(count) FROM historian") or (0,))[0] or 0)

    @property
    def since(self) -> Instant | None:
        """Stamp of the oldest line that waits. [ms]"""
        row = self._database.row("SELECT at FROM historian ORDER BY number LIMIT 1")
        return None if row is None else int(row[0])

    @property
    def refused(self) -> int:
        """Lines that were put aside. [1]"""
        return int((self._database.row("SELECT count(*) FROM historian_refused") or (0,))[0])

    def oldest(self, limit: int) -> tuple[int, list[str]]:
        """The oldest lines, whole transactions up to about `limit`, and their last number."""
        number = total = 0
        for found, count in self._database.rows(
            "SELECT number, count FROM historian ORDER BY number LIMIT ?", limit
        ):
            if total and total + count > limit:
                break
            number, total = found, total + count
        texts = self._database.rows(
            "SELECT lines FROM historian WHERE number <= ? ORDER BY number", number
        )
        return number, [line for (text,) in texts for line in text.split("\n")]

    def give_up(self, before: Instant) -> int:
        """Forget lines that have waited since before a moment; how many. [ms]"""
        given_up = 0

        def write(connection: sqlite3.Connection) -> None:
            nonlocal given_up
            row = connection.execute("SELECT sum(count) FROM historian WHERE at < ?", (before,))
            given_up = row.fetchone()[0] or 0
            connection.execute("DELETE FROM historian WHERE at < ?", (before,))

        self._database.transact(write)
        return given_up

    def settle(self, number: int, refused: Sequence[tuple[str, str]]) -> None:
        """Move on behind a number: what was sent is forgotten, what was refused put aside."""

        def write(connection: sqlite3.Connection) -> None:
            connection.executemany(
                "INSERT INTO historian_refused (line, words) VALUES (?, ?)", refused
            )
            connection.execute(
                """DELETE FROM historian_refused
                WHERE number <= (SELECT max(number) FROM historian_refused) - ?""",
                (REFUSED_KEPT,),
            )
            connection.execute("DELETE FROM historian WHERE number <= ?", (number,))

        self._database.transact(write)
