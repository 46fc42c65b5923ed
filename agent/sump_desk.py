"""One sump in the running agent: its evidence, its judgement, and when each was last told."""

import logging
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from types import MappingProxyType

from pydantic import TypeAdapter, ValidationError

from advisor import estimate, station_reports, sump
from advisor.alarms import Outage, stale_after
from advisor.condition_findings import corrected, noted
from advisor.effects import Effect, PublishState
from advisor.estimate import Belief
from advisor.plan import SumpPlan, Supply
from advisor.plant_findings import Heard, heard_of
from advisor.sump import SCHEMA, Occasion, Outside, Standing
from advisor.sump_findings import wrong_concentrate
from advisor.words import (
    HOUR,
    MINUTE,
    Addition,
    AlarmOrder,
    Delivery,
    Evidence,
    Finding,
    Instant,
    Signal,
    StationAnswer,
    SumpState,
)
from agent.store.batch import Batch
from agent.store.ledger import Ledger
from agent.timeline import Timeline

CHECKPOINT_EVERY = HOUR
CHECKPOINT_AT_LATEST = 12 * HOUR
CHECKPOINT_READINGS = 500
"""A belief is large: it is kept once so much evidence has come in since the last one that folding
it again would take a moment, or half a day has passed. [1]"""
NO_MINUTE: Instant = -1
FOREVER: Instant = 2**62
NO_STOCK: Mapping[str, float] = MappingProxyType({})
LOG = logging.getLogger("millpond.alarms")


@cache
def belief_codec() -> TypeAdapter[Belief]:
    """Belief to JSON and back, exactly."""
    return TypeAdapter(Belief)


@dataclass(frozen=True, slots=True)
class Keepsake:
    """What is stored of a sump beside its evidence and beliefs."""

    schema: int
    told: Instant | None
    standing: Standing


@cache
def keepsake_codec() -> TypeAdapter[Keepsake]:
    """Keepsake to JSON and back, exactly."""
    return TypeAdapter(Keepsake)


@dataclass(slots=True)
class SumpDesk:
    """State of one sump; every method takes the clock from its caller."""

    plan: SumpPlan
    timeline: Timeline
    supplies: Mapping[str, Supply] = field(default_factory=dict)
    """Of the whole plant: what may have been poured."""
    state: SumpState | None = None
    """As it was last judged."""
    found: tuple[Finding, ...] = ()
    """Found in what was reported since the last judgement; told once."""
    standing: Standing = field(default_factory=Standing)
    told: Instant | None = None
    """Newest moment of data time for which the sump was judged. [ms]"""
    judged_at: Instant = -1
    """Clock at which the sump was last judged. [ms]"""
    outdated_from: Instant | None = None
    """Evidence from here on came too late for memory: the store is to be asked. [ms]"""
    silent: dict[Signal, Instant] = field(default_factory=dict)
    """Signals whose sender has taken leave, and when. [ms]"""
    open_minute: Instant = NO_MINUTE
    """As `pending`, where that is known to stand until it is judged: readings in their order that
    are not later change nothing but the balance. [ms]"""
    checkpointed: Instant = 0
    _counted: int = 0
    _kept: tuple[Instant | None, Standing] | None = None

    @property
    def pending(self) -> Instant | None:
        """First whole minute not before the newest evidence, where it is not judged yet. [ms]"""
        newest = self.timeline.newest
        if newest < 0:
            return None
        minute = newest + -newest % MINUTE
        return minute if self.told is None or minute > self.told else None

    def wakes(self, now: Instant) -> bool:
        """Whether time alone may have changed something since the sump was last judged."""
        wake = self.standing.wake
        return wake is not None and wake <= now and self.judged_at < now

    @property
    def heard(self) -> Heard | None:
        """When anything was last heard of the sump, as far as it was judged."""
        return None if self.state is None else heard_of(self.state, self.plan)

    def note(self, evidence: Evidence) -> None:
        """Take evidence into the memory of the fluid's condition, beside the balance."""
        care = noted(self.standing.care, evidence)
        if care is not self.standing.care:
            self.standing = replace(self.standing, care=care)
        if isinstance(evidence, Addition):
            wrong = wrong_concentrate(evidence, self.plan, self.supplies)
            self.found += () if wrong is None else (wrong,)

    def outdate(self, at: Instant) -> None:
        """Note that memory does not reach back so far: the store is asked before judging."""
        self.outdated_from = at if self.outdated_from is None else min(at, self.outdated_from)

    def correct(self, entry: str) -> None:
        """Forget what an entry that is replaced said of the fluid's condition."""
        care = corrected(self.standing.care, entry)
        if care is not self.standing.care:
            self.standing = replace(self.standing, care=care)

    def judge(
        self,
        at: Instant,
        now: Instant,
        since: Instant | None,
        occasion: Occasion,
        outage: Outage | None = None,
        stock: Mapping[str, float] = NO_STOCK,
    ) -> tuple[Effect, ...]:
        """Judge the sump as it is at `at`, or at the newest moment it was judged for. [ms]

        `since` is when the agent began to listen: a signal's silence counts from there, unless it
        was told to be silent before. `outage` is what silences its signals from outside, `stock`
        what is left of each supply. [L]
        """
        self.told = at if self.told is None else max(at, self.told)
        self.judged_at, self.open_minute = now, NO_MINUTE
        state = estimate.state_at(self.timeline.belief, self.told, self.plan)
        if since is not None and min(state.last_seen.values(), default=since) < since:
            told = self.standing.stale
            heard = {
                signal: seen if signal in told else max(seen, since)
                for signal, seen in state.last_seen.items()
            }
            state = replace(state, last_seen=heard)
        state = self._missing(state)
        outside = Outside(findings=self.found, outage=outage, since=since, stock=stock)
        before, self.state, self.found = self.state, state, ()
        again, self.timeline.folded_again = self.timeline.folded_again, False
        if (
            occasion is Occasion.MINUTE
            and before is not None
            and not again
            and sump.is_foreseen(self.standing, before, state, self.plan, now=now, outside=outside)
        ):
            return (PublishState(state),)
        self.standing, effects = sump.judge(
            self.standing, state, self.plan, now=now, occasion=occasion, outside=outside
        )
        return effects

    def _missing(self, state: SumpState) -> SumpState:
        """Call signals stale whose sender has taken leave, until they are heard again."""
        if not self.silent:
            return state
        seen = dict(state.last_seen)
        for signal, gone in list(self.silent.items()):
            heard = seen.get(signal)
            if heard is not None and heard > gone:
                del self.silent[signal]
            elif heard is not None:
                age = stale_after(self.plan.signals[signal], state.intervals)
                seen[signal] = min(heard, gone - age - 1)
        return replace(state, last_seen=seen) if self.silent else state

    def obey(self, order: AlarmOrder, at: Instant) -> tuple[tuple[Effect, ...], str | None]:
        """Carry out a command on an alarm; the second is why it does not apply."""
        self.standing, effects, refusal = sump.obey(self.standing, order, self.plan, at=at)
        return effects, refusal

    def hear_station(
        self, said: StationAnswer | Delivery, now: Instant
    ) -> tuple[tuple[Effect, ...], str | None]:
        """Take in what a station says of a setpoint; the second is why it is of no use."""
        before = self.standing.station
        desk, effects, refusal = station_reports.hear(before, said, self.plan, now)
        if desk is not before:
            self.standing = replace(self.standing, station=desk)
        return effects, refusal

    def new_checkpoint(self) -> tuple[Instant, bytes] | None:
        """A belief to keep, where the last one kept is old enough."""
        settled = self.timeline.settled
        if (
            self.outdated_from is not None
            or settled is None
            or settled[0] < self.checkpointed + CHECKPOINT_EVERY
            or not self._is_worth(settled[0])
        ):
            return None
        self.checkpointed, belief = settled
        self._counted = self.timeline.count
        return self.checkpointed, belief_codec().dump_json(belief)

    def hand_over(self) -> tuple[Instant, bytes] | None:
        """The belief as it is now, for another plan to go on from; `None` before any evidence."""
        if self.timeline.newest < 0:
            return None
        return self.timeline.newest, belief_codec().dump_json(self.timeline.belief)

    def _is_worth(self, at: Instant) -> bool:
        """Whether enough came in since the last checkpoint, or it is long ago."""
        return (
            self.timeline.count >= self._counted + CHECKPOINT_READINGS
            or at >= self.checkpointed + CHECKPOINT_AT_LATEST
        )

    def restore(self, ledger: Ledger, at: Instant | None, unstored: Batch | None = None) -> None:
        """Take up what the store holds: the newest belief up to `at`, and the evidence since.

        `unstored` is evidence that counts as well, of a transaction that is still to come.
        """
        checkpoint = ledger.checkpoint(self.plan.id, FOREVER if at is None else at)
        if checkpoint is None:
            reach, belief = 0, estimate.begin(self.plan)
        else:
            reach, belief = checkpoint[0] + 1, belief_codec().validate_json(checkpoint[1])
        self.open_minute = NO_MINUTE
        evidence = ledger.evidence(self.plan.id, reach - 1, unstored)
        self.timeline.rebuild(belief, evidence, reach=reach)
        self.checkpointed = reach - 1
        self._counted = 0
        self.outdated_from = None

    def remember(self, keepsake: bytes | None) -> None:
        """Take up the judgement where an earlier run left it."""
        if keepsake is None:
            return
        try:
            kept = keepsake_codec().validate_json(keepsake)
        except ValidationError:
            LOG.warning(
                "%s: alarms and advice begin anew: another version of millpond wrote them",
                self.plan.id,
            )
            return
        if kept.schema == SCHEMA:
            self.told, self.standing = kept.told, kept.standing
        if self.standing.stale and self.told is not None:
            # So that the plant's look before the first judgement knows of the silence that goes on.
            self.state = estimate.state_at(self.timeline.belief, self.told, self.plan)

    def new_keepsake(self) -> bytes | None:
        """What must outlive the process beside the evidence, where it is not what it was."""
        kept, self._kept = self._kept, (self.told, self.standing)
        if kept is not None and kept[0] == self.told and kept[1] is self.standing:
            return None
        return keepsake_codec().dump_json(Keepsake(SCHEMA, self.told, self.standing))
