"""A store of a running agent, or of one that does not run, opened to look and not to write."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from agent.errors import StoreError
from agent.store.database import Database, story
from agent.store.migrations import APPLICATION_ID, MIGRATIONS


@contextmanager
def looking_into(path: Path) -> Iterator[Database]:
    """Give the store at `path` while the context lasts; nothing is made or migrated.

    Raises
    ------
    StoreError
        If there is none, it is damaged, or of another version than this millpond's.
    """
    if not path.exists():
        raise StoreError(path, "there is no store", "has the agent of this plant run yet?")
    try:
        database = Database(path)
    except sqlite3.DatabaseError as error:
        raise story(path, error) from error
    try:
        version = _version(database, path)
        if version != len(MIGRATIONS):
            raise StoreError(
                path,
                f"its tables have version {version}, this millpond's {len(MIGRATIONS)}",
                "start the agent of this version once",
            )
        yield database
    finally:
        database.close()


def _version(database: Database, path: Path) -> int:
    """Version of the tables; 0 of an empty file."""
    try:
        version = int(database.writer.execute("PRAGMA user_version").fetchone()[0])
        owner = int(database.writer.execute("PRAGMA application_id").fetchone()[0])
    except sqlite3.DatabaseError as error:
        raise story(path, error) from error
    if version and owner != APPLICATION_ID:
        raise StoreError(path, "this is some other program's database")
    return version
