"""Takes messages to one target, in a thread of its own, for as long as it takes.

What waits stands in the store, written in the transaction that decided it, and leaves it only when
the target has taken it. A target that is away delays nobody: not the worker, not another target.
What has gathered meanwhile goes out as one message.
"""

import logging
import threading
from collections.abc import Callable, Sequence
from typing import Protocol

from advisor.words import Instant, Priority
from agent.alarms.telling import Message
from agent.errors import StoreUnavailable
from agent.store.notices import Notice, Notices

LOG = logging.getLogger("millpond.notify")

PAUSE_S = 2.0
"""Between two looks at what waits."""
FIRST_WAIT_S = 10.0
LONGEST_WAIT_S = 900.0
LONGEST_BODY = 10_000
"""Characters of a message that gathers several. [1]"""


class UndeliveredError(Exception):
    """The target has not taken a message; the text says why, without what is secret."""


class Carrier(Protocol):
    """Knows one target's address."""

    def deliver(self, message: Message) -> None:
        """Have the target take a message.

        Raises
        ------
        UndeliveredError
            If it does not.
        """


class Courier:
    """The thread between the store and one target.

    Parameters
    ----------
    target : str
        Its id in the plant file.
    notices : Notices
        What waits.
    carrier : Carrier
        Knows the address.
    now : callable
        The machine's clock. [ms]
    pause, first_wait : float
        Between two looks, and after the first failure; each further one doubles the wait. [s]
    """

    def __init__(
        self,
        target: str,
        notices: Notices,
        carrier: Carrier,
        now: Callable[[], Instant],
        *,
        pause: float = PAUSE_S,
        first_wait: float = FIRST_WAIT_S,
    ) -> None:
        self._target = target
        self._notices = notices
        self._carrier = carrier
        self._now = now
        self._pause = pause
        self._first_wait = first_wait
        self._stopping = threading.Event()
        self._is_failing = False
        self._thread = threading.Thread(
            target=self._run, name=f"millpond-notify-{target}", daemon=True
        )

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def stop(self, timeout: float) -> None:
        """End the thread; a message under way is waited for at most `timeout` [s].

        One that is cut off is sent again by the next run.
        """
        self._stopping.set()
        self._thread.join(timeout)

    def _run(self) -> None:
        """Deliver until stopped; a mistake here is no reason to stop the agent."""
        while not self._stopping.is_set():
            wait = LONGEST_WAIT_S
            try:
                wait = self._turn()
            except StoreUnavailable:
                LOG.warning("notify %s: what waits cannot be read now", self._target)
            except Exception:
                LOG.exception("a mistake in notifying %s", self._target)
            self._stopping.wait(wait)

    def _turn(self) -> float:
        """Deliver all that waits as one message; how long to wait then. [s]"""
        waiting = self._notices.waiting(self._target)
        if not waiting:
            return self._pause
        message = gathered([notice for _, notice in waiting])
        try:
            self._carrier.deliver(message)
        except UndeliveredError as error:
            return self._on_failure(str(error))
        self._notices.settle(self._target, waiting[-1][0])
        if self._is_failing:
            self._is_failing = False
            LOG.warning("notify %s: takes messages again", self._target)
        return self._pause

    def _on_failure(self, words: str) -> float:
        """Say once what is wrong, and keep it for whoever asks; how long to wait. [s]"""
        if not self._is_failing:
            self._is_failing = True
            LOG.warning("notify %s: %s; trying again", self._target, words)
        attempts = self._notices.failed(self._target, self._now(), words)
        return min(LONGEST_WAIT_S, self._first_wait * 2.0 ** min(max(attempts - 1, 0), 10))


_RANK: dict[Priority, int] = {"high": 0, "medium": 1, "low": 2}


def gathered(notices: Sequence[Notice]) -> Message:
    """Make one message of several, the newest first, cut to what people read."""
    if len(notices) == 1:
        (only,) = notices
        return Message(only.priority, only.title, only.body)
    newest_first = list(reversed(notices))
    priority = min((notice.priority for notice in notices), key=_RANK.__getitem__)
    worst = next(notice for notice in newest_first if notice.priority == priority)
    body = "\n\n----\n\n".join(f"{notice.title}\n\n{notice.body}" for notice in newest_first)
    if len(body) > LONGEST_BODY:
        body = body[:LONGEST_BODY] + "\n... cut off; the rest stands on the page."
    return Message(priority, f"{worst.title} ({len(notices)} messages)", body)
