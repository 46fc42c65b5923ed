"""Lists that are being worked through, kept on disk: a restart takes nobody's ticks away.

They stand in a small file beside the store, written whole at each tick. Nothing rests on it but
the lists themselves: what was ticked has been reported.
"""

import logging
import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from advisor.words import DAY, HOUR, Instant
from agent.page.charging import Work
from agent.page.pours import Pour

LOG = logging.getLogger("millpond.page")

POUR_FORGOTTEN: Instant = 2 * HOUR
"""A top-up's list on which nothing was ticked for so long is put away."""
WORK_FORGOTTEN: Instant = 7 * DAY
"""So is a charge's."""
SCHEMA = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Lists:
    """All that is being worked through, by sump."""

    schema: int = SCHEMA
    pours: Mapping[str, Pour] = field(default_factory=dict)
    works: Mapping[str, Work] = field(default_factory=dict)


@cache
def _codec() -> TypeAdapter[Lists]:
    """Lists to JSON and back."""
    return TypeAdapter(Lists)


class Pours:
    """Lists of top-ups and of charges, one of each a sump at most; any thread may use it.

    Parameters
    ----------
    path : Path, optional
        The file; `None`: they end with the process.
    """

    def __init__(self, path: Path | None = None) -> None:
        self._path = path
        self._lock = threading.Lock()
        lists = _read(path)
        self._pours = dict(lists.pours)
        self._works = dict(lists.works)

    def get(self, sump: str, now: Instant) -> Pour | None:
        """List of a sump's top-up, unless it was put away or forgotten. [ms]"""
        with self._lock:
            pour = self._pours.get(sump)
            if pour is not None and now - pour.touched > POUR_FORGOTTEN:
                del self._pours[sump]
                self._write()
                return None
            return pour

    def put(self, sump: str, pour: Pour) -> None:
        """Keep a list."""
        with self._lock:
            self._pours[sump] = pour
            self._write()

    def drop(self, sump: str) -> None:
        """Put a list away."""
        with self._lock:
            if self._pours.pop(sump, None) is not None:
                self._write()

    def work(self, sump: str, now: Instant) -> Work | None:
        """Charge of a sump that was begun, unless it was put away or forgotten. [ms]"""
        with self._lock:
            work = self._works.get(sump)
            if work is not None and now - work.touched > WORK_FORGOTTEN:
                return None
            return work

    def keep_work(self, sump: str, work: Work) -> None:
        """Keep a charge."""
        with self._lock:
            self._works[sump] = work
            self._write()

    def drop_work(self, sump: str) -> None:
        """Put a charge away."""
        with self._lock:
            if self._works.pop(sump, None) is not None:
                self._write()

    def _write(self) -> None:
        """Put all lists on disk; while that cannot be, they last as long as the process."""
        if self._path is None:
            return
        partial = self._path.with_name(self._path.name + ".partial")
        try:
            partial.write_bytes(_codec().dump_json(Lists(pours=self._pours, works=self._works)))
            partial.replace(self._path)
        except OSError as error:
            LOG.warning("%s: what is being worked through cannot be kept: %s", self._path, error)


def _read(path: Path | None) -> Lists:
    """Lists that an earlier run left; none where there are none that this version understands."""
    if path is None:
        return Lists()
    try:
        lists = _codec().validate_json(path.read_bytes())
    except FileNotFoundError:
        return Lists()
    except (OSError, ValidationError) as error:
        LOG.warning("%s: lists begin anew, this cannot be read: %s", path, error)
        return Lists()
    return lists if lists.schema == SCHEMA else Lists()
