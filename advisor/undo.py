"""Second thoughts about events: what was told in vain, and drains that were a leak."""

from dataclasses import replace

import numpy as np

from advisor import states as s
from advisor.belief import Core, EventNote
from advisor.events import weigh
from advisor.filter_step import Matrix, Vector, forget, shock
from advisor.hypotheses import WAYS, Verdict
from advisor.words import HOUR, MINUTE, Instant
from advisor.working import Working

SOON: Instant = 90 * MINUTE
"""An addition of which nothing arrives shows within this. [ms]"""
ALIKE = 0.15
"""Relative difference at which a missing volume is the told one. [1]"""
LEAKING: Instant = 8 * HOUR
"""Drains that nobody told of with less than this between them are a leak. [ms]"""


def told_in_vain(core: Core, verdict: Verdict, began: Instant) -> EventNote | None:
    """Give the addition that a sudden lack says never came: told twice, or a meter's error."""
    if verdict.kind != "drain":
        return None
    lack = -float(verdict.size.sum())
    sd = float(verdict.spread.sum()) ** 0.5
    for note in reversed(core.notes):
        volume = note.told.volume
        if note.place < 0 or volume is None or note.told.kind != "addition":
            continue
        near = -SOON <= began - note.told.at <= SOON
        alike = abs(lack - volume.value) < max(
            ALIKE * volume.value, 2.0 * (sd**2 + volume.sd**2) ** 0.5
        )
        if near and alike and note.told.source != "inferred":
            return note
    return None


def cancel(work: Working, core: Core, verdict: Verdict, note: EventNote) -> Core:
    """Take back what was poured for an event, as of the moment when it did not show."""
    pair, first = s.event_pair(note.place), WAYS * verdict.place
    strength = 0.0 if note.told.strength is None else note.told.strength.value
    mix = np.array((1.0 - strength, strength))
    effect = mix @ work.bank.rows[first : first + 2]
    effect[[s.ADDED_WATER, s.ADDED_CONCENTRATE]] += mix
    shock(work.mean, work.cov, effect, float(verdict.size.sum()), float(verdict.spread.sum()))
    for place in (pair, pair + 1):
        forget(work.mean, work.cov, place, 0.0, 0.0)
    return replace(core, notes=_withdrawn(core.notes, (note,)))


def _withdrawn(notes: tuple[EventNote, ...], gone: tuple[EventNote, ...]) -> tuple[EventNote, ...]:
    """Give the notes with some of them told as no events."""
    return tuple(
        [
            replace(note, told=replace(note.told, kind="withdrawn"), place=-1)
            if note in gone
            else note
            for note in notes
        ]
    )


def as_leak(work: Working, core: Core) -> Core:
    """Book drains that follow one another as a leak: fluid that was lost.

    Somebody who drains does it once; a sump that keeps falling by more than its rates explain
    loses its fluid.
    """
    drains = tuple(
        [
            note
            for note in core.notes
            if note.told.kind == "drain" and note.told.source == "inferred" and note.place >= 0
        ]
    )
    if not drains:
        return core
    goes_on = core.leaking >= 0 and drains[-1].told.at - core.leaking <= LEAKING
    follows = len(drains) > 1 and drains[-1].told.at - drains[-2].until <= LEAKING
    if not goes_on and not follows:
        return core
    gone = drains[-1:] if goes_on else drains[-2:]
    for note in gone:
        pair = s.event_pair(note.place)
        rebook(work.mean, work.cov, pair, s.DRAINED_WATER, s.LOST_WATER, 1.0)
        rebook(work.mean, work.cov, pair + 1, s.DRAINED_CONCENTRATE, s.LOST_CONCENTRATE, 1.0)
    notes = withdrawn(core.notes, gone, work.mean, work.cov)
    return replace(core, notes=notes, growing=-1, leaking=work.at)


def withdrawn(
    notes: tuple[EventNote, ...], gone: tuple[EventNote, ...], mean: Vector, cov: Matrix
) -> tuple[EventNote, ...]:
    """Give the notes as they are by now, with some of them told as no events."""
    known = tuple([weigh(note, mean, cov) for note in notes])
    return _withdrawn(known, tuple([weigh(note, mean, cov) for note in gone]))


def rebook(mean: Vector, cov: Matrix, pair: int, source: int, target: int, sign: float) -> None:
    """Take an event's amount out of one total, and put it to another with a sign. [L]"""
    amount = float(mean[pair])
    mean[source] -= amount
    mean[target] += sign * amount
    for total, by in ((source, -1.0), (target, sign)):
        cov[total] += by * cov[pair]
        cov[:, total] += by * cov[:, pair]
