"""What one transaction writes, gathered by the pipeline and committed by the ledger."""

from dataclasses import dataclass, field

from advisor.words import Delivery, Entry, Evidence, Instant, Reading, Signal, SumpEvent
from agent.arrival import Outgoing
from agent.decode.results import Refusal, StockReport
from agent.store.changes import AlarmChange
from agent.store.notices import Notice


@dataclass(frozen=True, slots=True)
class StoredEntry:
    """What a person or a station reported, and when the agent received it."""

    sump: str
    entry: Entry
    received: Instant
    used: bool = True
    """Whether the balance takes it in; a record is kept either way."""


@dataclass(slots=True)
class Batch:
    """Everything that one transaction writes, in the order in which it was gathered."""

    readings: list[tuple[str, Signal, Instant, float, bool]] = field(default_factory=list)
    """Sump, signal, time, value in the signal's internal unit, and whether the balance uses it."""
    entries: list[StoredEntry] = field(default_factory=list)
    refusals: list[tuple[Instant, Refusal]] = field(default_factory=list)
    checkpoints: list[tuple[str, Instant, bytes]] = field(default_factory=list)
    """Sump, time, and the belief as JSON."""
    standings: dict[str, bytes] = field(default_factory=dict)
    """By sump, as JSON; a newer one takes the older one's place."""
    outgoing: list[Outgoing] = field(default_factory=list)
    stock: list[StockReport] = field(default_factory=list)
    history: list[tuple[str, tuple[int | None, ...]]] = field(default_factory=list)
    """Sump, and the state of a whole minute as `agent.store.history.history_row` gives it."""
    events: list[tuple[str, SumpEvent]] = field(default_factory=list)
    """Sump, and an event as it was told."""
    retained: dict[str, bytes] = field(default_factory=dict)
    """By topic, what stands there for whoever comes later; empty: taken back."""
    deliveries: bytes = b""
    """What was taken in of the broker's deliveries, as `agent.deliveries` writes it down."""
    changes: list[AlarmChange] = field(default_factory=list)
    """Lines of the alarms' journal."""
    notices: list[Notice] = field(default_factory=list)
    """Messages to be told outside the broker."""
    clock: Instant | None = None
    """Stamp of the newest item taken in: timers have run up to here."""

    def is_empty(self) -> bool:
        """Whether there is nothing to write."""
        return self.clock is None and not (
            self.readings
            or self.entries
            or self.refusals
            or self.checkpoints
            or self.standings
            or self.outgoing
            or self.stock
            or self.history
            or self.events
            or self.retained
            or self.changes
            or self.notices
            or self.deliveries
        )


def entry_id(entry: Entry) -> str:
    """Key of an entry within its sump; a delivery has no id, its setpoint and time are unique."""
    if isinstance(entry, Delivery):
        return f"{entry.setpoint}@{entry.at}"
    return entry.id


# At one moment the pumps come first, since they tell how the level is to be read.
_FIRST = (Signal.RUNNING, Signal.CUTTING, Signal.TEMPERATURE)
SIGNAL_ORDER = {
    signal: place
    for place, signal in enumerate((*_FIRST, *(s for s in Signal if s not in _FIRST)), start=1)
}


def evidence_order(evidence: Evidence) -> tuple[Instant, int, str]:
    """Sort key of evidence: by time; at one time entries (by id) before readings (by signal).

    The order does not depend on what came first, so that a late arrival gives the same fold.
    """
    if isinstance(evidence, Reading):
        return evidence.at, SIGNAL_ORDER[evidence.signal], ""
    return evidence.at, 0, entry_id(evidence)
