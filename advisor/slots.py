"""Readings of a few minutes, summed up, and taken into the filter as one.

Waves make the readings of a minute say much the same, so that nothing is lost by adding them up,
and the filter's work is shared by all of them.
"""

from dataclasses import replace

from advisor import balance, observation
from advisor import states as s
from advisor.belief import Belief, Core, Slot
from advisor.filter_step import Matrix, Vector, clone, forget, learn, move, pack, project, unpack
from advisor.plan import SumpPlan
from advisor.priors import Priors, priors
from advisor.pumps import count, days, share_up
from advisor.words import HOUR, MINUTE, Instant

SLOT_MS = 5 * MINUTE
"""How much time one slot covers at most. [ms]"""
CLONE_EVERY: Instant = 2 * HOUR
"""Time between the moments of which the losses are kept beside. [ms]"""
CORRELATED = 6
"""Readings of one slot tell at most as much as so many independent ones; common practice. [1]"""
MIXING_BRIX_SD = 1.0
"""Spread of the inline reading while a poured addition is not mixed yet. [°Brix]"""


_LOST = (s.LOST_WATER, s.LOST_CONCENTRATE)
_MOVED = range(s.ADDED_WATER, s.DRAINED_CONCENTRATE + 1)


class Working:
    """The filter, unpacked while a slot or an entry is taken in; packed again by `core`."""

    __slots__ = ("at", "cov", "mean", "prior", "pumps", "settled")

    def __init__(self, core: Core, plan: SumpPlan) -> None:
        self.settled = core
        self.at = core.at
        self.pumps = core.pumps
        self.mean: Vector = unpack(core.mean)
        self.cov: Matrix = unpack(core.cov).reshape(s.SIZE, s.SIZE)
        self.prior: Priors = priors(plan)

    def advance(self, until: Instant) -> None:
        """Move the filter to a later moment. [ms]"""
        self.pumps = pumps = count(self.pumps, until)
        passed = days(until - self.at) if self.at >= 0 else 0.0
        if passed > 0.0:
            move(
                self.mean,
                self.cov,
                *balance.passage(self.mean, self.prior, passed, days(pumps.ran), days(pumps.cut)),
            )
        self.pumps = pumps._replace(ran=0.0, cut=0.0)
        self.at = until

    def take(self, row: observation.Row, value: float) -> tuple[float, float]:
        """Take in one measurement; gives what it told: the surprise and its variance."""
        surprise = value - row.expected
        spread, variance = project(self.cov, row.places, row.weights)
        variance += row.variance
        learn(self.mean, self.cov, spread, variance, surprise)
        return surprise, variance

    def core(self) -> Core:
        """Give the filter as a value again."""
        return replace(
            self.settled,
            at=self.at,
            mean=pack(self.mean),
            cov=pack(self.cov),
            pumps=self.pumps,
        )

    def belief(self, belief: Belief, core: Core, at: Instant) -> Belief:
        """Give the belief after an entry at a moment, with `core` around the filter."""
        self.settled = core
        return replace(belief, at=max(at, belief.at), core=self.core(), slot=Slot())


def close(belief: Belief, plan: SumpPlan) -> Belief:
    """Take the open slot into the filter; the belief as it is where there is none."""
    slot = belief.slot
    if slot.begin < 0:
        return belief
    work = Working(belief.core, plan)
    work.advance(belief.at)
    core = belief.core
    if slot.levels and not core.charging:
        _take_level(work, belief, plan)
        core = replace(core, volume_known=True)
    if slot.brixes and not core.charging:
        _take_brix(work, belief, plan)
        core = replace(core, concentration_known=True)
    work.settled = _keep_clone(work, begin_when_known(work, core, slot.begin))
    return replace(belief, core=work.core(), slot=Slot())


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


def _take_level(work: Working, belief: Belief, plan: SumpPlan) -> None:
    """Mean depth of the slot, as volume at 20 °C."""
    slot = belief.slot
    depth = slot.level_sum / slot.levels
    when = slot.begin + int(slot.level_when / slot.levels)
    area = observation.surface(plan, depth)
    share, share_sd = share_up(work.pumps, when)
    sd = work.prior.level_sd / min(slot.levels, CORRELATED) ** 0.5
    if when < belief.core.pouring_until:
        sd += belief.core.pouring / area
    row = observation.level_row(work.mean, share, share_sd, area, sd)
    work.take(row, observation.level_volume(plan, depth, belief.temperature))


def _take_brix(work: Working, belief: Belief, plan: SumpPlan) -> None:
    """Mean inline reading of the slot."""
    slot, core = belief.slot, belief.core
    when = slot.begin + int(slot.brix_when / slot.brixes)
    sd = work.prior.brix_sd / min(slot.brixes, CORRELATED) ** 0.5
    if when < core.mixing_until:
        sd = (sd * sd + MIXING_BRIX_SD**2) ** 0.5
    row = observation.brix_row(work.mean, plan.fluid.refractometer_factor, sd)
    work.take(row, slot.brix_sum / slot.brixes)


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
    clone(work.mean, work.cov, s.LOST_WATER, pair)
    clone(work.mean, work.cov, s.LOST_CONCENTRATE, pair + 1)
    return replace(core, clones=(*kept, (work.at, place)))
