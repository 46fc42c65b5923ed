"""What a service manager is told: ready, alive, stopping.

The protocol of sd_notify(3): lines of ``NAME=value`` in a datagram to the socket that
``NOTIFY_SOCKET`` names. Without that variable nothing is said.
"""

import logging
import os
import socket
import sys
import time
from collections.abc import Callable, Mapping

LOG = logging.getLogger("millpond.service")

BEATS_A_PERIOD = 4.0
"""So often within the watchdog's time it is told that all is well; sd_watchdog_enabled(3) wants
two at least."""


class ServiceManager:
    """Tells whoever started this process how it does.

    Parameters
    ----------
    environment : mapping of str to str
        Has `NOTIFY_SOCKET`, `WATCHDOG_USEC` and `WATCHDOG_PID`, as the service manager sets them.
    clock : callable
        Seconds that never go back.
    """

    def __init__(
        self, environment: Mapping[str, str], clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._address = _address(environment.get("NOTIFY_SOCKET", ""))
        self._clock = clock
        self._every = _watchdog_s(environment) / BEATS_A_PERIOD
        self._last = float("-inf")

    def ready(self, status: str) -> None:
        """Say that the service has started."""
        self._tell(f"READY=1\nSTATUS={status}")

    def alive(self) -> None:
        """Say that all is well, where a watchdog wants to know and was not told a moment ago."""
        now = self._clock()
        if self._every > 0.0 and now - self._last >= self._every:
            self._last = now
            self._tell("WATCHDOG=1")

    def stopping(self) -> None:
        """Say that the end has begun."""
        self._tell("STOPPING=1\nSTATUS=stopping")

    def _tell(self, words: str) -> None:
        """Send a datagram; a service manager that does not listen is no reason to end."""
        if not self._address or sys.platform == "win32":
            return
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
                line.connect(self._address)
                line.sendall(words.encode())
        except OSError as error:
            LOG.warning("the service manager cannot be told anything: %s", error)
            self._address = ""


def _address(named: str) -> str:
    """Address of the socket; an @ stands for the null byte of an abstract one."""
    if named.startswith("@"):
        return "\0" + named[1:]
    return named if named.startswith("/") else ""


def _watchdog_s(environment: Mapping[str, str]) -> float:
    """The watchdog's time; 0 where there is none, or it is another process's. [s]"""
    wanted = environment.get("WATCHDOG_USEC", "")
    of = environment.get("WATCHDOG_PID", "")
    if not wanted.isdigit() or (of and of != str(os.getpid())):
        return 0.0
    return int(wanted) / 1e6
