"""One sump's evidence in the order of its own time.

What arrives in order is taken in at once. What arrives late takes its place: the fold goes back
to the belief kept before that minute and runs again, so that the answer does not depend on the
order of arrival. What is older than the memory is asked of the store (`Timeline.reaches`).
"""

from bisect import bisect_left, insort
from collections.abc import Iterable
from dataclasses import dataclass

from advisor import estimate
from advisor.estimate import Belief
from advisor.plan import SumpPlan
from advisor.words import MINUTE, Evidence, Instant, Reading
from agent.store.batch import evidence_order


@dataclass(slots=True)
class _Minute:
    """The evidence of one minute, and the belief before any of it."""

    start: Instant
    before: Belief
    evidence: list[Evidence]


def _start(minute: _Minute) -> Instant:
    """Where a minute begins. [ms]"""
    return minute.start


class Timeline:
    """Evidence and beliefs of one sump over the allowed lateness.

    Parameters
    ----------
    plan : SumpPlan
        What is told about the sump.
    lateness : int
        How far back evidence is kept in memory. [ms]
    """

    def __init__(self, plan: SumpPlan, lateness: Instant) -> None:
        self.plan = plan
        self._lateness = lateness
        self.rebuild(estimate.begin(plan), (), reach=0)

    def rebuild(self, belief: Belief, evidence: Iterable[Evidence], *, reach: Instant) -> None:
        """Start again from a belief and all the evidence from `reach` on. [ms]"""
        self._tip = belief
        self._waiting: list[Evidence] = []
        self.folded_again = True
        """Whether what was known of the past may have changed; whoever has seen to it resets it."""
        self.count = 0
        """Pieces of evidence taken in since. [1]"""
        self._minutes: list[_Minute] = []
        self._reach = reach
        self._dirty: Instant | None = None
        self._last: Evidence | None = None
        self.newest: Instant = -1
        """Time of the newest evidence; -1 before the first. [ms]"""
        for item in sorted(evidence, key=evidence_order):
            self.add(item)

    @property
    def settled(self) -> tuple[Instant, Belief] | None:
        """The belief that no late evidence in memory's reach changes, and what it holds up to."""
        if not self._minutes or self._reach == 0:
            return None
        return self._reach - 1, self._minutes[0].before

    @property
    def belief(self) -> Belief:
        """What the evidence so far says."""
        if self._dirty is not None:
            self._fold_again(self._dirty)
        elif self._waiting:
            self._tip = estimate.absorb_all(self._tip, self._waiting, self.plan)
            self._waiting = []
        return self._tip

    def reaches(self, at: Instant) -> bool:
        """Whether evidence of this time can still take its place from memory alone."""
        return at >= self._reach

    def add(self, evidence: Evidence) -> None:
        """Put evidence in its place; `reaches` must hold for its time."""
        key = evidence_order(evidence)
        self.count += 1
        start = key[0] - key[0] % MINUTE
        if self._last is not None and key <= evidence_order(self._last):
            self._insert(start, evidence)
            return
        if not self._minutes or start > self._minutes[-1].start:
            self._open(start)
        self._minutes[-1].evidence.append(evidence)
        self._last, self.newest = evidence, key[0]
        self._waiting.append(evidence)

    def add_newest(self, reading: Reading) -> None:
        """Put a reading behind all there is; it must be of a later millisecond."""
        at = reading[0]
        self.count += 1
        minutes = self._minutes
        if not minutes or at >= minutes[-1].start + MINUTE:
            self._open(at - at % MINUTE)
        self._minutes[-1].evidence.append(reading)
        self._waiting.append(reading)
        self._last, self.newest = reading, at

    def remove(self, entry_id: str) -> bool:
        """Take out a report that a later one replaces; False where memory does not hold it."""
        for minute in self._minutes:
            for index, item in enumerate(minute.evidence):
                if evidence_order(item)[1:] == (0, entry_id):
                    del minute.evidence[index]
                    self._mark(minute.start)
                    return True
        return False

    def _open(self, start: Instant) -> None:
        """Begin a new newest minute, and let go of those that nothing late can reach."""
        belief = self.belief
        self._minutes.append(_Minute(start, belief, []))
        settled_before = start - self._lateness
        keep = bisect_left(self._minutes, settled_before - MINUTE + 1, key=_start)
        if keep:
            del self._minutes[:keep]
            self._reach = self._minutes[0].start

    def _insert(self, start: Instant, evidence: Evidence) -> None:
        """Put late evidence into its minute, to be folded when the belief is next asked for."""
        index = bisect_left(self._minutes, start, key=_start)
        if self._minutes[index].start != start:
            self._minutes.insert(index, _Minute(start, self._minutes[index].before, []))
        insort(self._minutes[index].evidence, evidence, key=evidence_order)
        self._mark(start)

    def _mark(self, start: Instant) -> None:
        """Note that beliefs from this minute on no longer hold."""
        self._dirty = start if self._dirty is None else min(self._dirty, start)

    def _fold_again(self, start: Instant) -> None:
        """Take in everything from a minute on once more."""
        first = bisect_left(self._minutes, start, key=_start)
        belief = self._minutes[first].before
        for minute in self._minutes[first:]:
            minute.before = belief
            belief = estimate.absorb_all(belief, minute.evidence, self.plan)
        self._tip = belief
        self._waiting = []
        self._dirty = None
        self.folded_again = True
