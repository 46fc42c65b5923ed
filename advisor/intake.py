"""A sensor's reading on its way in: the few microseconds that every reading costs."""

from dataclasses import replace

from advisor.additions import take_meter
from advisor.belief import Belief, Slot
from advisor.observation import depth_of
from advisor.plan import SumpPlan
from advisor.pumps import FILL_MS, count, switch
from advisor.slots import SLOT_MS, close
from advisor.words import Instant, Reading, Signal

PLACE = {signal: place for place, signal in enumerate(Signal)}
SETTLED = 4.0 * FILL_MS
"""After a start the level is not read for so long. [ms]"""
FLUSHED: Instant = 120_000
"""After a start the fluid before the prism is an old one for so long; common practice. [ms]"""


def take_reading(belief: Belief, reading: Reading, plan: SumpPlan) -> Belief:
    """Take in one reading of any signal."""
    at, signal, value = reading.at, reading.signal, reading.value
    if belief.slot.begin >= 0 and at - belief.slot.begin >= SLOT_MS:
        belief = close(belief, plan)
    if signal is Signal.LEVEL:
        slot = _add_level(belief, at, value, plan)
    elif signal is Signal.BRIX:
        slot = _add_brix(belief, at, value, plan)
    else:
        belief = _take_other(belief, reading, plan)
        slot = belief.slot
    place = PLACE[signal]
    seen = belief.seen
    return Belief(
        belief.schema,
        at,
        belief.core,
        slot,
        (*seen[:place], at, *seen[place + 1 :]),
        value if signal is Signal.TEMPERATURE else belief.temperature,
    )


def _add_level(belief: Belief, at: Instant, value: float, plan: SumpPlan) -> Slot:
    """Give the slot with one more depth in it."""
    slot, pumps = belief.slot, belief.core.pumps
    if pumps.running == 1 and pumps.since >= 0 and at - pumps.since < SETTLED:
        return slot
    depth = depth_of(plan, value, belief.temperature)
    begin = slot.begin if slot.begin >= 0 else at
    off = depth - belief.core.expected_depth
    return slot._replace(
        begin=begin,
        levels=slot.levels + 1,
        level_sum=slot.level_sum + depth,
        level_squares=slot.level_squares + off * off,
        level_when=slot.level_when + (at - begin),
    )


def _add_brix(belief: Belief, at: Instant, value: float, plan: SumpPlan) -> Slot:
    """Give the slot with one more inline reading in it, where the prism sees the sump's fluid."""
    slot, pumps = belief.slot, belief.core.pumps
    told = plan.signals[Signal.BRIX]
    if told.needs_flow and (
        pumps.running == 0 or (pumps.running == 1 and 0 <= pumps.since > at - FLUSHED)
    ):
        return slot
    begin = slot.begin if slot.begin >= 0 else at
    off = value - belief.core.expected_brix
    return slot._replace(
        begin=begin,
        brixes=slot.brixes + 1,
        brix_sum=slot.brix_sum + value,
        brix_squares=slot.brix_squares + off * off,
        brix_when=slot.brix_when + (at - begin),
    )


def _take_other(belief: Belief, reading: Reading, plan: SumpPlan) -> Belief:
    """Pumps, cutting and totalisers; whatever else there is, is only noted as seen."""
    signal, at = reading.signal, reading.at
    if signal is Signal.RUNNING:
        return _switch(belief, at, int(reading.value > 0.5), plan)
    if signal is Signal.CUTTING:
        return _cut(belief, at, reading.value, plan)
    if signal is Signal.WATER_METER:
        return take_meter(belief, 0, at, reading.value, plan)
    if signal is Signal.CONCENTRATE_METER:
        return take_meter(belief, 1, at, reading.value, plan)
    return belief


def _switch(belief: Belief, at: Instant, running: int, plan: SumpPlan) -> Belief:
    """Pumps on or off: a slot holds readings of one kind only."""
    if belief.core.pumps.running == running:
        return belief
    belief = close(belief, plan)
    core = belief.core
    return replace(belief, core=replace(core, pumps=switch(core.pumps, at, running)))


def _cut(belief: Belief, at: Instant, value: float, plan: SumpPlan) -> Belief:
    """Cutting on or off, or a part counter that went on."""
    core = belief.core
    told = plan.signals.get(Signal.CUTTING)
    parts = core.pumps.parts
    counter = told is not None and told.counter
    cutting = int(value > parts) if counter and parts >= 0.0 else int(value > 0.5 and not counter)
    if core.pumps.cutting == cutting and not counter:
        return belief
    pumps = count(core.pumps, at)._replace(cutting=cutting, parts=value if counter else parts)
    return replace(belief, core=replace(core, pumps=pumps))
