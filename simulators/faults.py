"""What goes wrong with a sensor or its line: when, and what it does to a reading."""

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
        """One fault's effect; the fluid's own faults are elsewhere."""
        fault, value = window.fault, sent.value
        match fault.kind:
            case "spike":
                return replace(sent, value=self._spike(window, value))
            case "stuck":
                return replace(sent, value=self._held.setdefault(window, value))
            case "step":
                return replace(sent, value=value + fault.size)
            case "drift":
                return replace(sent, value=value + fault.size * (now - window.begin) / DAY)
            case "noise":
                return replace(sent, value=value + fault.size * self._draws.normal())
            case "unit":
                return replace(sent, value=value * (fault.size or 1.0 / 25.4))
            case "zero":
                return replace(sent, value=0.0)
            case "dropout":
                return replace(sent, lost=True)
            case "garbage":
                pick = int(self._draws.uniform() * len(_GARBAGE))
                return replace(sent, text=_GARBAGE[pick])
            case "clock":
                return replace(sent, at=sent.at + round(fault.size * SECOND))
            case "duplicate":
                return replace(sent, copies=2)
            case "late":
                delay = round(self._draws.waiting(fault.size or 60.0) * SECOND)
                return replace(sent, delay=sent.delay + delay)
            case "reset":
                return sent

    def _spike(self, window: Window, value: float) -> float:
        """First reading of the window always, later ones one in five; up or down."""
        if window in self._hit and not self._draws.chance(0.2):
            return value
        self._hit.add(window)
        sign = 1.0 if self._draws.chance(0.5) else -1.0
        return value + sign * window.fault.size * self._draws.between(0.7, 1.3)
