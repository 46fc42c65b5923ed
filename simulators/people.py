"""People who top up by eye, with buckets or a hose, and may or may not say so."""

from functools import partial

from simulators.advice import Heard
from simulators.checks import Inspector
from simulators.instants import MINUTE, SECOND, rfc3339
from simulators.machine_tool import MachineTool, Pour
from simulators.scenario.people import CheckRound, Operators
from simulators.truth import TrueEvent


class Crew:
    """The operators of one machine: they look at shift starts, and pour what they think right."""

    def __init__(self, tool: MachineTool, spec: Operators, hears: tuple[Heard, Inspector]) -> None:
        self._tool = tool
        self._spec = spec
        self._heard, self._inspector = hears
        self._draws = tool.draws("operators")
        self._reports = 0
        for shift in tool.schedule.shifts:
            if shift.begin > tool.calendar.begin:
                tool.agenda.at(shift.begin - 2 * MINUTE, self._shift_begins)

    def _shift_begins(self, now: int) -> None:
        """Decide at the beginning of a shift whether and when to look, and pour."""
        spec, draws = self._spec, self._draws
        if not draws.chance(spec.looks_share):
            return
        start = next((at for at in self._tool.starts if at >= now), now)
        if draws.chance(spec.at_start_share):
            at = start + round(draws.between(-0.5, 2.0) * MINUTE)
        else:
            at = start + round(draws.between(5.0, 100.0) * MINUTE)
        self._tool.agenda.at(max(at, now), self._look)

    def _look(self, now: int) -> None:
        """Look into the sump, and act on advice or by eye."""
        if self._tool.out_of_service:
            return
        if self._spec.follow_share > 0.0 and self._heard.asks_check():
            self._inspector.measure(now, CheckRound(kind="refractometer", by=self._spec.name))
        if self._heard.advised and self._draws.chance(self._spec.follow_share):
            self._heard.follow(now)
        elif not self._spec.only_advised:
            self._by_eye(now)

    def _by_eye(self, now: int) -> None:
        """Fill up to where the fluid ought to stand, if it seems low enough to bother."""
        tool, spec, draws = self._tool, self._spec, self._draws
        seen = tool.rest_depth + spec.eye_mm * draws.normal()
        target = tool.spec.level_mm.target
        if seen > target - spec.below_mm:
            return
        drawing = tool.drawn.drawing
        volume = drawing.volume(target + spec.fills_to_mm) - drawing.volume(seen)
        volume = min(volume, spec.most_l)
        if spec.bucket_l is not None:
            volume = max(1, round(volume / spec.bucket_l)) * spec.bucket_l
        strength = 0.0
        if not draws.chance(spec.water_share):
            strength = spec.strength_pct / 100.0
        self.pour(now, volume, strength)

    def pour(self, now: int, volume: float, believed: float) -> None:
        """Pour a volume [L] of a mix of believed strength [1], in buckets or from a hose."""
        spec, draws, tool = self._spec, self._draws, self._tool
        true = believed * max(0.0, 1.0 + spec.strength_error * draws.normal())
        event = tool.journal.event(tool.spec.id, "addition", now)
        reported = draws.chance(spec.reports_share)
        report = self._next_id() if reported else None
        event.details = {
            "by": spec.name,
            "metered": spec.metered,
            "reported": reported,
            "report": report,
            "near_start": any(abs(at - now) <= 2 * MINUTE for at in tool.starts),
        }
        ends = pour_portions(tool, event, (volume, true), spec)
        if report is not None:
            at = ends + round(draws.waiting(spec.report_delay_min) * MINUTE)
            body: dict[str, object] = {
                "id": report,
                "at": rfc3339(now // MINUTE * MINUTE),
                "by": spec.name,
            }
            tool.agenda.at(at, lambda then: self._report(then, body, volume, believed))

    def _report(self, now: int, body: dict[str, object], volume: float, believed: float) -> None:
        """Tell what was poured, as far as one remembers."""
        spec, draws = self._spec, self._draws
        told = max(0.5, round(2.0 * volume * (1.0 + spec.report_error * draws.normal())) / 2.0)
        if draws.chance(spec.typing_share):
            self._tool.say(now, "addition", body | _amount(round(told * 10.0, 1), believed))
            corrected = body | _amount(told, believed)
            corrected |= {"id": self._next_id(), "replaces": body["id"]}
            self._later(now, corrected)
        elif draws.chance(spec.twice_share):
            self._tool.say(now, "addition", body | _amount(told, believed), copies=2)
        else:
            self._tool.say(now, "addition", body | _amount(told, believed))
            if draws.chance(spec.twice_share):
                other = body | _amount(told, believed)
                self._later(now, other | {"id": self._next_id(), "by": "foreman"})

    def _later(self, now: int, body: dict[str, object]) -> None:
        """Say something within the next two hours: a correction, or the same by somebody else."""
        at = now + round(self._draws.between(5.0, 120.0) * MINUTE)
        self._tool.agenda.at(at, lambda then: self._tool.say(then, "addition", body))

    def _next_id(self) -> str:
        """Id of the next entry."""
        self._reports += 1
        return f"{self._tool.spec.id}-{self._spec.name}-{self._reports}"


def _amount(volume: float, strength: float) -> dict[str, object]:
    """Volume [L] and strength [1] as an entry has them."""
    return {"volume_l": volume, "strength_pct": round(100.0 * strength, 2)}


def pour_portions(
    tool: MachineTool, event: TrueEvent, mix: tuple[float, float], spec: Operators
) -> int:
    """Enter the pouring of a volume [L] of a strength [1]: moment at which it ends. [ms]"""
    volume, strength = mix
    begin = event.at
    if spec.bucket_l is None:
        count, seconds, gap = 1, 60.0 * volume / spec.hose_l_min, 0.0
    else:
        count = max(1, round(volume / spec.bucket_l))
        seconds, gap = 15.0, spec.bucket_min * 60.0
    portion = volume / count
    for i in range(count):
        pour = Pour(
            event=event,
            water=portion * (1.0 - strength),
            concentrate=portion * strength,
            rate=portion / seconds,
            place=tool.pour_place,
            metered=spec.metered,
            last=i == count - 1,
        )
        at = begin + round(i * gap * SECOND)
        tool.agenda.at(at, partial(_start, tool, pour))
    return begin + round(((count - 1) * gap + seconds) * SECOND)


def _start(tool: MachineTool, pour: Pour, _now: int) -> None:
    """Begin to tip one portion in."""
    tool.pours.append(pour)
