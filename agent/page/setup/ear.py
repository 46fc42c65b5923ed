"""What arrives at the broker just now, for whoever sets up a signal: bounded in every direction.

It listens by a connection of its own, so that nothing of it reaches the worker, and only while
somebody looks.
"""

import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass

from agent.listening import listening
from agent.plant.plant import Plant

TOPICS_MAX = 200
"""Further topics are counted and not kept."""
PAYLOAD_KEPT = 16_384
"""A longer payload is not kept. [bytes]"""
MESSAGES_MAX = 20_000
"""After so many the ear closes: the agent shares this process."""
UNATTENDED_S = 60.0
"""Nobody looked for so long: it closes. [s]"""
LONGEST_S = 900.0
"""It closes after so long in any case. [s]"""
FILTER_MAX = 300


@dataclass(frozen=True, slots=True)
class Heard:
    """The last message on a topic."""

    topic: str
    payload: bytes
    """Empty where it was too long to be kept."""
    size: int
    count: int
    age_s: float


@dataclass(slots=True)
class _Kept:
    """As it is kept."""

    payload: bytes
    size: int
    count: int
    heard: float


class Ear:
    """Listens to one topic filter at a time; any thread may use it.

    Parameters
    ----------
    plant : Plant
        Says where the broker is.
    """

    def __init__(self, plant: Plant) -> None:
        self._plant = plant
        self._lock = threading.RLock()
        self._stack: ExitStack | None = None
        self._timer: threading.Timer | None = None
        self._kept: OrderedDict[str, _Kept] = OrderedDict()
        self._begun = 0.0
        self._generation = 0
        self.filter = ""
        self.messages = 0
        self.passed_over = 0
        """Messages on topics beyond `TOPICS_MAX`."""

    @property
    def is_open(self) -> bool:
        """Whether it listens."""
        return self._stack is not None

    def listen(self, topic_filter: str) -> None:
        """Begin to listen, to this in place of what was listened to before.

        Raises
        ------
        MillpondError
            If the broker's credentials or certificates cannot be used.
        """
        self.close()
        with self._lock:
            self._kept.clear()
            self.filter, self.messages, self.passed_over = topic_filter, 0, 0
            self._begun = time.monotonic()
            self._generation += 1
            stack = ExitStack()
            stack.enter_context(listening(self._plant, topic_filter, self._take_of()))
            self._stack = stack
        self._attend()

    def look(self) -> list[Heard]:
        """What was heard, by topic; keeps it open for another while."""
        if self.is_open:
            self._attend()
        now = time.monotonic()
        with self._lock:
            return [
                Heard(topic, kept.payload, kept.size, kept.count, now - kept.heard)
                for topic, kept in sorted(self._kept.items())
            ]

    def last(self, topic: str) -> Heard | None:
        """The last message on a topic."""
        return next((heard for heard in self.look() if heard.topic == topic), None)

    def close(self) -> None:
        """Stop; what was heard stays."""
        with self._lock:
            stack, self._stack = self._stack, None
            if self._timer is not None:
                self._timer.cancel()
        if stack is not None:
            stack.close()

    def _attend(self) -> None:
        """Close later, if nobody looks until then, or at the end of the longest time."""
        left = self._begun + LONGEST_S - time.monotonic()
        with self._lock:
            if self._timer is not None:
                self._timer.cancel()
            self._timer = threading.Timer(max(min(UNATTENDED_S, left), 0.0), self.close)
            self._timer.daemon = True
            self._timer.start()

    def _take_of(self) -> Callable[[str, bytes], None]:
        """What takes messages while this listening lasts; a late one of an earlier is dropped."""
        generation = self._generation

        def take(topic: str, payload: bytes) -> None:
            with self._lock:
                if generation == self._generation and self.messages < MESSAGES_MAX:
                    self._keep(topic, payload)

        return take

    def _keep(self, topic: str, payload: bytes) -> None:
        """Keep a message in place of the one before; on the network's thread."""
        self.messages += 1
        if self.messages == MESSAGES_MAX:
            threading.Thread(target=self.close, daemon=True).start()
        kept = self._kept.get(topic)
        if kept is None and len(self._kept) >= TOPICS_MAX:
            self.passed_over += 1
            return
        size = len(payload)
        count = 1 if kept is None else kept.count + 1
        held = payload if size <= PAYLOAD_KEPT else b""
        self._kept[topic] = _Kept(held, size, count, time.monotonic())


def filter_problem(text: str) -> str | None:
    """Key of the text that says what is wrong with a topic filter (MQTT 5.0, 4.7)."""
    levels = text.split("/")
    if not text or len(text) > FILTER_MAX or "\0" in text or not text.isprintable():
        return "setup.listen.filter_wrong"
    for place, level in enumerate(levels):
        if "#" in level and (level != "#" or place != len(levels) - 1):
            return "setup.listen.filter_hash"
        if "+" in level and level != "+":
            return "setup.listen.filter_plus"
    return None
