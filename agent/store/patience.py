"""How long to wait for a store that is locked, full or away: as long as it takes."""

import logging
import threading

from agent.errors import StoreUnavailable

LOG = logging.getLogger("millpond.store")

FIRST_WAIT_S = 0.1
LONGEST_WAIT_S = 10.0


class Patience:
    """Waits between attempts, longer each time; says once that it waits and once that it is over.

    Parameters
    ----------
    stopping : threading.Event
        Set when the process is to end: then nobody waits any longer.
    """

    def __init__(self, stopping: threading.Event) -> None:
        self._stopping = stopping

    def wait(self, trouble: StoreUnavailable, attempt: int) -> None:
        """Wait after failed attempt number `attempt`, from 1.

        Raises
        ------
        StoreUnavailable
            If the process is to end.
        """
        if attempt == 1:
            LOG.warning("%s; nothing is lost, waiting", trouble)
        pause = min(LONGEST_WAIT_S, FIRST_WAIT_S * 2.0 ** min(attempt - 1, 10))
        if self._stopping.wait(pause):
            raise trouble

    def over(self, attempts: int) -> None:
        """Say that the store can be used again."""
        LOG.warning("the store works again, after %d failed attempts", attempts)
