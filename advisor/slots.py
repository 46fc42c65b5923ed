"""Readings of a few minutes, summed up, and taken into the filter as one.

Waves make the readings of a minute say much the same, so that little is lost by adding them up,
and the filter's work is shared by all of them.
"""

from dataclasses import replace

import numpy as np

from advisor import observation, rushes, steps, undo
from advisor import states as s
from advisor.balance import concentration
from advisor.belief import EMPTY, Belief, Core, EventNote, twin
from advisor.filter_step import Vector, clone, forget, project, shock
from advisor.geometry import volume_at
from advisor.leaks import LEAST, runs_out, take_depth
from advisor.losing import MOST_A_DAY, compare, limit
from advisor.noise import CORRELATED, forget_depths, take_brix, take_level, take_surprise
from advisor.plan import SumpPlan
from advisor.priors import priors
from advisor.pumps import days, share_up
from advisor.refractometry import GREATEST_READING, LEAST_READING, brix_at_20
from advisor.seepage import GAP, LONGEST, SETTLED, Seepage, close_rest, take_volume
from advisor.water import COLDEST, HOTTEST
from advisor.words import HOUR, MINUTE, Instant, Signal
from advisor.working import Working

SLOT_MS = 10 * MINUTE
"""How much time one slot covers. [ms]"""
CLONE_EVERY: Instant = 2 * HOUR
"""Time between the moments of which the losses are kept beside. [ms]"""
STILL = 5
"""Readings in a slot from which on a splash has levelled out. [1]"""
SPLASH_SD = 2.5
"""Of the level while somebody pours; common practice. [mm]"""
MIXING_BRIX_SD = 1.0
"""Spread of the inline reading while a poured addition is not mixed yet. [°Brix]"""
USUAL, USUAL_SD = 27.0, 5.0
"""Warmth of a fluid that nobody measures; common practice. [°C]"""
WARMTH_SD = 0.5
"""Spread of a fluid thermometer against the prism; common practice. [°C]"""
HOLDUP_VARIES = 0.04
"""Sd of the holdup from one pump start to the next, per its size; common practice. [1]"""
STARTED: Instant = 15 * MINUTE
"""After a pump start the level falls no further; after a stop it rises for a while. [ms]"""
SETTLING: Instant = 20 * MINUTE
"""From the beginning of the accounts on; what moves in it is no step, but not known yet. [ms]"""
DOUBTED = 2.0
"""Sds from which on a reading meanwhile says that the beginning was wrong. [1]"""
_LOST = (s.LOST_WATER, s.LOST_CONCENTRATE)
_MOVED = range(s.ADDED_WATER, s.DRAINED_CONCENTRATE + 1)


def close(belief: Belief, plan: SumpPlan) -> Belief:
    """Take the open slot into the filter; the belief as it is where there is none."""
    slot = belief.slot
    if slot.begin < 0:
        return belief
    work = Working(belief.core, plan)
    work.advance(belief.at)
    core = belief.core
    settling = core.since >= 0 and slot.begin - core.since < SETTLING
    if core.volume_known and slot.levels and not settling:
        started = work.pumps.running == 1 and work.pumps.since >= belief.core.at
        work.bank.begin(slot.begin, at_start=started)
        if started:
            varied = HOLDUP_VARIES * float(work.mean[s.HOLDUP])
            work.cov[s.HOLDUP, s.HOLDUP] += varied * varied
    steps.let_grow(work, core, slot.begin)
    if Signal.RUNNING not in plan.signals and core.volume_known and not core.charging:
        steps.let_unseen(work, core)
    if slot.levels and not core.charging:
        _take_level(work, belief, settling=settling and core.volume_known)
        if not core.volume_known:
            core = replace(core, volume_known=True)
    if (slot.brixes or slot.low) and not core.charging:
        _take_brix(work, belief, settling=settling and core.concentration_known)
        if not core.concentration_known:
            core = replace(core, concentration_known=True)
    core = _look_for_leak(work, core, belief)
    core = rushes.keeps_running(work, core, seen=slot.levels > 0)
    core = steps.judge(work, core, days(SLOT_MS))
    work.settled = _keep_clone(work, begin_when_known(work, core, slot.begin))
    core = work.core()
    core.losing = compare(core, plan, core.at)
    return Belief(
        belief.schema,
        belief.at,
        core,
        EMPTY,
        belief.seen,
        belief.paces,
        belief.watches,
        belief.temperature,
    )


def _look_for_leak(work: Working, core: Core, belief: Belief) -> Core:
    """Note that fluid runs out where the level falls by more than losses explain."""
    slot = belief.slot
    if not slot.levels:
        return core
    when = slot.begin + int(slot.level_when / slot.levels)
    moved = _moved(work, core)
    unlike = core.charging or core.since < 0 or when <= moved or belief.watches[0].fault != ""
    depth = slot.level_sum / slot.levels
    target = volume_at(work.plan.tank, work.plan.levels.target)
    seepage = _at_rest(work, core, when, None if unlike else belief, target)
    core = twin(core)
    core.seepage = seepage
    if unlike:
        core.falling = ()
        return core
    kept = tuple([depth for depth in core.falling if depth[0] > moved])
    falling = take_depth(kept, when, depth, work.prior.waves_sd)
    area, lost = observation.surface(work.plan, depth), core.told.lost
    age = days(core.at - core.since)
    may = MOST_A_DAY * target if lost is None else limit(lost, "water", target, age)
    least = LEAST * target / area
    if not runs_out(falling, slot.levels, work.prior, may=may / area, least=least):
        core.falling = falling
        return core
    core.falling, core.leaking = falling, work.at
    last = core.notes[-1] if core.notes else None
    fresh = last is not None and last.told.kind == "drain" and last.until >= falling[0][0]
    return undo.as_leak(work, core) if fresh else core


def _moved(work: Working, core: Core) -> Instant:
    """When something that is known last moved the level; -1: never. [ms]"""
    switched = work.pumps.since
    settled = switched + STARTED if switched >= 0 else -1
    return max([settled, core.pouring_until, *[n.until for n in core.notes if _is_told(n)]])


def _at_rest(
    work: Working, core: Core, when: Instant, belief: Belief | None, target: float
) -> Seepage:
    """Take a slot into the stretch of rest that it belongs to, or end the stretch."""
    seepage, rest, pumps = core.seepage, core.seepage.rest, work.pumps
    quiet = belief is not None and pumps.running == 0 and when - pumps.since >= SETTLED
    if rest.begin >= 0 and (
        not quiet
        or when - rest.begin > LONGEST
        or when - rest.last > GAP
        or _moved(work, core) > rest.begin
    ):
        seepage = close_rest(seepage, target, sum(core.told.rates[2:]))
    if not quiet or belief is None:
        return seepage
    depth = belief.slot.level_sum / belief.slot.levels
    volume = observation.level_volume(work.plan, depth, belief.temperature)
    return seepage._replace(rest=take_volume(seepage.rest, when, volume))


def _is_told(note: EventNote) -> bool:
    """Whether an event moved the level for a known reason; a drain nobody told of may be a leak."""
    return note.told.kind != "withdrawn" and not (
        note.told.kind == "drain" and note.told.source == "inferred"
    )


def begin_accounts(work: Working, core: Core, at: Instant) -> Core:
    """Set all totals to nothing, as of this moment."""
    for place in (*_LOST, *_MOVED):
        forget(work.mean, work.cov, place, 0.0, 0.0)
    return replace(core, since=at, clones=())


def begin_when_known(work: Working, core: Core, at: Instant) -> Core:
    """Begin the accounts with the first usable evidence."""
    if core.since >= 0 or not (core.volume_known or core.concentration_known):
        return core
    return replace(begin_accounts(work, core, at), events_since=at)


def _doubt(work: Working, row: observation.Row, value: float, shape: Vector, sd: float) -> None:
    """Forget what the first readings said where a later one shows that it was not so.

    Pumps may have started, or fluid been poured in, just before anybody listened.
    """
    _, variance = project(work.cov, row.places, row.weights)
    if abs(value - row.expected) > DOUBTED * (variance + row.variance) ** 0.5:
        shock(work.mean, work.cov, shape, 0.0, sd * sd)


def _take_level(work: Working, belief: Belief, *, settling: bool) -> None:
    """Take in the slot's mean depth, as volume at 20 °C."""
    slot, plan = belief.slot, work.plan
    depth = slot.level_sum / slot.levels
    when = slot.begin + int(slot.level_when / slot.levels)
    area = observation.surface(plan, depth)
    share, share_sd = share_up(work.pumps, when)
    sd = work.prior.level_sd / min(slot.levels, CORRELATED) ** 0.5
    if slot.levels < STILL and slot.begin <= belief.core.growing_until:
        sd += SPLASH_SD
    if when < belief.core.pouring_until:
        sd += belief.core.pouring / area
    _learn_waves(work, belief, when, depth, area)
    row = observation.level_row(work.mean, share, share_sd, area, sd)
    volume = observation.level_volume(plan, depth, belief.temperature)
    if settling:
        mix = np.zeros(s.SIZE)
        mix[[s.V, s.C]] = 1.0, concentration(work.mean)
        _doubt(work, row, volume, mix, work.prior.volume_sd)
    surprise, variance = work.take(row, volume)
    if not belief.core.rushing:
        work.noise = take_surprise(work.noise, surprise, variance)


def _learn_waves(work: Working, belief: Belief, when: Instant, depth: float, area: float) -> None:
    """Let the slot tell how noisy the level is, while nothing else moves it."""
    slot, core = belief.slot, belief.core
    pumps = work.pumps
    unsettled = (
        core.rushing != 0.0
        or when <= max(core.growing_until, core.pouring_until)
        or (pumps.since >= 0 and when - pumps.since < 60 * MINUTE and pumps.running != 1)
        or slot.levels < STILL
    )
    if unsettled:
        work.noise = forget_depths(work.noise)
        return
    goal = core.told.sensor_depth
    mean_off = depth - goal + _up(core, work)
    spread = slot.level_squares / slot.levels - mean_off * mean_off
    scatter = spread * slot.levels / (slot.levels - 1) if spread > 0.0 else None
    lost = float(work.mean[s.LOST_WATER] + work.mean[s.LOST_CONCENTRATE]) / area
    work.noise = take_level(work.noise, priors(work.plan), when, depth + lost, scatter)


def _up(core: Core, work: Working) -> float:
    """Depth that is up in the machine, where the pumps have settled. [mm]"""
    if core.told.holdup is None or work.pumps.running != 1:
        return 0.0
    return core.told.sensor_up


def _take_brix(work: Working, belief: Belief, *, settling: bool) -> None:
    """Take in the slot's mean inline reading: of the near ones, unless most are far."""
    slot, core = belief.slot, belief.core
    count, total = slot.brixes, slot.brix_sum
    if slot.low > count:
        count, total = slot.low, slot.low_sum
    sd = work.prior.brix_sd / min(count, CORRELATED) ** 0.5
    if slot.brixes >= STILL:
        off = slot.brix_sum / slot.brixes - core.told.brix
        scatter = slot.brix_squares / slot.brixes - off * off
        floor = work.prior.brix_sd**2 / 16.0
        work.noise = take_brix(work.noise, priors(work.plan), max(scatter, floor))
    reading, warmth_sd = _at_20(work, total / count, belief.temperature)
    sd = (sd * sd + warmth_sd**2) ** 0.5
    if belief.at < core.mixing_until:
        sd = (sd * sd + MIXING_BRIX_SD**2) ** 0.5
    warmer = 0.0 if belief.temperature is None else belief.temperature - 20.0
    row = observation.brix_row(work.mean, work.plan.fluid.refractometer_factor, sd, warmer)
    if settling:
        solute = np.zeros(s.SIZE)
        solute[s.C] = 1.0
        _doubt(work, row, reading, solute, float(work.mean[s.V]) * work.prior.concentration_sd)
    work.take_softly(row, reading)


def _at_20(work: Working, reading: float, temperature: float | None) -> tuple[float, float]:
    """Give a reading as it would be at 20 °C, and what not knowing the warmth adds. [°Brix]"""
    told = work.plan.signals.get(Signal.BRIX)
    if told is None or told.compensated:
        return reading, 0.0
    warm = USUAL if temperature is None else min(max(temperature, COLDEST), HOTTEST)
    kept = min(max(reading, LEAST_READING), GREATEST_READING)
    known = brix_at_20(kept, warm, USUAL_SD if temperature is None else WARMTH_SD)
    return known.value, known.sd


def _keep_clone(work: Working, core: Core) -> Core:
    """Keep the losses up to now beside, once in `CLONE_EVERY`; the oldest gives way."""
    if core.since < 0 or (core.clones and work.at - core.clones[-1][0] < CLONE_EVERY):
        return core
    kept = core.clones
    if len(kept) < s.CLONE_PAIRS:
        place = len(kept)
    else:
        place, kept = kept[0][1], kept[1:]
    pair = s.clone_pair(place)
    for total in _LOST:
        clone(work.mean, work.cov, total, pair + total - s.LOST_WATER)
        row = pair + total - s.LOST_WATER
        work.bank.rows[:, row] = work.bank.rows[:, total]
    return replace(core, clones=(*kept, (work.at, place)))
