"""What people enter, sent as the messages that anybody on the broker may send, and its outcome.

The page has no way in of its own. It publishes, and then waits a moment for the worker's
transaction that holds the entry, or the refusal.
"""

import asyncio
import json
import secrets
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

from starlette.concurrency import run_in_threadpool

from agent.arrival import Outgoing
from agent.plant.plant import Plant
from agent.store.batch import Batch, entry_id

WAIT_S = 3.0
"""How long somebody waits to be told that an entry is stored; it may still come later."""

LOOK_S = 0.5
"""How often the store is looked at meanwhile."""

Outcome: TypeAlias = Literal["stored", "refused", "sent", "away"]


@dataclass(frozen=True, slots=True)
class Sent:
    """What became of an entry."""

    outcome: Outcome
    """``sent``: on its way, not confirmed yet; ``away``: the broker cannot be reached, not sent."""
    id: str
    detail: str = ""
    """Why it was refused."""


@dataclass(slots=True)
class _Waiting:
    """Somebody who waits for an outcome."""

    loop: asyncio.AbstractEventLoop
    future: "asyncio.Future[Sent]"
    topic: str


class Mailbox:
    """Sends entries and hears what became of them.

    Parameters
    ----------
    plant : Plant
        Its prefix begins every topic.
    publish : callable
        Hands a message to the broker's link.
    is_connected : callable
        Whether the broker can be reached.
    """

    def __init__(
        self,
        plant: Plant,
        publish: Callable[[Outgoing], object],
        is_connected: Callable[[], bool],
    ) -> None:
        self._prefix = plant.prefix
        self._publish = publish
        self._is_connected = is_connected
        self._lock = threading.Lock()
        self._waiting: dict[str, _Waiting] = {}
        self.is_stored: Callable[[str, str], bool] = lambda _place, _name: False
        """Whether an entry stands in the store: a correction may be written ahead of the rest of
        its transaction, which then does not name it."""

    @property
    def is_open(self) -> bool:
        """Whether entries can be sent at the moment."""
        return self._is_connected()

    async def send(
        self, place: str, channel: str, body: Mapping[str, Any], *, name: str = ""
    ) -> Sent:
        """Publish an entry, under a new id unless it has one, and wait for its outcome."""
        name = name or new_id()
        if not self._is_connected():
            return Sent("away", name)
        topic = "/".join(level for level in (self._prefix, place, channel) if level)
        loop = asyncio.get_running_loop()
        waiting = _Waiting(loop, loop.create_future(), topic)
        with self._lock:
            self._waiting[name] = waiting
        payload = json.dumps({"id": name, **body}, ensure_ascii=False, allow_nan=False)
        try:
            self._publish(Outgoing(topic, payload.encode(), retain=False))
            return await self._outcome(waiting, place, name)
        finally:
            with self._lock:
                self._waiting.pop(name, None)

    async def _outcome(self, waiting: _Waiting, place: str, name: str) -> Sent:
        """Wait for what the worker says, and look in the store meanwhile."""
        for _ in range(round(WAIT_S / LOOK_S)):
            done, _ = await asyncio.wait({waiting.future}, timeout=LOOK_S)
            if done:
                return waiting.future.result()
            if await run_in_threadpool(self.is_stored, place, name):
                return Sent("stored", name)
        return Sent("sent", name)

    async def order(self, place: str, body: Mapping[str, Any]) -> Sent:
        """Publish an order on an alarm, and wait for its answer.

        Parameters
        ----------
        place : str
            Levels of the topic between prefix and channel: a sump, ``supply/NAME``, or nothing for
            the whole plant.
        body : mapping
            Of the order, without an id.
        """
        return await self.send(place, "alarm-command", body)

    def take(self, batch: Batch) -> None:
        """Tell those who wait what a transaction brought; called by the worker."""
        if not self._waiting:
            return
        with self._lock:
            waiting = dict(self._waiting)
        for name in _stored(batch) & waiting.keys():
            _tell(waiting[name], Sent("stored", name))
        for outgoing in batch.outgoing:
            if outgoing.topic.endswith("/alarm-answer"):
                answer = json.loads(outgoing.payload)
                name = answer["id"]
                if name in waiting:
                    outcome: Outcome = "stored" if answer["accepted"] else "refused"
                    _tell(waiting[name], Sent(outcome, name, answer["reason"] or ""))
        for _, refusal in batch.refusals:
            for name, somebody in waiting.items():
                if refusal.topic == somebody.topic and name in refusal.excerpt:
                    _tell(somebody, Sent("refused", name, refusal.detail))


def _stored(batch: Batch) -> set[str]:
    """Ids of what a transaction has stored."""
    return {entry_id(kept.entry) for kept in batch.entries} | {each.id for each in batch.stock}


def new_id() -> str:
    """Id of an entry made on the page."""
    return f"page-{secrets.token_hex(8)}"


def _tell(waiting: _Waiting, sent: Sent) -> None:
    """Give an outcome to whoever waits, on their own thread."""

    def settle() -> None:
        if not waiting.future.done():
            waiting.future.set_result(sent)

    try:
        waiting.loop.call_soon_threadsafe(settle)
    except RuntimeError:
        return  # the page has been stopped meanwhile
