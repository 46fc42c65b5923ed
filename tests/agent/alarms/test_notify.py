"""What is told to whom when: decided by the alarms that stand and the clock alone."""

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter

from advisor.effects import AlarmReport, AlarmState
from advisor.words import HOUR, MINUTE, Instant, Signal
from agent.alarms.notify import Memory, decide
from agent.alarms.rules import Rule
from agent.alarms.telling import MOST, Message

DUBLIN = ZoneInfo("Europe/Dublin")
RULE = Rule(
    id="maintenance",
    variable="MILLPOND_NOTIFY_MAINTENANCE",
    ways={"high": "always", "medium": "hours", "low": "digest"},
    hours=(6 * 60, 22 * 60),
    digest_at=7 * 60,
)
ASKS, ACKNOWLEDGED = AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED
RETURNED = AlarmState.RETURNED_UNACKNOWLEDGED


def at(clock: str, day: int = 3) -> Instant:
    """A moment of March 2026 in Dublin: the 2nd is a Monday, and there is no summer time yet."""
    return round(datetime.fromisoformat(f"2026-03-{day:02d}T{clock}+00:00").timestamp() * 1000)


def an_alarm(
    priority: str = "high", state: AlarmState = ASKS, raised_at: Instant = 1, **parts: object
) -> AlarmReport:
    """An alarm as it was told on the broker."""
    fields: dict[str, object] = {
        "name": "mix-loss-high",
        "signal": None,
        "active": True,
        "acknowledged": False,
        "value": None,
        "limit": None,
        "unit": "",
        "cause": "Mill 7: 20 L/h of mix are lost.",
        "consequence": "A slippery floor.",
        "action": "Maintenance: look for the leak.",
    }
    return AlarmReport(
        **(fields | parts),  # type: ignore[arg-type]  # as above
        priority=priority,  # type: ignore[arg-type]  # one of three words
        state=state,
        raised_at=raised_at,
    )


class Target:
    """One target over time, and what it was told."""

    def __init__(self, rule: Rule = RULE, **changes: object) -> None:
        self.rule = replace(rule, **changes)  # type: ignore[arg-type]  # a rule's own fields
        self.memory = Memory()
        self.standing: dict[tuple[str, str], AlarmReport] = {}
        self.messages: list[tuple[Instant, Message]] = []

    def stands(self, report: AlarmReport | None, about: str = "mill-07", name: str = "a") -> None:
        """Let an alarm stand, or stand no longer."""
        if report is None:
            del self.standing[about, name]
        else:
            self.standing[about, name] = report

    def look(self, now: Instant) -> Message | None:
        """Decide at a moment."""
        self.memory, message = decide(self.memory, self.standing, self.rule, now, DUBLIN)
        if message is not None:
            self.messages.append((now, message))
        return message

    def watch(self, begin: Instant, end: Instant) -> list[Instant]:
        """Decide each minute; when something was told."""
        before = len(self.messages)
        for now in range(begin, end, MINUTE):
            self.look(now)
        return [now for now, _ in self.messages[before:]]


class TestPriorities:
    """Each priority has its way."""

    def test_high_is_told_at_once_day_and_night(self):
        """At three in the morning too, once."""
        target = Target()
        target.stands(an_alarm("high"))

        assert target.watch(at("03:00"), at("09:00")) == [at("03:00")]

    def test_medium_waits_for_the_hours(self):
        """Raised at night it is told at six; raised by day at once."""
        target = Target()
        target.stands(an_alarm("medium"))
        assert target.watch(at("03:00"), at("12:00")) == [at("06:00")]

        target.stands(an_alarm("medium", raised_at=2))
        assert target.watch(at("12:00"), at("13:00")) == [at("12:00")]

    def test_low_comes_in_the_daily_digest(self):
        """Whatever of it still asks at seven, in one message."""
        target = Target()
        target.look(at("06:59"))
        for number in range(4):
            target.stands(an_alarm("low", raised_at=number), about=f"mill-{number}")

        assert target.watch(at("08:00"), at("08:00", day=5)) == [at("08:00")]
        target.stands(an_alarm("low", raised_at=9), about="mill-9")
        assert target.watch(at("08:00", day=5), at("08:00", day=6)) == [at("07:00", day=6)]

    def test_the_first_digest_is_not_made_up_for(self):
        """An agent that is started at noon does not send this morning's digest."""
        target = Target()
        target.stands(an_alarm("low"))

        assert target.watch(at("12:00"), at("06:00", day=4)) == []
        assert target.look(at("07:00", day=4)) is not None

    def test_never_is_never(self):
        """A target that wants high alone hears nothing else."""
        target = Target(ways={"high": "always", "medium": "never", "low": "never"})
        target.stands(an_alarm("medium"))
        target.stands(an_alarm("low"), name="b")

        assert target.watch(at("00:00"), at("00:00", day=5)) == []

    def test_days_without_hours_are_quiet(self):
        """A target of weekdays is told on Monday what came on Saturday; high at once."""
        target = Target(days=frozenset(range(5)))
        target.stands(an_alarm("medium"))

        assert target.watch(at("10:00", day=7), at("12:00", day=9)) == [at("06:00", day=9)]
        target.stands(an_alarm("high"), name="b")
        assert target.look(at("10:00", day=14)) is not None

    def test_hours_may_go_across_midnight(self):
        """A night watch of weekdays is told on Saturday morning what belongs to Friday's night."""
        target = Target(hours=(22 * 60, 6 * 60), days=frozenset(range(5)))
        target.stands(an_alarm("medium"))
        assert target.look(at("21:59", day=6)) is None
        assert target.look(at("22:00", day=6)) is not None

        target.stands(an_alarm("medium", raised_at=2))
        assert target.look(at("05:59", day=7)) is not None
        target.stands(an_alarm("medium", raised_at=3))
        assert target.look(at("05:59", day=8)) is None

    def test_hours_are_local_through_a_change_of_the_clocks(self):
        """On 29 March 2026 Dublin's six o'clock is five o'clock UTC."""
        target = Target()
        target.stands(an_alarm("medium"))

        assert target.watch(at("04:00", day=29), at("07:00", day=29)) == [at("05:00", day=29)]

    def test_a_target_of_some_sumps_hears_of_those_and_of_the_plant(self):
        """Another sump's alarm is another person's; a lost feed is everybody's."""
        target = Target(sumps=frozenset({"mill-07"}))
        target.stands(an_alarm(), about="mill-08")
        assert target.look(at("10:00")) is None

        target.stands(an_alarm(), about="")
        target.stands(an_alarm(), about="supply/drum-1")
        target.stands(an_alarm(), about="mill-07")
        message = target.look(at("10:01"))
        assert message is not None
        assert message.title == "high: plant mix-loss-high and 2 more"


class TestOccurrences:
    """Each time that an alarm asks is told once."""

    def test_acknowledged_in_time_it_is_not_told(self):
        """What somebody has seen before the hours begin is no news."""
        target = Target()
        target.stands(an_alarm("medium"))
        target.look(at("03:00"))
        target.stands(an_alarm("medium", ACKNOWLEDGED))

        assert target.watch(at("03:01"), at("12:00")) == []

    def test_what_came_and_went_in_the_night_is_not_told(self):
        """The condition is gone; the list on the page has it."""
        target = Target()
        target.stands(an_alarm("medium"))
        target.look(at("03:00"))
        target.stands(an_alarm("medium", RETURNED))

        assert target.watch(at("03:01"), at("12:00")) == []

    def test_raised_again_it_is_told_again(self):
        """Another occurrence of the same alarm."""
        target = Target()
        target.stands(an_alarm(raised_at=1))
        target.look(at("10:00"))
        target.stands(an_alarm(raised_at=2))

        assert target.look(at("10:01")) is not None

    def test_an_alarm_that_asks_again_is_told_again(self):
        """Acknowledged and still standing, its re-alarm time has passed."""
        target = Target()
        target.stands(an_alarm())
        target.look(at("10:00"))
        target.stands(an_alarm(state=ACKNOWLEDGED))
        target.look(at("10:01"))
        target.stands(an_alarm())

        assert target.look(at("14:00")) is not None
        assert target.look(at("14:01")) is None

    def test_taken_back_from_the_shelf_it_is_not_told_again(self):
        """Whoever shelved it knows of it."""
        target = Target()
        target.stands(an_alarm())
        target.look(at("10:00"))
        target.stands(an_alarm(state=AlarmState.SHELVED))
        target.look(at("10:01"))
        target.stands(an_alarm())

        assert target.look(at("18:00")) is None

    @pytest.mark.parametrize(
        "state", [AlarmState.SUPPRESSED, AlarmState.SHELVED, AlarmState.OUT_OF_SERVICE]
    )
    def test_what_is_put_aside_is_not_told_until_it_is_taken_back(self, state):
        """A consequence that outlives its cause is an alarm of its own then."""
        target = Target()
        target.stands(an_alarm(state=state))
        assert target.look(at("10:00")) is None

        target.stands(an_alarm())
        assert target.look(at("10:10")) is not None

    def test_a_latched_alarm_asks_until_somebody_has_seen_it(self):
        """Its condition is gone, it must be looked into all the same."""
        target = Target()
        target.stands(an_alarm(state=AlarmState.LATCHED_UNACKNOWLEDGED))

        assert target.look(at("10:00")) is not None

    def test_the_end_is_told_where_it_is_wanted_and_the_beginning_was(self):
        """Over, whether somebody has still to acknowledge it or not; not of what was never told."""
        target = Target(returned=True)
        target.stands(an_alarm())
        target.look(at("10:00"))
        target.stands(an_alarm(state=RETURNED))
        target.stands(an_alarm("low", RETURNED), name="untold")
        message = target.look(at("10:30"))
        assert message is not None
        assert (message.title, message.priority) == ("over: mill-07 a", "low")

        target.stands(None)
        assert target.watch(at("10:31"), at("12:00")) == []

    def test_the_end_is_not_told_where_nobody_wants_it(self):
        """By default only what asks for somebody is sent."""
        target = Target()
        target.stands(an_alarm())
        target.look(at("10:00"))
        target.stands(None)

        assert target.look(at("10:30")) is None


class TestEscalation:
    """A second target, where nobody answers the first."""

    def test_it_is_told_what_nobody_has_acknowledged_for_so_long(self):
        """Half an hour after the alarm asked, and the message says so."""
        target = Target(after=30 * MINUTE)
        target.stands(an_alarm())

        assert target.watch(at("10:00"), at("12:00")) == [at("10:30")]
        assert "Nobody has acknowledged for 30 min:" in target.messages[0][1].body

    def test_it_hears_nothing_of_what_was_acknowledged(self):
        """Somebody is on it."""
        target = Target(after=30 * MINUTE)
        target.stands(an_alarm())
        target.look(at("10:00"))
        target.stands(an_alarm(state=ACKNOWLEDGED))

        assert target.watch(at("10:01"), at("12:00")) == []

    def test_the_wait_begins_anew_with_each_occurrence(self):
        """Two short alarms are no long one."""
        target = Target(after=30 * MINUTE)
        target.stands(an_alarm(raised_at=1))
        target.watch(at("10:00"), at("10:20"))
        target.stands(an_alarm(raised_at=2))

        assert target.watch(at("10:20"), at("12:00")) == [at("10:50")]


class TestLimits:
    """Nobody is flooded."""

    def test_all_that_is_due_at_a_moment_is_one_message(self):
        """A hundred sumps with the same trouble are one e-mail of bounded length."""
        target = Target()
        for number in range(100):
            target.stands(an_alarm(raised_at=number), about=f"mill-{number}")
        message = target.look(at("10:00"))

        assert message is not None
        assert message.title == "high: mill-0 mix-loss-high and 99 more"
        assert message.body.count("high: mill-") == MOST
        assert "... and 80 more." in message.body
        assert len(message.body) < 5000

    def test_beyond_the_most_per_hour_it_waits_and_comes_in_one(self):
        """Two messages an hour; the rest comes together when the first is an hour old."""
        target = Target(most_per_hour=2)
        for number in range(10):
            target.stands(an_alarm("medium", raised_at=number), name=f"a{number}")
            target.look(at("10:00") + number * MINUTE)
        assert len(target.messages) == 2

        assert target.watch(at("10:10"), at("11:30")) == [at("11:00")]
        assert "and 7 more" in target.messages[-1][1].title

    def test_high_goes_out_beyond_the_limit_but_not_each_minute(self):
        """Five minutes apart at least, with all that has come since."""
        target = Target(most_per_hour=1)
        for number in range(12):
            target.stands(an_alarm(raised_at=number), name=f"a{number}")
            target.look(at("10:00") + number * MINUTE)

        assert [now for now, _ in target.messages] == [at("10:00"), at("10:05"), at("10:10")]

    def test_a_digest_that_has_no_room_comes_later(self):
        """It is not lost to the limit."""
        target = Target(most_per_hour=1)
        target.look(at("06:00"))
        target.stands(an_alarm("medium"))
        target.stands(an_alarm("low"), name="b")

        assert target.watch(at("06:30"), at("09:00")) == [at("06:30"), at("07:30")]
        assert target.messages[-1][1].priority == "low"

    @given(
        st.lists(
            st.tuples(
                st.integers(0, 300),
                st.integers(0, 5),
                st.sampled_from(["high", "medium", "low"]),
                st.sampled_from(
                    [ASKS, ACKNOWLEDGED, RETURNED, AlarmState.SHELVED, AlarmState.SUPPRESSED, None]
                ),
            ),
            max_size=30,
        ),
        st.integers(1, 4),
        st.booleans(),
    )
    def test_whatever_happens_no_hour_has_more_than_it_may(self, happenings, most, returned):
        """At most so many, and one each five minutes beyond them while something is high."""
        target = Target(most_per_hour=most, returned=returned)
        begin = at("05:00")
        for minute in range(301):
            for when, number, priority, state in happenings:
                if when == minute and state is not None:
                    report = an_alarm(priority, state, raised_at=begin + minute * MINUTE)
                    target.stands(report, name=f"a{number}")
                elif when == minute:
                    target.standing.pop(("mill-07", f"a{number}"), None)
            target.look(begin + minute * MINUTE)

        times = [now for now, _ in target.messages]
        for first in times:
            assert sum(first <= now < first + HOUR for now in times) <= max(most, 12)
        assert len(set(times)) == len(times)


class TestWords:
    """What a message says."""

    def test_one_alarm_is_told_in_full(self):
        """Where, since when in the plant's time, cause, consequence, what to do, how to answer."""
        target = Target()
        target.stands(an_alarm(raised_at=at("09:58")))
        message = target.look(at("10:00"))

        assert message is not None
        assert (message.priority, message.title) == ("high", "high: mill-07 mix-loss-high")
        assert message.body.splitlines()[:4] == [
            "high: mill-07 mix-loss-high, since 2026-03-03 09:58",
            "Mill 7: 20 L/h of mix are lost.",
            "A slippery floor.",
            "Maintenance: look for the leak.",
        ]
        assert "Acknowledge" in message.body

    def test_consequences_are_counted_under_their_cause(self):
        """A lost feed silences forty signals: one message, one number."""
        target = Target()
        target.stands(an_alarm(name="feed-lost"), about="", name="feed-lost")
        for number in range(40):
            silent = an_alarm(
                "low",
                AlarmState.SUPPRESSED,
                name="signal-stale",
                signal=Signal.LEVEL,
                because_of="feed-lost",
            )
            target.stands(silent, about=f"mill-{number}", name="signal-stale/level")
        message = target.look(at("10:00"))

        assert message is not None
        assert "40 more follow from it and are suppressed." in message.body
        assert "mill-1" not in message.body

    def test_the_worst_comes_first(self):
        """High before medium, the older before the younger."""
        target = Target()
        target.stands(an_alarm("medium", raised_at=1), about="mill-1")
        target.stands(an_alarm("high", raised_at=3), about="mill-2")
        target.stands(an_alarm("high", raised_at=2), about="mill-3")
        message = target.look(at("10:00"))

        assert message is not None
        heads = [line.split(",")[0] for line in message.body.splitlines() if ", since" in line]
        assert [head.split()[1] for head in heads] == ["mill-3", "mill-2", "mill-1"]


def test_what_a_target_knows_is_stored_and_read_back_exactly():
    """So that a restart tells nothing twice."""
    target = Target(returned=True)
    target.stands(an_alarm())
    target.stands(an_alarm("low"), name="b")
    target.look(at("10:00"))
    codec = TypeAdapter(Memory)

    assert codec.validate_json(codec.dump_json(target.memory)) == target.memory
