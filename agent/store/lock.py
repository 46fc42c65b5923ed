"""One process for one store: a lock beside the file, gone with the process that holds it."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from agent.errors import StoreError

if sys.platform == "win32":
    import msvcrt

    def lock(file: BinaryIO, *, shared: bool = False) -> None:
        """Lock an open file for this process, or together with others that only look.

        Raises
        ------
        OSError
            If another process has it.
        """
        del shared  # there is no such thing here
        file.seek(0)
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def lock(file: BinaryIO, *, shared: bool = False) -> None:
        """Lock an open file for this process, or together with others that only look.

        Raises
        ------
        OSError
            If another process has it.
        """
        fcntl.flock(file, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)


def beside(path: Path) -> Path:
    """Where the lock of the store at `path` is."""
    return path.with_name(path.name + ".lock")


@contextmanager
def held_alone(path: Path) -> Iterator[None]:
    """Hold the store at `path` while the context lasts.

    Raises
    ------
    StoreError
        If another process holds it, or its folder cannot be written.
    """
    try:
        file = beside(path).open("ab")
    except OSError as error:
        raise StoreError(
            path,
            error.strerror or str(error),
            "is its folder there, and may this user write in it?",
        ) from error
    with file:
        try:
            lock(file)
        except OSError as error:
            raise StoreError(
                path, "another process uses it", "is millpond running for this plant already?"
            ) from error
        yield
