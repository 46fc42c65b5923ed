"""What a sump's judgement makes of its memory: open advice, condition, outage, and when to look."""

from dataclasses import dataclass, field, replace

from advisor.alarms import Outage
from advisor.condition_findings import noted
from advisor.effects import AlarmState, Effect, PublishAdvice, PublishAlarm
from advisor.plan import SumpPlan
from advisor.sump import NOTHING_OUTSIDE, Occasion, Outside, Standing, judge
from advisor.words import (
    DAY,
    HOUR,
    MINUTE,
    Check,
    CheckKind,
    Estimate,
    Evidence,
    Finding,
    Instant,
    Reading,
    Signal,
    SumpEvent,
)
from tests.alarm_watch import START, a_state
from tests.plants import a_sump

LOW = {"depth": Estimate(200.0, 1.5)}


@dataclass
class Judged:
    """Judges a sump minute by minute and keeps what would be published."""

    plan: SumpPlan = field(default_factory=a_sump)
    standing: Standing = field(default_factory=Standing)
    now: Instant = START
    effects: list[Effect] = field(default_factory=list)

    def note(self, *evidence: Evidence) -> None:
        """Give evidence to the memory of the condition."""
        for piece in evidence:
            care = noted(self.standing.care, piece)
            self.standing = replace(self.standing, care=care)

    def at(self, now: Instant, outside: Outside = NOTHING_OUTSIDE, **parts: object) -> None:
        """Judge at a moment; all signals but those left out are just heard."""
        self.now = now
        volume = parts.pop("volume", Estimate(360.0, 2.0))
        running = parts.pop("running", True)
        state = replace(a_state(now, **parts), volume=volume, running=running)  # type: ignore[arg-type]
        self.standing, effects = judge(
            self.standing, state, self.plan, now=now, occasion=Occasion.MINUTE, outside=outside
        )
        self.effects.extend(effects)

    def alarm(self, name: str) -> list[AlarmState]:
        """States in which an alarm was told."""
        reports = [e.alarm for e in self.effects if isinstance(e, PublishAlarm)]
        return [report.state for report in reports if report.name == name]

    def kinds(self) -> list[str]:
        """Kinds of the advice that was given."""
        return [e.advice.kind for e in self.effects if isinstance(e, PublishAdvice)]


UNACKNOWLEDGED, RETURNED = AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED
EMPTY_ENOUGH = Estimate(250.0, 2.0)


class TestOpenAdvice:
    """Advice that nobody carries out."""

    def test_it_is_told_a_day_after_it_was_first_given_though_it_is_given_anew(self):
        """The advice expires and comes again with another id; its age does not begin again."""
        judged = Judged()
        for hour in range(24):
            judged.at(START + hour * HOUR, volume=EMPTY_ENOUGH)
        assert set(judged.kinds()) == {"top-up"}
        assert judged.alarm("advice-open") == []

        judged.at(START + DAY, volume=EMPTY_ENOUGH)
        judged.at(START + DAY + MINUTE, volume=EMPTY_ENOUGH)

        assert len(judged.kinds()) > 1
        assert judged.alarm("advice-open") == [UNACKNOWLEDGED]

    def test_it_is_withdrawn_once_nothing_is_advised(self):
        """Somebody has topped up: a minute later the alarm is gone."""
        judged = Judged()
        judged.at(START, volume=EMPTY_ENOUGH)
        judged.at(START + DAY + MINUTE, volume=EMPTY_ENOUGH)
        for minute in range(2, 6):
            judged.at(START + DAY + minute * MINUTE, volume=Estimate(399.0, 1.0))

        assert judged.kinds()[-1] == "none"
        assert judged.alarm("advice-open") == [UNACKNOWLEDGED, RETURNED]

    def test_a_part_of_it_begins_the_day_anew(self):
        """Half a bucket was poured: who did it knows of the advice."""
        judged = Judged()
        poured = SumpEvent(
            id="e",
            at=START + 20 * HOUR,
            kind="addition",
            source="report",
            volume=Estimate(8.0, 1.0),
            strength=None,
        )
        judged.at(START, volume=EMPTY_ENOUGH)
        judged.at(START + 21 * HOUR, volume=EMPTY_ENOUGH, events=(poured,))
        judged.at(START + DAY + HOUR, volume=EMPTY_ENOUGH, events=(poured,))

        assert judged.alarm("advice-open") == []

    def test_nobody_is_missed_while_the_pumps_stand(self):
        """On a free day nobody is there to pour; the alarm waits, one that stands stays."""
        judged = Judged()
        judged.at(START, volume=EMPTY_ENOUGH)
        judged.at(START + 2 * DAY, volume=EMPTY_ENOUGH, running=False)
        assert judged.alarm("advice-open") == []

        judged.at(START + 2 * DAY + MINUTE, volume=EMPTY_ENOUGH, running=True)
        judged.at(START + 2 * DAY + HOUR, volume=EMPTY_ENOUGH, running=False)

        assert judged.alarm("advice-open") == [UNACKNOWLEDGED]

    def test_what_fell_due_while_nobody_was_there_is_missed_half_a_shift_later(self):
        """Advised on Friday, due on Saturday, missed on Monday at ten."""
        judged = Judged()
        monday = START + 3 * DAY
        judged.note(Reading(START, Signal.RUNNING, 1.0))
        judged.at(START, volume=EMPTY_ENOUGH)
        judged.note(Reading(START + 8 * HOUR, Signal.RUNNING, 0.0))
        judged.note(Reading(monday, Signal.RUNNING, 1.0))
        judged.at(monday + 4 * HOUR, volume=EMPTY_ENOUGH)
        assert judged.alarm("advice-open") == []

        judged.at(monday + 4 * HOUR + MINUTE, volume=EMPTY_ENOUGH)
        assert judged.alarm("advice-open") == [UNACKNOWLEDGED]


class TestCondition:
    """Findings of the memory become alarms."""

    def test_a_check_raises_and_a_better_one_withdraws(self):
        """Nitrite of 25 mg/L is told at once, 5 mg/L ends it."""
        judged = Judged()
        judged.at(START)
        judged.note(Check(at=START, id="1", kind=CheckKind.NITRITE, value=25.0))
        judged.at(START + MINUTE)
        judged.note(Check(at=START + HOUR, id="2", kind=CheckKind.NITRITE, value=5.0))
        judged.at(START + HOUR)
        judged.at(START + HOUR + 2 * MINUTE)

        assert judged.alarm("nitrite-high") == [UNACKNOWLEDGED, RETURNED]

    def test_a_sump_without_signals_counts_its_delays_by_the_clock(self):
        """A pH that was checked by hand half an hour ago is told, though no data come."""
        judged = Judged(plan=a_sump(signals={}, fluid=replace(a_sump().fluid, ph_low=8.5)))
        judged.note(Check(at=START, id="1", kind=CheckKind.PH, value=7.5))
        state = a_state(START, last_seen={})
        for minute in range(40):
            judged.standing, effects = judge(
                judged.standing,
                state,
                judged.plan,
                now=START + minute * MINUTE,
                occasion=Occasion.TIMER,
            )
            judged.effects.extend(effects)

        assert judged.alarm("ph-out-of-band") == [UNACKNOWLEDGED]

    def test_what_is_found_at_the_moment_is_told_once(self):
        """A wrong concentrate latches: its alarm stays though the finding is not repeated."""
        judged = Judged()
        found = Finding(name="wrong-concentrate", signal=None, since=START, detail="2 L of b.")
        judged.at(START, Outside(findings=(found,)))
        judged.at(START + 5 * MINUTE)
        judged.at(START + 10 * MINUTE)

        latched = AlarmState.LATCHED_UNACKNOWLEDGED
        assert judged.alarm("wrong-concentrate") == [UNACKNOWLEDGED, latched]

    def test_during_an_outage_nobody_knows_whether_the_pumps_stand(self):
        """A feed that is lost makes no fluid stagnant."""
        judged = Judged()
        judged.note(Reading(START, Signal.RUNNING, 0.0))
        lost = Outside(outage=Outage(alarm="feed-lost", since=START + HOUR))
        judged.at(START + 4 * DAY, lost)
        assert judged.alarm("stagnant") == []

        judged.at(START + 4 * DAY + MINUTE)
        assert judged.alarm("stagnant") == [UNACKNOWLEDGED]


class TestWake:
    """When to look though nothing came."""

    def test_the_sump_is_looked_at_when_time_alone_says_something(self):
        """Pumps that stand, checks that are due, advice that stays open: each at its moment."""
        plan = a_sump(checks={CheckKind.LOOK: 0.25}, signals={})
        judged = Judged(plan=plan)
        judged.note(Reading(START, Signal.RUNNING, 0.0))
        judged.at(START, volume=Estimate(399.0, 1.0), last_seen={})

        wake = judged.standing.wake
        assert wake is not None
        assert START < wake <= START + 18 * HOUR + 1

    def test_it_is_watched_from_the_first_moment(self):
        """The memory says since when, so that checks that were never made become due."""
        judged = Judged()
        judged.at(START + MINUTE)
        judged.at(START + 2 * MINUTE)

        assert judged.standing.care.condition.since == START + MINUTE
