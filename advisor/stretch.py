"""A stretch of readings that simply fit what is expected, summed up in one pass.

Most readings of the level and of the inline refractometer do no more than add to the open slot.
Here many of them are added at once, at a fraction of the cost; what needs a closer look ends the
stretch and is left to `intake`, which for the readings taken here gives the same to the last bit.
"""

from collections.abc import Sequence
from math import inf

from advisor.belief import Belief, noise_of
from advisor.faults import REPEATS, Watch, finer, is_stuck
from advisor.intake import (
    BRIX,
    FAR_BRIX,
    FAR_LEAST,
    FAR_SDS,
    LEVEL,
    SETTLED,
    WILD_BRIX,
    WILD_SHARE,
    expected_depth,
    flows_from,
    steady_from,
    usual_pace,
)
from advisor.level import as_depth, depth_of
from advisor.plan import SumpPlan
from advisor.pumps import changed
from advisor.slots import SLOT_MS
from advisor.words import Evidence, Instant, Reading

LATE: Instant = 1 << 62
"""Long after any pump start. [ms]"""


def take_stretch(
    belief: Belief, evidence: Sequence[Evidence], start: int, plan: SumpPlan
) -> tuple[Belief, int]:
    """Take in what simply fits, up to the first piece that does not.

    Parameters
    ----------
    belief : Belief
        What is known so far; it stays as it is.
    evidence : sequence of Evidence
        In the order of its time.
    start : int
        Place of the first piece to take in.
    plan : SumpPlan
        What is told about the sump.

    Returns
    -------
    belief, end
        What is known with it, and the place of the first piece that was not taken in.
    """
    core, slot = belief.core, belief.slot
    known = core.volume_known and core.concentration_known
    if slot.begin < 0 or not known or core.charging:
        return belief, start
    add_level, add_brix = _Levels(belief, plan), _Brixes(belief, plan)
    levels, brixes, over = add_level.add, add_brix.add, slot.begin + SLOT_MS
    end, count = start, len(evidence)
    while end < count:
        item = evidence[end]
        if not isinstance(item, Reading) or item[0] >= over:
            break
        at, signal, value = item
        if signal is LEVEL:
            if not levels(at, value):
                break
        elif signal is not BRIX or not brixes(at, value):
            break
        end += 1
    if end == start:
        return belief, start
    return _summed(belief, evidence[end - 1].at, add_level, add_brix), end


def _summed(belief: Belief, at: Instant, levels: "_Levels", brixes: "_Brixes") -> Belief:
    """Give the belief with all that was added."""
    slot = belief.slot._replace(
        levels=levels.count,
        level_sum=levels.total,
        level_squares=levels.squares,
        level_when=levels.when,
        brixes=brixes.count,
        brix_sum=brixes.total,
        brix_squares=brixes.squares,
        brix_when=brixes.when,
    )
    if levels.added and slot.far:
        slot = slot._replace(
            spikes=slot.spikes + slot.far,
            far=0,
            far_since=-1,
            far_sum=0.0,
            far_squares=0.0,
            far_when=0.0,
        )
    return Belief(
        belief.schema,
        at,
        belief.core,
        slot,
        (levels.seen, brixes.seen, *belief.seen[2:]),
        (levels.pace, brixes.pace, *belief.paces[2:]),
        (levels.watched(belief.watches[0]), brixes.watched(belief.watches[1])),
        belief.temperature,
    )


class _Sums:
    """Readings of one signal, added to the slot's sums."""

    __slots__ = (
        *("added", "begin", "count", "goal", "grain", "last", "near", "noise", "pace"),
        *("repeats", "seen", "since", "squares", "total", "trusted", "when"),
    )

    count: int
    total: float
    squares: float
    when: float
    goal: float
    """What is expected."""
    near: float
    """How far from it a reading fits."""
    noise: float
    """Scatter of one reading."""

    def __init__(self, belief: Belief, place: int) -> None:
        self.begin, watch = belief.slot.begin, belief.watches[place]
        self.last, self.repeats, self.grain, self.since = watch[:4]
        self.trusted = not watch.fault
        self.seen, self.pace = belief.seen[place], belief.paces[place]
        self.added = False

    def fits(self, at: Instant, value: float, found: float) -> bool:
        """Add what fits; False, and nothing is changed, where it needs a closer look."""
        off = found - self.goal
        if not (self.trusted and -self.near <= off <= self.near):
            return False
        if value == self.last:
            repeats = self.repeats + 1
            if repeats >= REPEATS and is_stuck(repeats, self.grain, self.noise):
                return False
            self.repeats = repeats
        else:
            if self.grain == 0.0 or abs(value - self.last) < self.grain:
                self.grain = finer(self.grain, self.last, value)
            self.last, self.repeats, self.since = value, 0, at
        self.added = True
        self.count += 1
        self.total += found
        self.squares += off * off
        self.when += at - self.begin
        self.pace = usual_pace(self.pace, at, self.seen)
        self.seen = at
        return True

    def watched(self, before: Watch) -> Watch:
        """What is thought of the sensor by now."""
        return Watch(self.last, self.repeats, self.grain, self.since) if self.added else before


class _Levels(_Sums):
    """Readings of the level."""

    __slots__ = ("core", "moving", "plan", "settled", "steady", "upright", "warm", "wild")

    def __init__(self, belief: Belief, plan: SumpPlan) -> None:
        super().__init__(belief, 0)
        core, slot = belief.core, belief.slot
        self.count, self.total = slot.levels, slot.level_sum
        self.squares, self.when = slot.level_squares, slot.level_when
        self.core, self.plan, self.warm = core, plan, belief.temperature
        self.upright = as_depth(plan)
        self.settled = changed(core.pumps) + SETTLED if core.pumps.running == 1 else -inf
        self.steady, self.moving = steady_from(core), False
        self.wild = WILD_SHARE * plan.levels.brim
        self.noise = noise_of(core).within ** 0.5
        self._expect(LATE)

    def add(self, at: Instant, value: float) -> bool:
        """Add a reading that fits; False, and nothing is changed, where it needs a closer look."""
        if at < self.settled:
            return False
        if at <= self.steady:
            self._expect(at)
            self.moving = True
        elif self.moving:
            return False
        upright = self.upright
        if upright is None:
            depth = depth_of(self.plan, value, self.warm)
        else:
            sign, offset, highest = upright
            depth = offset + sign * value
            if not 0.0 <= depth <= highest:
                depth = min(max(depth, 0.0), highest)
        return self.fits(at, value, depth)

    def _expect(self, at: Instant) -> None:
        """Set what is expected at a moment, and how far from it is near."""
        self.goal, sd = expected_depth(self.core, at)
        near = max(FAR_LEAST, FAR_SDS * sd)
        self.near = min(near, self.wild) if sd < 1e5 else near


class _Brixes(_Sums):
    """Readings of the inline refractometer."""

    __slots__ = ("flows",)

    def __init__(self, belief: Belief, plan: SumpPlan) -> None:
        super().__init__(belief, 1)
        core, slot = belief.core, belief.slot
        self.count, self.total = slot.brixes, slot.brix_sum
        self.squares, self.when = slot.brix_squares, slot.brix_when
        self.flows = flows_from(core, plan)
        self.goal, sd = core.told.brix, core.told.brix_sd
        self.near = min(FAR_BRIX * sd, max(WILD_BRIX, 8.0 * sd))
        self.noise = noise_of(core).brix ** 0.5

    def add(self, at: Instant, value: float) -> bool:
        """Add a reading that fits; False, and nothing is changed, where it needs a closer look."""
        if at < self.flows:
            self.pace = usual_pace(self.pace, at, self.seen)
            self.seen = at
            return True
        return self.fits(at, value, value)
