"""What time it is: the only module that asks the machine.

The computation takes its time from the items it is given; their stamps come from a clock of here.
"""

import time
from typing import Protocol

from advisor.words import Instant


class Clock(Protocol):
    """Something that knows the time."""

    def now(self) -> Instant | None:
        """Give the time; `None` while it is not known yet."""


class WallClock:
    """The machine's clock."""

    def now(self) -> Instant:
        """Give the time by the machine's clock."""
        return time.time_ns() // 1_000_000


class TopicClock:
    """A clock that somebody publishes: its time is the newest tick's, and never goes back.

    Parameters
    ----------
    start : Instant, optional
        The time before the first tick; of a store that was used before, its newest stamp.
    """

    def __init__(self, start: Instant | None = None) -> None:
        self._now = start

    def now(self) -> Instant | None:
        """Give the newest tick's time; `None` before the first."""
        return self._now

    def advance(self, to: Instant) -> bool:
        """Move on to a tick's time; false where that would go back, and the clock stays."""
        if self._now is not None and to < self._now:
            return False
        self._now = to
        return True


class ManualClock:
    """A clock that stands until it is set: for tests."""

    def __init__(self, start: Instant = 0) -> None:
        self._now = start

    def now(self) -> Instant:
        """Give the time it was set to."""
        return self._now

    def set(self, at: Instant) -> None:
        """Set it, forward or back."""
        self._now = at
