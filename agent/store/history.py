"""What was told of every sump over time, kept for charts and accounts.

Each whole minute's state as it was told, for `MINUTES_KEPT`; each hour's last state for ever, with
the lowest and the highest volume and concentration in it. Numbers stand as whole steps of the last
digit that the messages tell, which takes a third of the room of floats and loses nothing.
"""

import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from advisor.words import DAY, HOUR, MINUTE, Account, Estimate, Instant, SumpState
from agent.messages.digits import CONCENTRATION, LOSS, VOLUME
from agent.store.database import Database

MINUTES_KEPT: Instant = 62 * DAY
"""How long the state of every minute is kept: two months, so that one can be compared with the
month before. [ms]"""
FINE_RANGE: Instant = 7 * DAY
"""Ranges up to this are read by minutes, longer ones by hours. [ms]"""
POINTS = 2_000
"""Points of a series at most. [1]"""

_VOLUME = 10.0**VOLUME
_SHARE = 10.0 ** (CONCENTRATION + 2)  # a fraction, told in %
_RATE = 10.0**LOSS

ESTIMATES: tuple[tuple[str, float], ...] = (
    ("volume", _VOLUME),
    ("concentration", _SHARE),
    ("water_loss", _RATE),
    ("concentrate_loss", _RATE),
    ("lost_water", _VOLUME),
    ("lost_concentrate", _VOLUME),
    ("added_water", _VOLUME),
    ("added_concentrate", _VOLUME),
    ("drained_water", _VOLUME),
    ("drained_concentrate", _VOLUME),
)
"""Columns, each with its sd in a column of its own, and the steps that one unit has."""

RANGED = ("volume", "concentration")
"""Columns of which lowest and highest are kept."""

_COLUMNS = ("since", "running", *(c for name, _ in ESTIMATES for c in (name, f"{name}_sd")))
_RANGES = tuple(f"{name}_{end}" for name in RANGED for end in ("low", "high"))
_STEPS = tuple(steps for _, steps in ESTIMATES)
_AT = {name: place for place, name in enumerate(("at", *_COLUMNS, *_RANGES))}
_ESTIMATED = {name: (_AT[name], steps) for name, steps in ESTIMATES}

MIGRATION: tuple[str, ...] = (
    "CREATE TABLE history_sump (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT",
    f"""CREATE TABLE history_minute (
        sump INTEGER NOT NULL, at INTEGER NOT NULL, {", ".join(f"{c} INTEGER" for c in _COLUMNS)},
        PRIMARY KEY (sump, at)
    ) STRICT, WITHOUT ROWID""",
    f"""CREATE TABLE history_hour (
        sump INTEGER NOT NULL, hour INTEGER NOT NULL, at INTEGER NOT NULL,
        {", ".join(f"{c} INTEGER" for c in (*_COLUMNS, *_RANGES))},
        PRIMARY KEY (sump, hour)
    ) STRICT, WITHOUT ROWID""",
)

Row = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Snapshot:
    """What was told of a sump at a moment, or at the end of a stretch of time.

    A chart asks a thousand of them for a few quantities each, so that these are read when asked.
    """

    row: Row
    """Columns `at`, `since`, `running`, those of `ESTIMATES` with their sds, and the ranges."""

    @property
    def at(self) -> Instant:
        """Moment for which it holds. [ms]"""
        at: Instant = self.row[0]
        return at

    @property
    def running(self) -> bool | None:
        """Whether the pumps ran."""
        running = self.row[_AT["running"]]
        return None if running is None else bool(running)

    @property
    def volume(self) -> Estimate | None:
        """All the fluid, holdup included. [L]"""
        return _estimate(self.row, "volume")

    @property
    def concentration(self) -> Estimate | None:
        """Concentrate per mix, v/v. [1]"""
        return _estimate(self.row, "concentration")

    @property
    def water_loss(self) -> Estimate | None:
        """Mean over the hours before. [L/d]"""
        return _estimate(self.row, "water_loss")

    @property
    def concentrate_loss(self) -> Estimate | None:
        """Mean over the hours before. [L/d]"""
        return _estimate(self.row, "concentrate_loss")

    @property
    def lost(self) -> Account | None:
        """Total lost since its beginning. [L]"""
        return self._account("lost")

    @property
    def added(self) -> Account | None:
        """Total added since its beginning. [L]"""
        return self._account("added")

    @property
    def drained(self) -> Account | None:
        """Total drained since its beginning. [L]"""
        return self._account("drained")

    @property
    def volume_range(self) -> tuple[float, float] | None:
        """Lowest and highest of the stretch. [L]"""
        return _ends(self.row, "volume")

    @property
    def concentration_range(self) -> tuple[float, float] | None:
        """Lowest and highest of the stretch. [1]"""
        return _ends(self.row, "concentration")

    def _account(self, name: str) -> Account | None:
        """Total of water and concentrate. [L]"""
        since = self.row[_AT["since"]]
        water = _estimate(self.row, f"{name}_water")
        concentrate = _estimate(self.row, f"{name}_concentrate")
        if since is None or water is None or concentrate is None:
            return None
        return Account(since=since, water=water, concentrate=concentrate)


@dataclass(frozen=True, slots=True)
class Trace:
    """Volume [L] and concentration [1] at a moment, for a small trend."""

    at: Instant
    volume: float | None
    concentration: float | None


def trace_of(row: Row) -> Trace:
    """The two that a row of `history_row` tells."""
    return _trace(row[0], row[_AT["volume"]], row[_AT["concentration"]])


def _trace(at: Instant, volume: int | None, share: int | None) -> Trace:
    """Stored steps in [L] and [1]."""
    return Trace(
        at,
        None if volume is None else volume / _VOLUME,
        None if share is None else share / _SHARE,
    )


# --- writing -------------------------------------------------------------------------------------


def history_row(state: SumpState) -> Row | None:
    """Columns of a state that holds for a whole minute; of another, nothing. [ms]"""
    if state.at % MINUTE:
        return None
    pairs = [
        state.volume,
        state.concentration,
        state.losses.water,
        state.losses.concentrate,
        *_parts(state.lost),
        *_parts(state.added),
        *_parts(state.drained),
    ]
    cells: list[int | None] = []
    for steps, estimate in zip(_STEPS, pairs, strict=True):
        if estimate is None:
            cells += (None, None)
        else:
            cells += (round(estimate.value * steps), round(estimate.sd * steps))
    since = None if state.lost is None else state.lost.since
    running = None if state.running is None else int(state.running)
    return (state.at, since, running, *cells)


def _parts(account: Account | None) -> tuple[Estimate | None, Estimate | None]:
    """Water and concentrate of a total. [L]"""
    return (None, None) if account is None else (account.water, account.concentrate)


_INSERT_MINUTE = f"""INSERT OR REPLACE INTO history_minute
    VALUES (?, ?, {", ".join("?" for _ in _COLUMNS)})"""  # noqa: S608  names of our own
_UPSERT_HOUR = f"""INSERT INTO history_hour
    VALUES (?, ?, ?, {", ".join("?" for _ in (*_COLUMNS, *_RANGES))})
    ON CONFLICT DO UPDATE SET at = excluded.at, {", ".join(f"{c} = excluded.{c}" for c in _COLUMNS)}
    WHERE excluded.at >= at"""  # noqa: S608  names of our own


def write_history(connection: sqlite3.Connection, states: Sequence[tuple[str, Row]]) -> None:
    """Write rows of `history_row`, each with its sump; of one minute the last one stands."""
    if not states:
        return
    names = {name for name, _ in states}
    connection.executemany(
        "INSERT OR IGNORE INTO history_sump (name) VALUES (?)", [(name,) for name in sorted(names)]
    )
    numbers = dict(connection.execute("SELECT name, id FROM history_sump").fetchall())
    rows = sorted(((numbers[name], row) for name, row in states), key=lambda pair: pair[0])
    connection.executemany(_INSERT_MINUTE, [(number, *row) for number, row in rows])
    _write_hours(connection, rows)


def _write_hours(connection: sqlite3.Connection, rows: Sequence[tuple[int, Row]]) -> None:
    """Take rows, sorted by sump, into their hours."""
    for (number, hour), group in groupby(rows, key=lambda pair: (pair[0], pair[1][0] // HOUR)):
        within = [row for _, row in group]
        last = max(within, key=lambda row: row[0])
        ranges = [end for name in RANGED for end in _range(within, _AT[name])]
        connection.execute(_UPSERT_HOUR, (number, hour, *last, *ranges))
        for name, (low, high) in zip(RANGED, (ranges[:2], ranges[2:]), strict=True):
            if low is not None:
                connection.execute(_widening(name), (low, low, high, high, number, hour))


def _widening(name: str) -> str:
    """Statement that takes a lowest and a highest value into an hour."""
    return (
        f"UPDATE history_hour SET {name}_low = min(coalesce({name}_low, ?), ?), "  # noqa: S608
        f"{name}_high = max(coalesce({name}_high, ?), ?) WHERE sump = ? AND hour = ?"
    )


def _range(rows: Iterable[Row], place: int) -> tuple[int | None, int | None]:
    """Lowest and highest of a column."""
    values = [row[place] for row in rows if row[place] is not None]
    return (min(values), max(values)) if values else (None, None)


def thin_history(connection: sqlite3.Connection) -> None:
    """Forget the minutes that are older than `MINUTES_KEPT`, counted from each sump's newest."""
    for (number,) in connection.execute("SELECT id FROM history_sump").fetchall():
        connection.execute(
            """DELETE FROM history_minute WHERE sump = :sump AND at < (
                SELECT max(at) FROM history_minute WHERE sump = :sump) - :kept""",
            {"sump": number, "kept": MINUTES_KEPT},
        )


# --- reading -------------------------------------------------------------------------------------


class History:
    """Reads what `write_history` wrote; any thread may use it, as its database allows.

    Parameters
    ----------
    database : Database
        Where the tables are.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    def series(
        self, sump: str, begin: Instant, end: Instant, *, points: int = POINTS
    ) -> list[Snapshot]:
        """States from `begin` up to `end`, both included, oldest first, at most `points`. [ms]

        Where there are more, each point stands for a stretch of time: its last state, with the
        lowest and the highest volume and concentration of the stretch.
        """
        table = self._finest(sump, begin, end)
        [(count,)] = self._database.rows(_count(table), begin, end, sump)
        if count <= points:
            rows = self._database.rows(_within(table), begin, end, sump)
        else:
            width = -(-(end - begin + 1) // points)
            rows = self._database.rows(_merged(table), begin, end, sump, width)
        return [Snapshot(row) for row in rows]

    def at(self, sump: str, moment: Instant) -> Snapshot | None:
        """Newest state told for a time not later than `moment`, to the minute or the hour. [ms]"""
        found = [
            row
            for table in ("history_minute", "history_hour")
            if (row := self._database.row(_newest(table), 0, moment, sump))
        ]
        return Snapshot(max(found, key=lambda row: row[0])) if found else None

    def traces(self, since: Instant) -> dict[str, list[Trace]]:
        """By sump, the last state of each hour from `since` on, oldest first. [ms]"""
        found: dict[str, list[Trace]] = {}
        for name, at, volume, share in self._database.rows(
            """SELECT name, at, volume, concentration FROM history_sump
            JOIN history_hour ON sump = id WHERE hour >= ? ORDER BY name, hour""",
            since // HOUR,
        ):
            found.setdefault(name, []).append(_trace(at, volume, share))
        return found

    def span(self, sump: str) -> tuple[Instant, Instant] | None:
        """Times of the oldest and of the newest state; `None` where there is none. [ms]"""
        row = self._database.row(
            """SELECT min(at), max(at) FROM history_hour
            WHERE sump = (SELECT id FROM history_sump WHERE name = ?)""",
            sump,
        )
        return None if row is None or row[0] is None else (row[0], row[1])

    def _finest(self, sump: str, begin: Instant, end: Instant) -> str:
        """The finest table that holds something of a range, minutes for short ones only."""
        if end - begin <= FINE_RANGE:
            [(count,)] = self._database.rows(_count("history_minute"), begin, end, sump)
            if count:
                return "history_minute"
        return "history_hour"


_OF_SUMP = "sump = (SELECT id FROM history_sump WHERE name = ?3)"
_KEY = {
    "history_minute": "at BETWEEN {} AND {}",
    "history_hour": f"hour BETWEEN {{}} / {HOUR} AND {{}} / {HOUR}",
}
"""By what a table's rows are found, so that the rest of it is not read."""


def _columns(table: str) -> str:
    """Columns of a row as `Snapshot` reads it; a minute is its own lowest and highest."""
    ranges = (
        _RANGES
        if table == "history_hour"
        else tuple(name for name in RANGED for _ in ("low", "high"))
    )
    return ", ".join(("at", *_COLUMNS, *ranges))


def _within(table: str) -> str:
    """Query for the rows of a range."""
    return f"""SELECT {_columns(table)} FROM {table} WHERE at BETWEEN ?1 AND ?2
        AND {_KEY[table].format("?1", "?2")} AND {_OF_SUMP} ORDER BY at"""  # noqa: S608


def _newest(table: str) -> str:
    """Query for the newest row up to a moment."""
    return f"""SELECT {_columns(table)} FROM {table} WHERE at <= ?2
        AND {_KEY[table].format("?1", "?2")} AND {_OF_SUMP} ORDER BY at DESC LIMIT 1"""  # noqa: S608


def _count(table: str) -> str:
    """Query for how many rows a range has."""
    return f"""SELECT count(*) FROM {table} WHERE at BETWEEN ?1 AND ?2
        AND {_KEY[table].format("?1", "?2")} AND {_OF_SUMP}"""  # noqa: S608


def _merged(table: str) -> str:
    """Query for the last row of each stretch of ?4 ms, with lowest and highest of all its rows."""
    end = ("low", "high") if table == "history_hour" else ("", "")
    ranges = ", ".join(
        f"{smallest}({name}{'_' if end[place] else ''}{end[place]}) AS {name}_{word}_of_all"
        for name in RANGED
        for place, (smallest, word) in enumerate((("min", "low"), ("max", "high")))
    )
    told = ", ".join(f"{column}_of_all" for column in _RANGES)
    key = "at = last" if table == "history_minute" else f"hour = last / {HOUR}"
    return f"""WITH stretch AS (
        SELECT max(at) AS last, {ranges} FROM {table} WHERE at BETWEEN ?1 AND ?2
        AND {_KEY[table].format("?1", "?2")} AND {_OF_SUMP} GROUP BY (at - ?1) / ?4)
        SELECT at, {", ".join(_COLUMNS)}, {told}
        FROM stretch JOIN {table} ON {key} AND {_OF_SUMP} ORDER BY at"""  # noqa: S608


def _estimate(row: Row, name: str) -> Estimate | None:
    """Value and sd of a column."""
    place, steps = _ESTIMATED[name]
    value = row[place]
    return None if value is None else Estimate(value / steps, row[place + 1] / steps)


def _ends(row: Row, name: str) -> tuple[float, float] | None:
    """Lowest and highest value."""
    low, high = row[_AT[f"{name}_low"]], row[_AT[f"{name}_high"]]
    steps = _ESTIMATED[name][1]
    return None if low is None or high is None else (low / steps, high / steps)
