"""What people and stations have reported about a sump, with what was corrected since."""

from dataclasses import dataclass

from advisor.words import Entry, Instant
from agent.store.database import Database
from agent.store.rows import entry_from


@dataclass(frozen=True, slots=True)
class Logged:
    """One entry as it stands in the records."""

    entry: Entry
    received: Instant
    is_replaced: bool
    """A later entry stands in its place."""
    used: bool
    """The balance takes it in."""


class Logbook:
    """Reads entries; any thread may use it, as its database allows.

    Parameters
    ----------
    database : Database
        Where the tables are.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    def entries(self, sump: str, begin: Instant, end: Instant, limit: int) -> list[Logged]:
        """Entries about moments from `begin` to `end`, newest first, at most `limit`. [ms]"""
        return [
            Logged(entry_from(kind, body), received, bool(replaced), bool(used))
            for kind, body, received, replaced, used in self._database.rows(
                f"""SELECT kind, body, received, {_REPLACED}, used FROM entry AS e
                WHERE sump = ? AND at BETWEEN ? AND ? ORDER BY at DESC, number DESC LIMIT ?""",  # noqa: S608
                sump,
                begin,
                end,
                limit,
            )
        ]

    def entry(self, sump: str, name: str) -> Logged | None:
        """One entry by its id."""
        row = self._database.row(
            f"""SELECT kind, body, received, {_REPLACED}, used FROM entry AS e
            WHERE sump = ? AND id = ?""",  # noqa: S608
            sump,
            name,
        )
        if row is None:
            return None
        kind, body, received, replaced, used = row
        return Logged(entry_from(kind, body), received, bool(replaced), bool(used))


_REPLACED = """EXISTS (SELECT 1 FROM entry AS r
    WHERE r.sump = e.sump AND r.replaces = e.id AND r.number > e.number)"""
