"""Forms of payload: which reader a topic's bindings ask for, and where in a payload values stand.

A form is chosen by how a signal is bound: by pointers, a JSON document; by none, a SenML pack where
the payload is a JSON array, else a bare value. Another form joins by another reader here.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from advisor.plan import SumpPlan
from advisor.words import Instant, Signal
from agent.arrival import Arrival
from agent.decode.json_payload import MISSING, Pointer, parse
from agent.decode.meaning import Meaning, meaning_of
from agent.decode.problem import PayloadError
from agent.decode.results import Reason, Refusal, Sample
from agent.decode.senml import Record, resolve
from agent.decode.times import instant_in
from agent.plant.plant import Binding
from agent.refusals import printable, refusal_of, shown

Pieces: TypeAlias = list[Sample | Refusal]
Reader: TypeAlias = Callable[[Arrival], Sequence[Sample | Refusal]]
"""Reads one message, or raises `PayloadError` where all of it is of no use."""

# A sample is made for every reading: so it takes half the time.
_new = tuple.__new__

_BEFORE_VALUE = b" \t\r\n\xef\xbb\xbf"
"""Blanks, and the bytes of a UTF-8 byte order mark."""

_NAMES_TOLD = 200
"""Names and keys found in a payload are told up to this length. [characters]"""


def reader_of(bindings: Sequence[tuple[Binding, SumpPlan]]) -> Reader:
    """Make the reader of a topic for all the signals that it carries."""
    plain = [_Source.of(*bound) for bound in bindings if not _has_pointer(bound[0])]
    pointed = [_PointedSource.of(*bound) for bound in bindings if _has_pointer(bound[0])]
    if not pointed:
        return PlainReader(plain).read
    if not plain:
        return PointerReader(pointed).read
    readers = (PlainReader(plain).read, PointerReader(pointed).read)
    return lambda arrival: [piece for read in readers for piece in _guarded(read, arrival)]


def _guarded(read: Reader, arrival: Arrival) -> Sequence[Sample | Refusal]:
    """Let one reader's trouble with a payload not hide what the other one finds."""
    try:
        return read(arrival)
    except PayloadError as error:
        return (refusal_of(arrival, error.reason, error.detail),)


def _has_pointer(binding: Binding) -> bool:
    """Whether a signal is found in JSON by pointers."""
    pointers = (binding.value_pointer, binding.time_pointer, binding.unit_pointer)
    return any(pointer is not None for pointer in pointers)


@dataclass(frozen=True, slots=True)
class _Source:
    """One signal that a topic carries."""

    sump: str
    signal: Signal
    meaning: Meaning
    name: str | None
    """Of its SenML records, where a pack holds several names."""

    @classmethod
    def of(cls, binding: Binding, sump: SumpPlan) -> "_Source":
        """Take from a binding what its reader needs."""
        meaning = meaning_of(binding, sump.signals[binding.signal])
        return cls(binding.sump, binding.signal, meaning, binding.name)

    def refuse(self, arrival: Arrival, error: PayloadError) -> Refusal:
        """Refuse this signal's part of a payload."""
        detail = f"{self.signal}: {error.detail}"
        return refusal_of(arrival, error.reason, detail, sump=self.sump)


class PlainReader:
    """Reads bare values and SenML packs.

    Parameters
    ----------
    sources : sequence of _Source
        The signals of the topic. A bare value is each one's value; of a pack each takes the records
        of its name, or all records where the pack has one name only.
    """

    def __init__(self, sources: Sequence[_Source]) -> None:
        self._sources = tuple(sources)
        self._bare = [
            (source.sump, source.signal, source.meaning.of_payload) for source in self._sources
        ]

    def read(self, arrival: Arrival) -> Sequence[Sample | Refusal]:
        """Read one message."""
        payload = arrival.payload
        if b"[" in payload and payload.lstrip(_BEFORE_VALUE)[:1] == b"[":
            return self._read_pack(arrival)
        samples = []
        try:
            for sump, signal, of_payload in self._bare:
                samples.append(_new(Sample, (sump, signal, None, of_payload(payload))))
        except PayloadError:
            return [self._read_bare(source, arrival) for source in self._sources]
        return samples

    def _read_bare(self, source: _Source, arrival: Arrival) -> Sample | Refusal:
        """Read a bare value for one signal."""
        try:
            value = source.meaning.of_payload(arrival.payload)
        except PayloadError as error:
            return source.refuse(arrival, error)
        return Sample(source.sump, source.signal, None, value)

    def _read_pack(self, arrival: Arrival) -> Sequence[Sample | Refusal]:
        """Read a SenML pack; its samples come in the order of their times."""
        records = resolve(parse(arrival.payload), arrival.at)
        names = list(dict.fromkeys(record.name for record in records))
        pieces: Pieces = []
        takers: dict[str, list[_Source]] = {}
        for source in self._sources:
            try:
                name = _pick(names, source.name)
            except PayloadError as error:
                pieces.append(source.refuse(arrival, error))
            else:
                takers.setdefault(name or "", []).append(source)
        if not pieces and takers.keys() == {""}:
            raise PayloadError(
                Reason.SENML,
                f"the pack has {_listed(names)}; "
                f"expected {_listed(sorted(source.name or '' for source in self._sources))}",
            )
        for record in records:
            for source in takers.get(record.name, ()):
                pieces.append(_sample_of_record(source, record, arrival))
        return pieces


def _pick(names: Sequence[str], wanted: str | None) -> str | None:
    """Name in a pack that a binding means; `None` where the pack has nothing of it.

    Without a name bound, a pack must be about one thing. A bound name is the full name, or its last
    part where only one name of the pack ends so: ``level`` finds ``mill-07:level``.
    """
    if wanted is None:
        if len(names) == 1:
            return names[0]
        raise PayloadError(
            Reason.SENML,
            f"the pack has {len(names)} names, {_listed(names)}; expected one, or name set",
        )
    if wanted in names:
        return wanted
    ends = tuple(f"{mark}{wanted}" for mark in ":/.")
    candidates = [name for name in names if name.endswith(ends)]
    if len(candidates) > 1:
        raise PayloadError(
            Reason.SENML,
            f"{shown(wanted)} may be {_listed(candidates)}; expected name to be a full name",
        )
    return candidates[0] if candidates else None


def _sample_of_record(source: _Source, record: Record, arrival: Arrival) -> Sample | Refusal:
    """Read one record for one signal."""
    try:
        value = source.meaning.of_record(record)
    except PayloadError as error:
        return source.refuse(arrival, error)
    return Sample(source.sump, source.signal, _time_of_record(record, arrival), value)


def _time_of_record(record: Record, arrival: Arrival) -> Instant | None:
    """Time of a record, where it has one.

    A relative time holds against the moment of sending, of which a message that was retained,
    delivered again or queued says nothing; and "now" is no better than the time of arrival.
    """
    waited = arrival.retain or arrival.redelivered or arrival.queued
    if record.relative and (waited or record.at == arrival.at):
        return None
    return record.at


@dataclass(frozen=True, slots=True)
class _PointedSource(_Source):
    """One signal that stands in a JSON document."""

    value: Pointer
    time: Pointer | None
    unit: Pointer | None

    @classmethod
    def of(cls, binding: Binding, sump: SumpPlan) -> "_PointedSource":
        """Take from a binding what its reader needs; no value pointer: the whole document."""
        return cls(
            binding.sump,
            binding.signal,
            meaning_of(binding, sump.signals[binding.signal]),
            None,
            Pointer(binding.value_pointer or ""),
            None if binding.time_pointer is None else Pointer(binding.time_pointer),
            None if binding.unit_pointer is None else Pointer(binding.unit_pointer),
        )

    def sample(self, found: object, document: object) -> Sample:
        """Make a sample of the value that was found."""
        unit = None if self.unit is None else _unit_in(self.unit.find(document))
        value = self.meaning.of_json(found, unit)
        return Sample(self.sump, self.signal, self._time_in(document), value)

    def _time_in(self, document: object) -> Instant | None:
        """Time of the value, where the document states one."""
        if self.time is None:
            return None
        found = self.time.find(document)
        return None if found is MISSING else instant_in(found)


def _unit_in(found: object) -> str | None:
    """Unit that a document states; `None` where it states none."""
    if found is MISSING or found is None:
        return None
    if isinstance(found, str):
        return found
    raise PayloadError(Reason.UNIT, f"the unit is {shown(found)}; expected text")


class PointerReader:
    """Reads JSON documents in which pointers lead to values, times and units.

    A document without the value of one signal but with another's is no error: gateways send what
    has changed. One in which no pointer leads anywhere is refused.
    """

    def __init__(self, sources: Sequence[_PointedSource]) -> None:
        self._sources = tuple(sources)

    def read(self, arrival: Arrival) -> Sequence[Sample | Refusal]:
        """Read one message."""
        document = parse(arrival.payload)
        pieces: Pieces = []
        for source in self._sources:
            found = source.value.find(document)
            if found is not MISSING:
                try:
                    pieces.append(source.sample(found, document))
                except PayloadError as error:
                    pieces.append(source.refuse(arrival, error))
        if not pieces:
            pointers = _listed([source.value.text for source in self._sources])
            raise PayloadError(
                Reason.POINTER, f"nothing at {pointers}; the document is {_outline(document)}"
            )
        return pieces


def _outline(document: object) -> str:
    """Say what a document is, an object by its keys."""
    if isinstance(document, dict) and document:
        return f"an object with {_listed(list(document))}"
    return shown(document)


def _listed(names: Sequence[str]) -> str:
    """Names in quotes, as many as a person reads."""
    return printable(", ".join(shown(name) for name in names[:20]), _NAMES_TOLD)
