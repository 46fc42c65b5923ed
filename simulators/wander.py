"""Noise with a memory: an Ornstein-Uhlenbeck process, sampled exactly at any times."""

import math

from simulators.draws import Draws
from simulators.instants import SECOND


class Wander:
    """Stationary, normal, forgetting at a rate: waves, foam, an instrument's slow wander.

    Parameters
    ----------
    sd
        Spread at any one time, in the unit of what wanders.
    memory_s
        Correlation time: after it 1/e of a deviation is left. [s]
    draws
        Its own stream.

    References
    ----------
    .. [1] G. E. Uhlenbeck and L. S. Ornstein, Phys. Rev. 36 (1930) 823; the exact update is
       D. T. Gillespie, Phys. Rev. E 54 (1996) 2084 (from memory).
    """

    __slots__ = ("_at", "_draws", "_fresh", "_keep", "_memory", "_sd", "_since", "value")

    def __init__(self, sd: float, memory_s: float, draws: Draws) -> None:
        self._sd = sd
        self._memory = memory_s * SECOND
        self._draws = draws
        self._at: int | None = None
        self._since = -1
        self._keep = 0.0
        self._fresh = sd
        self.value = 0.0

    def at(self, now: int) -> float:
        """Value at `now`, which must not go back."""
        if self._sd <= 0.0:
            return 0.0
        if self._at is None:
            self.value = self._sd * self._draws.normal()
        elif now > self._at:
            since = now - self._at
            if since != self._since:
                self._since = since
                self._keep = math.exp(-since / self._memory)
                self._fresh = self._sd * math.sqrt(-math.expm1(-2.0 * since / self._memory))
            self.value = self._keep * self.value + self._fresh * self._draws.normal()
        self._at = now
        return self.value
