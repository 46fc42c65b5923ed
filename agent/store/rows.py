"""How entries and refusals stand in the store's tables: one place for both directions."""

import json
from dataclasses import asdict
from functools import cache

from pydantic import TypeAdapter

from advisor.words import (
    Addition,
    Charge,
    Check,
    Delivery,
    Drain,
    Entry,
    Instant,
    Service,
)
from agent.decode.results import Reason, Refusal
from agent.store.batch import StoredEntry, entry_id

KINDS: dict[str, type[Entry]] = {
    "addition": Addition,
    "drain": Drain,
    "charge": Charge,
    "check": Check,
    "service": Service,
    "delivery": Delivery,
}
_NAMES = {kind: name for name, kind in KINDS.items()}

TOPIC_MAX = 1000
"""Characters of a refused message's topic that are kept."""

EntryRow = tuple[str, str, Instant, Instant, str, str | None, str, bool]
RefusalRow = tuple[Instant, str | None, str, str, str, str]


@cache
def _reader(kind: str) -> TypeAdapter[Entry]:
    """Reader of one kind of entry; fields that came later take their defaults."""
    return TypeAdapter(KINDS[kind])


def entry_row(stored: StoredEntry) -> EntryRow:
    """Columns of an entry: sump, id, at, received, kind, replaces, body, used."""
    entry = stored.entry
    return (
        stored.sump,
        entry_id(entry),
        entry.at,
        stored.received,
        _NAMES[type(entry)],
        None if isinstance(entry, Delivery) else entry.replaces,
        json.dumps(asdict(entry), separators=(",", ":"), allow_nan=False),
        stored.used,
    )


def entry_from(kind: str, body: str) -> Entry:
    """Read an entry back, equal to the one that was stored."""
    return _reader(kind).validate_json(body)


def refusal_row(at: Instant, refusal: Refusal) -> RefusalRow:
    """Columns of a refusal: at, sump, topic, reason, detail, excerpt."""
    return (
        at,
        refusal.sump,
        refusal.topic[:TOPIC_MAX],
        refusal.reason.value,
        refusal.detail,
        refusal.excerpt,
    )


def refusal_from(row: RefusalRow) -> tuple[Instant, Refusal]:
    """Read a refusal back with the time at which it was refused."""
    at, sump, topic, reason, detail, excerpt = row
    refusal = Refusal(topic=topic, reason=Reason(reason), detail=detail, excerpt=excerpt, sump=sump)
    return at, refusal
