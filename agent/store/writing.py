"""A batch into the store's tables: what exists already is passed over, what is bounded is cut."""

import sqlite3
from collections import Counter
from collections.abc import Mapping
from zlib import compress

from advisor.words import HOUR, Instant, Signal
from agent.deliveries import KEPT as DELIVERIES_KEPT
from agent.deliveries import length_of
from agent.store.batch import Batch
from agent.store.changes import write_changes
from agent.store.history import write_history
from agent.store.keeping import SETTLED_AFTER, note_late
from agent.store.notices import write_notices
from agent.store.rows import entry_row, refusal_row
from agent.store.told import write_events, write_retained

REFUSALS_KEPT = 10_000
DENSE_CHECKPOINTS: Instant = 24 * HOUR
SPARSE_CHECKPOINTS: Instant = 6 * HOUR
"""Back to the first every checkpoint is kept, before that the last one in each stretch of this."""


def write_evidence(
    connection: sqlite3.Connection, batch: Batch, numbers: Mapping[tuple[str, Signal], int]
) -> None:
    """Write readings, entries and stock reports; `numbers` are those of the signals."""
    rows = [
        # A whole number is written at two thirds of the cost of True.
        (numbers[sump, signal], at, value, 1 if used else 0)
        for sump, signal, at, value, used in batch.readings
    ]
    connection.executemany("INSERT OR IGNORE INTO reading VALUES (?, ?, ?, ?)", rows)
    if rows:
        newest = batch.clock if batch.clock is not None else max(row[1] for row in rows)
        settled = newest - SETTLED_AFTER // 2  # more than may be summed up: looked at one by one
        late = [(number, at) for number, at, _, _ in rows if at < settled]
        if late:
            note_late(connection, late)
    if batch.entries:
        connection.executemany(
            """INSERT OR IGNORE INTO entry (sump, id, at, received, kind, replaces, body, used)
            VALUES (?, ?, ?, ?, ?, ?, ?, ?)""",
            map(entry_row, batch.entries),
        )
    if batch.stock:
        connection.executemany(
            "INSERT OR IGNORE INTO stock VALUES (?, ?, ?, ?, ?, ?, ?)",
            [(s.supply, s.id, s.at, s.volume, s.lot, s.expires, s.by) for s in batch.stock],
        )


def write_refusals(connection: sqlite3.Connection, batch: Batch) -> None:
    """Write refusals, count them, and forget the oldest beyond `REFUSALS_KEPT`."""
    if not batch.refusals:
        return
    connection.executemany(
        """INSERT INTO refusal (at, sump, topic, reason, detail, excerpt)
        VALUES (?, ?, ?, ?, ?, ?)""",
        [refusal_row(at, refusal) for at, refusal in batch.refusals],
    )
    connection.executemany(
        """INSERT INTO refusal_count VALUES (?, ?)
        ON CONFLICT DO UPDATE SET count = count + excluded.count""",
        Counter(refusal.reason.value for _, refusal in batch.refusals).items(),
    )
    connection.execute(
        "DELETE FROM refusal WHERE number <= (SELECT max(number) FROM refusal) - ?",
        (REFUSALS_KEPT,),
    )


def write_beliefs(
    connection: sqlite3.Connection,
    batch: Batch,
    schema: int,
    backlog_max: Instant,
    *,
    packed: bool,
) -> None:
    """Write checkpoints and standings, and thin out the checkpoints of the past.

    Parameters
    ----------
    connection : sqlite3.Connection
        In a transaction.
    batch : Batch
        What is to be written.
    schema : int
        Version of what checkpoints hold.
    backlog_max : Instant
        How far back a late report may reach; one checkpoint older than that is kept. [ms]
    packed : bool
        Whether checkpoints are compressed, which takes longer and a quarter of the room.
    """
    for sump, at, body in batch.checkpoints:
        before = connection.execute(
            "SELECT max(at) FROM checkpoint WHERE sump = ? AND at < ?", (sump, at)
        ).fetchone()[0]
        connection.execute(
            "INSERT OR REPLACE INTO checkpoint (sump, at, schema, body) VALUES (?, ?, ?, ?)",
            (sump, at, schema, compress(body, 1) if packed else body),
        )
        if before is not None and before // HOUR < at // HOUR:
            _thin(connection, sump, at, backlog_max)
    if batch.standings:
        connection.executemany(
            "INSERT OR REPLACE INTO standing (sump, schema, body) VALUES (?, ?, ?)",
            [(sump, schema, body) for sump, body in batch.standings.items()],
        )


def _thin(connection: sqlite3.Connection, sump: str, newest: Instant, backlog_max: Instant) -> None:
    """Keep fewer checkpoints of more than a day ago, and of the backlog's end only the newest."""
    dense_from = newest // HOUR * HOUR - DENSE_CHECKPOINTS
    connection.execute(
        """DELETE FROM checkpoint WHERE sump = :sump AND at < :dense AND at NOT IN (
            SELECT max(at) FROM checkpoint WHERE sump = :sump GROUP BY at / :stretch)""",
        {"sump": sump, "dense": dense_from, "stretch": SPARSE_CHECKPOINTS},
    )
    connection.execute(
        """DELETE FROM checkpoint WHERE sump = :sump AND at < (
            SELECT max(at) FROM checkpoint WHERE sump = :sump AND at <= :oldest)""",
        {"sump": sump, "oldest": newest - backlog_max},
    )


def write_messages(connection: sqlite3.Connection, batch: Batch) -> None:
    """Write what is to be sent and what was told, and up to when timers have run."""
    write_history(connection, batch.history)
    write_events(connection, batch.events)
    write_retained(connection, batch.retained)
    write_changes(connection, batch.changes)
    write_notices(connection, batch.notices)
    if batch.outgoing:
        connection.executemany(
            "INSERT INTO outbox (topic, payload, retain, qos) VALUES (?, ?, ?, ?)",
            [(sent.topic, sent.payload, sent.retain, sent.qos) for sent in batch.outgoing],
        )
    if batch.deliveries:
        _write_deliveries(connection, batch.deliveries)
    if batch.clock is not None:
        connection.execute(
            """INSERT INTO clock VALUES (1, ?)
            ON CONFLICT DO UPDATE SET at = max(at, excluded.at)""",
            (batch.clock,),
        )


def _write_deliveries(connection: sqlite3.Connection, deliveries: bytes) -> None:
    """Write down what was taken in, numbered by the count so far, and forget the oldest."""
    before = connection.execute("SELECT max(count) FROM delivery").fetchone()[0] or 0
    count = before + length_of(deliveries)
    connection.execute("INSERT INTO delivery VALUES (?, ?)", (count, deliveries))
    connection.execute("DELETE FROM delivery WHERE count <= ?", (before - DELIVERIES_KEPT,))
