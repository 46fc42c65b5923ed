"""What is going to happen at a sump: actions at moments, carried out in order."""

import heapq
from collections.abc import Callable
from itertools import count

Action = Callable[[int], None]


class Agenda:
    """Actions by time; those of one moment in the order in which they were entered."""

    def __init__(self) -> None:
        self._heap: list[tuple[int, int, Action]] = []
        self._order = count()

    def at(self, moment: int, action: Action) -> None:
        """Enter an action; it will be told the moment [ms] at which it is carried out."""
        heapq.heappush(self._heap, (moment, next(self._order), action))

    def carry_out(self, now: int) -> None:
        """Do all that is due, also what is entered meanwhile for moments up to `now`."""
        while self._heap and self._heap[0][0] <= now:
            heapq.heappop(self._heap)[2](now)
