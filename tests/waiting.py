"""Waiting for a condition, never for a while."""

import threading
import time
from collections.abc import Callable

POLL_S = 0.01


def wait_until(condition: Callable[[], object], what: str, timeout: float = 40.0) -> None:
    """Wait until `condition` holds; a test that waits in vain says for `what`."""
    pause = threading.Event()
    deadline = time.monotonic() + timeout
    while not condition():
        assert time.monotonic() < deadline, f"waited {timeout:g} s in vain for {what}"
        pause.wait(POLL_S)
