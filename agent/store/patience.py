"""How long to wait for a store that is locked, full or away: as long as it takes."""

import logging
import threading
from collections.abc import Callable
from typing import TypeVar

from agent.errors import StoreUnavailable

Result = TypeVar("Result")
LOG = logging.getLogger("millpond.store")

FIRST_WAIT_S = 0.1
LONGEST_WAIT_S = 10.0


class Patience:
    """Tries again, after longer waits each time; says once that it waits, once that it is over.

    Parameters
    ----------
    stopping : threading.Event
        Set when the process is to end: then nobody waits any longer.
    """

    def __init__(self, stopping: threading.Event) -> None:
        self._stopping = stopping
        self.on_wait: Callable[[str], None] = lambda _trouble: None
        """Called before each wait with what is waited for."""

    def insist(self, action: Callable[[], Result]) -> Result:
        """Do it, again and again while the store is unavailable.

        Raises
        ------
        StoreUnavailable
            If the process is to end meanwhile.
        """
        failed = 0
        while True:
            try:
                result = action()
            except StoreUnavailable as trouble:
                self.on_wait(str(trouble))
                if failed == 0:
                    LOG.warning("%s; waiting, and nothing is acknowledged meanwhile", trouble)
                if self._stopping.wait(min(LONGEST_WAIT_S, FIRST_WAIT_S * 2.0 ** min(failed, 10))):
                    raise
                failed += 1
            else:
                if failed:
                    LOG.warning("the store works again, after %d failed attempts", failed)
                return result
