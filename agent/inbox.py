"""Between the broker's thread and the worker: a bounded queue that stamps what arrives.

Stamping and queueing happen under one lock, so that the stamps never fall. What carries a token is
to be acknowledged to the broker once it is stored.
"""

import logging
from collections import deque
from dataclasses import dataclass
from threading import Condition
from typing import TypeAlias

from advisor.words import Instant
from agent.arrival import Arrival, Tick
from agent.clock import Clock, TopicClock

LOG = logging.getLogger("millpond.inbox")

CAPACITY = 10_000
"""Items between callback and worker; beyond that the callback waits and TCP holds the broker."""

HELD_MAX = 10_000
"""Messages kept while a clock on a topic has not ticked yet."""


@dataclass(frozen=True, slots=True)
class Token:
    """Names a message to the broker: its number, and the connection on which the number counts."""

    epoch: int
    mid: int
    session: int = 0
    """How many sessions were begun anew before this one: numbers of one say nothing in another."""


Item: TypeAlias = tuple[Arrival | Tick, Token | None]


class Inbox:
    """What has arrived and waits to be taken in.

    Parameters
    ----------
    clock : Clock
        Where stamps come from.
    floor : Instant, optional
        No stamp is earlier: the newest one of the store. [ms]
    capacity : int
        How many items wait at most.
    """

    def __init__(
        self, clock: Clock, *, floor: Instant | None = None, capacity: int = CAPACITY
    ) -> None:
        self._clock = clock
        self._newest = floor
        self._capacity = capacity
        self._items: deque[Item] = deque()
        self._held: deque[Arrival] = deque()
        self._dropped = 0
        self._closed = False
        self._changed = Condition()

    @property
    def waiting(self) -> int:
        """How many items wait at present. [1]"""
        return len(self._items)

    def put(self, arrival: Arrival, token: Token | None) -> bool:
        """Stamp a message and queue it, waiting while the queue is full; its own `at` is ignored.

        While the clock is unknown the message is held in memory instead.

        Returns
        -------
        queued : bool
            False where the worker will not get this token: the message was held (to be
            acknowledged at once, since the clock's own messages may wait behind it).
        """
        with self._changed:
            self._wait_for_room()
            at = self._stamp()
            if at is None:
                self._hold(arrival)
                return False
            self._append((_stamped(arrival, at), token))
            return True

    def tick(self) -> None:
        """Queue a tick of the clock, unless its time is unknown or the queue is full."""
        with self._changed:
            at = self._stamp()
            if at is not None and len(self._items) < self._capacity:
                self._append((Tick(at), None))

    def tick_to(self, at: Instant, token: Token | None) -> None:
        """Move the topic's clock on and queue its tick; a tick that would go back stands still."""
        if not isinstance(self._clock, TopicClock):
            raise TypeError("only a clock on a topic is moved by messages")
        with self._changed:
            self._wait_for_room()
            if not self._clock.advance(at):
                LOG.warning("the clock's topic went back; its time stays where it was")
            now = self._stamp()
            if now is not None:
                self._release(now)
                self._append((Tick(now), token))

    def take(self, limit: int, timeout: float) -> list[Item]:
        """Take up to `limit` items in their order; none after `timeout` [s], or when closed."""
        with self._changed:
            if not self._items and not self._closed:
                self._changed.wait(timeout)
            count = min(limit, len(self._items))
            taken = [self._items.popleft() for _ in range(count)]
            if taken:
                self._changed.notify_all()
            return taken

    def close(self) -> None:
        """Let nobody wait any longer; what comes now is left to the broker."""
        with self._changed:
            self._closed = True
            self._items.clear()
            self._changed.notify_all()

    def _stamp(self) -> Instant | None:
        """Give the time by the clock, never earlier than the stamp before."""
        now = self._clock.now()
        if now is not None:
            self._newest = now if self._newest is None else max(now, self._newest)
            return self._newest
        return None

    def _wait_for_room(self) -> None:
        """Wait until the queue is not full; the stamp is given afterwards, to keep their order."""
        while len(self._items) >= self._capacity and not self._closed:
            self._changed.wait()

    def _append(self, item: Item) -> None:
        """Queue an item."""
        if not self._closed:
            self._items.append(item)
            self._changed.notify_all()

    def _hold(self, arrival: Arrival) -> None:
        """Keep a message that cannot be stamped yet; of too many the oldest is given up."""
        if len(self._held) >= HELD_MAX:
            self._held.popleft()
            self._dropped += 1
        self._held.append(arrival)

    def _release(self, at: Instant) -> None:
        """Queue what was held, stamped with the first time known."""
        if self._dropped:
            LOG.error("%d messages came before the clock's first tick: given up", self._dropped)
            self._dropped = 0
        while self._held:
            self._append((_stamped(self._held.popleft(), at), None))


def _stamped(arrival: Arrival, at: Instant) -> Arrival:
    """Make the same message with its stamp."""
    return Arrival(
        at, arrival.topic, arrival.payload, arrival.retain, arrival.redelivered, arrival.queued
    )
