"""Whether the worker lives: what it last did, and when, for health, metrics and the watchdog."""

import threading
import time
from collections.abc import Callable

DEAD_AFTER_S = 60.0
"""A worker that has not moved for so long is taken for dead. [s]"""


class Pulse:
    """Beaten by the worker, felt by everybody else.

    Parameters
    ----------
    clock : callable
        Seconds that never go back.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._worker: int | None = None
        self._last: float | None = None
        self.waits_for = ""
        """What keeps the worker, such as a disk that is full; empty: nothing."""
        self.on_beat: Callable[[], None] = lambda: None
        """Called with each beat, on the worker's thread."""

    def beat(self) -> None:
        """Say that a turn is done; the thread that says so is the worker's."""
        self._worker = threading.get_ident()
        self.waits_for = ""
        self._move()

    def wait(self, trouble: str) -> None:
        """Say that something is waited for; counts as life where the worker itself waits."""
        self.waits_for = trouble
        if threading.get_ident() == self._worker:
            self._move()

    def _move(self) -> None:
        """Note a sign of life."""
        self._last = self._clock()
        self.on_beat()

    @property
    def age(self) -> float | None:
        """Since the last sign of life; `None`: there was none yet. [s]"""
        return None if self._last is None else self._clock() - self._last

    @property
    def is_alive(self) -> bool:
        """Whether the worker has moved within `DEAD_AFTER_S`."""
        return self.age is not None and self.age < DEAD_AFTER_S
