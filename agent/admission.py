"""Which samples and reports count, by their times: no clock here, every message brings its own.

A reading has its payload's time, else that of its arrival. What lies in the future or too far back
is refused, what comes late takes its place or is kept unused, what came before counts no second
time.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import NamedTuple, TypeAlias

from advisor.words import MINUTE, Entry, Instant, Reading, Signal
from agent.arrival import Arrival
from agent.decode.results import Reason, Refusal, Report, Sample
from agent.instants import text_of
from agent.plant.plant import Plant
from agent.refusals import refusal_of

FUTURE_MAX: Instant = 5 * MINUTE
"""So far may a clock in the plant be ahead of the agent's. [ms]"""

REDELIVERY_MAX: Instant = 60 * MINUTE
"""So long is a report remembered, to know it again when the broker delivers it twice. [ms]"""

GENERATION = 1024
"""Times that are remembered before the older half is forgotten; the store knows the rest. [1]"""

_NEVER: Instant = -(1 << 62)


class Take(NamedTuple):
    """It counts: a reading for the balance."""

    reading: Reading
    sump: str


@dataclass(frozen=True, slots=True)
class Keep:
    """It is stored and not used."""

    reading: Reading
    sump: str
    why: str


@dataclass(frozen=True, slots=True)
class Repeat:
    """A reading of this signal and time has been accepted before."""


Verdict: TypeAlias = Take | Keep | Repeat | Refusal


@dataclass(frozen=True, slots=True)
class Accepted:
    """A report that counts, unless one of its id is in the store already."""

    sump: str
    entry: Entry
    used: bool = True
    """False: kept in the records only, since nobody knows when it happened."""


_REPEAT = Repeat()


class Track:
    """What is known of one signal's times."""

    __slots__ = ("counts_undated", "floor", "lateness", "newest", "older", "undated", "young")

    def __init__(self, newest: Instant | None, lateness: Instant, *, counts_undated: bool) -> None:
        self.newest = _NEVER if newest is None else newest
        self.lateness = lateness
        self.counts_undated = counts_undated
        """On and off count even if redelivered without a time: the newest one is the present."""
        self.undated = _NEVER
        """Time given to the newest reading that had none."""
        self.floor = self.newest + 1
        """From here on every accepted time is remembered; before, the store must be asked."""
        self.young: set[Instant] = set()
        self.older: set[Instant] = set()

    def remember(self, at: Instant) -> None:
        """Note an accepted time; memory is bounded by forgetting a generation at a time."""
        self.young.add(at)
        if len(self.young) >= GENERATION:
            self.grow_old()

    def grow_old(self) -> None:
        """Forget the older times: the store knows them."""
        if self.older:
            self.floor = max(self.floor, max(self.older) + 1)
        self.older = self.young
        self.young = set()


class Admission:
    """Judges by time what was decoded, signal by signal.

    Parameters
    ----------
    plant : Plant
        Its signals, lateness and backlog.
    newest : mapping of (sump, signal) to Instant
        Newest accepted reading of each signal, as the store has it.
    seen : callable
        Asks the store whether it has a reading of a sump, signal and time. It need not know the
        last thousand accepted readings of each signal: those are remembered here.

    Attributes
    ----------
    tracks : dict of (sump, signal) to Track
        What is known of each signal's times.
    """

    def __init__(
        self,
        plant: Plant,
        newest: Mapping[tuple[str, Signal], Instant],
        seen: Callable[[str, Signal, Instant], bool],
    ) -> None:
        self._backlog_max = plant.backlog_max_ms
        self._seen_in_store = seen
        self.tracks = {
            (binding.sump, binding.signal): Track(
                newest.get((binding.sump, binding.signal)),
                plant.lateness_ms if binding.lateness_ms is None else binding.lateness_ms,
                counts_undated=_is_switch(plant, binding.sump, binding.signal),
            )
            for binding in plant.bindings
        }
        self._reports: dict[bytes, tuple[Instant, Entry]] = {}

    # --- readings --------------------------------------------------------------------------------

    def admit(self, sample: Sample, arrival: Arrival) -> Verdict:
        """Judge a sample of a bound signal.

        Parameters
        ----------
        sample : Sample
            As decoded.
        arrival : Arrival
            The message that brought it.

        Returns
        -------
        Take
            In order, or late within the signal's lateness.
        Keep
            Later than that; or redelivered without a time, so that nobody knows when it held.
        Repeat
            Accepted before.
        Refusal
            From the future, from before the backlog, or retained and not dated and new.
        """
        track = self.tracks[sample.sump, sample.signal]
        at = sample.at
        if at is None:
            return self._admit_undated(track, sample, arrival)
        now = arrival.at
        if at > track.newest and now - self._backlog_max <= at <= now + FUTURE_MAX:
            return _take(track, sample, at)
        return self._admit_dated(track, sample, at, arrival)

    def _admit_undated(self, track: Track, sample: Sample, arrival: Arrival) -> Verdict:
        """Judge a sample that holds for the moment of its arrival."""
        if arrival.retain and sample.signal is not Signal.RUNNING:
            return refusal_of(
                arrival,
                Reason.RETAINED,
                f"{sample.signal} was retained and has no time; expected a dated payload",
                sump=sample.sump,
            )
        # Readings of one millisecond would pass for repeats: they are put one after the other.
        at = max(arrival.at, track.undated + 1)
        while at <= track.newest and self._is_repeat(track, sample, at):
            at += 1
        track.undated = at
        if (arrival.redelivered or arrival.queued) and not track.counts_undated:
            track.remember(at)
            return Keep(
                Reading(at, sample.signal, sample.value),
                sample.sump,
                "delivered again or after a wait, without a time: nobody knows when it held",
            )
        return self._admit_in_place(track, sample, at)

    def _admit_dated(self, track: Track, sample: Sample, at: Instant, arrival: Arrival) -> Verdict:
        """Judge a dated sample that is not simply the next one of its signal."""
        refusal = self.untimely(at, arrival, sump=sample.sump)
        if refusal is not None:
            if refusal.reason is Reason.TOO_OLD and self._is_present_state(track, sample, arrival):
                return _take(track, sample, arrival.at)
            return refusal
        if self._is_repeat(track, sample, at):
            return _REPEAT
        if arrival.retain:
            return refusal_of(
                arrival,
                Reason.RETAINED,
                f"{sample.signal} was retained and is of {_said(at)}; expected one newer than "
                f"{_said(track.newest)}, the newest of its signal",
                sump=sample.sump,
            )
        return self._admit_in_place(track, sample, at)

    def _admit_in_place(self, track: Track, sample: Sample, at: Instant) -> Take | Keep:
        """Take a sample that is new, or keep one that is too late."""
        late = track.newest - at
        if late <= track.lateness:
            return _take(track, sample, at)
        track.remember(at)
        return Keep(
            Reading(at, sample.signal, sample.value),
            sample.sump,
            f"late by {late / MINUTE:.1f} min against the newest of its signal; "
            f"allowed are {track.lateness / MINUTE:.1f} min",
        )

    def _is_present_state(self, track: Track, sample: Sample, arrival: Arrival) -> bool:
        """Whether it is a retained `running` of long ago, where nothing newer is known."""
        return arrival.retain and sample.signal is Signal.RUNNING and track.newest == _NEVER

    def _is_repeat(self, track: Track, sample: Sample, at: Instant) -> bool:
        """Whether a reading of this signal and time was accepted before."""
        if at in track.young or at in track.older:
            return True
        return at < track.floor and self._seen_in_store(sample.sump, sample.signal, at)

    # --- reports ---------------------------------------------------------------------------------

    def admit_report(self, report: Report, arrival: Arrival) -> Accepted | Refusal:
        """Judge what a person or a station reported; the store settles repeats by its id.

        A redelivered report that was accepted within the last hour comes back as it was then, id
        and time included, even where it carried neither. One that waited at the broker and does not
        say when it happened is kept and not used.
        """
        entry = report.entry
        key = sha256(arrival.topic.encode() + b"\0" + arrival.payload).digest()
        first, before = self._reports.get(key, (_NEVER, entry))
        if arrival.redelivered and arrival.at - first <= REDELIVERY_MAX:
            return Accepted(report.sump, before)
        refusal = self.untimely(entry.at, arrival, sump=report.sump, report=True)
        if refusal is not None:
            return refusal
        self._reports.pop(key, None)
        self._reports[key] = (arrival.at, entry)
        if len(self._reports) > GENERATION:
            del self._reports[next(iter(self._reports))]
        used = report.dated or arrival.redelivered or not arrival.queued
        return Accepted(report.sump, entry, used)

    def untimely(
        self, at: Instant, arrival: Arrival, *, sump: str | None = None, report: bool = False
    ) -> Refusal | None:
        """Refuse what is from the future or from before the backlog; reports: retained ones too.

        Parameters
        ----------
        at : Instant
            When it held or happened. [ms]
        arrival : Arrival
            The message that brought it.
        sump : str, optional
            Of which sump it is.
        report : bool
            Whether it is something said once by a person or a station: then a retained one, which
            comes again with every connection, says nothing new.
        """
        if report and arrival.retain:
            reason = Reason.RETAINED
            detail = "it was retained and would be said again and again; expected it not retained"
        elif at > arrival.at + FUTURE_MAX:
            reason = Reason.FUTURE
            detail = f"{_said(at)} is {_span(at - arrival.at)} after arrival; allowed are 5 min"
        elif at < arrival.at - self._backlog_max:
            reason = Reason.TOO_OLD
            detail = (
                f"{_said(at)} is {_span(arrival.at - at)} before arrival; "
                f"allowed are {_span(self._backlog_max)}"
            )
        else:
            return None
        return refusal_of(arrival, reason, detail, sump=sump)


def _is_switch(plant: Plant, sump: str, signal: Signal) -> bool:
    """Whether a signal is on or off."""
    if signal is Signal.CUTTING:
        plan = plant.sumps[sump].signals.get(signal)
        return plan is None or not plan.counter
    return signal is Signal.RUNNING


def _take(track: Track, sample: Sample, at: Instant) -> Take:
    """Let a sample count."""
    track.newest = max(track.newest, at)
    track.remember(at)
    return Take(Reading(at, sample.signal, sample.value), sample.sump)


def _said(at: Instant) -> str:
    """Write a moment for people, whatever a plant made of it."""
    try:
        return text_of(at)
    except ValueError:
        return f"{at} ms"


def _span(length: Instant) -> str:
    """Write a span of time for people."""
    for unit, size in (("d", 86_400_000), ("h", 3_600_000), ("min", 60_000)):
        if length >= 2 * size:
            return f"{length / size:.1f} {unit}"
    return f"{length / 1000:.0f} s"
