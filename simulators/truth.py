"""What truly happened, a JSON object a line: the plan of it is in docs/scenarios.md."""

from dataclasses import dataclass, field

from simulators.instants import rfc3339

Record = dict[str, object]


@dataclass(slots=True)
class TrueEvent:
    """An addition, drain or charge, while it happens and afterwards. [L]"""

    id: str
    sump: str
    kind: str
    at: int
    until: int = 0
    water: float = 0.0
    concentrate: float = 0.0
    details: Record = field(default_factory=dict)

    def record(self) -> Record:
        """As a line of the truth file."""
        volume = self.water + self.concentrate
        strength = round(100.0 * self.concentrate / volume, 4) if volume > 0.0 else None
        return {
            "type": "event",
            "id": self.id,
            "sump": self.sump,
            "kind": self.kind,
            "at": rfc3339(self.at),
            "until": rfc3339(self.until),
            "water_l": round(self.water, 5),
            "concentrate_l": round(self.concentrate, 5),
            "volume_l": round(volume, 5),
            "strength_pct": strength,
            **self.details,
        }


class Journal:
    """Collects the truth of a plant until somebody takes it."""

    def __init__(self) -> None:
        self._records: list[Record] = []
        self._events = 0

    def write(self, record: Record) -> None:
        """Add one line."""
        self._records.append(record)

    def event(self, sump: str, kind: str, at: int) -> TrueEvent:
        """Begin an event; whoever ends it writes its record."""
        self._events += 1
        return TrueEvent(f"t{self._events}", sump, kind, at)

    def take(self) -> list[Record]:
        """All lines since the last call."""
        taken, self._records = self._records, []
        return taken
