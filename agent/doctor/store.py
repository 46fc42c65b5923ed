"""The store and the disk under it, what waits in it, and each signal's readings."""

import shutil
from collections.abc import Iterator

from advisor.words import DAY, Instant
from agent.doctor.finding import Found, span
from agent.errors import MillpondError
from agent.instants import text_of
from agent.plant.plant import Binding, Plant
from agent.store.database import Database
from agent.store.lock import beside, lock
from agent.store.looking import looking_into
from agent.store.waiting import Waiting

LEAST_FREE = 1e9
"""Room on the disk under which somebody should look. [B]"""
LONG_WAIT: Instant = 30 * 60_000
"""What has waited longer for the historian is worth a look. [ms]"""
REFUSALS_TOLD = 3


def look_at_store(plant: Plant, now: Instant) -> Iterator[Found]:
    """Everything that the store tells. `now` is the machine's clock. [ms]"""
    yield from _disk(plant)
    yield _process(plant)
    try:
        with looking_into(plant.store) as database:
            yield from _waiting(plant, database, now)
            for binding in plant.bindings:
                yield _signal(binding, database, now)
            yield from _refusals(database)
    except MillpondError as error:
        yield Found("fault", "store", str(error))


def rate_of(plant: Plant) -> float | None:
    """Readings a second over the last day of data, all signals; `None` where none are stored."""
    try:
        with looking_into(plant.store) as database:
            total = 0.0
            for (number,) in database.rows("SELECT id FROM signal"):
                count, first, last = _of_last_day(database, number)
                if count > 1 and last > first:
                    total += 1000.0 * (count - 1) / (last - first)
            return total or None
    except MillpondError:
        return None


def _disk(plant: Plant) -> Iterator[Found]:
    """Size of the store and room on its disk."""
    size = sum(
        path.stat().st_size
        for path in (plant.store, plant.store.with_name(plant.store.name + "-wal"))
        if path.exists()
    )
    try:
        free = shutil.disk_usage(plant.store.parent).free
    except OSError as error:
        yield Found("fault", "disk", f"{plant.store.parent}: {error.strerror}")
        return
    said = f"{plant.store}: {size / 1e6:.1f} MB; {free / 1e9:.1f} GB free"
    yield Found("ok" if free >= LEAST_FREE else "look", "disk", said)


def _process(plant: Plant) -> Found:
    """Whether an agent holds the store."""
    if not beside(plant.store).exists():
        return Found("look", "agent", "it has never run with this store")
    with beside(plant.store).open("rb") as file:
        try:
            lock(file, shared=True)
        except OSError:
            return Found("ok", "agent", "it is running")
    return Found("look", "agent", "it is not running")


def _waiting(plant: Plant, database: Database, now: Instant) -> Iterator[Found]:
    """What waits to be sent, and the clock."""
    count = _one(database, "SELECT count(*) FROM outbox")
    yield Found("ok" if count < 1000 else "look", "outbox", f"{count} messages wait for the broker")
    clock = database.row("SELECT at FROM clock")
    if clock is not None:
        age = (now - clock[0]) / 1000.0
        said = f"newest entry {text_of(clock[0])}"
        if age < -300.0:
            said += f", {span(-age)} ahead of this machine's clock"
        yield Found("look" if age < -300.0 else "ok", "clock", said)
    waiting = Waiting(database)
    if plant.historian is None and not waiting.count:
        return
    since, refused = waiting.since, waiting.refused
    said = f"{waiting.count} lines wait, {refused} were put aside"
    if since is not None:
        said += f"; the oldest since {text_of(since)}"
    late = since is not None and now - since > LONG_WAIT
    yield Found("look" if late or refused else "ok", "historian", said)


def _signal(binding: Binding, database: Database, now: Instant) -> Found:
    """Last reading, rate, and what was not used."""
    about = f"{binding.sump} {binding.signal}"
    row = database.row(
        "SELECT id FROM signal WHERE sump = ? AND name = ?", binding.sump, binding.signal.value
    )
    last = None if row is None else database.row(_LAST, row[0])
    if row is None or last is None:
        return Found("look", about, "no reading was ever stored")
    count, first, newest = _of_last_day(database, row[0])
    said = f"{last[1]:.6g} at {text_of(last[0])}, {span((now - last[0]) / 1000.0)} ago"
    if count > 1:
        said += f"; {count} in its last day, one each {span((newest - first) / 1000 / (count - 1))}"
    unused = _one(database, _UNUSED, row[0], newest - DAY)
    if unused:
        said += f"; {unused} more came late or without a time and are not used"
    return Found("look" if unused > count / 10 else "ok", about, said)


def _refusals(database: Database) -> Iterator[Found]:
    """How many were refused, and the newest of each reason."""
    for reason, count in database.rows(
        "SELECT reason, count FROM refusal_count ORDER BY count DESC"
    ):
        newest = database.rows(
            "SELECT at, topic, detail FROM refusal WHERE reason = ? ORDER BY number DESC LIMIT ?",
            reason,
            REFUSALS_TOLD,
        )
        told = "".join(f"\n    {text_of(at)} {topic}: {detail}" for at, topic, detail in newest)
        yield Found("look", f"refused, {reason}", f"{count}{told}")


def _of_last_day(database: Database, number: int) -> tuple[int, Instant, Instant]:
    """Count, first and last time of a signal's used readings in the day before its newest."""
    row = database.row(
        """SELECT count(*), min(at), max(at) FROM reading WHERE signal = ?1 AND used
        AND at > (SELECT max(at) FROM reading WHERE signal = ?1) - ?2""",
        number,
        DAY,
    )
    return (0, 0, 0) if row is None or not row[0] else (row[0], row[1], row[2])


def _one(database: Database, query: str, *values: object) -> int:
    """One number."""
    row = database.row(query, *values)
    return 0 if row is None else int(row[0])


_LAST = "SELECT at, value FROM reading WHERE signal = ? ORDER BY at DESC LIMIT 1"
_UNUSED = "SELECT count(*) FROM reading WHERE signal = ? AND at > ? AND NOT used"
