"""Additions and drains: reported, metered, delivered; told once, however many tell of them."""

from dataclasses import replace

from advisor import events, observation
from advisor import states as s
from advisor.belief import Belief, Core, EventNote, Meter
from advisor.events import Pour
from advisor.plan import SignalPlan, SumpPlan
from advisor.slots import close
from advisor.words import MINUTE, Addition, Delivery, Drain, Instant, Signal
from advisor.working import Working

POURING: Instant = 10 * MINUTE
"""How long people pour at most for one addition; common practice. [ms]"""
MIXING: Instant = 15 * MINUTE
"""How long an addition takes to mix while the pumps run; common practice. [ms]"""
SAME: Instant = 20 * MINUTE
"""Accounts of one event lie no further apart than this. [ms]"""
VOLUME_SD = 0.04
"""Relative sd of a reported volume: marks on a bucket; common practice. [1]"""
VOLUME_SD_LEAST = 0.2
"""[L]"""
STRENGTH_SD = 0.06
"""Relative sd of a reported strength. [1]"""
STRENGTH_SD_LEAST = 0.002
"""[1]"""
DRAIN_SD = 0.07
"""Relative sd of a reported drain. [1]"""
METERS = (Signal.WATER_METER, Signal.CONCENTRATE_METER)


def poured(water: float, concentrate: float) -> Pour:
    """Give a reported amount with the spread that reports have. [L]"""
    volume = water + concentrate
    strength = concentrate / volume if volume > 0.0 else 0.0
    strength_sd = STRENGTH_SD * strength + STRENGTH_SD_LEAST if concentrate > 0.0 else 0.0
    return Pour(water, concentrate, VOLUME_SD * volume + VOLUME_SD_LEAST, strength_sd)


def take_addition(belief: Belief, entry: Addition, plan: SumpPlan) -> Belief:
    """Pour what somebody reported; what a meter counts as well is left to the meter."""
    water, concentrate = entry.water, entry.concentrate
    if water + concentrate <= 0.0:
        return belief
    metered = _metered_event(belief.core, entry.at)
    if metered is not None:
        return _tell_meter_of_report(belief, metered, entry, plan)
    work, core = _open(belief, entry.at, plan)
    note = events.note_of("addition", "report", entry.at, f"addition-{entry.id}", entry.id)
    core = begin_event(work, core, note)
    place = core.notes[-1].place
    events.add(work.mean, work.cov, place, poured(water, concentrate))
    core = replace(
        core,
        mixing_until=max(core.mixing_until, entry.at + MIXING),
        pouring_until=entry.at + POURING,
        pouring=water + concentrate,
    )
    return _shut(belief, work, core, entry.at)


def _metered_event(core: Core, at: Instant) -> EventNote | None:
    """Give the metered addition that a report at this moment is most likely about."""
    for note in reversed(core.notes):
        if note.told.source == "meter" and note.told.kind == "addition" and not note.report:
            return note if note.told.at - SAME <= at <= note.until + SAME else None
    return None


def _tell_meter_of_report(
    belief: Belief, note: EventNote, entry: Addition, plan: SumpPlan
) -> Belief:
    """Add, of what a report and a meter both tell, the part that no meter counts."""
    work, core = _open(belief, entry.at, plan)
    if note.place >= 0 and entry.concentrate > 0.0 and METERS[1] not in plan.signals:
        spread = Pour(0.0, entry.concentrate, STRENGTH_SD * entry.concentrate, 0.0)
        events.add(work.mean, work.cov, note.place, spread)
    told = replace(note, report=entry.id)
    core = replace(core, notes=tuple(told if kept is note else kept for kept in core.notes))
    return _shut(belief, work, core, entry.at)


def take_delivery(belief: Belief, entry: Delivery, plan: SumpPlan) -> Belief:
    """Pour what is new of the totals that a station reported for one setpoint."""
    last = belief.core.delivered
    done = (last[1], last[2]) if last is not None and last[0] == entry.setpoint else (0.0, 0.0)
    new = [
        0.0 if meter in plan.signals else max(total - before, 0.0)
        for meter, total, before in zip(METERS, (entry.water, entry.concentrate), done, strict=True)
    ]
    work, core = _open(belief, entry.at, plan)
    core = replace(core, delivered=(entry.setpoint, entry.water, entry.concentrate))
    if sum(new) > 0.0:
        name = f"delivery-{entry.setpoint}"
        core = _continue(work, core, entry.at, name)
        volume = sum(new)
        pour = Pour(new[0], new[1], 0.02 * volume + 0.05, 0.02 * new[1] / volume)
        events.add(work.mean, work.cov, core.notes[-1].place, pour, events.TRUE_LITRES)
    return _shut(belief, work, core, entry.at)


def take_meter(belief: Belief, second: int, at: Instant, total: float, plan: SumpPlan) -> Belief:
    """Pour what a totaliser gained: `second` is 0 for water's, 1 for concentrate's. [L]"""
    last = belief.core.meters[second]
    gained = gain_of(last, total, plan.signals.get(METERS[second]))
    if gained <= 0.0:
        return replace(belief, core=_read(belief.core, second, Meter(total, at)))
    work, core = _open(belief, at, plan)
    core = _continue(work, _read(core, second, Meter(total, at)), last.at, "")
    events.add_metered(work.mean, work.cov, core.notes[-1].place, second, gained)
    return _shut(belief, work, core, at)


def gain_of(last: Meter, total: float, told: SignalPlan | None) -> float:
    """Give what ran through a totaliser since its last reading. [L]

    A fall is a rollover where the plant file says at which total the counter starts again and
    little ran past it, otherwise a reset to zero.
    """
    if last.total < 0.0:
        return 0.0
    if total >= last.total:
        return total - last.total
    rollover = None if told is None else told.rollover
    if rollover is not None and 0.0 <= total + rollover - last.total < rollover / 2.0:
        return total + rollover - last.total
    return total


def _read(core: Core, second: int, meter: Meter) -> Core:
    """Give a totaliser's newest reading, beside the other's."""
    other = core.meters[1 - second]
    return replace(core, meters=(other, meter) if second else (meter, other))


def _continue(work: Working, core: Core, began: Instant, name: str) -> Core:
    """Give the metered event still running, as the newest; a new one where there is none."""
    for note in reversed(core.notes):
        fits = note.told.id == name if name else work.at - note.until <= POURING
        if note.told.source == "meter" and note.place >= 0 and fits:
            rest = tuple(kept for kept in core.notes if kept is not note)
            core = replace(core, notes=(*rest, replace(note, until=work.at)))
            break
    else:
        began = max(began, work.at - POURING)
        name = name or events.name_event("meter", "addition", began)
        note = replace(events.note_of("addition", "meter", began, name), until=work.at)
        core = begin_event(work, core, note)
    return replace(core, mixing_until=work.at + MIXING)


def take_drain(belief: Belief, entry: Drain, plan: SumpPlan) -> Belief:
    """Take out what somebody drained: a volume, down to a depth, or all of it."""
    work, core = _open(belief, entry.at, plan)
    note = events.note_of("drain", "report", entry.at, f"drain-{entry.id}", entry.id)
    core = begin_event(work, core, note)
    place = core.notes[-1].place
    if entry.everything:
        brim = work.prior.brim
        events.take_all(work.mean, work.cov, place, 0.01 * brim, 0.01 * brim)
    elif entry.to_level is not None:
        left = observation.level_volume(plan, entry.to_level, belief.temperature)
        volume = max(float(work.mean[s.V]) - left, 0.0)
        events.take_out(work.mean, work.cov, place, volume, work.prior.brim)
        area = observation.surface(plan, entry.to_level)
        work.take(observation.dipstick_row(work.mean, 0.0, 0.0, area, 5.0), left)
    elif entry.volume is not None and entry.volume > 0.0:
        sd = DRAIN_SD * entry.volume + VOLUME_SD_LEAST
        events.take_out(work.mean, work.cov, place, entry.volume, sd)
    core = replace(core, pouring_until=entry.at + POURING, pouring=entry.volume or 0.0)
    return _shut(belief, work, core, entry.at)


def begin_event(work: Working, core: Core, note: EventNote) -> Core:
    """Put a new event on a pair of its own, as the newest."""
    return replace(core, notes=events.open_note(work.mean, work.cov, core.notes, note))


def _open(belief: Belief, at: Instant, plan: SumpPlan) -> tuple[Working, Core]:
    """Give the filter at the moment of an entry, the slot before it taken in."""
    core = close(belief, plan).core
    work = Working(core, plan)
    work.advance(max(at, core.at))
    return work, core


def _shut(belief: Belief, work: Working, core: Core, at: Instant) -> Belief:
    """Give the belief after an entry."""
    return work.belief(belief, core, at)
