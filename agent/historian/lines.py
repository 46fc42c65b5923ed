"""What the historian is sent, in InfluxDB's line protocol. Times are milliseconds.

=============  ==========================================  ====================================
measurement    tags                                        fields
=============  ==========================================  ====================================
reading        plant, sump, signal, unit                   value; used=false where it is not used
reading_minute plant, sump, signal, unit                   low, high, mean, readings
reading_hour   plant, sump, signal, unit                   low, high, mean, readings
sump_state     plant, sump                                 volume_l, volume_l_sd,
                                                           concentration_pct, ..._sd,
                                                           water_l_per_day, ..._sd,
                                                           concentrate_l_per_day, ..._sd
sump_event     plant, sump                                 id, kind, source, volume_l, ..._sd,
                                                           strength_pct, ..._sd
report         plant, sump, kind                           id, by, and the numbers reported
alarm          plant, about, name, signal                  state, priority, value, by
=============  ==========================================  ====================================

The same thing told again has the same series and time, so that the server writes it over.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import asdict
from typing import TypeAlias

from advisor.words import Delivery, Estimate, Instant, Signal, SumpEvent
from agent.messages.digits import CONCENTRATION, LOSS, VOLUME
from agent.plant.plant import Plant
from agent.plant.units import internal_unit
from agent.store.batch import Batch, StoredEntry, entry_id
from agent.store.changes import AlarmChange
from agent.store.extract import Summed
from agent.store.history import ESTIMATES, Row, Snapshot

Field: TypeAlias = float | str | bool | None

_SHORT = {"volume": "volume_l", "concentration": "concentration_pct"}
_LOSSES = {"water_loss": "water_l_per_day", "concentrate_loss": "concentrate_l_per_day"}
_STATE_NAMES: Mapping[str, str] = {**_SHORT, **_LOSSES}
_DIGITS = {"volume": VOLUME, "concentration": CONCENTRATION}
_KEYS = str.maketrans({",": r"\,", "=": r"\=", " ": r"\ ", "\n": r"\ ", "\r": r"\ "})
_TEXT = str.maketrans({'"': r"\"", "\\": r"\\", "\n": " ", "\r": " "})


def escaped(text: str) -> str:
    """Write a tag's value or a key; what cannot stand there is escaped, a line's end a blank."""
    return text.translate(_KEYS)


def line(head: str, fields: Iterable[tuple[str, Field]], at: Instant) -> str | None:
    """One line: measurement with its tags, fields, time; nothing where no field has a value."""
    written = ",".join(f"{name}={_field(value)}" for name, value in fields if value is not None)
    return f"{head} {written} {at}" if written else None


def _field(value: float | str | bool) -> str:  # noqa: FBT001  a value, no flag
    """Write a field's value: every number as a float, so that its type never changes."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value.translate(_TEXT)}"'
    return repr(float(value))


class Lines:
    """Makes lines of what is stored.

    Parameters
    ----------
    plant : Plant
        Its id is a tag, its signals have units.
    """

    def __init__(self, plant: Plant) -> None:
        self._plant = plant
        self._tag = f"plant={escaped(plant.id)}"
        self._heads: dict[tuple[str, Signal], str] = {}

    def of_batch(self, batch: Batch) -> list[str]:
        """Lines of all that a transaction writes."""
        lines = [
            f"reading{self._of_signal(sump, signal)} value={value!r} {at}"
            if used
            else f"reading{self._of_signal(sump, signal)} value={value!r},used=false {at}"
            for sump, signal, at, value, used in batch.readings
        ]
        several: tuple[Iterator[str | None], ...] = (
            (self._of_row(sump, row) for sump, row in batch.history),
            (self.of_event(sump, event) for sump, event in batch.events),
            (self._of_report(stored) for stored in batch.entries),
            (self._of_change(change) for change in batch.changes),
        )
        for found in several:
            lines.extend(made for made in found if made is not None)
        return lines

    def of_summed(self, summed: Summed) -> str | None:
        """Line of a reading, or of what is kept of a minute or an hour."""
        tags = self._of_signal(summed.sump, Signal(summed.signal))
        if summed.kept == "reading":
            fields: tuple[tuple[str, Field], ...] = (("value", summed.mean),)
            if not summed.used:
                fields += (("used", False),)
            return line(f"reading{tags}", fields, summed.at)
        ends = (("low", summed.low), ("high", summed.high), ("mean", summed.mean))
        head = f"reading_{summed.kept}{tags}"
        return line(head, (*ends, ("readings", float(summed.readings))), summed.at)

    def of_snapshot(self, sump: str, told: Snapshot) -> str | None:
        """Line of a state as it was told."""
        estimates = {
            "volume": told.volume,
            "concentration": told.concentration,
            "water_loss": told.water_loss,
            "concentrate_loss": told.concentrate_loss,
        }
        return self._state(sump, told.at, estimates)

    def of_event(self, sump: str, event: SumpEvent) -> str | None:
        """Line of an event; one that was withdrawn says so in its place."""
        fields: list[tuple[str, Field]] = [
            ("id", event.id),
            ("kind", event.kind),
            ("source", event.source),
            *_pair("volume_l", event.volume, 1.0, VOLUME),
            *_pair("strength_pct", event.strength, 100.0, CONCENTRATION),
        ]
        return line(f"sump_event,{self._tag},sump={escaped(sump)}", fields, event.at)

    def _of_signal(self, sump: str, signal: Signal) -> str:
        """Tags of a signal's series."""
        head = self._heads.get((sump, signal))
        if head is None:
            plan = self._plant.sumps.get(sump)
            bound = None if plan is None else plan.signals.get(signal)
            unit = internal_unit(signal) if bound is None else internal_unit(signal, bound.kind)
            tail = f",unit={escaped(unit)}" if unit else ""
            head = f",{self._tag},sump={escaped(sump)},signal={signal.value}{tail}"
            self._heads[sump, signal] = head
        return head

    def _of_row(self, sump: str, row: Row) -> str | None:
        """Line of a state as the store writes it."""
        cells = iter(row[3:])
        estimates: dict[str, Estimate | None] = {}
        for name, steps in ESTIMATES:
            value, sd = next(cells), next(cells)
            estimates[name] = None if value is None else Estimate(value / steps, sd / steps)
        return self._state(sump, row[0], estimates)

    def _state(
        self, sump: str, at: Instant, estimates: Mapping[str, Estimate | None]
    ) -> str | None:
        """Line of a state."""
        fields = [
            pair
            for name, key in _STATE_NAMES.items()
            for pair in _pair(
                key,
                estimates[name],
                100.0 if name == "concentration" else 1.0,
                _DIGITS.get(name, LOSS),
            )
        ]
        return line(f"sump_state,{self._tag},sump={escaped(sump)}", fields, at)

    def _of_report(self, stored: StoredEntry) -> str | None:
        """Line of what somebody reported."""
        entry = stored.entry
        body = asdict(entry)
        kind = body.pop("kind", None)
        name = type(entry).__name__.lower()
        fields: list[tuple[str, Field]] = [("id", entry_id(entry))]
        if isinstance(kind, str):
            fields.append(("what", str(kind)))
        skipped = {"at", "id"} if not isinstance(entry, Delivery) else {"at"}
        fields += [
            (key, float(v) if isinstance(v, int | float) and not isinstance(v, bool) else v)
            for key, v in body.items()
            if key not in skipped and isinstance(v, int | float | str | bool) and v != ""
        ]
        head = f"report,{self._tag},sump={escaped(stored.sump)},kind={name}"
        return line(head, fields, entry.at)

    def _of_change(self, change: AlarmChange) -> str | None:
        """Line of an alarm's change."""
        signal = "" if change.signal is None else f",signal={change.signal.value}"
        head = f"alarm,{self._tag},about={escaped(change.about or 'plant')},name={change.name}"
        fields: tuple[tuple[str, Field], ...] = (
            ("state", change.state),
            ("priority", change.priority),
            ("value", change.value),
            ("by", change.by),
        )
        return line(head + signal, fields, change.at)


def _pair(
    key: str, estimate: Estimate | None, factor: float, digits: int
) -> Iterator[tuple[str, Field]]:
    """Value and sd as fields, in the digits that the messages tell."""
    if estimate is not None:
        yield key, round(estimate.value * factor, digits)
        yield f"{key}_sd", round(estimate.sd * factor, digits)


MakeLines: TypeAlias = Callable[[Batch], list[str]]
