"""A sump watched minute by minute: what tests of the alarms step through."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from advisor.alarms import AlarmBoard, Surroundings, assess, command
from advisor.effects import AlarmReport, AlarmState
from advisor.plan import SumpPlan
from advisor.words import (
    MINUTE,
    AlarmOrder,
    AlarmVerb,
    Estimate,
    Finding,
    Instant,
    Losses,
    Quality,
    Signal,
    SumpEvent,
    SumpState,
)
from tests.plants import a_sump

START: Instant = 1_772_431_200_000
"""2026-03-02T06:00:00Z, a Monday."""

GOOD_DEPTH = Estimate(350.0, 1.5)
GOOD_CONCENTRATION = Estimate(0.08, 0.001)
NO_LOSSES = Losses(window_h=24.0, water=None, concentrate=None, evaporation=None, carry_off=None)


def a_state(
    at: Instant = START,
    *,
    depth: Estimate | None = GOOD_DEPTH,
    concentration: Estimate | None = GOOD_CONCENTRATION,
    qualities: Mapping[Signal, Quality] | None = None,
    last_seen: Mapping[Signal, Instant] | None = None,
    intervals: Mapping[Signal, float] | None = None,
    charging: bool = False,
    events: tuple[SumpEvent, ...] = (),
    findings: tuple[Finding, ...] = (),
    holdup: Estimate | None = None,
) -> SumpState:
    """A sump in good order at `at`, all its signals just heard, but for what is given."""
    heard = dict.fromkeys((Signal.LEVEL, Signal.BRIX, Signal.RUNNING), at)
    return SumpState(
        at=at,
        volume=Estimate(350.0, 2.0),
        concentration=concentration,
        correlation=0.0,
        rest_depth=depth,
        holdup=holdup,
        running=True,
        losses=NO_LOSSES,
        lost=None,
        added=None,
        drained=None,
        qualities=dict.fromkeys(Signal, Quality.GOOD) if qualities is None else qualities,
        last_seen=heard if last_seen is None else last_seen,
        charging=charging,
        events=events,
        events_since=0,
        findings=findings,
        intervals={} if intervals is None else intervals,
    )


def a_finding(name: str, signal: Signal | None = None, detail: str = "seen by a test") -> Finding:
    """Something found wrong since the start."""
    return Finding(name=name, signal=signal, since=START, detail=detail)


@dataclass
class Watch:
    """Steps a sump through time and keeps what would be published."""

    plan: SumpPlan = field(default_factory=a_sump)
    board: AlarmBoard = field(default_factory=AlarmBoard)
    now: Instant = START
    at: Instant = START
    last_seen: dict[Signal, Instant] = field(default_factory=dict)
    published: list[AlarmReport] = field(default_factory=list)

    def minute(
        self,
        *,
        silent: Iterable[Signal] = (),
        around: Surroundings | None = None,
        **parts: object,
    ) -> tuple[AlarmReport, ...]:
        """Let a minute pass in which all signals but the silent ones are heard."""
        self.now += MINUTE
        heard = [signal for signal in self.plan.signals if signal not in set(silent)]
        if heard:
            self.at = self.now
            self.last_seen |= dict.fromkeys(heard, self.now)
        state = a_state(self.at, last_seen=dict(self.last_seen), **parts)  # type: ignore[arg-type]
        self.board, reports = assess(
            self.board, state, self.plan, at=self.at, now=self.now, around=around
        )
        self.published.extend(reports)
        return reports

    def minutes(self, count: int, **parts: object) -> tuple[AlarmReport, ...]:
        """Let minutes pass, all alike."""
        reports: list[AlarmReport] = []
        for _ in range(count):
            reports.extend(self.minute(**parts))  # type: ignore[arg-type]
        return tuple(reports)

    def order(
        self,
        verb: AlarmVerb,
        alarm: str,
        signal: Signal | None = None,
        *,
        until: Instant | None = None,
        by: str = "ann",
    ) -> str | None:
        """Order something of an alarm; the answer is why not, or nothing."""
        order = AlarmOrder(
            sump=self.plan.id,
            at=self.now,
            alarm=alarm,
            signal=signal,
            verb=verb,
            until=until,
            by=by,
        )
        self.board, reports, refusal = command(self.board, order, self.plan, at=self.now)
        self.published.extend(reports)
        return refusal

    def states(self, alarm: str, signal: Signal | None = None) -> list[AlarmState]:
        """States in which an alarm was published, in order."""
        return [r.state for r in self.published if (r.name, r.signal) == (alarm, signal)]

    def last(self, alarm: str, signal: Signal | None = None) -> AlarmReport:
        """The alarm as it was published last."""
        return [r for r in self.published if (r.name, r.signal) == (alarm, signal)][-1]
