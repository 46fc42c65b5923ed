"""The store's tables, version by version, and how an older file becomes a newer one."""

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from agent.errors import StoreError
from agent.store.changes import MIGRATION as CHANGES
from agent.store.history import MIGRATION as HISTORY
from agent.store.keeping import MIGRATION as KEEPING
from agent.store.notices import MIGRATION as NOTICES
from agent.store.plant_changes import MIGRATION as PLANT_CHANGES
from agent.store.told import MIGRATION as TOLD
from agent.store.waiting import MIGRATION as WAITING

APPLICATION_ID = 0x6D706E64
"""`mpnd`: marks a file as a store of ours."""

MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        """CREATE TABLE signal (
            id INTEGER PRIMARY KEY, sump TEXT NOT NULL, name TEXT NOT NULL, UNIQUE (sump, name)
        ) STRICT""",
        """CREATE TABLE reading (
            signal INTEGER NOT NULL, at INTEGER NOT NULL, value REAL NOT NULL,
            used INTEGER NOT NULL, PRIMARY KEY (signal, at)
        ) STRICT, WITHOUT ROWID""",
        """CREATE TABLE entry (
            number INTEGER PRIMARY KEY, sump TEXT NOT NULL, id TEXT NOT NULL, at INTEGER NOT NULL,
            received INTEGER NOT NULL, kind TEXT NOT NULL, replaces TEXT, body TEXT NOT NULL,
            UNIQUE (sump, id)
        ) STRICT""",
        "CREATE INDEX entry_by_time ON entry (sump, at)",
        "CREATE INDEX entry_by_correction ON entry (sump, replaces) WHERE replaces IS NOT NULL",
        """CREATE TABLE refusal (
            number INTEGER PRIMARY KEY AUTOINCREMENT, at INTEGER NOT NULL, sump TEXT,
            topic TEXT NOT NULL, reason TEXT NOT NULL, detail TEXT NOT NULL, excerpt TEXT NOT NULL
        ) STRICT""",
        "CREATE TABLE refusal_count (reason TEXT PRIMARY KEY, count INTEGER NOT NULL) STRICT",
        """CREATE TABLE checkpoint (
            sump TEXT NOT NULL, at INTEGER NOT NULL, schema INTEGER NOT NULL, body BLOB NOT NULL,
            UNIQUE (sump, at)
        ) STRICT""",
        """CREATE TABLE standing (
            sump TEXT PRIMARY KEY, schema INTEGER NOT NULL, body BLOB NOT NULL
        ) STRICT""",
        """CREATE TABLE outbox (
            number INTEGER PRIMARY KEY AUTOINCREMENT, topic TEXT NOT NULL, payload BLOB NOT NULL,
            retain INTEGER NOT NULL
        ) STRICT""",
        """CREATE TABLE stock (
            supply TEXT NOT NULL, id TEXT NOT NULL, at INTEGER NOT NULL, volume REAL NOT NULL,
            lot TEXT NOT NULL, expires INTEGER, by TEXT NOT NULL, UNIQUE (supply, id)
        ) STRICT""",
        "CREATE TABLE subscription (filter TEXT PRIMARY KEY) STRICT",
        "CREATE TABLE clock (one INTEGER PRIMARY KEY CHECK (one = 1), at INTEGER NOT NULL) STRICT",
    ),
    (*HISTORY, *TOLD),
    (
        "ALTER TABLE entry ADD COLUMN used INTEGER NOT NULL DEFAULT 1",
        "CREATE TABLE delivery (count INTEGER PRIMARY KEY, body BLOB NOT NULL) STRICT",
        *KEEPING,
        *WAITING,
        "ALTER TABLE outbox ADD COLUMN qos INTEGER NOT NULL DEFAULT 1",
    ),
    (*CHANGES, *NOTICES),
    PLANT_CHANGES,
)
"""Statements that lead from each version to the next; a published one is never changed."""


def migrate(
    connection: sqlite3.Connection,
    path: Path | None,
    migrations: Sequence[Sequence[str]] = MIGRATIONS,
) -> None:
    """Bring the tables to the newest version, one transaction a version.

    A file that holds an older version is copied first, to ``NAME.before-VERSION`` beside it.

    Raises
    ------
    StoreError
        If the file belongs to another program, or to a newer millpond.
    """
    version = _version(connection, path)
    if version > len(migrations):
        raise StoreError(
            path or Path(":memory:"),
            f"its tables have version {version}, this millpond knows {len(migrations)}",
            "a newer millpond wrote it; use that one",
        )
    if 0 < version < len(migrations) and path is not None:
        _back_up(connection, path.with_name(f"{path.name}.before-{version + 1}"))
    for number in range(version + 1, len(migrations) + 1):
        _apply(connection, migrations[number - 1], number)


def _version(connection: sqlite3.Connection, path: Path | None) -> int:
    """Version of the tables that the file holds; 0 where it is empty."""
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    owner = int(connection.execute("PRAGMA application_id").fetchone()[0])
    tables = int(connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0])
    if owner != APPLICATION_ID and (version or tables):
        raise StoreError(path or Path(":memory:"), "this is some other program's database")
    return version


def _back_up(connection: sqlite3.Connection, copy: Path) -> None:
    """Copy the whole database to `copy`, under another name until it is complete."""
    partial = copy.with_name(copy.name + ".partial")
    partial.unlink(missing_ok=True)
    with closing(sqlite3.connect(partial)) as target:
        connection.backup(target)
    partial.replace(copy)


def _apply(connection: sqlite3.Connection, statements: Sequence[str], number: int) -> None:
    """Run one version's statements and write down its number, all or nothing."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        for statement in statements:
            connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {number}")
    except BaseException:
        connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")
