"""The filter while something is taken in: unpacked, with the bank of suspected steps beside it."""

from dataclasses import replace

from advisor import balance, events, observation
from advisor import states as s
from advisor.belief import EMPTY, Belief, Core, Told, noise_of, twin
from advisor.filter_step import (
    Matrix,
    Vector,
    forget,
    learn,
    move,
    pack,
    project,
    shock,
    unpack,
)
from advisor.hypotheses import Bank
from advisor.noise import adapted
from advisor.plan import SumpPlan
from advisor.priors import Priors, priors
from advisor.pumps import count, days
from advisor.summary import tell
from advisor.words import MINUTE, Instant

SHIFT_DAYS = 8.0 / 24.0
"""How long pumps run or stand; common practice. [d]"""
BLIND: Instant = 40 * MINUTE
"""What rushes out or in is taken to have stopped where no level has borne it out so long. [ms]"""
SOFT = 3.0
"""Huber's bound, from which on a surprise counts by its size and no longer by its square. [1]"""


class Working:
    """The filter, unpacked while a slot or an entry is taken in; packed again by `core`."""

    __slots__ = (
        "at",
        "bank",
        "cov",
        "mean",
        "noise",
        "pending",
        "plan",
        "prior",
        "pumps",
        "settled",
    )

    def __init__(self, core: Core, plan: SumpPlan) -> None:
        self.settled = core
        self.at = core.at
        self.plan = plan
        self.pumps = core.pumps
        self.mean: Vector = unpack(core.mean)
        self.cov: Matrix = unpack(core.cov).reshape(s.SIZE, s.SIZE)
        self.bank = Bank(core.bank, core.begun)
        self.noise = noise_of(core)
        self.pending: tuple[tuple[float, Vector], ...] = ()
        """Steps that may have been but are not believed yet: probability, and what each does."""
        self.prior: Priors = adapted(priors(plan), self.noise)
        if self.pumps.running < 0:
            self.prior = _with_holdup_unseen(self.prior, float(self.mean[s.HOLDUP]), plan)

    def advance(self, until: Instant) -> None:
        """Move the filter to a later moment. [ms]"""
        self.pumps = pumps = count(self.pumps, until)
        passed = days(until - self.at) if self.at >= 0 else 0.0
        rush = self.settled
        if rush.rushing and until - rush.rushing_seen > BLIND:
            self.as_usual(rush.usual)
        if passed > 0.0:
            block, decay, noise = balance.passage(
                self.mean, self.prior, passed, days(pumps.ran), days(pumps.cut)
            )
            move(self.mean, self.cov, block, decay, noise)
            self.bank.move(block, decay)
        self.pumps = pumps._replace(ran=0.0, cut=0.0)
        self.at = until

    def as_usual(self, rates: tuple[float, float, float, float]) -> None:
        """Take up the rates at rest as they were before something ran out or in. [L/d]"""
        water, water_spread, solute, solute_spread = rates
        forget(self.mean, self.cov, s.WATER_REST, water, water_spread)
        forget(self.mean, self.cov, s.CONCENTRATE_REST, solute, solute_spread)

    def take(self, row: observation.Row, value: float) -> tuple[float, float]:
        """Take in one measurement; give what it told: the surprise and its variance."""
        surprise = value - row.expected
        spread, variance = project(self.cov, row.places, row.weights)
        variance += row.variance
        gain = learn(self.mean, self.cov, spread, variance, surprise)
        self.bank.learn(row.places, row.weights, gain, surprise, variance)
        return surprise, variance

    def take_softly(self, row: observation.Row, value: float) -> tuple[float, float]:
        """Take in a measurement that may be an outlier: beyond `SOFT` sds it weighs less."""
        _, variance = project(self.cov, row.places, row.weights)
        z = abs(value - row.expected) / (variance + row.variance) ** 0.5
        if z > SOFT:
            more = (variance + row.variance) * (z / SOFT) ** 2 - variance
            row = observation.Row(row.expected, row.places, row.weights, more)
        return self.take(row, value)

    def core(self) -> Core:
        """Give the filter as a value again, and what is told of it."""
        old = self.settled
        core = twin(old)
        core.at, core.pumps = self.at, self.pumps
        core.mean, core.cov = pack(self.mean), pack(self.cov)
        still, stirred = old.noises
        core.noises = (self.noise, stirred) if self.pumps.running == 0 else (still, self.noise)
        core.bank, core.begun = self.bank.packed(), tuple(self.bank.begun)
        core.notes = tuple([events.weigh(note, self.mean, self.cov) for note in old.notes])
        core.told = self._told()
        return core

    def _told(self) -> Told:
        """Tell what the filter knows, with the pumps as they are now."""
        old = self.settled
        if old.at != self.at or old.pumps is not self.pumps:
            old = twin(old)
            old.at, old.pumps = self.at, self.pumps
        told = tell(self.mean, self.cov, old, self.plan, self.prior)
        return self._in_doubt(told, old) if self.pending else told

    def _in_doubt(self, told: Told, core: Core) -> Told:
        """Tell the mixture of what may have been; what the sensors should read stays as it is."""
        mean, cov = self.mean.copy(), self.cov.copy()
        for share, effect in self.pending:
            mean += share * effect
        for share, effect in self.pending:
            shock(mean, cov, effect + self.mean - mean, 0.0, share)
        mixed = tell(mean, cov, core, self.plan, self.prior)
        return replace(
            mixed,
            rates=told.rates,
            area=told.area,
            sensor_depth=told.sensor_depth,
            sensor_up=told.sensor_up,
            sensor_sd=told.sensor_sd,
            film=told.film,
            brix=told.brix,
            brix_sd=told.brix_sd,
        )

    def belief(self, belief: Belief, core: Core, at: Instant) -> Belief:
        """Give the belief after an entry at a moment, with `core` around the filter."""
        self.settled = core
        return replace(belief, at=max(at, belief.at), core=self.core(), slot=EMPTY)


def _with_holdup_unseen(prior: Priors, holdup: float, plan: SumpPlan) -> Priors:
    """Give the expectations where nobody tells whether the pumps run.

    Half the holdup, more or less, is then an error of the level that lasts for a shift, and no
    noise from slot to slot that many slots would average out.
    """
    half = 0.5 * holdup * plan.levels.brim / prior.brim
    return prior._replace(sway_sd=(prior.sway_sd**2 + half * half) ** 0.5, sway_days=SHIFT_DAYS)
