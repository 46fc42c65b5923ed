"""Fluid that runs out or in for hours and nobody poured: a burst hose, a valve left open.

Such a thing looks like a drain or an addition at first; that it goes on tells it. What was taken
for one, or for several in a row, is then booked as lost (or gained) and withdrawn. Slow leaks and
slow ingress are left to the rates of loss and to `losing`.
"""

from dataclasses import replace

from advisor import balance, hypotheses
from advisor import states as s
from advisor.belief import Core, EventNote
from advisor.hypotheses import RATES, WAYS, Expected, Kind, Verdict
from advisor.noise import forget_depths
from advisor.pumps import days
from advisor.undo import rebook, withdrawn
from advisor.words import MINUTE, Instant
from advisor.working import Working

RUSH = Expected(per_day=0.02, size=300.0)
"""How often something runs out or in, and how fast, in L/d; common practice."""
AFTER_EVENT = 0.5
"""How often, right after a drain or an addition that nobody told of: it may be just that. [1/d]"""
RIGHT_AFTER: Instant = 90 * MINUTE
"""So long after it. [ms]"""
STOPS = 2.0
"""How often it stops, once it runs. [1/d]"""
LEAST = 60.0
"""Slower ones are left to the rates. [L/d]"""
EBBED = 0.5
"""Less than this share of it is left: it has stopped. [1]"""
LASTS: Instant = 25 * MINUTE
"""It has to last so long: people pour for minutes. [ms]"""
MOVED = 5.0
"""And it has moved so much: foam builds up by less. [L]"""
SETTLED: Instant = 10 * MINUTE
"""What begins so soon after the pumps switched has to show again later. [ms]"""
ONE_RUN: Instant = 60 * MINUTE
"""Events with less than this between them may be one run. [ms]"""


def weigh(work: Working, core: Core, days: float, scale: float) -> tuple[Verdict | None, ...]:
    """Weigh that mix began to run out, or water in, or stopped to; `days` as in `steps.judge`."""
    strength = balance.concentration(work.mean)
    lines: tuple[tuple[Kind, tuple[float, ...]], ...] = (
        ("leak", (0.0, 0.0, 0.0, 0.0, 1.0 - strength, strength)),
        ("ingress", (0.0, 0.0, 0.0, 0.0, 1.0, 0.0)),
    )
    return tuple(
        [
            hypotheses.weigh_line(
                work.bank,
                kind,
                line,
                Expected(per_day=_often(work, core, kind), size=RUSH.size * scale),
                days,
            )
            for kind, line in lines
        ]
    )


def _often(work: Working, core: Core, kind: Kind) -> float:
    """Give how often this is expected now. [1/d]"""
    if core.rushing:
        return STOPS if (core.rushing > 0.0) == (kind == "leak") else RUSH.per_day
    alike = "drain" if kind == "leak" else "addition"
    last = core.notes[-1] if core.notes else None
    if last is None or last.told.source != "inferred" or last.told.kind != alike:
        return RUSH.per_day
    return AFTER_EVENT if work.at - last.until < RIGHT_AFTER else RUSH.per_day


def possible(kind: Kind, rate: float, rushing: float, loses: float) -> bool:
    """Whether a change by so much can be, with so much running already; out is positive. [L/d]

    What runs in is water, and what runs out is mix; either can stop. Of what `loses` so much by
    itself, something runs in only where the level then rises: else the loss has ceased, as where a
    hall is dry no more, and that is left to the rates.
    """
    way = rate if kind == "leak" else -rate
    runs = rushing if kind == "leak" else -rushing
    if kind == "ingress" and not runs and loses + rate > -LEAST:
        return False
    return way > LEAST or (runs > 0.0 and -way > 0.3 * runs)


def losing(work: Working) -> float:
    """Give what the sump loses at present by the rates. [L/d]"""
    water, more_water, solute, more_solute = work.mean[
        s.WATER_REST : s.CONCENTRATE_CUT + 1
    ].tolist()
    loss: float = water + solute
    return loss if work.pumps.running == 0 else loss + more_water + more_solute


def lasted(work: Working, core: Core, rate: float, began: Instant) -> bool:
    """Whether a change [L/d] lasted long enough, and moved enough, to be no pouring and no foam.

    One that begins with the pumps may be the holdup, and the foam that builds up then.
    """
    passed, switched = work.at - began, work.pumps.since
    if passed < LASTS or abs(rate) * days(passed) < MOVED:
        return False
    return core.rushing != 0.0 or switched < 0 or began >= switched + SETTLED


def believe(work: Working, core: Core, verdict: Verdict, began: Instant) -> Core:
    """Put a run, or its end, into the filter as of its beginning."""
    first = WAYS * verdict.place + RATES
    effect = work.bank.rows[first : first + 2].copy()
    before = _rates(work)
    work.mean += verdict.size @ effect
    work.cov += effect.T @ verdict.spread @ effect
    # What was taken for foam meanwhile was none.
    noise = forget_depths(work.noise)
    work.noise = noise._replace(surprise=min(noise.surprise, 1.0))
    change = float(verdict.size.sum())
    rushing = core.rushing + change
    starts = (change > 0.0) == (verdict.kind == "leak")
    if not starts and abs(rushing) < max(0.3 * abs(core.rushing), LEAST):
        work.as_usual(core.usual)
        return replace(core, rushing=0.0)
    core = _book(work, core, verdict.kind, began)
    return replace(
        core,
        rushing=rushing,
        rushing_since=core.rushing_since if core.rushing else began,
        usual=core.usual if core.rushing else before,
        rushing_seen=work.at,
        growing=-1,
        leaking=work.at if rushing > 0.0 else core.leaking,
    )


def _rates(work: Working) -> tuple[float, float, float, float]:
    """Give the rates at rest with their variances. [L/d], [L²/d²]"""
    mean, cov = work.mean, work.cov
    water, solute = s.WATER_REST, s.CONCENTRATE_REST
    return mean.item(water), cov.item(water, water), mean.item(solute), cov.item(solute, solute)


def _book(work: Working, core: Core, kind: Kind, began: Instant) -> Core:
    """Book as lost, or as gained, what was taken for events that nobody told of."""
    alike, account = ("drain", s.DRAINED_WATER) if kind == "leak" else ("addition", s.ADDED_WATER)
    gone: list[EventNote] = []
    for note in reversed(core.notes):
        told = note.told
        if told.kind != alike or told.source != "inferred" or note.place < 0:
            break
        if note.until < began - ONE_RUN:
            break
        began = min(began, told.at)
        gone.append(note)
    sign = 1.0 if kind == "leak" else -1.0
    for note in gone:
        pair = s.event_pair(note.place)
        for second in (0, 1):
            rebook(
                work.mean, work.cov, pair + second, account + second, s.LOST_WATER + second, sign
            )
    if not gone:
        return core
    return replace(core, notes=withdrawn(core.notes, tuple(gone), work.mean, work.cov))


def keeps_running(work: Working, core: Core, *, seen: bool) -> Core:
    """Note that what runs still does, or that it ebbed away; `seen` where a level was taken in."""
    if not core.rushing:
        return core
    water, _, solute, _ = core.usual
    beyond = float(work.mean[s.WATER_REST] + work.mean[s.CONCENTRATE_REST]) - water - solute
    if (beyond if core.rushing > 0.0 else -beyond) < EBBED * LEAST:
        return replace(core, rushing=0.0)
    if not seen:
        return core
    return replace(
        core,
        rushing_seen=work.at,
        leaking=work.at if core.rushing > 0.0 else core.leaking,
    )
