"""Connections to one SQLite file: transactions, queries, and patience with a file that is away."""

import sqlite3
import threading
import weakref
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, TypeAlias, TypeVar

from agent.errors import StoreError, StoreUnavailable
from agent.store.patience import Patience

Result = TypeVar("Result")
Row: TypeAlias = tuple[Any, ...]

IN_MEMORY = Path(":memory:")
"""What errors name in place of a file."""

BUSY_TIMEOUT_S = 1.0
PASSING = {
    sqlite3.SQLITE_BUSY,
    sqlite3.SQLITE_LOCKED,
    sqlite3.SQLITE_FULL,
    sqlite3.SQLITE_IOERR,
    sqlite3.SQLITE_CANTOPEN,
    sqlite3.SQLITE_READONLY,
    sqlite3.SQLITE_NOMEM,
}
"""Primary result codes of states that pass, or that somebody can mend while the agent waits."""

HINTS = {
    sqlite3.SQLITE_BUSY: "another program holds it",
    sqlite3.SQLITE_LOCKED: "another program holds it",
    sqlite3.SQLITE_FULL: "the disk is full: free some space",
    sqlite3.SQLITE_IOERR: "the disk does not answer",
    sqlite3.SQLITE_CANTOPEN: "is its folder there, and may this user write in it?",
    sqlite3.SQLITE_READONLY: "this user may not write it",
    sqlite3.SQLITE_NOTADB: "this is no store; was the path meant?",
    sqlite3.SQLITE_CORRUPT: "the file is damaged; put a copy in its place",
}


def story(path: Path | None, error: sqlite3.Error) -> StoreError:
    """Say what SQLite's error means for a person, and whether waiting helps."""
    code = getattr(error, "sqlite_errorcode", None)
    primary = 0 if code is None else code & 0xFF
    kind = StoreUnavailable if primary in PASSING else StoreError
    return kind(path or IN_MEMORY, str(error), HINTS.get(primary, ""))


class Database:
    """One file, any number of threads: one connection writes, each thread reads by its own.

    In memory there is one connection, for the thread that made it.

    Parameters
    ----------
    path : Path, optional
        The file; `None`: in memory.
    """

    def __init__(self, path: Path | None) -> None:
        self.path = path
        self.patience: Patience | None = None
        """Waits while the store is unavailable; `None`: `StoreUnavailable` is raised at once."""
        self._lock = threading.RLock()
        self._local = threading.local()
        self._connections: list[sqlite3.Connection] = []
        # Python from 3.13 on complains of connections that nobody closed before they are forgotten.
        weakref.finalize(self, _close, self._connections).atexit = False
        self.writer = self._connect()

    def rows(self, query: str, *values: object) -> list[Row]:
        """All rows of a query, whose places are `?`, or `?1`, `?2` and so on.

        Numbered places are names to Python's module, which takes no sequence for them from 3.14 on.
        """
        numbered = {str(number): value for number, value in enumerate(values, start=1)}
        given = numbered if "?1" in query else values
        return self._patiently(lambda: self._reader().execute(query, given).fetchall())

    def row(self, query: str, *values: object) -> Row | None:
        """First row of a query, if there is one."""
        rows = self.rows(query, *values)
        return rows[0] if rows else None

    def transact(self, write: Callable[[sqlite3.Connection], None]) -> None:
        """Run `write` in one transaction: all of it is on disk afterwards, or none."""

        def attempt() -> None:
            self.writer.execute("BEGIN IMMEDIATE")
            try:
                write(self.writer)
                self.writer.execute("COMMIT")
            except BaseException:
                if self.writer.in_transaction:
                    self.writer.execute("ROLLBACK")
                raise

        with self._lock:
            self._patiently(attempt)

    def suppose(
        self,
        write: Callable[[sqlite3.Connection], None],
        read: Callable[[sqlite3.Connection], Result],
    ) -> Result:
        """What `read` finds if `write` had been done; nothing of it stays."""

        def attempt() -> Result:
            self.writer.execute("BEGIN IMMEDIATE")
            try:
                write(self.writer)
                return read(self.writer)
            finally:
                if self.writer.in_transaction:
                    self.writer.execute("ROLLBACK")

        with self._lock:
            return self._patiently(attempt)

    def close(self) -> None:
        """Close every connection."""
        with self._lock:
            _close(self._connections)

    def _connect(self) -> sqlite3.Connection:
        """Open a connection; on disk with a write-ahead log that is synced at each commit."""
        if self.path is None:
            connection = sqlite3.connect(":memory:", isolation_level=None)
        else:
            connection = sqlite3.connect(
                self.path, timeout=BUSY_TIMEOUT_S, isolation_level=None, check_same_thread=False
            )
        with self._lock:
            self._connections.append(connection)
        if self.path is not None:
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
        return connection

    def _reader(self) -> sqlite3.Connection:
        """Give this thread its connection for reading."""
        if self.path is None:
            return self.writer
        connection: sqlite3.Connection | None = getattr(self._local, "connection", None)
        if connection is None:
            connection = self._local.connection = self._connect()
        return connection

    def _patiently(self, action: Callable[[], Result]) -> Result:
        """Do it, its errors told as ours; while the file is away, again if there is patience."""

        def attempt() -> Result:
            try:
                return action()
            except sqlite3.DatabaseError as error:
                raise story(self.path, error) from error

        return attempt() if self.patience is None else self.patience.insist(attempt)


def _close(connections: list[sqlite3.Connection]) -> None:
    """Close connections; one in memory only the thread that made it may close."""
    for connection in connections:
        with suppress(sqlite3.ProgrammingError):
            connection.close()
    connections.clear()
