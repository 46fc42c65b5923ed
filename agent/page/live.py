"""What stands at the moment, as the worker committed it, for readers on other threads.

The worker calls `take` after each transaction; it only puts references in place and wakes whoever
waits. Messages are read when somebody looks.
"""

import json
import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from advisor.words import HOUR, Instant, SumpEvent
from agent.plant.plant import Plant
from agent.store.batch import Batch
from agent.store.history import Trace, trace_of

Body = Mapping[str, Any]

TREND_HOURS = 36
"""So many hourly points are kept for the small trend of each sump. [1]"""
NEWEST_EVENTS = 8


@dataclass(frozen=True, slots=True)
class SumpNow:
    """One sump as it was last told; `None` where nothing was."""

    state: Body | None
    advice: Body | None
    alarms: tuple[Body, ...]
    trend: tuple[Trace, ...]
    """The last hours, one point each, oldest first."""
    version: int


@dataclass(slots=True)
class _Desk:
    """What is kept of one sump."""

    state: bytes = b""
    advice: bytes = b""
    alarms: dict[str, bytes] = field(default_factory=dict)
    trend: dict[int, Trace] = field(default_factory=dict)
    version: int = 0
    read: SumpNow | None = None


class LiveView:
    """What stands of one plant; any thread may use it.

    Parameters
    ----------
    plant : Plant
        The plant file's content.
    retained : iterable of (str, bytes)
        Topic and payload of what stood when the agent began.
    trends : mapping of str to iterable of Trace
        By sump, what was told in the hours before.
    clock : Instant, optional
        The time up to which timers had run. [ms]
    """

    def __init__(
        self,
        plant: Plant,
        retained: Iterable[tuple[str, bytes]] = (),
        trends: Mapping[str, Iterable[Trace]] | None = None,
        clock: Instant | None = None,
    ) -> None:
        self.plant = plant
        self._lock = threading.Lock()
        self._desks = {name: _Desk() for name in plant.sumps}
        self._elsewhere: dict[str, bytes] = {}
        self._clock = clock
        self._version = 1
        self._elsewhere_version = 1
        self._listeners: set[Callable[[], None]] = set()
        self._put(dict(retained))
        for name, points in (trends or {}).items():
            if name in self._desks:
                self._desks[name].trend = {point.at // HOUR: point for point in points}

    # --- for the worker ---------------------------------------------------------------------------

    def take(self, batch: Batch) -> None:
        """Note what a transaction has told, and wake whoever waits for news."""
        with self._lock:
            if batch.clock is not None:
                self._clock = max(batch.clock, self._clock or 0)
            if not (batch.retained or batch.history):
                return
            self._version += 1
            self._put(batch.retained)
            for name, row in batch.history:
                desk = self._desks[name]
                point = trace_of(row)
                desk.trend[point.at // HOUR] = point
                while len(desk.trend) > TREND_HOURS:
                    del desk.trend[next(iter(desk.trend))]
                desk.version, desk.read = self._version, None
            listeners = tuple(self._listeners)
        for wake in listeners:
            wake()

    def _put(self, retained: Mapping[str, bytes]) -> None:
        """Put retained messages in their places."""
        prefix = f"{self.plant.prefix}/"
        for topic, payload in retained.items():
            name, _, kind = topic.removeprefix(prefix).partition("/")
            desk = self._desks.get(name)
            if desk is None:
                self._elsewhere[topic.removeprefix(prefix)] = payload
                self._elsewhere_version = self._version
                continue
            if kind == "state":
                desk.state = payload
            elif kind == "advice":
                desk.advice = payload
            elif kind.startswith("alarm/") and payload:
                desk.alarms[kind] = payload
            elif kind.startswith("alarm/"):
                desk.alarms.pop(kind, None)
            desk.version, desk.read = self._version, None

    # --- for readers ------------------------------------------------------------------------------

    @property
    def clock(self) -> Instant | None:
        """The agent's time, as of the newest transaction. [ms]"""
        return self._clock

    @property
    def version(self) -> int:
        """Rises with each change."""
        return self._version

    def sump(self, name: str) -> SumpNow:
        """One sump as it stands.

        Raises
        ------
        KeyError
            If the plant has no such sump.
        """
        with self._lock:
            desk = self._desks[name]
            if desk.read is None:
                desk.read = SumpNow(
                    state=_body(desk.state),
                    advice=_body(desk.advice),
                    alarms=tuple(_bodies(desk.alarms.values())),
                    trend=tuple(sorted(desk.trend.values(), key=lambda point: point.at)),
                    version=desk.version,
                )
            return desk.read

    def changed_since(self, version: int) -> tuple[int, list[str]]:
        """The version now, and the sumps that changed after an earlier one."""
        with self._lock:
            changed = [name for name, desk in self._desks.items() if desk.version > version]
            return self._version, changed

    def plant_alarms(self) -> list[Body]:
        """Alarms of the whole plant and of supplies that stand."""
        with self._lock:
            found = [
                payload
                for topic, payload in self._elsewhere.items()
                if topic.startswith("alarm/") or "/alarm/" in topic
            ]
        return list(_bodies(found))

    def nudge(self, sump: str) -> None:
        """Have open pages look at a sump again: a person has done something on one of them."""
        with self._lock:
            self._version += 1
            self._desks[sump].version, self._desks[sump].read = self._version, None
            listeners = tuple(self._listeners)
        for wake in listeners:
            wake()

    def listen(self, wake: Callable[[], None]) -> Callable[[], None]:
        """Have `wake` called at each change, on the worker's thread; the result ends it."""
        with self._lock:
            self._listeners.add(wake)

        def stop() -> None:
            with self._lock:
                self._listeners.discard(wake)

        return stop


def _bodies(payloads: Iterable[bytes]) -> Iterable[Body]:
    """Messages that are there."""
    return (body for payload in payloads if (body := _body(payload)) is not None)


def _body(payload: bytes) -> Body | None:
    """A message of our own; nothing where it was taken back."""
    if not payload:
        return None
    body: Body = json.loads(payload)
    return body


def newest_events(events: Iterable[SumpEvent]) -> list[SumpEvent]:
    """The last few, newest first."""
    return sorted(events, key=lambda event: event.at, reverse=True)[:NEWEST_EVENTS]
