"""Judging the steps that nobody told of: which one it was, and what the filter makes of it."""

from dataclasses import replace

import numpy as np

from advisor import balance, events, hypotheses, rushes, undo
from advisor import states as s
from advisor.belief import Core, EventNote, SensorStep
from advisor.filter_step import Vector, shock
from advisor.hypotheses import RATES, WAYS, Expected, Verdict
from advisor.pumps import days
from advisor.words import MINUTE, EventKind, Instant, Signal
from advisor.working import Working

ADDITION = Expected(per_day=1.5, size=20.0, strength=0.03, strength_sd=0.04)
DRAIN = Expected(per_day=0.02, size=30.0)
LEVEL_STEP = Expected(per_day=0.003, size=15.0)
BRIX_STEP = Expected(per_day=0.005, size=0.7)
"""How often people and sensors do such things, and how large; common practice."""
USUAL_BRIM = 450.0
"""The litres above and below are those of a sump of this size; larger ones move more. [L]"""
ACCEPTED = 4.0
"""Posterior log odds against no step from which on one is believed. [1]"""
ACCEPTED_SMALL = 8.0
"""Likewise for what foam could be. [1]"""
CLEAR = 1.5
"""Lead in log odds over any other step, unless time is up. [1]"""
UNSTIRRED = 14.0
"""Where no step explains so much, none is weighed. [1]"""
PATIENCE: Instant = 30 * MINUTE
"""For so long a lead is waited for, and whether it was not bubbles. [ms]"""
TWO_SLOTS: Instant = 8 * MINUTE
SMALLEST = 1.5
SMALLEST_DRAIN = 5.0
"""Steps under this are left to the rates: chip bins carry off a litre or two. [L]"""
SMALLEST_LEVEL = 8.0
"""Under this foam and lumps look the same. [mm]"""
SMALLEST_BRIX = 0.35
"""Under this the instrument wanders. [°Brix]"""
SURE_AT_ONCE = 9.0
"""Steps under this have to last for two slots: foam comes and goes. [L]"""
ONE_EVENT: Instant = 15 * MINUTE
"""Buckets poured with less than this between them are one event. [ms]"""
GROWTH_SD = 5.0
"""By how much a pouring that was found may go on in one slot. [L]"""
MIXING: Instant = 15 * MINUTE
"""How long an addition takes to mix while the pumps run; common practice. [ms]"""


_LEVEL = (0.0, 0.0, 1.0, 0.0, 0.0, 0.0)
_BRIX = (0.0, 0.0, 0.0, 1.0, 0.0, 0.0)


def judge(work: Working, core: Core, days: float) -> Core:
    """Believe the likeliest step where it is likely enough, and put it into the filter.

    `days` is the time that one suspected beginning stands for. [d]
    """
    if work.bank.stirred() < UNSTIRRED:
        return core
    scale = _scale(work)
    likely = _likely(work, core, days, scale)
    if not likely:
        return core
    best = likely[-1]
    small = best.kind in {"addition", "drain"} and abs(_volume(best)) < SURE_AT_ONCE * scale
    doubt = ACCEPTED_SMALL - ACCEPTED if small else 0.0
    work.pending = _weighed(work, likely, doubt)
    if best.odds < ACCEPTED + doubt:
        return core
    began = work.bank.begun[best.place]
    lead = best.odds - likely[-2].odds if len(likely) > 1 else CLEAR
    if work.at - began < PATIENCE and (lead < CLEAR or best.kind == "brix"):
        return core
    rush = best.kind in {"leak", "ingress"}
    if (small and work.at - began < TWO_SLOTS) or (
        rush and not rushes.lasted(work, core, _volume(best) / scale, began)
    ):
        return core
    ways, work.pending = _weighed(work, likely, 0.0), ()
    undone = undo.told_in_vain(core, best, began)
    if undone is not None:
        core = undo.cancel(work, core, best, undone)
    elif best.kind in {"addition", "drain"}:
        core = undo.as_leak(work, _pour(work, core, best, began))
    elif rush:
        core = rushes.believe(work, core, best, began)
    else:
        core = _shift(work, core, best, began)
    _keep_doubt(work, ways)
    work.bank.clear()
    return core


def _likely(work: Working, core: Core, days: float, scale: float) -> list[Verdict]:
    """Weigh every kind of step; those that the tank could do, the likeliest last."""
    strength = balance.concentration(work.mean)
    addition = replace(ADDITION, size=ADDITION.size * scale)
    drain = replace(DRAIN, size=DRAIN.size * scale)
    out = (-(1.0 - strength), -strength, 0.0, 0.0, 0.0, 0.0)
    verdicts = [
        hypotheses.weigh_addition(work.bank, addition, days),
        hypotheses.weigh_line(work.bank, "drain", out, drain, days),
        hypotheses.weigh_line(work.bank, "level", _LEVEL, LEVEL_STEP, days),
        hypotheses.weigh_line(work.bank, "brix", _BRIX, BRIX_STEP, days),
        *(rushes.weigh(work, core, days, scale) if Signal.RUNNING in work.plan.signals else ()),
    ]
    return sorted(
        [verdict for verdict in verdicts if verdict is not None and _possible(work, core, verdict)],
        key=_odds,
    )


def _weighed(
    work: Working, likely: list[Verdict], doubt: float
) -> tuple[tuple[float, Vector], ...]:
    """Give every way it may have been, the likeliest last: its probability, and what it does.

    That nothing happened is the first of them; `doubt` speaks for it. [1]
    """
    odds = np.array([doubt, *[verdict.odds for verdict in likely]])
    shares = np.exp(odds - odds.max())
    effects = [np.zeros(s.SIZE), *[_effect(work, verdict) for verdict in likely]]
    return tuple(zip((shares / shares.sum()).tolist(), effects, strict=True))


def _effect(work: Working, verdict: Verdict) -> Vector:
    """Give what believing a step does to the state, but not to the notes of single events."""
    first = WAYS * verdict.place
    if verdict.kind in {"leak", "ingress"}:
        effect: Vector = verdict.size @ work.bank.rows[first + RATES : first + WAYS]
    elif verdict.kind in {"level", "brix"}:
        row = work.bank.rows[first + (2 if verdict.kind == "level" else 3)]
        effect = float(verdict.size[0]) * row
    else:
        effect = verdict.size @ work.bank.rows[first : first + 2]
        if verdict.kind == "addition":
            effect[[s.ADDED_WATER, s.ADDED_CONCENTRATE]] += verdict.size
        else:
            effect[[s.DRAINED_WATER, s.DRAINED_CONCENTRATE]] -= verdict.size
    effect[s.EVENTS : s.CLONES] = 0.0
    return effect


def _keep_doubt(work: Working, ways: tuple[tuple[float, Vector], ...]) -> None:
    """Let the spread hold that it may have been another of the ways: the mixture's moments."""
    _, believed = ways[-1]
    for share, effect in ways[:-1]:
        shock(work.mean, work.cov, effect - believed, 0.0, share)


def _scale(work: Working) -> float:
    """Give how much more is poured and moved here than in a machine's usual sump. [1]"""
    return max(work.prior.brim / USUAL_BRIM, 1.0)


def _odds(verdict: Verdict) -> float:
    """Give the log odds of a verdict. [1]"""
    return verdict.odds


def _volume(verdict: Verdict) -> float:
    """Give what was poured in, or runs out in a day; nothing where a sensor stepped. [L]"""
    return float(verdict.size[0] + verdict.size[1]) if len(verdict.size) > 1 else 0.0


def _possible(work: Working, core: Core, verdict: Verdict) -> bool:
    """Whether the tank could do this: additions add and stay in it, drains take what is there."""
    volume = _volume(verdict)
    if verdict.kind in {"leak", "ingress"}:
        scale = _scale(work)
        loses = rushes.losing(work) / scale
        return rushes.possible(verdict.kind, volume / scale, core.rushing / scale, loses)
    if verdict.kind == "addition":
        before = float(work.mean[s.V])
        return volume > SMALLEST * _scale(work) and before + 0.3 * volume < 1.15 * work.prior.brim
    if verdict.kind == "drain":
        return volume < -SMALLEST_DRAIN * _scale(work)
    least = SMALLEST_LEVEL if verdict.kind == "level" else SMALLEST_BRIX
    return abs(float(verdict.size[0])) > least


def _pour(work: Working, core: Core, verdict: Verdict, began: Instant) -> Core:
    """Put an addition or drain into the filter as of its beginning, and note it."""
    kind: EventKind = "addition" if verdict.kind == "addition" else "drain"
    sign, added = (1.0, s.ADDED_WATER) if kind == "addition" else (-1.0, s.DRAINED_WATER)
    last = core.notes[-1] if core.notes else None
    goes_on = began > core.at - PATIENCE and _goes_on(last, kind, began)
    if last is not None and goes_on:
        notes = (*core.notes[:-1], replace(last, until=work.at))
        place = last.place
    else:
        name = events.name_event("inferred", kind, began)
        note = replace(events.note_of(kind, "inferred", began, name), until=work.at)
        notes = events.open_note(work.mean, work.cov, core.notes, note)
        place = notes[-1].place
    pair = s.event_pair(place)
    first = WAYS * verdict.place
    effect = work.bank.rows[first : first + 2].copy()
    if not goes_on:
        effect[:, pair : pair + 2] = 0.0
    effect[0, added] += sign
    effect[1, added + 1] += sign
    effect[0, pair] += sign
    effect[1, pair + 1] += sign
    work.mean += verdict.size @ effect
    work.cov += effect.T @ verdict.spread @ effect
    return replace(
        core,
        notes=notes,
        growing=place,
        growing_until=work.at + 8 * MINUTE,
        mixing_until=work.at + MIXING if verdict.kind == "addition" else core.mixing_until,
    )


def _goes_on(note: EventNote | None, kind: str, began: Instant) -> bool:
    """Whether a step is more of the event before it."""
    return (
        note is not None
        and note.told.kind == kind
        and note.told.source == "inferred"
        and note.place >= 0
        and began - note.until <= ONE_EVENT
    )


def let_grow(work: Working, core: Core, begin: Instant) -> None:
    """Leave room for more of an event that was found while it was being poured."""
    if core.growing < 0 or begin > core.growing_until:
        return
    pair = s.event_pair(core.growing)
    note = next((note for note in core.notes if note.place == core.growing), None)
    if note is None:
        return
    total = max(float(work.mean[pair] + work.mean[pair + 1]), 1.0)
    part = min(max(float(work.mean[pair + 1]) / total, 0.0), 0.2)
    shape = np.zeros(s.SIZE)
    if note.told.kind == "addition":
        shape[[s.V, s.C, s.ADDED_WATER, s.ADDED_CONCENTRATE]] = 1.0, part, 1.0 - part, part
    else:
        shape[[s.V, s.C, s.DRAINED_WATER, s.DRAINED_CONCENTRATE]] = -1.0, -part, 1.0 - part, part
    shape[[pair, pair + 1]] = 1.0 - part, part
    shock(work.mean, work.cov, shape, 0.0, (GROWTH_SD * _scale(work)) ** 2)


def let_unseen(work: Working, core: Core) -> None:
    """Leave room for what is poured in unseen, where nobody tells whether the pumps run.

    The holdup that comes and goes then hides additions. They make up for what is usually lost, less
    those found, at times that nobody knows: expectation and variance of a Poisson number of them,
    each of a size whose spread is its mean.
    """
    size, part = ADDITION.size * _scale(work), ADDITION.strength
    watched = max(days(core.at - core.events_since), 1.0)
    found = [note.told for note in core.notes if note.told.kind == "addition"]
    seen = sum([told.volume.value for told in found if told.volume is not None]) / watched
    poured = max(work.prior.water - seen, 0.0) * days(work.at - core.at)
    shape = np.zeros(s.SIZE)
    shape[[s.V, s.C, s.ADDED_WATER, s.ADDED_CONCENTRATE]] = 1.0, part, 1.0 - part, part
    shock(work.mean, work.cov, shape, poured, 2.0 * poured * size)


def _shift(work: Working, core: Core, verdict: Verdict, began: Instant) -> Core:
    """Put a sensor's own step into the filter, and note it."""
    level = verdict.kind == "level"
    effect = work.bank.rows[WAYS * verdict.place + (2 if level else 3)]
    size, sd = float(verdict.size[0]), float(verdict.spread[0, 0]) ** 0.5
    shock(work.mean, work.cov, effect.copy(), size, sd * sd)
    step = SensorStep(Signal.LEVEL if level else Signal.BRIX, began, size, sd)
    return replace(core, shifted=(*core.shifted, step)[-8:])
