"""What goes wrong with a sensor or its line: when, and what it does to a reading."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from simulators.draws import Draws
from simulators.instants import DAY, HOUR, MINUTE, SECOND, Calendar
from simulators.scenario.trouble import Fault

_GARBAGE = ("ERR", "NaN", "", "---", "1e999", "null", "7,9", "\x00\x01")


@dataclass(frozen=True, slots=True)
class Window:
    """A fault in force. [ms]"""

    fault: Fault
    begin: int
    end: int


@dataclass(frozen=True, slots=True)
class Sent:
    """One reading on its way. `text` replaces the number where the sensor talks nonsense."""

    value: float
    at: int
    """Time that its payload says. [ms]"""
    delay: int = 0
    """On top of the network's. [ms]"""
    text: str | None = None
    copies: int = 1
    lost: bool = False


def windows(
    faults: tuple[Fault, ...], calendar: Calendar, end: int, draws: Draws
) -> tuple[Window, ...]:
    """All windows of a signal's faults within the scenario, by their beginning."""
    found: list[Window] = []
    for fault in faults:
        if fault.begin is not None:
            last = calendar.moment(fault.end) if fault.end is not None else end
            found.append(Window(fault, calendar.moment(fault.begin), last))
        else:
            found += _often(fault, calendar.begin, end, draws)
    return tuple(sorted(found, key=lambda window: window.begin))


def _often(fault: Fault, begin: int, end: int, draws: Draws) -> list[Window]:
    """Windows at random."""
    found: list[Window] = []
    at = float(begin)
    while True:
        at += draws.waiting((fault.every_h or 1.0) * HOUR)
        if at >= end:
            return found
        length = draws.waiting(fault.lasting_min * MINUTE)
        found.append(Window(fault, round(at), round(at + length)))
        at += length


class FaultyLine:
    """Applies the faults of one signal to its readings, in the order of their beginning."""

    def __init__(self, found: tuple[Window, ...], draws: Draws) -> None:
        self.windows = found
        self._open: list[Window] = []
        self._next = 0
        self._draws = draws
        self._held: dict[Window, float] = {}
        self._hit: set[Window] = set()

    def begun(self, now: int) -> list[Window]:
        """Windows that have begun since the last call."""
        fresh: list[Window] = []
        while self._next < len(self.windows) and self.windows[self._next].begin <= now:
            fresh.append(self.windows[self._next])
            self._next += 1
        if fresh or self._open:
            lasting = [window for window in self._open if window.end > now]
            self._open = lasting + fresh  # a new one has its reading, however short it is
        return fresh

    def alter(self, now: int, value: float) -> Sent:
        """What leaves the sensor instead of `value`."""
        sent = Sent(value, now)
        for window in self._open:
            sent = self._apply(window, now, sent)
        return sent

    def _apply(self, window: Window, now: int, sent: Sent) -> Sent:
        """One fault's effect; a totaliser's reset happens in the totaliser itself."""
        kind = window.fault.kind
        if kind in _ON_THE_WAY:
            return _ON_THE_WAY[kind](window, sent, self._draws)
        if kind == "spike":
            return replace(sent, value=self._spike(window, sent.value))
        if kind == "stuck":
            return replace(sent, value=self._held.setdefault(window, sent.value))
        if kind in _ON_THE_VALUE:
            return replace(sent, value=_ON_THE_VALUE[kind](window, now, sent.value, self._draws))
        return sent

    def _spike(self, window: Window, value: float) -> float:
        """First reading of the window always, later ones one in five; up or down."""
        if window in self._hit and not self._draws.chance(0.2):
            return value
        self._hit.add(window)
        sign = 1.0 if self._draws.chance(0.5) else -1.0
        return value + sign * window.fault.size * self._draws.between(0.7, 1.3)


def _drift(window: Window, now: int, value: float, _draws: Draws) -> float:
    """So much a day since the fault began."""
    return value + window.fault.size * (now - window.begin) / DAY


_ON_THE_VALUE: dict[str, Callable[[Window, int, float, Draws], float]] = {
    "step": lambda window, _now, value, _draws: value + window.fault.size,
    "drift": _drift,
    "noise": lambda window, _now, value, draws: value + window.fault.size * draws.normal(),
    "unit": lambda window, _now, value, _draws: value * (window.fault.size or 1.0 / 25.4),
    "zero": lambda _window, _now, _value, _draws: 0.0,
}
"""Faults of the sensor: window, moment, true reading, stream -> what it reads."""


def _late(window: Window, sent: Sent, draws: Draws) -> Sent:
    """The message takes much longer."""
    delay = round(draws.waiting(window.fault.size or 60.0) * SECOND)
    return replace(sent, delay=sent.delay + delay)


def _garbage(_window: Window, sent: Sent, draws: Draws) -> Sent:
    """The sensor talks nonsense."""
    return replace(sent, text=_GARBAGE[int(draws.uniform() * len(_GARBAGE))])


def _clock(window: Window, sent: Sent, _draws: Draws) -> Sent:
    """The sensor's clock is wrong."""
    return replace(sent, at=sent.at + round(window.fault.size * SECOND))


_ON_THE_WAY: dict[str, Callable[[Window, Sent, Draws], Sent]] = {
    "dropout": lambda _window, sent, _draws: replace(sent, lost=True),
    "duplicate": lambda _window, sent, _draws: replace(sent, copies=2),
    "garbage": _garbage,
    "clock": _clock,
    "late": _late,
}
"""Faults of the line."""
