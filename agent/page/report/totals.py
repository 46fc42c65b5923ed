"""What went in and out of one sump in a stretch of time, from the accounts that were told.

An account runs from its beginning to the next charge. The sd of a difference of two totals is taken
as if their errors were independent, which is more than it is: the earlier one's error is in the
later one too.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from advisor.words import DAY, HOUR, Estimate, Instant
from agent.store.database import Database
from agent.store.history import ESTIMATES

STEPS = dict(ESTIMATES)
COLUMNS = (
    "lost_water",
    "lost_concentrate",
    "added_water",
    "added_concentrate",
    "drained_water",
    "drained_concentrate",
)
_SELECT = ", ".join(("at", "since", *(c for name in COLUMNS for c in (name, f"{name}_sd"))))


@dataclass(frozen=True, slots=True)
class Totals:
    """Sums of one stretch of time. [L]"""

    begin: Instant
    """When what was told of it begins."""
    end: Instant
    lost_water: Estimate
    lost_concentrate: Estimate
    added_water: Estimate
    added_concentrate: Estimate
    drained_water: Estimate
    drained_concentrate: Estimate

    @property
    def days(self) -> float:
        """How long the stretch is that something was told of. [d]"""
        return (self.end - self.begin) / DAY


def totals(database: Database, sump: str, begin: Instant, end: Instant) -> Totals | None:
    """Sums of a sump from `begin` to `end`; `None` where nothing was told in it. [ms]"""
    ends = _of_each(database, sump, begin, end, "max")
    first = _before(database, sump, begin) or _first(database, sump, begin, end)
    if not ends or first is None or ends[-1][0] <= first[0]:
        return None
    begun = {row[1]: row for row in _of_each(database, sump, begin, end, "min")}
    begun[first[1]] = first
    pairs = [(row, None if row[1] > first[0] else begun[row[1]]) for row in ends]
    sums = [_sum(place, pairs) for place in range(len(COLUMNS))]
    return Totals(max(first[0], begin), ends[-1][0], *sums)


def _of_each(
    database: Database, sump: str, begin: Instant, end: Instant, which: str
) -> list[Sequence[Any]]:
    """Last (`max`) or first (`min`) row of each account in a stretch, oldest first."""
    rows = database.rows(
        f"""SELECT {which}(at) AS place, {_SELECT} FROM history_hour
        WHERE sump = (SELECT id FROM history_sump WHERE name = ?) AND hour BETWEEN ? AND ?
        AND at >= ? AND at <= ? AND lost_water IS NOT NULL GROUP BY since ORDER BY place""",  # noqa: S608  names of our own
        sump,
        begin // HOUR,
        end // HOUR,
        begin,
        end,
    )
    return [row[1:] for row in rows]


def _before(database: Database, sump: str, begin: Instant) -> Sequence[Any] | None:
    """What was told last before a stretch, where that is less than two hours before it."""
    return _one(database, sump, begin - 2 * HOUR, begin, "DESC")


def _first(database: Database, sump: str, begin: Instant, end: Instant) -> Sequence[Any] | None:
    """What was told first in a stretch."""
    return _one(database, sump, begin, end, "ASC")


def _one(
    database: Database, sump: str, begin: Instant, end: Instant, order: str
) -> Sequence[Any] | None:
    """First or last row of a stretch that has totals."""
    return database.row(
        f"""SELECT {_SELECT} FROM history_hour
        WHERE sump = (SELECT id FROM history_sump WHERE name = ?) AND hour BETWEEN ? AND ?
        AND at >= ? AND at <= ? AND lost_water IS NOT NULL ORDER BY hour {order} LIMIT 1""",  # noqa: S608  names of our own
        sump,
        begin // HOUR,
        end // HOUR,
        begin,
        end,
    )


def _sum(place: int, pairs: Sequence[tuple[Sequence[Any], Sequence[Any] | None]]) -> Estimate:
    """Sum of one quantity over all accounts: their ends less their beginnings. [L]

    An account that was begun within the stretch has no row to begin with: it began at zero.
    """
    steps = STEPS[COLUMNS[place]]
    value, variance = 0.0, 0.0
    for end, begin in pairs:
        value += _cell(end, place)
        variance += _cell(end, place, sd=True) ** 2
        if begin is not None:
            value -= _cell(begin, place)
            variance += _cell(begin, place, sd=True) ** 2
    return Estimate(value / steps, variance**0.5 / steps)


def _cell(row: Sequence[Any], place: int, *, sd: bool = False) -> float:
    """Value or sd of one quantity in a row, in stored steps; nothing drained is 0."""
    return float(row[2 + 2 * place + sd] or 0.0)


# --- how much of the time it was in its band -----------------------------------------------------


@dataclass(frozen=True, slots=True)
class Hours:
    """Hours of which something was told, and those in the band."""

    told: int
    within: int

    @property
    def share(self) -> float | None:
        """Part of the told hours in the band. [1]"""
        return self.within / self.told if self.told else None


def hours_within(
    database: Database,
    sump: str,
    stretch: tuple[Instant, Instant],
    name: str,
    band: tuple[float, float],
) -> Hours:
    """How many hours' last state had a quantity in its band.

    Parameters
    ----------
    database : Database
        Where the tables are.
    sump : str
        Id of the sump.
    stretch : (Instant, Instant)
        Begin and end. [ms]
    name : str
        ``volume`` [L] or ``concentration`` [1].
    band : (float, float)
        Lowest and highest that is allowed, in the same unit.
    """
    steps = STEPS[name]
    [row] = database.rows(
        f"""SELECT count({name}), coalesce(sum({name} BETWEEN ? AND ?), 0) FROM history_hour
        WHERE sump = (SELECT id FROM history_sump WHERE name = ?) AND hour BETWEEN ? AND ?
        AND at >= ? AND at <= ?""",  # noqa: S608  names of our own
        band[0] * steps,
        band[1] * steps,
        sump,
        stretch[0] // HOUR,
        stretch[1] // HOUR,
        *stretch,
    )
    return Hours(int(row[0]), int(row[1]))
