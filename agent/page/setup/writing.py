"""The plant file on disk: read, checked, written in one step, the former one and who did it kept.

Beside ``north.toml`` lie ``north.toml.before-TIME``, the file as it was before each of the last
changes, and ``north.toml.journal``, one JSON line a change: when, by whom, what, which lines.
"""

import json
import logging
import os
import sys
import threading
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from advisor.words import Instant
from agent.errors import MillpondError, PlantFileError, Problem
from agent.instants import text_of
from agent.page.setup.editing import Change, blocks, edited
from agent.plant.journal import digest_of, journal_of
from agent.plant.load import parse_plant
from agent.plant.plant import Plant

LOG = logging.getLogger("millpond.plant")

LARGEST = 8_000_000
COPIES = 20
"""So many former files are kept."""
JOURNAL_MAX = 4_000_000
"""A longer journal is put aside, as ``.journal.1``, and a new one begun. [bytes]"""
CONTEXT = 2
"""Lines shown around those that change."""
SHOWN = 400
"""Lines of a change that are shown or written down at most."""


class WritingError(MillpondError):
    """The plant file cannot be read or written; what stands there is as it was."""


@dataclass(frozen=True, slots=True)
class Draft:
    """A change that is not written yet."""

    base: str
    """Digest of the file that it was made from."""
    text: str
    """The whole file as it would be."""
    lines: tuple[tuple[str, str], ...]
    """What differs: sign (`` ``, ``-``, ``+``) and line."""
    problems: tuple[Problem, ...]
    """All that is wrong with it; nothing: it can be written."""
    plant: Plant | None
    """What it means, if it can be used."""


@dataclass(frozen=True, slots=True)
class Journaled:
    """One change as the journal tells it."""

    at: str
    by: str
    what: str
    lines: tuple[str, ...]


class PlantEditor:
    """Changes one plant file; any thread may use it, one writes at a time.

    Parameters
    ----------
    path : Path
        The file.
    """

    def __init__(self, path: Path) -> None:
        self.path = path.resolve()
        self._lock = threading.Lock()

    # --- reading ----------------------------------------------------------------------------------

    def text(self) -> str:
        """Content of the file.

        Raises
        ------
        WritingError
            If it cannot be read.
        """
        try:
            if self.path.stat().st_size > LARGEST:
                raise WritingError(f"{self.path.name} is larger than {LARGEST} bytes")
            return self.path.read_bytes().decode("utf-8-sig")
        except (OSError, UnicodeDecodeError) as error:
            raise WritingError(f"{self.path.name} cannot be read: {error}") from error

    def problems(self) -> tuple[Problem, ...]:
        """What is wrong with the file as it stands; it may have been changed by hand."""
        try:
            return self._checked(self.text())[0]
        except WritingError as error:
            return (Problem(line=None, key="", value=None, expected=str(error)),)

    def draft(self, *changes: Change) -> Draft:
        """The file with changes made, and all that would be wrong with it.

        Raises
        ------
        MillpondError
            If it cannot be read or edited.
        """
        before = self.text()
        after = before
        for change in changes:
            after = edited(after, change)
        problems, plant = self._checked(after)
        return Draft(digest(before), after, differing(before, after), problems, plant)

    def _checked(self, text: str) -> tuple[tuple[Problem, ...], Plant | None]:
        """All that is wrong with a text, or what it means."""
        try:
            return (), parse_plant(text, self.path)
        except PlantFileError as error:
            return error.problems, None

    # --- writing ----------------------------------------------------------------------------------

    def write(self, draft: Draft, *, by: str, what: str, now: Instant) -> None:
        """Put a draft in the file's place, all of it or nothing. [ms]

        Raises
        ------
        WritingError
            If it is not valid, the file has changed meanwhile, or it cannot be written.
        """
        if draft.problems:
            raise WritingError("the file as it would be is not valid; nothing was written")
        with self._lock:
            if digest(self.text()) != draft.base:
                raise WritingError("somebody has changed the file meanwhile; nothing was written")
            try:
                self._keep_former(now)
                self._replace(draft.text.encode())
                self._note(draft, by=by, what=what, now=now)
            except OSError as error:
                raise WritingError(
                    f"{self.path.name} cannot be written: {error.strerror or error}; the user that "
                    "runs millpond needs the right to write in its folder"
                ) from error
        LOG.info("%s changed on the page by %s: %s", self.path, by or "somebody", what)

    def _replace(self, content: bytes) -> None:
        """Write beside, then take the file's place; its rights stay as they were."""
        partial = self.path.with_name(f"{self.path.name}.partial")
        partial.unlink(missing_ok=True)
        handle = os.open(partial, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            found = self.path.stat()
            partial.chmod(found.st_mode & 0o7777)
            if sys.platform != "win32":
                with suppress(PermissionError):
                    os.chown(partial, found.st_uid, found.st_gid)
            partial.replace(self.path)
        except BaseException:
            partial.unlink(missing_ok=True)
            raise
        _sync(self.path.parent)

    def _keep_former(self, now: Instant) -> None:
        """Keep a copy of the file as it is; the oldest copies go."""
        stamp = text_of(now).replace(":", "").replace("-", "")
        copy = self.path.with_name(f"{self.path.name}.before-{stamp}")
        handle = os.open(copy, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(self.path.read_bytes())
            file.flush()
            os.fsync(file.fileno())
        for old in self.copies()[COPIES:]:
            old.unlink(missing_ok=True)

    def copies(self) -> list[Path]:
        """Former files, newest first."""
        return sorted(self.path.parent.glob(f"{self.path.name}.before-*"), reverse=True)

    # --- the journal ------------------------------------------------------------------------------

    @property
    def journal(self) -> Path:
        """Where it is written down who changed what."""
        return journal_of(self.path)

    def _note(self, draft: Draft, *, by: str, what: str, now: Instant) -> None:
        """Write a line of the journal."""
        if self.journal.exists() and self.journal.stat().st_size > JOURNAL_MAX:
            self.journal.replace(self.journal.with_name(f"{self.journal.name}.1"))
        changed = [sign + line for sign, line in draft.lines if sign != " "]
        told = {"at": text_of(now), "by": by, "what": what, "digest": digest(draft.text)}
        line = json.dumps({**told, "lines": changed}, ensure_ascii=False)
        handle = os.open(self.journal, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(line + "\n")
            file.flush()
            os.fsync(file.fileno())

    def history(self, limit: int) -> list[Journaled]:
        """Last changes, newest first; a line that cannot be read is passed over."""
        try:
            lines = self.journal.read_text("utf-8", errors="replace").splitlines()
        except OSError:
            return []
        found = (_journaled(line) for line in reversed(lines))
        return [each for each in found if each is not None][:limit]


def digest(text: str) -> str:
    """What a text is told by."""
    return digest_of(text.encode())


def differing(before: str, after: str) -> tuple[tuple[str, str], ...]:
    """Lines that differ, with a few around them; an ellipsis stands for what is left out."""
    found: list[tuple[str, str]] = []
    parts = blocks(before, after)
    for place, (sign, lines) in enumerate(parts):
        if sign != " ":
            found += [(sign, line) for line in lines]
            continue
        first, last = place == 0, place == len(parts) - 1
        found += _around(lines, head=0 if first else CONTEXT, tail=0 if last else CONTEXT)
    return tuple(found[:SHOWN])


def _around(lines: Sequence[str], *, head: int, tail: int) -> list[tuple[str, str]]:
    """Ends of lines that are the same in both."""
    if len(lines) <= head + tail + 1:
        shown = list(lines) if head and tail else [*lines[:head], *lines[len(lines) - tail :]]
        return [(" ", line) for line in shown]
    end = lines[len(lines) - tail :]
    return [(" ", line) for line in [*lines[:head], *(["…"] if head and tail else []), *end]]


def _journaled(line: str) -> Journaled | None:
    """One line of the journal."""
    try:
        found: Any = json.loads(line)
        return Journaled(
            str(found["at"]), str(found["by"]), str(found["what"]), tuple(map(str, found["lines"]))
        )
    except (ValueError, KeyError, TypeError):
        return None


def _sync(folder: Path) -> None:
    """Have the new name on disk too; Windows opens no folders."""
    if sys.platform == "win32":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
