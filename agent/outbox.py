"""Sends what the ledger has committed, oldest first, and forgets it once the broker has it.

A message leaves the store only when the broker has confirmed it. After a restart whatever was not
confirmed is sent again: at least once, in order.
"""

import logging
import threading
from collections.abc import Callable
from typing import Protocol

from agent.arrival import Outgoing
from agent.store.ledger import Ledger

LOG = logging.getLogger("millpond.outbox")

INFLIGHT = 100
"""Messages that wait for the broker's confirmation at most."""
RETRY_S = 5.0
"""Pause after the broker had a passing reason not to take a message."""

FAILURE = 0x80
LASTING = {0x87: "not authorised", 0x90: "topic not accepted", 0x99: "payload not accepted"}
"""MQTT 5 reason codes of refusals that trying again does not change."""


class Publisher(Protocol):
    """Where messages go; `BrokerLink`, or a stand-in in tests."""

    on_confirmed: Callable[[int, int], None]
    on_ready: Callable[[], None]

    @property
    def connected(self) -> bool:
        """Whether messages can be published at the moment."""

    def publish(self, message: Outgoing) -> int:
        """Hand over a message; the number with which `on_confirmed` is called."""


class Sender:
    """One thread between the ledger's outbox and the broker.

    Parameters
    ----------
    ledger : Ledger
        Holds the messages.
    link : Publisher
        Takes them.
    """

    def __init__(self, ledger: Ledger, link: Publisher) -> None:
        self._ledger = ledger
        self._link = link
        self._changed = threading.Condition()
        self._waiting: dict[int, tuple[int, Outgoing]] = {}
        """By the link's number: number in the outbox, and the message."""
        self._early: dict[int, int] = {}
        """Confirmations that came before `publish` had returned: number and reason."""
        self._done: list[int] = []
        self._cursor = 0
        self._again = False
        self._news = True
        self._stopping = False
        self.failure: BaseException | None = None
        """What ended the thread, if something did."""
        self._thread = threading.Thread(target=self._run, name="millpond-outbox", daemon=True)
        link.on_confirmed = self._confirmed
        link.on_ready = self.wake

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()

    def wake(self) -> None:
        """Say that there may be something to send."""
        with self._changed:
            self._news = True
            self._changed.notify_all()

    def stop(self, timeout: float) -> None:
        """End the thread; what is on its way has `timeout` [s] to be confirmed."""
        with self._changed:
            self._news = True
            self._changed.notify_all()
            self._changed.wait_for(self._is_idle, timeout if self._link.connected else 0.0)
            self._stopping = True
            self._changed.notify_all()
        self._thread.join(timeout)

    def _is_idle(self) -> bool:
        """Whether nothing is left to do."""
        return not (self._news or self._waiting or self._done) or self.failure is not None

    def _confirmed(self, number: int, reason: int) -> None:
        """Note the broker's answer; called on the network thread."""
        with self._changed:
            if number in self._waiting:
                self._settle(number, reason)
            else:
                self._early[number] = reason
            self._changed.notify_all()

    def _settle(self, number: int, reason: int) -> None:
        """Count a message as sent, as given up, or as to be sent again."""
        row, message = self._waiting.pop(number)
        if reason < FAILURE:
            self._done.append(row)
        elif reason in LASTING:
            LOG.error("%s: the broker refuses it (%s): given up", message.topic, LASTING[reason])
            self._done.append(row)
        else:
            LOG.warning("%s: the broker cannot take it now (%#x)", message.topic, reason)
            self._again = True

    def _run(self) -> None:
        """Send until stopped; a failure is left where the worker sees it."""
        try:
            while self._turn():
                pass
        except BaseException as error:  # noqa: BLE001  told to the worker, which ends the process
            self.failure = error
            with self._changed:
                self._changed.notify_all()

    def _turn(self) -> bool:
        """Forget what was confirmed, send what there is room for; false once stopped."""
        with self._changed:
            self._changed.wait_for(self._has_work)
            if self._again and not self._waiting:
                self._changed.wait_for(lambda: self._stopping, RETRY_S)
                self._again, self._cursor, self._news = False, 0, True
            if self._stopping:
                return False
            done, self._done = self._done, []
        if done:
            self._ledger.mark_sent(done)
        self._send()
        return True

    def _room(self) -> int:
        """How many messages may be handed over now."""
        if self._again or not self._link.connected:
            return 0
        return INFLIGHT - len(self._waiting)

    def _has_work(self) -> bool:
        """Whether the thread has a reason to move."""
        again = self._again and not self._waiting
        return self._stopping or bool(self._done) or again or (self._news and self._room() > 0)

    def _send(self) -> None:
        """Hand over what is not on its way yet."""
        with self._changed:
            self._early.clear()
            room = self._room()
            if room <= 0:
                return
            self._news = False
        fresh = self._ledger.unsent_after(self._cursor, room)
        for row, message in fresh:
            self._hand_over(row, message)
        with self._changed:
            self._news = self._news or len(fresh) == room
            self._changed.notify_all()

    def _hand_over(self, row: int, message: Outgoing) -> None:
        """Publish one message; one that no broker can take is given up."""
        self._cursor = row
        try:
            number = self._link.publish(message)
        except ValueError:
            LOG.exception("%s: cannot be published, given up", message.topic)
            with self._changed:
                self._done.append(row)
            return
        with self._changed:
            self._waiting[number] = (row, message)
            if number in self._early:
                self._settle(number, self._early.pop(number))
