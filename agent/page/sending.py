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

from agent.arrival import Outgoing
from agent.plant.plant import Plant
from agent.store.batch import Batch, entry_id

WAIT_S = 3.0
"""How long somebody waits to be told that an entry is stored; it may still come later."""

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

    @property
    def is_open(self) -> bool:
        """Whether entries can be sent at the moment."""
        return self._is_connected()

    async def send(self, sump: str, channel: str, body: Mapping[str, Any]) -> Sent:
        """Publish an entry under a new id, and wait until it is stored or refused."""
        name = new_id()
        if not self._is_connected():
            return Sent("away", name)
        topic = f"{self._prefix}/{sump}/{channel}"
        loop = asyncio.get_running_loop()
        waiting = _Waiting(loop, loop.create_future(), topic)
        with self._lock:
            self._waiting[name] = waiting
        payload = json.dumps({"id": name, **body}, ensure_ascii=False, allow_nan=False)
        try:
            self._publish(Outgoing(topic, payload.encode(), retain=False))
            return await asyncio.wait_for(waiting.future, WAIT_S)
        except TimeoutError:
            return Sent("sent", name)
        finally:
            with self._lock:
                del self._waiting[name]

    async def order(self, sump: str, body: Mapping[str, Any]) -> Sent:
        """Publish a command on an alarm, and wait until it is obeyed or refused."""
        if not self._is_connected():
            return Sent("away", "")
        about = f"/{body['signal']}" if body.get("signal") else ""
        topic = f"{self._prefix}/{sump}/alarm-command"
        loop = asyncio.get_running_loop()
        waiting = _Waiting(loop, loop.create_future(), topic)
        key = f"{self._prefix}/{sump}/alarm/{body['alarm']}{about}"
        with self._lock:
            self._waiting[key] = waiting
        payload = json.dumps(body, ensure_ascii=False, allow_nan=False)
        try:
            self._publish(Outgoing(topic, payload.encode(), retain=False))
            return await asyncio.wait_for(waiting.future, WAIT_S)
        except TimeoutError:
            return Sent("sent", "")
        finally:
            with self._lock:
                self._waiting.pop(key, None)

    def take(self, batch: Batch) -> None:
        """Tell those who wait what a transaction brought; called by the worker."""
        if not self._waiting:
            return
        with self._lock:
            waiting = dict(self._waiting)
        for kept in batch.entries:
            name = entry_id(kept.entry)
            if name in waiting:
                _tell(waiting[name], Sent("stored", name))
        for topic in batch.retained:
            if topic in waiting:
                _tell(waiting[topic], Sent("stored", ""))
        for _, refusal in batch.refusals:
            for name, somebody in waiting.items():
                ours = name in refusal.excerpt or "/alarm/" in name
                if refusal.topic == somebody.topic and ours:
                    _tell(somebody, Sent("refused", name, refusal.detail))


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
