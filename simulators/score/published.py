"""What the agent published about each sump, read back from the file that its replay wrote."""

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from simulators.errors import SimulatorError
from simulators.instants import instant

Word = tuple[float, float]
"""An estimate: value and sd, in the unit of its key."""


@dataclass(frozen=True, slots=True)
class StateWord:
    """One published state."""

    clock: int
    """When it was published. [ms]"""
    at: int
    """For when it holds. [ms]"""
    volume: Word | None
    """[L]"""
    concentration: Word | None
    """[1]"""
    since: int | None
    """From when on the accounts count. [ms]"""
    lost: tuple[Word | None, Word | None]
    """Water and concentrate since then. [L]"""
    window_h: float
    losses: tuple[Word | None, Word | None]
    """Water and concentrate over the window. [L/d]"""
    signals: dict[str, str]


@dataclass(frozen=True, slots=True)
class EventWord:
    """One account of an event."""

    clock: int
    id: str
    at: int
    kind: str
    source: str
    volume: Word | None
    """[L]"""
    strength: Word | None
    """[1]"""


@dataclass(frozen=True, slots=True)
class AdviceWord:
    """One advice that something be poured. [L]"""

    clock: int
    id: str
    kind: str
    drain: float
    water: float
    concentrate: float


@dataclass(frozen=True, slots=True)
class AlarmWord:
    """An alarm that a sensor is at fault, as it stood."""

    clock: int
    name: str
    signal: str
    active: bool


@dataclass(slots=True)
class Published:
    """All about one sump, in the order in which it came."""

    states: list[StateWord] = field(default_factory=list)
    events: list[EventWord] = field(default_factory=list)
    advice: list[AdviceWord] = field(default_factory=list)
    alarms: list[AlarmWord] = field(default_factory=list)


def read_published(lines: Iterable[str], prefix: str) -> dict[str, Published]:
    """Sort what was published by sump.

    Raises
    ------
    SimulatorError
        If a line is not what DESIGN says that an agent publishes; it names line and reason.
    """
    found: dict[str, Published] = {}
    for number, line in enumerate(lines, 1):
        try:
            _read(json.loads(line), prefix, found)
        except (ValueError, KeyError, TypeError) as error:
            raise SimulatorError(
                f"line {number} of what the agent published cannot be read: {error!r}"
            ) from error
    return found


def _read(entry: dict[str, Any], prefix: str, found: dict[str, Published]) -> None:
    """Take in one line."""
    topic, payload = entry.get("topic"), entry.get("payload")
    if not topic or not payload or not topic.startswith(prefix + "/"):
        return
    sump, _, what = topic[len(prefix) + 1 :].partition("/")
    clock, body = instant(entry["at"]), json.loads(payload)
    published = found.setdefault(sump, Published())
    if what == "state":
        published.states.append(_state(clock, body))
    elif what == "event":
        published.events.append(_event(clock, body))
    elif what == "advice":
        if body["mix"] is not None:
            published.advice.append(_advice(clock, body))
    elif what.startswith(("alarm/sensor-fault", "alarm/sensor-drift")):
        name = what.split("/")[1]
        published.alarms.append(AlarmWord(clock, name, str(body["signal"]), bool(body["active"])))


def _word(body: dict[str, Any] | None, scale: float = 1.0) -> Word | None:
    """An estimate, or nothing."""
    return None if body is None else (body["value"] * scale, body["sd"] * scale)


def _state(clock: int, body: dict[str, Any]) -> StateWord:
    """Read a state."""
    losses, lost = body["losses"] or {}, body["lost_total"] or {}
    since = lost.get("since")
    return StateWord(
        clock=clock,
        at=instant(body["at"]),
        volume=_word(body["volume_l"]),
        concentration=_word(body["concentration_pct"], 0.01),
        since=instant(since) if since else None,
        lost=(_word(lost.get("water_l")), _word(lost.get("concentrate_l"))),
        window_h=float(losses.get("window_h") or 0.0),
        losses=(
            _word(losses.get("water_l_per_day")),
            _word(losses.get("concentrate_l_per_day")),
        ),
        signals=body["signals"],
    )


def _event(clock: int, body: dict[str, Any]) -> EventWord:
    """Read an event."""
    return EventWord(
        clock=clock,
        id=body["id"],
        at=instant(body["at"]),
        kind=body["kind"],
        source=body["source"],
        volume=_word(body["volume_l"]),
        strength=_word(body["strength_pct"], 0.01),
    )


def _advice(clock: int, body: dict[str, Any]) -> AdviceWord:
    """Read an advice to pour."""
    mix = body["mix"]
    return AdviceWord(
        clock=clock,
        id=body["id"],
        kind=body["kind"],
        drain=float(body["drain_l"] or 0.0),
        water=mix["water_l"],
        concentrate=mix["concentrate_l"],
    )
