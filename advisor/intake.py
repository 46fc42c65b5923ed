"""A sensor's reading on its way in: the few microseconds that every reading costs."""

from dataclasses import replace
from math import inf

from advisor.additions import take_meter
from advisor.belief import EMPTY, Belief, Core, Slot, noise_of
from advisor.faults import BELIEVED_AFTER, Watch, is_other_unit, look
from advisor.level import depth_of
from advisor.plan import SumpPlan
from advisor.pumps import FILL_MS, changed, count, share_up, switch
from advisor.slots import SLOT_MS, close
from advisor.words import MINUTE, Instant, Reading, Signal

LEVEL, BRIX = Signal.LEVEL, Signal.BRIX
PLACE = {signal: place for place, signal in enumerate(Signal)}
SETTLED = 4.0 * FILL_MS
"""After a start the level is not read for so long. [ms]"""
FLUSHED: Instant = 4 * MINUTE
"""After a start the prism sees old fluid and bubbles for so long; common practice. [ms]"""
DRAINING: Instant = 40 * MINUTE
"""After a stop the holdup is all back within this; common practice. [ms]"""
FAR_SDS = 4.5
"""A reading further from the expected than so many sds is looked at on its own. [1]"""
FAR_LEAST = 4.0
"""But not one nearer than this. [mm]"""
FAR_BRIX = 3.5
"""Likewise for the refractometer: bubbles make single readings fall. [1]"""
WILD_SHARE = 0.25
"""No bucket, hose or pump moves so much of the depth at the brim between two readings. [1]"""
EMPTY_DEPTH = 15.0
"""What lies under this is no fluid but a sensor that sees none. [mm]"""
WILD_BRIX = 2.0
"""No addition changes the reading by so much. [°Brix]"""
IN_A_ROW = 3
"""So many far readings in a row are a step and no spikes. [1]"""
LASTING = 25_000.0
"""And lie so much after the first of them on average. [ms]"""
IN_A_ROW_SLOW = 2
"""Where readings come once in `SLOW` or less often. [1]"""
SLOW: Instant = 2 * MINUTE
ENOUGH = 8
"""Readings that make a slot worth the filter's work. [1]"""
LONGEST: Instant = 25 * MINUTE
"""A slot of slow readings ends by then. [ms]"""
PACE_MEMORY = 16.0
"""Over how many readings the time between them is averaged. [1]"""
LONG_GAP = 4.0
"""A pause counts for so many usual intervals at most. [1]"""
FIRST: Instant = MINUTE
"""A slot that tells what is not known at all yet is over by then. [ms]"""


def take_reading(belief: Belief, reading: Reading, plan: SumpPlan) -> Belief:
    """Take in one reading of any signal."""
    at, signal, slot, seen = reading.at, reading.signal, belief.slot, belief.seen
    paces = belief.paces
    if slot.begin >= 0 and at - slot.begin >= FIRST and _is_over(belief, slot, at):
        belief = _break(belief, plan)
    level, brix = belief.watches
    if signal is LEVEL:
        slot, watch = _add_level(belief, at, reading.value, plan)
        if slot.far >= IN_A_ROW_SLOW and _is_step(slot, at - seen[0]):
            belief = _break(replace(belief, slot=slot), plan)
            slot = belief.slot
        newest, watches = (at, *seen[1:]), (watch, brix)
        paces = (usual_pace(paces[0], at, seen[0]), *paces[1:])
    elif signal is BRIX:
        slot, watch = _add_brix(belief, at, reading.value, plan)
        newest, watches = (seen[0], at, *seen[2:]), (level, watch)
        paces = (paces[0], usual_pace(paces[1], at, seen[1]), *paces[2:])
    else:
        return _take_other(belief, reading, plan)
    return Belief(belief.schema, at, belief.core, slot, newest, paces, watches, belief.temperature)


def usual_pace(pace: float, at: Instant, before: Instant) -> float:
    """Give the usual time between readings with one more; a pause counts little. [s]"""
    if before < 0:
        return pace
    gap, longest = (at - before) / 1000.0, LONG_GAP * pace
    if gap > longest:
        return pace + (longest - pace) / PACE_MEMORY
    return pace + (gap - pace) / PACE_MEMORY


def _is_over(belief: Belief, slot: Slot, at: Instant) -> bool:
    """Whether a slot holds enough; one of slow readings may last longer, the first less."""
    passed, core = at - slot.begin, belief.core
    if passed >= SLOT_MS:
        return slot.levels + slot.brixes >= ENOUGH or passed >= LONGEST
    if core.volume_known and core.concentration_known:
        return False
    levels, brixes = slot.levels, slot.brixes + slot.low
    return (levels > 0 and not core.volume_known) or (brixes > 0 and not core.concentration_known)


def _is_step(slot: Slot, interval: Instant) -> bool:
    """Whether so many far readings in a row are a step."""
    needed = IN_A_ROW_SLOW if interval >= SLOW else IN_A_ROW
    return slot.far >= needed and slot.far_when >= LASTING * slot.far


def _break(belief: Belief, plan: SumpPlan) -> Belief:
    """Close the slot; what was far from it begins the next one."""
    slot = belief.slot
    if not slot.far:
        return close(belief, plan)
    if slot.levels:
        near = slot._replace(brixes=0, low=0)
        before = replace(belief, at=max(slot.far_since - 1, belief.core.at), slot=near)
        belief = replace(belief, core=close(before, plan).core)
    if slot.far >= IN_A_ROW_SLOW:
        step = EMPTY._replace(
            begin=slot.far_since,
            levels=slot.far,
            level_sum=slot.far_sum,
            level_squares=slot.far_squares,
            level_when=slot.far_when,
        )
        return close(replace(belief, slot=step), plan)
    rest = slot._replace(
        begin=slot.far_since,
        levels=0,
        level_sum=0.0,
        level_squares=0.0,
        level_when=0.0,
        brixes=0,
        brix_sum=0.0,
        brix_squares=0.0,
        brix_when=0.0,
        low=0,
        low_sum=0.0,
        low_squares=0.0,
    )
    return replace(belief, slot=rest)


def expected_depth(core: Core, at: Instant) -> tuple[float, float]:
    """Give what the level sensor should read, and the spread of one reading about it. [mm]"""
    told, pumps = core.told, core.pumps
    if told.holdup is None:
        return told.sensor_depth, 1e6
    up = told.sensor_up
    if pumps.running >= 0 and at - changed(pumps) > DRAINING:
        return told.sensor_depth - pumps.running * up, told.sensor_sd
    share, share_sd = share_up(pumps, at)
    return told.sensor_depth - share * up, told.sensor_sd + share_sd * up


def steady_from(core: Core) -> float:
    """From when on the depth that the level sensor should read stands still. [ms]"""
    pumps = core.pumps
    if core.told.holdup is None or pumps.running < 0:
        return -inf
    return changed(pumps) + DRAINING


def flows_from(core: Core, plan: SumpPlan) -> float:
    """From when on the prism sees the sump's fluid, as far as it is known now. [ms]"""
    pumps = core.pumps
    if not _needs_flow(plan) or pumps.running < 0:
        return -inf
    if pumps.running == 0:
        return inf
    return pumps.since + FLUSHED if pumps.since >= 0 else -inf


def _add_level(belief: Belief, at: Instant, value: float, plan: SumpPlan) -> tuple[Slot, Watch]:
    """Give the slot with one more depth in it, and what is thought of the sensor."""
    slot, core, watch = belief.slot, belief.core, belief.watches[0]
    pumps = core.pumps
    if core.charging or (pumps.running == 1 and at - changed(pumps) < SETTLED):
        return slot, watch
    depth = depth_of(plan, value, belief.temperature)
    goal, sd = expected_depth(core, at)
    off = depth - goal
    wild = ""
    if abs(off) > WILD_SHARE * plan.levels.brim and sd < 1e5:
        wild = _why_wild(watch, at, depth, goal)
    watch = look(watch, at, value, noise_of(core).within ** 0.5, wild)
    if wild or watch.fault:
        return slot, watch
    begin = slot.begin if slot.begin >= 0 else at
    if abs(off) > FAR_LEAST and abs(off) > FAR_SDS * sd:
        since = slot.far_since if slot.far else at
        far = slot._replace(
            begin=begin,
            far=slot.far + 1,
            far_since=since,
            far_sum=slot.far_sum + depth,
            far_squares=slot.far_squares + off * off,
            far_when=slot.far_when + (at - since),
        )
        return far, watch
    near = Slot(
        begin,
        slot.levels + 1,
        slot.level_sum + depth,
        slot.level_squares + off * off,
        slot.level_when + (at - begin),
        slot.brixes,
        slot.brix_sum,
        slot.brix_squares,
        slot.brix_when,
        slot.low,
        slot.low_sum,
        slot.low_squares,
        spikes=slot.spikes + slot.far,
    )
    return near, watch


def _why_wild(watch: Watch, at: Instant, depth: float, goal: float) -> str:
    """Say why no pouring explains a depth; nothing once it has lasted and may be the truth."""
    if is_other_unit(depth, goal):
        return f"reads {depth:.1f} mm where {goal:.1f} mm is expected: as if in another unit"
    if watch.wild and at - watch.wild_since >= BELIEVED_AFTER and depth > EMPTY_DEPTH:
        return ""
    return f"reads {depth:.1f} mm where {goal:.1f} mm is expected: no pouring is so quick"


def _add_brix(belief: Belief, at: Instant, value: float, plan: SumpPlan) -> tuple[Slot, Watch]:
    """Give the slot with one more inline reading, where the prism sees the sump's fluid."""
    slot, core, watch = belief.slot, belief.core, belief.watches[1]
    if core.charging or at < flows_from(core, plan):
        return slot, watch
    begin = slot.begin if slot.begin >= 0 else at
    off = value - core.told.brix
    wild = ""
    if core.concentration_known and abs(off) > max(WILD_BRIX, 8.0 * core.told.brix_sd):
        wild = f"reads {value:.2f} °Brix where {core.told.brix:.2f} °Brix is expected"
    watch = look(watch, at, value, noise_of(core).brix ** 0.5, wild)
    if wild or watch.fault:
        return slot, watch
    if abs(off) > FAR_BRIX * core.told.brix_sd:
        low = slot._replace(
            begin=begin,
            low=slot.low + 1,
            low_sum=slot.low_sum + value,
            low_squares=slot.low_squares + off * off,
        )
        return low, watch
    near = Slot(
        begin,
        slot.levels,
        slot.level_sum,
        slot.level_squares,
        slot.level_when,
        slot.brixes + 1,
        slot.brix_sum + value,
        slot.brix_squares + off * off,
        slot.brix_when + (at - begin),
        *slot[9:],
    )
    return near, watch


def _needs_flow(plan: SumpPlan) -> bool:
    """Whether the refractometer says nothing while the pumps stand."""
    told = plan.signals.get(BRIX)
    return told is None or told.needs_flow


def _take_other(belief: Belief, reading: Reading, plan: SumpPlan) -> Belief:
    """Take in pumps, cutting and totalisers; whatever else there is, is only noted as seen."""
    signal, at, warm = reading.signal, reading.at, belief.temperature
    match signal:
        case Signal.TEMPERATURE:
            warm = reading.value
        case Signal.RUNNING:
            belief = _switch(belief, at, int(reading.value > 0.5), plan)
        case Signal.CUTTING:
            belief = _cut(belief, at, reading.value, plan)
        case Signal.WATER_METER:
            belief = take_meter(belief, 0, at, reading.value, plan)
        case Signal.CONCENTRATE_METER:
            belief = take_meter(belief, 1, at, reading.value, plan)
    seen, paces, place = belief.seen, belief.paces, PLACE[signal]
    paces = (*paces[:place], usual_pace(paces[place], at, seen[place]), *paces[place + 1 :])
    newest = (*seen[:place], at, *seen[place + 1 :])
    return Belief(belief.schema, at, belief.core, belief.slot, newest, paces, belief.watches, warm)


def _switch(belief: Belief, at: Instant, running: int, plan: SumpPlan) -> Belief:
    """Take in pumps on or off: a slot holds readings of one kind only."""
    if belief.core.pumps.running == running:
        return belief
    belief = _break(belief, plan)
    core = belief.core
    return replace(belief, core=replace(core, pumps=switch(core.pumps, at, running)), slot=EMPTY)


def _cut(belief: Belief, at: Instant, value: float, plan: SumpPlan) -> Belief:
    """Take in cutting on or off, or a part counter that went on."""
    core = belief.core
    told = plan.signals.get(Signal.CUTTING)
    parts = core.pumps.parts
    counter = told is not None and told.counter
    cutting = int(value > parts) if counter and parts >= 0.0 else int(value > 0.5 and not counter)
    if core.pumps.cutting == cutting and not counter:
        return belief
    pumps = count(core.pumps, at)._replace(cutting=cutting, parts=value if counter else parts)
    return replace(belief, core=replace(core, pumps=pumps))
