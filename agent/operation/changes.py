"""Who changed what: each report, order and change of the plant file, as a line of the log.

The store keeps the same: reports and stock for ten years, orders on alarms and changes of the plant
file for five. `millpond changes` reads it there.
"""

import getpass
import logging
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from advisor.alarm_definitions import alarm_key
from advisor.words import Delivery, Entry, Instant
from agent.instants import text_of
from agent.logs import facts
from agent.plant.differences import differences, form_of
from agent.plant.journal import written_by
from agent.plant.plant import Plant
from agent.store.batch import Batch, entry_id
from agent.store.changes import AlarmChange, read_changes
from agent.store.database import Database
from agent.store.plant_changes import PlantChange, PlantChanges
from agent.store.rows import entry_from
from agent.version import VERSION

LOG = logging.getLogger("millpond.changes")

NOBODY = "somebody"
"""Who did not say who it was."""
STATION = "the station"


@dataclass(frozen=True, slots=True, order=True)
class Change:
    """Something that somebody changed."""

    at: Instant
    """When the agent took it in. [ms]"""
    by: str
    about: str
    """Sump, supply, or the plant file."""
    what: str


# --- as they happen -------------------------------------------------------------------------------


def log_batch(batch: Batch) -> None:
    """Tell of what a transaction took in from people and stations."""
    now = batch.clock or 0
    for stored in batch.entries:
        _log(_of_entry(stored.sump, stored.entry, stored.received))
    for stock in batch.stock:
        _log(_of_stock(stock.supply, stock.volume, stock.by, now))
    for change in batch.changes:
        if change.by:
            _log(_of_order(change))


def note_plant(kept: PlantChanges, plant: Plant, file: Path | None, now: Instant) -> None:
    """Tell and keep what the plant file says otherwise than it did last time.

    Parameters
    ----------
    kept : PlantChanges
        What it said before.
    plant : Plant
        What it says now.
    file : Path, optional
        The file, whose owner is named.
    now : Instant
        By the machine's clock. [ms]
    """
    form = form_of(plant)
    before = kept.form()
    what = differences(before, form) if before is not None else ("first taken up",)
    if not what:
        return
    change = PlantChange(now, _owner(file), VERSION, what)
    kept.note(change, form)
    for line in what:
        _log(Change(now, change.by, "plant file", line))


def _log(change: Change) -> None:
    """Write one line."""
    LOG.info(
        "%s: %s: %s",
        change.by,
        change.about,
        change.what,
        extra=facts(by=change.by, about=change.about, what=change.what),
    )


def _owner(file: Path | None) -> str:
    """Who wrote a file on the page, whose it is, or who runs this where nobody can tell."""
    known = "" if file is None else written_by(file)
    if known:
        return known
    try:
        if file is None or sys.platform == "win32":
            return getpass.getuser()
        return file.owner()
    except (OSError, KeyError, NotImplementedError):
        return NOBODY


# --- from the store -------------------------------------------------------------------------------


def changes_between(database: Database, begin: Instant, end: Instant) -> list[Change]:
    """Everything that people, stations and the plant file changed, oldest first. [ms]"""
    found = [
        _of_entry(sump, entry_from(kind, body), received)
        for sump, kind, body, received in database.rows(
            "SELECT sump, kind, body, received FROM entry WHERE received BETWEEN ? AND ?",
            begin,
            end,
        )
    ]
    found += [
        _of_stock(supply, volume, by, at)
        for supply, volume, by, at in database.rows(
            "SELECT supply, volume, by, at FROM stock WHERE at BETWEEN ? AND ?", begin, end
        )
    ]
    found += [_of_order(change) for change in read_changes(database, begin, end) if change.by]
    found += _of_plant(PlantChanges(database), begin, end)
    return sorted(found)


def _of_plant(kept: PlantChanges, begin: Instant, end: Instant) -> Iterator[Change]:
    """Changes of the plant file, key by key."""
    for change in kept.between(begin, end):
        for line in change.what:
            yield Change(change.at, change.by, "plant file", line)


def _of_entry(sump: str, entry: Entry, received: Instant) -> Change:
    """What somebody or a station reported."""
    if isinstance(entry, Delivery):
        return Change(received, STATION, sump, f"delivered for setpoint {entry.setpoint}")
    what = f"{type(entry).__name__.lower()} {entry_id(entry)} of {text_of(entry.at)}"
    replaced = getattr(entry, "replaces", None)
    if replaced:
        what += f", in place of {replaced}"
    return Change(received, entry.by or NOBODY, sump, what)


def _of_stock(supply: str, volume: float, by: str, at: Instant) -> Change:
    """What somebody said of a supply."""
    return Change(at, by or NOBODY, f"supply {supply}", f"{volume:g} L left")


def _of_order(change: AlarmChange) -> Change:
    """What somebody ordered of an alarm."""
    what = f"alarm {alarm_key(change.name, change.signal)}: {change.was} -> {change.state}"
    if change.until is not None:
        what += f" until {text_of(change.until)}"
    return Change(change.at, change.by or NOBODY, change.about or "the plant", what)
