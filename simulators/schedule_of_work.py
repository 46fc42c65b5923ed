"""When a machine runs and cuts: shifts, breaks, parts, stops, shutdowns, drawn for a seed."""

from dataclasses import dataclass
from datetime import time
from itertools import pairwise

from simulators.draws import Draws
from simulators.instants import DAY, MINUTE, Calendar, When
from simulators.scenario.shop import Span, Work

_NEVER = 1 << 60


@dataclass(frozen=True, slots=True)
class Turn:
    """From this moment on the machine is in this state."""

    at: int
    running: bool
    cutting: bool
    part_done: bool = False
    """A part was finished at this moment."""


@dataclass(frozen=True, slots=True)
class Shift:
    """One shift as it truly was. [ms]"""

    begin: int
    end: int


def _moment(calendar: Calendar, days: int, clock: time) -> int:
    """Moment of a clock time; the end of a day is the next midnight. [ms]"""
    if clock == time.max:
        return calendar.moment(When(days + 1, time(0, 0)))
    return calendar.moment(When(days, clock))


def _span(calendar: Calendar, days: int, span: Span) -> tuple[int, int]:
    """Moments of a span, which may go over midnight. [ms]"""
    begin, end = _moment(calendar, days, span[0]), _moment(calendar, days, span[1])
    return (begin, end) if end > begin else (begin, end + DAY)


class Schedule:
    """All turns and shifts of one machine from a day before the beginning to the end."""

    def __init__(self, work: Work, calendar: Calendar, days: float, draws: Draws) -> None:
        self._work = work
        self._draws = draws
        self.shifts: list[Shift] = []
        self.turns: list[Turn] = []
        closed = [(calendar.moment(s.begin), calendar.moment(s.end)) for s in work.shutdown]
        for day in range(-1, int(days) + 2):
            if calendar.weekday(day) in work.weekdays:
                self._day(calendar, day, closed)
        self.turns.sort(key=lambda turn: turn.at)
        self.turns = [
            turn
            for turn, after in pairwise([*self.turns, Turn(_NEVER, running=False, cutting=False)])
            if turn.at < after.at or turn.part_done
        ]

    def _day(self, calendar: Calendar, day: int, closed: list[tuple[int, int]]) -> None:
        """Shifts of one day; one that begins before the last has ended takes over running."""
        breaks = [_span(calendar, day, span) for span in self._work.breaks]
        spans = [_span(calendar, day, span) for span in self._work.shifts]
        begins = [self._about(begin) for begin, _ in spans]
        for (begin, end), true, following in zip(spans, begins, [*begins[1:], _NEVER], strict=True):
            late = self._about(end)
            if any(first <= begin < last for first, last in closed):
                continue
            shift = Shift(true, min(late, following))
            self.shifts.append(shift)
            self._shift(shift, [gap for gap in breaks if begin <= gap[0] < end])

    def _about(self, at: int) -> int:
        """A moment as people keep it. [ms]"""
        return at + round(self._work.late_min * MINUTE * self._draws.normal())

    def _shift(self, shift: Shift, breaks: list[tuple[int, int]]) -> None:
        """Cut the shift at its breaks and stops, and fill the pieces with parts."""
        pumps_on = self._work.pumps_in_breaks
        gaps = [(self._about(begin), self._about(end), pumps_on) for begin, end in breaks]
        gaps += [(begin, end, False) for begin, end in self._stops(shift)]
        at = shift.begin
        for begin, end, running in sorted(gaps):
            if begin > at and end < shift.end:
                self._parts(at, begin)
                self.turns.append(Turn(begin, running, cutting=False))
                at = end
        self._parts(at, shift.end)
        self.turns.append(Turn(shift.end, running=False, cutting=False))

    def _stops(self, shift: Shift) -> list[tuple[int, int]]:
        """Unplanned stops. [ms]"""
        stops: list[tuple[int, int]] = []
        if self._work.stops_per_day <= 0.0:
            return stops
        at = float(shift.begin)
        while True:
            at += self._draws.waiting(DAY / 2.0 / self._work.stops_per_day)
            if at >= shift.end:
                return stops
            length = max(self._draws.waiting(self._work.stop_min), 1.0) * MINUTE
            stops.append((round(at), round(at + length)))
            at += length

    def _parts(self, begin: int, end: int) -> None:
        """One part after another, until the time is up."""
        at = begin
        self.turns.append(Turn(at, running=True, cutting=False))
        mean_load, mean_cut = self._work.load_min, self._work.cut_min
        while True:
            at += round(self._draws.between(0.5, 1.5) * mean_load * MINUTE)
            done = at + round(self._draws.between(0.7, 1.3) * mean_cut * MINUTE)
            if done >= end:
                return
            self.turns.append(Turn(at, running=True, cutting=True))
            self.turns.append(Turn(done, running=True, cutting=False, part_done=True))
            at = done
