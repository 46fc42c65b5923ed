"""The embedded store: a log of accepted evidence, checkpoints of beliefs, and an outbox, in SQLite.

What `commit` has written survives a crash of the process and a loss of power. Evidence that exists
already is not written again.
"""

import sqlite3
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Self
from zlib import decompress

from advisor.words import DAY, Evidence, Instant, Reading, Signal
from agent.arrival import Outgoing
from agent.decode.results import Reason, Refusal
from agent.plant.plant import Keeping
from agent.store.batch import Batch, evidence_order
from agent.store.changes import AlarmChange, read_changes
from agent.store.database import Database, Row, story
from agent.store.keeping import Keeper
from agent.store.migrations import migrate
from agent.store.notices import Notices
from agent.store.patience import Patience
from agent.store.plant_changes import PlantChanges
from agent.store.rows import entry_from, refusal_from
from agent.store.series import Series
from agent.store.waiting import Waiting, write_lines
from agent.store.writing import write_beliefs, write_evidence, write_messages, write_refusals

KEEPING = Keeping()


class Ledger:
    """One plant's store. On disk, any thread may use it; in memory, the one that opened it.

    Parameters
    ----------
    database : Database
        Where the tables are, of the newest version.
    belief_schema : int
        Version of what checkpoints hold; those of another version are passed over.
    backlog_max : Instant
        How far back checkpoints are kept. [ms]
    keeping : Keeping
        How long readings and records are kept.

    Attributes
    ----------
    series : Series
        Readings for charts.
    notices : Notices
        Messages that wait to be told outside the broker.
    plant_changes : PlantChanges
        How the plant file has changed.
    waiting : Waiting
        What waits for the historian.
    """

    def __init__(
        self,
        database: Database,
        *,
        belief_schema: int,
        backlog_max: Instant,
        keeping: Keeping = KEEPING,
    ) -> None:
        self._database = database
        self._schema = belief_schema
        self._backlog_max = backlog_max
        self._keeper = Keeper(database, keeping, backlog_max)
        self.series = Series(database)
        self.waiting = Waiting(database)
        self.notices = Notices(database)
        self.plant_changes = PlantChanges(database)
        self.make_lines: Callable[[Batch], list[str]] | None = None
        """Makes what the historian is sent of each batch; `None`: there is no historian."""
        self._numbers: dict[tuple[str, Signal], int] = {}
        self._learn_numbers()

    @classmethod
    def open(
        cls,
        path: Path | None,
        *,
        belief_schema: int = 1,
        backlog_max: Instant = 7 * DAY,
        keeping: Keeping = KEEPING,
    ) -> Self:
        """Open the store, make it where there is none, bring an older one to the newest version.

        Raises
        ------
        StoreUnavailable
            If the file is locked, or its disk is full or away.
        StoreError
            If the file is no store of ours, damaged, or of a newer version.
        """
        try:
            database = Database(path)
            migrate(database.writer, path)
        except sqlite3.DatabaseError as error:
            raise story(path, error) from error
        return cls(database, belief_schema=belief_schema, backlog_max=backlog_max, keeping=keeping)

    def wait_with(self, patience: Patience) -> None:
        """From now on, wait while the store is locked or full, instead of raising."""
        self._database.patience = patience

    def commit(self, batch: Batch) -> None:
        """Write a batch in one transaction; evidence that exists already is passed over.

        Raises
        ------
        StoreUnavailable
            If the store is locked or full; nothing of the batch is written then.
        """
        self._number({(sump, signal) for sump, signal, _, _, _ in batch.readings})

        def write(connection: sqlite3.Connection) -> None:
            write_evidence(connection, batch, self._numbers)
            write_refusals(connection, batch)
            write_beliefs(
                connection,
                batch,
                self._schema,
                self._backlog_max,
                packed=self._database.path is not None,
            )
            write_messages(connection, batch)
            if self.make_lines is not None:
                write_lines(connection, self.make_lines(batch), batch.clock or 0)

        self._database.transact(write)

    def newest(self) -> dict[tuple[str, Signal], Instant]:
        """Time of the newest used reading, by signal; signals without one are left out."""
        found: dict[tuple[str, Signal], Instant] = {}
        for key, number in self._numbers.items():
            row = self._database.row(
                "SELECT at FROM reading WHERE signal = ? AND used ORDER BY at DESC LIMIT 1", number
            )
            if row is not None:
                found[key] = row[0]
        return found

    def has_reading(self, sump: str, signal: Signal, at: Instant) -> bool:
        """Whether a reading of this signal for this time is stored, used or not."""
        number = self._numbers.get((sump, signal))
        return number is not None and bool(
            self._database.rows("SELECT 1 FROM reading WHERE signal = ? AND at = ?", number, at)
        )

    def has_entry(self, sump: str, id: str) -> bool:  # noqa: A002  the design's own word
        """Whether an entry of this id is stored; one that was replaced still is."""
        return bool(self._database.rows("SELECT 1 FROM entry WHERE sump = ? AND id = ?", sump, id))

    def evidence(self, sump: str, after: Instant, unstored: Batch | None = None) -> list[Evidence]:
        """Evidence in use that is later than `after`, in the order of `evidence_order`.

        An entry that another one replaces is left out; of two that replace each other the one
        that came last stands.

        Parameters
        ----------
        sump : str
            Whose evidence.
        after : Instant
            Only what is later. [ms]
        unstored : Batch, optional
            Evidence that is looked at as if it were stored, and is not stored by this.
        """
        if unstored is None:
            return self._evidence(self._database.rows, sump, after)
        self._number({(owner, signal) for owner, signal, *_ in unstored.readings})
        return self._database.suppose(
            lambda connection: write_evidence(connection, unstored, self._numbers),
            lambda connection: self._evidence(_rows_of(connection), sump, after),
        )

    def _evidence(
        self, rows: Callable[..., list[Row]], sump: str, after: Instant
    ) -> list[Evidence]:
        """Evidence as `rows` finds it."""
        found: list[Evidence] = [
            entry_from(kind, body)
            for kind, body in rows(
                """SELECT kind, body FROM entry AS e WHERE sump = ? AND at > ? AND used
                    AND NOT EXISTS (
                    SELECT 1 FROM entry AS r
                    WHERE r.sump = e.sump AND r.replaces = e.id AND r.number != e.number AND r.used
                    AND (e.replaces IS NOT r.id OR r.number > e.number))""",
                sump,
                after,
            )
        ]
        for (owner, signal), number in self._numbers.items():
            if owner == sump:
                found += [
                    Reading(at, signal, value)
                    for at, value in rows(
                        "SELECT at, value FROM reading WHERE signal = ? AND at > ? AND used",
                        number,
                        after,
                    )
                ]
        found.sort(key=evidence_order)
        return found

    def checkpoint(self, sump: str, at: Instant) -> tuple[Instant, bytes] | None:
        """Time and belief of the newest checkpoint that is not later than `at`."""
        row = self._database.row(
            """SELECT at, body FROM checkpoint WHERE sump = ? AND at <= ? AND schema = ?
            ORDER BY at DESC LIMIT 1""",
            sump,
            at,
            self._schema,
        )
        return None if row is None else (row[0], _unpacked(row[1]))

    def drop_checkpoints(self, sump: str, after: Instant) -> None:
        """Forget checkpoints later than `after`: a late report made them wrong."""
        self._execute("DELETE FROM checkpoint WHERE sump = ? AND at > ?", [(sump, after)])

    def standings(self) -> dict[str, bytes]:
        """Newest standing of each sump, by whatever version: a standing carries its own."""
        return dict(self._database.rows("SELECT sump, body FROM standing"))

    def clock(self) -> Instant | None:
        """Stamp of the newest item taken in; `None` in a new store."""
        row = self._database.row("SELECT at FROM clock")
        return None if row is None else int(row[0])

    def unsent(self, limit: int) -> list[tuple[int, Outgoing]]:
        """Messages that wait to be sent, oldest first, at most `limit`, each with its number."""
        return self.unsent_after(0, limit)

    def unsent_after(self, number: int, limit: int) -> list[tuple[int, Outgoing]]:
        """As `unsent`, only those numbered above `number`."""
        return [
            (found, Outgoing(topic, payload, bool(retain), qos))
            for found, topic, payload, retain, qos in self._database.rows(
                """SELECT number, topic, payload, retain, qos FROM outbox WHERE number > ?
                ORDER BY number LIMIT ?""",
                number,
                limit,
            )
        ]

    def mark_sent(self, numbers: Sequence[int]) -> None:
        """Forget messages that the broker has confirmed."""
        self._execute("DELETE FROM outbox WHERE number = ?", [(number,) for number in numbers])

    def retained_topics(self) -> list[str]:
        """Topics on which something stands retained."""
        return [topic for (topic,) in self._database.rows("SELECT topic FROM retained")]

    def deliveries(self) -> list[bytes]:
        """What was kept of the broker's deliveries, oldest first."""
        rows = self._database.rows("SELECT body FROM delivery ORDER BY count")
        return [body for (body,) in rows]

    def filters(self) -> frozenset[str]:
        """Topic filters that the session at the broker was last subscribed to."""
        return frozenset(name for (name,) in self._database.rows("SELECT filter FROM subscription"))

    def keep_filters(self, filters: Iterable[str]) -> None:
        """Note what the session is subscribed to from now on, in place of what it was."""

        def write(connection: sqlite3.Connection) -> None:
            connection.execute("DELETE FROM subscription")
            _run_each(connection, "INSERT INTO subscription VALUES (?)", [(f,) for f in filters])

        self._database.transact(write)

    def changes(self, begin: Instant, end: Instant, about: str | None = None) -> list[AlarmChange]:
        """Lines of the alarms' journal, oldest first; see `read_changes`."""
        return read_changes(self._database, begin, end, about)

    def refusals(self, limit: int) -> list[tuple[Instant, Refusal]]:
        """Newest refusals with their times, newest first, at most `limit`."""
        return [
            refusal_from((at, sump, topic, reason, detail, excerpt))
            for at, sump, topic, reason, detail, excerpt in self._database.rows(
                """SELECT at, sump, topic, reason, detail, excerpt FROM refusal
                ORDER BY number DESC LIMIT ?""",
                limit,
            )
        ]

    def refusal_counts(self) -> dict[Reason, int]:
        """How many were refused since the store was made, by reason."""
        rows = self._database.rows("SELECT reason, count FROM refusal_count")
        return {Reason(reason): count for reason, count in rows}

    def housekeep(self) -> None:
        """Sum up, forget what is old, and cut the write-ahead log, so that it does not stay large.

        Any thread may do so; each step is a short transaction.
        """
        self._keeper.keep_house()
        self._database.rows("PRAGMA wal_checkpoint(TRUNCATE)")

    def close(self) -> None:
        """Close every connection; the ledger is of no use afterwards."""
        self._database.close()

    def _execute(self, statement: str, rows: Iterable[tuple[object, ...]]) -> None:
        """Run a statement once for each row, in one transaction."""
        self._database.transact(lambda connection: _run_each(connection, statement, rows))

    def _learn_numbers(self) -> None:
        """Read the numbers of the signals that the store knows."""
        rows = self._database.rows("SELECT id, sump, name FROM signal")
        self._numbers = {(sump, Signal(name)): number for number, sump, name in rows}

    def _number(self, signals: set[tuple[str, Signal]]) -> None:
        """Give numbers to signals that have none yet, in a transaction of its own."""
        new = sorted(signals - self._numbers.keys())
        if new:
            self._execute("INSERT OR IGNORE INTO signal (sump, name) VALUES (?, ?)", new)
            self._learn_numbers()


def _rows_of(connection: sqlite3.Connection) -> Callable[..., list[Row]]:
    """Queries through one connection."""

    def rows(query: str, *values: object) -> list[Row]:
        return connection.execute(query, values).fetchall()

    return rows


_PACKED = b"\x78\x01"
"""First bytes of what zlib packed at its fastest level."""


def _unpacked(body: bytes) -> bytes:
    """Give a belief's JSON, stored as it is or compressed."""
    return decompress(body) if body.startswith(_PACKED) else body


def _run_each(
    connection: sqlite3.Connection, statement: str, rows: Iterable[tuple[object, ...]]
) -> None:
    """Run a statement once for each row."""
    connection.executemany(statement, rows)
