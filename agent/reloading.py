"""The plant file while the agent runs: read again when it changes, or when somebody asks for it.

A file with mistakes is told with all of them and changes nothing. What cannot change while the
process runs (broker, prefix, store, historian) waits for the next start, and the log says so.
"""

import logging
from dataclasses import replace
from pathlib import Path

from agent.errors import MillpondError
from agent.plant.load import load_plant
from agent.plant.plant import Plant

LOG = logging.getLogger("millpond.plant")

AT_START_ONLY = (
    *("id", "prefix", "broker", "store", "keeping", "historian", "backlog_max_ms", "operation"),
)
"""Fields of a plant that are as they were at the start."""


class PlantFile:
    """Watches one file.

    Parameters
    ----------
    path : Path
        The file.
    plant : Plant
        What stood in it at the start.
    """

    def __init__(self, path: Path, plant: Plant) -> None:
        self._path = path
        self._plant = plant
        self._seen = self._stamp()
        self._pending: tuple[int, int, int] | None = None
        self._asked = False

    @property
    def path(self) -> Path:
        """The file."""
        return self._path

    def ask(self) -> None:
        """Have it read at the next look, changed or not; may be called from a signal."""
        self._asked = True

    def look(self) -> Plant | None:
        """Give the plant as it is now, where the file has changed and can be used.

        A change counts once the file has stood still between two looks: whoever writes it may not
        be done.
        """
        stamp = self._stamp()
        if not self._asked:
            if stamp is None or stamp == self._seen:
                self._pending = None
                return None
            if stamp != self._pending:
                self._pending = stamp
                return None
        self._asked, self._pending, self._seen = False, None, stamp
        return self._read()

    def _read(self) -> Plant | None:
        """Read the file; `None` where it cannot be used, or says what it said before."""
        try:
            found = load_plant(self._path)
        except MillpondError as error:
            why = str(error)
            LOG.error("%s cannot be used, what was read before stays:\n%s", self._path, why)  # noqa: TRY400  a person's mistake, no traceback
            return None
        kept = {name: getattr(self._plant, name) for name in AT_START_ONLY}
        waits = [name for name, value in kept.items() if getattr(found, name) != value]
        if waits:
            LOG.warning("%s: %s: from the next start on", self._path, ", ".join(sorted(waits)))
        plant = replace(found, **kept)
        if plant == self._plant:
            LOG.info("%s: nothing new", self._path)
            return None
        self._plant = plant
        return plant

    def _stamp(self) -> tuple[int, int, int] | None:
        """What tells a changed file; `None` while there is none."""
        try:
            found = self._path.stat()
        except OSError:
            return None
        return found.st_mtime_ns, found.st_size, found.st_ino
