"""Messages that wait to be told outside the broker, and how each target takes them.

Bounded: of each target the newest are kept, so that one that is gone for good costs nothing.
"""

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass

from advisor.words import Instant, Priority
from agent.store.database import Database

KEPT = 100
"""Messages that wait for a target at most; of more the oldest are given up, and counted. [1]"""

MIGRATION: tuple[str, ...] = (
    """CREATE TABLE notice (
        number INTEGER PRIMARY KEY AUTOINCREMENT, target TEXT NOT NULL, at INTEGER NOT NULL,
        priority TEXT NOT NULL, title TEXT NOT NULL, body TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE notice_target (
        target TEXT PRIMARY KEY, sent INTEGER NOT NULL DEFAULT 0,
        given_up INTEGER NOT NULL DEFAULT 0, attempts INTEGER NOT NULL DEFAULT 0,
        failing_since INTEGER, words TEXT NOT NULL DEFAULT ''
    ) STRICT""",
)


@dataclass(frozen=True, slots=True)
class Notice:
    """One message for one target."""

    target: str
    at: Instant
    """When it was decided, by the clock. [ms]"""
    priority: Priority
    title: str
    body: str


@dataclass(frozen=True, slots=True)
class TargetState:
    """How a target takes what it is told."""

    target: str
    waiting: int
    """Messages that wait. [1]"""
    sent: int
    """Messages it has taken. [1]"""
    given_up: int
    """Messages that it was away for too long for. [1]"""
    attempts: int
    """Failed ones in a row. [1]"""
    failing_since: Instant | None
    """By the machine's clock. [ms]"""
    words: str
    """What was said to the last failed one."""


def write_notices(connection: sqlite3.Connection, notices: Sequence[Notice]) -> None:
    """Write messages behind those that wait, and give up the oldest of too many."""
    for notice in notices:
        connection.execute(
            "INSERT INTO notice (target, at, priority, title, body) VALUES (?, ?, ?, ?, ?)",
            (notice.target, notice.at, notice.priority, notice.title, notice.body),
        )
        connection.execute(
            "INSERT OR IGNORE INTO notice_target (target) VALUES (?)", (notice.target,)
        )
        given_up = connection.execute(
            """DELETE FROM notice WHERE target = ? AND number <= (
                SELECT number FROM notice WHERE target = ?
                ORDER BY number DESC LIMIT 1 OFFSET ?)""",
            (notice.target, notice.target, KEPT),
        ).rowcount
        connection.execute(
            "UPDATE notice_target SET given_up = given_up + ? WHERE target = ?",
            (given_up, notice.target),
        )


class Notices:
    """Reads and settles what waits; any thread may use it, as its database allows.

    Parameters
    ----------
    database : Database
        Where the tables are.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    def waiting(self, target: str) -> list[tuple[int, Notice]]:
        """What waits for a target, oldest first, each with its number."""
        return [
            (number, Notice(target, at, priority, title, body))
            for number, at, priority, title, body in self._database.rows(
                """SELECT number, at, priority, title, body FROM notice WHERE target = ?
                ORDER BY number""",
                target,
            )
        ]

    def settle(self, target: str, number: int) -> None:
        """Forget messages up to this number: the target has them."""

        def write(connection: sqlite3.Connection) -> None:
            gone = connection.execute(
                "DELETE FROM notice WHERE target = ? AND number <= ?", (target, number)
            ).rowcount
            connection.execute(
                """UPDATE notice_target SET sent = sent + ?, attempts = 0, failing_since = NULL,
                words = '' WHERE target = ?""",
                (gone, target),
            )

        self._database.transact(write)

    def failed(self, target: str, at: Instant, words: str) -> int:
        """Note a failed attempt at a moment of the machine's clock [ms]; how many in a row now."""

        def write(connection: sqlite3.Connection) -> None:
            connection.execute(
                """UPDATE notice_target SET attempts = attempts + 1, words = ?,
                failing_since = coalesce(failing_since, ?) WHERE target = ?""",
                (words, at, target),
            )

        self._database.transact(write)
        row = self._database.row("SELECT attempts FROM notice_target WHERE target = ?", target)
        return 0 if row is None else int(row[0])

    def states(self) -> list[TargetState]:
        """How each target that was ever told something takes it, in the order of their names."""
        return [
            TargetState(*row)
            for row in self._database.rows(
                """SELECT target, (SELECT count(*) FROM notice AS n WHERE n.target = t.target),
                sent, given_up, attempts, failing_since, words FROM notice_target AS t
                ORDER BY target"""
            )
        ]
