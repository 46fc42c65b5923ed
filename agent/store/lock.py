"""One process for one store: a lock beside the file, gone with the process that holds it."""

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from agent.errors import StoreError


@contextmanager
def held_alone(path: Path) -> Iterator[None]:
    """Hold the store at `path` while the context lasts.

    Raises
    ------
    StoreError
        If another process holds it, or its folder cannot be written.
    """
    beside = path.with_name(path.name + ".lock")
    try:
        file = beside.open("ab")
    except OSError as error:
        raise StoreError(
            path,
            error.strerror or str(error),
            "is its folder there, and may this user write in it?",
        ) from error
    with file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise StoreError(
                path, "another process uses it", "is millpond running for this plant already?"
            ) from error
        yield
