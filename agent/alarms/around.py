"""What the running process knows that no message tells: of interest to the plant's own alarms.

A recording has nothing of it, so that a replay goes without: there the link never fails, nothing
waits, and nobody is notified.
"""

from collections.abc import Callable
from dataclasses import dataclass

from advisor.plant_findings import historian_behind
from advisor.words import Finding, Instant


def _nothing() -> tuple[int, Instant | None]:
    """Nothing waits."""
    return 0, None


@dataclass(slots=True)
class Around:
    """Set by whoever drives the pipeline, in the same thread."""

    link_lost_since: Instant | None = None
    """Since when there is no broker; `None`: there is one. [ms]"""
    waiting: Callable[[], tuple[int, Instant | None]] = _nothing
    """How much waits for the historian, and since when. [1], [ms]"""
    notifies: bool = False
    """Whether people are notified."""

    def link(self, now: Instant | None, *, connected: bool) -> None:
        """Note whether there is a broker at a moment of the clock. [ms]"""
        if connected:
            self.link_lost_since = None
        elif self.link_lost_since is None:
            self.link_lost_since = now

    def findings(self, now: Instant) -> tuple[Finding, ...]:
        """What is wrong with the process's own surroundings. [ms]"""
        count, oldest = self.waiting()
        behind = historian_behind(count, oldest, now)
        return () if behind is None else (behind,)
