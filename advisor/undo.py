"""Second thoughts about events: what was told in vain, and drains that were a leak."""

from dataclasses import replace

import numpy as np

from advisor import states as s
from advisor.balance import concentration
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


LEAK_SEEN: Instant = HOUR
LEAK_SD = 6.0
"""By how much a leak that was seen within so long may go on in one slot. [L]"""


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
        _rebook(work.mean, work.cov, pair, s.DRAINED_WATER, s.LOST_WATER)
        _rebook(work.mean, work.cov, pair + 1, s.DRAINED_CONCENTRATE, s.LOST_CONCENTRATE)
    known = tuple([weigh(note, work.mean, work.cov) for note in core.notes])
    withdrawn = _withdrawn(known, tuple([weigh(note, work.mean, work.cov) for note in gone]))
    return replace(core, notes=withdrawn, growing=-1, leaking=work.at)


def let_leak(work: Working, core: Core, begin: Instant) -> None:
    """Leave room for more of a leak that was seen a moment ago."""
    if core.leaking < 0 or begin - core.leaking > LEAK_SEEN:
        return
    strength = concentration(work.mean)
    shape = np.zeros(s.SIZE)
    shape[[s.V, s.C, s.LOST_WATER, s.LOST_CONCENTRATE]] = -1.0, -strength, 1.0 - strength, strength
    shock(work.mean, work.cov, shape, 0.0, LEAK_SD**2)


def _rebook(mean: Vector, cov: Matrix, pair: int, source: int, target: int) -> None:
    """Move an event's amount from one total to another. [L]"""
    amount = float(mean[pair])
    mean[source] -= amount
    mean[target] += amount
    for total, sign in ((source, -1.0), (target, 1.0)):
        cov[total] += sign * cov[pair]
        cov[:, total] += sign * cov[:, pair]
