"""Figures of the alarms themselves, on journals short enough to count by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.effects import AlarmState
from advisor.key_figures import PERIOD, Transition, key_figures, measures
from advisor.words import DAY, HOUR, MINUTE, Priority, Signal
from tests.alarm_watch import START

SECOND = 1000
UNACKNOWLEDGED = AlarmState.UNACKNOWLEDGED
RETURNED = AlarmState.RETURNED_UNACKNOWLEDGED


def change(
    after: int,
    state: AlarmState = UNACKNOWLEDGED,
    *,
    name: str = "level-low",
    sump: str = "mill-07",
    priority: Priority = "low",
) -> Transition:
    """A change of state some time after the start."""
    return Transition(
        at=START + after, sump=sump, name=name, signal=None, state=state, priority=priority
    )


def figures(*journal: Transition, days: float = 1.0, sumps: int = 1):
    """Key figures of the days from the start."""
    return key_figures(journal, begin=START, end=START + round(days * DAY), sumps=sumps)


def burst(begin: int, count: int) -> list[Transition]:
    """So many alarms within a second, each of its own."""
    return [change(begin + i, name=f"alarm-{begin}-{i}") for i in range(count)]


def test_without_alarms_every_figure_is_zero():
    """An empty journal is the best there can be, and meets every target."""
    empty = figures()

    assert (empty.annunciated, empty.peak, empty.floods, empty.top) == (0, 0, (), ())
    assert all(measure.value == 0.0 and measure.is_met for measure in measures(empty))


def test_the_rate_counts_each_time_somebody_is_asked():
    """An alarm that occurs, clears, occurs again and asks again has asked three times."""
    counted = figures(
        change(0),
        change(HOUR, RETURNED),
        change(2 * HOUR),
        change(3 * HOUR, AlarmState.ACKNOWLEDGED),
        change(12 * HOUR),
        days=2.0,
        sumps=3,
    )

    assert counted.annunciated == 3
    assert counted.per_day == 1.5
    assert counted.per_sump_and_day == 0.5
    assert counted.per_period == pytest.approx(3 / 288)


def test_what_is_suppressed_or_shelved_asks_nobody():
    """Only what people are shown as unacknowledged counts."""
    counted = figures(change(0, AlarmState.SUPPRESSED), change(HOUR, AlarmState.SHELVED))

    assert counted.annunciated == 0
    assert counted.standing == ()


def test_a_flood_begins_above_ten_and_ends_below_five_in_ten_minutes():
    """Periods of 11, 7, 5 and 4 alarms: the flood lasts for the first three."""
    journal = [
        *burst(0, 11),
        *burst(PERIOD, 7),
        *burst(2 * PERIOD, 5),
        *burst(3 * PERIOD, 4),
    ]
    counted = figures(*journal)

    (flood,) = counted.floods
    assert (flood.begin, flood.end, flood.count) == (START, START + 3 * PERIOD, 23)
    assert counted.flood_share == pytest.approx(3 / 144)
    assert counted.busy_share == pytest.approx(1 / 144)
    assert counted.peak == 11


def test_ten_alarms_in_ten_minutes_are_no_flood():
    """The limit itself is still manageable."""
    assert figures(*burst(0, 10)).floods == ()


def test_a_flood_at_the_end_ends_with_the_span():
    """What has not ended yet lasts until the end."""
    counted = figures(*burst(DAY - PERIOD, 11))

    assert counted.floods[0].end == START + DAY


def test_the_ten_most_frequent_come_first():
    """Of twelve alarms the ten most frequent are named with their share of the load."""
    journal = []
    for index in range(12):
        for turn in range(12 - index):
            at = index * MINUTE + turn * HOUR
            journal.append(change(at, name=f"alarm-{index:02}"))
            journal.append(change(at + MINUTE // 2, RETURNED, name=f"alarm-{index:02}"))
    counted = figures(*sorted(journal, key=lambda transition: transition.at))

    assert [source.count for source in counted.top] == [12, 11, 10, 9, 8, 7, 6, 5, 4, 3]
    assert counted.top[0].key == "mill-07/alarm-00"
    assert counted.top[0].share == pytest.approx(12 / 78)
    assert counted.top_share == pytest.approx(75 / 78)


def test_an_alarm_is_stale_after_a_day():
    """Standing for 24 hours is not stale yet, a moment longer is."""
    counted = figures(
        change(0, name="just-a-day"),
        change(-1, name="longer"),
        change(-5 * DAY, name="came-back"),
        change(HOUR, RETURNED, name="came-back"),
        change(2 * HOUR, name="came-back"),
        days=1.0,
    )

    assert [alarm.key for alarm in counted.standing] == [
        "mill-07/came-back",
        "mill-07/just-a-day",
        "mill-07/longer",
    ]
    assert [alarm.key for alarm in counted.stale] == ["mill-07/longer"]


def test_acknowledging_does_not_make_an_alarm_younger():
    """It stands from when it was raised."""
    counted = figures(change(-2 * DAY), change(0, AlarmState.ACKNOWLEDGED))

    assert counted.stale[0].since == START - 2 * DAY


@pytest.mark.parametrize(("third_clears", "chatters"), [(60, True), (61, False)])
def test_three_times_raised_and_cleared_in_a_minute_is_chatter(third_clears, chatters):
    """Three within sixty seconds are chatter; a second more and they are not."""
    journal = [
        change(0),
        change(10 * SECOND, RETURNED),
        change(20 * SECOND),
        change(30 * SECOND, RETURNED),
        change(40 * SECOND),
        change(third_clears * SECOND, RETURNED),
    ]

    assert figures(*journal).chattering == (("mill-07/level-low",) if chatters else ())


def test_an_alarm_gone_within_a_minute_unanswered_is_fleeting():
    """Gone after 59 s it is fleeting, after 60 s or once acknowledged it is not."""
    counted = figures(
        change(0),
        change(59 * SECOND, RETURNED),
        change(HOUR),
        change(HOUR + MINUTE, RETURNED),
        change(2 * HOUR),
        change(2 * HOUR + 10 * SECOND, AlarmState.ACKNOWLEDGED),
        change(2 * HOUR + 20 * SECOND, AlarmState.NORMAL),
    )

    assert counted.fleeting == 1


def test_priorities_are_shares_of_the_load():
    """Eight low, one medium and one high: the shares add up to one."""
    journal = [change(i * HOUR, name=f"low-{i}") for i in range(8)]
    journal.append(change(9 * HOUR, name="medium", priority="medium"))
    journal.append(change(10 * HOUR, name="high", priority="high"))

    assert figures(*journal).priorities == {"low": 0.8, "medium": 0.1, "high": 0.1}


def test_a_figure_worse_than_its_target_says_so():
    """A hundred and fifty alarms a day are acceptable, one more is not."""
    for count, met in ((150, True), (151, False)):
        journal = [change(i * (DAY // 200), name=f"alarm-{i}") for i in range(count)]
        measure = measures(figures(*journal))[0]
        assert (measure.value, measure.is_met) == (pytest.approx(count), met)


@given(
    st.lists(
        st.builds(
            change,
            st.integers(-DAY, 3 * DAY),
            st.sampled_from(list(AlarmState)),
            name=st.sampled_from(("level-low", "water-gain")),
            priority=st.sampled_from(("low", "medium", "high")),
        ),
        max_size=60,
    ).map(lambda journal: sorted(journal, key=lambda transition: transition.at))
)
def test_shares_are_shares_whatever_the_journal(journal):
    """Every share lies between 0 and 1, and the counts agree with each other."""
    counted = figures(*journal, days=2.0)

    assert 0.0 <= counted.flood_share <= 1.0
    assert 0.0 <= counted.busy_share <= 1.0
    assert sum(source.count for source in counted.top) == counted.annunciated
    assert sum(counted.priorities.values()) == pytest.approx(1.0 if counted.annunciated else 0.0)
    assert set(counted.stale) <= set(counted.standing)
    assert counted.peak <= counted.annunciated


def test_alarms_of_one_name_are_told_apart_by_sump_and_signal():
    """The journal's key is the end of the topic."""
    one = Transition(
        at=START,
        sump="mill-07",
        name="signal-stale",
        signal=Signal.BRIX,
        state=UNACKNOWLEDGED,
        priority="low",
    )

    assert one.key == "mill-07/signal-stale/brix"
