"""Sends what waits for the historian, in a thread of its own, for as long as it takes.

Lines wait in the store, written in the transaction that stored what they tell. They leave it only
when the server has taken them. A line that the server does not take is put aside with its words,
and its neighbours go on.
"""

import logging
import threading
from dataclasses import dataclass

from agent.errors import StoreUnavailable
from agent.historian.server import Rejected, Server, Unavailable
from agent.store.waiting import Waiting

LOG = logging.getLogger("millpond.historian")

LINES_A_REQUEST = 5_000
PAUSE_S = 2.0
"""Between two looks at what waits, where there is less than a request's lines."""
FIRST_WAIT_S = 1.0
LONGEST_WAIT_S = 60.0
LONGEST_ASKED_S = 600.0


@dataclass(frozen=True, slots=True)
class Refused:
    """A line that was put aside, and the server's words."""

    line: str
    words: str


def send(server: Server, lines: list[str]) -> list[Refused]:
    """Have the server take lines; those that it does not take, each with its words.

    A request that is rejected is halved until the line that is at fault stands alone. Lines that
    were taken with an earlier half are sent twice, which a server of this kind writes over.

    Raises
    ------
    Unavailable
        If the server does not take anything now.
    """
    if not lines:
        return []
    try:
        server.write(lines)
    except Rejected as error:
        if len(lines) == 1:
            return [Refused(lines[0], str(error))]
        half = len(lines) // 2
        return send(server, lines[:half]) + send(server, lines[half:])
    return []


class Sink:
    """The thread between the store and the historian.

    Parameters
    ----------
    waiting : Waiting
        The lines that wait.
    server : Server
        Takes them.
    name : str
        The server's address, for people.
    pause : float
        Seconds between two looks. [s]
    first_wait : float
        Seconds after the first failure; each further one doubles them. [s]
    """

    def __init__(
        self,
        waiting: Waiting,
        server: Server,
        name: str,
        *,
        pause: float = PAUSE_S,
        first_wait: float = FIRST_WAIT_S,
    ) -> None:
        self._waiting = waiting
        self._server = server
        self._name = name
        self._pause = pause
        self._first_wait = first_wait
        self._stopping = threading.Event()
        self._failed = 0
        self._thread = threading.Thread(target=self._run, name="millpond-historian", daemon=True)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def stop(self, timeout: float) -> None:
        """End the thread; a request under way is waited for at most `timeout` [s].

        One that is cut off is sent again by the next run.
        """
        self._stopping.set()
        self._thread.join(timeout)

    def _run(self) -> None:
        """Send until stopped; a mistake here is no reason to stop the agent."""
        while not self._stopping.is_set():
            wait = LONGEST_WAIT_S
            try:
                wait = self._turn()
            except StoreUnavailable:
                LOG.warning("historian %s: what waits cannot be read now", self._name)
            except Exception:
                LOG.exception("a mistake in sending to the historian %s", self._name)
            self._stopping.wait(wait)
        self._server.close()

    def _turn(self) -> float:
        """Send one request's lines; how long to wait then. [s]"""
        number, lines = self._waiting.oldest(LINES_A_REQUEST)
        if not lines:
            return self._pause
        try:
            refused = send(self._server, lines)
        except Unavailable as trouble:
            return self._on_trouble(trouble)
        for each in refused:
            LOG.error("historian %s does not take %r: %s", self._name, each.line, each.words)
        self._waiting.settle(number, [(each.line, each.words) for each in refused])
        if self._failed:
            self._failed = 0
            LOG.warning("historian %s takes lines again; %d wait", self._name, self._waiting.count)
        return self._pause if len(lines) < LINES_A_REQUEST // 2 else 0.0

    def _on_trouble(self, trouble: Unavailable) -> float:
        """Say once what is wrong; how long to wait. [s]"""
        if self._failed == 0:
            LOG.warning("historian %s: %s; %d lines wait", self._name, trouble, self._waiting.count)
        wait = min(LONGEST_WAIT_S, self._first_wait * 2.0 ** min(self._failed, 10))
        self._failed += 1
        return wait if trouble.wait is None else min(max(wait, trouble.wait), LONGEST_ASKED_S)
