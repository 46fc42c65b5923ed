"""What is found wrong with the plant as a whole and with its supplies."""

import pytest

from advisor.alarms import AlarmBoard, Outage, Surroundings, assess_findings
from advisor.effects import AlarmState
from advisor.plan import SignalPlan, Supply
from advisor.plant_findings import (
    Heard,
    expired,
    feed_lost,
    heard_of,
    historian_behind,
    stock_low,
)
from advisor.words import DAY, HOUR, MINUTE, Signal
from tests.alarm_watch import START, Watch, a_state
from tests.plants import a_sump

DRUM = Supply(id="drum-1", kind="drum", fluid="semi-a", volume=200.0)


class TestFeedLost:
    """Half of the sumps silent at once, or no broker: the feed is lost."""

    def test_one_silent_sump_of_many_is_its_own_affair(self):
        """A gateway that dies takes its sump only."""
        sumps = [Heard(START - HOUR, MINUTE), *[Heard(START, MINUTE)] * 9]

        assert feed_lost(sumps, START) is None

    def test_half_of_the_sumps_silent_is_a_lost_feed(self):
        """Five of ten at once have one cause, and it began when the fifth fell silent."""
        silent = [Heard(START - (10 + i) * MINUTE, MINUTE) for i in range(5)]

        found = feed_lost([*silent, *[Heard(START, MINUTE)] * 5], START)
        assert found is not None
        assert found.since == START - 14 * MINUTE
        assert found.detail == "5 of 10 sumps silent, for 14 min."

    def test_sumps_dead_for_weeks_do_not_date_an_outage_of_today(self):
        """The outage began when enough fell silent, not when the first ever did."""
        old = [Heard(START - 20 * DAY, MINUTE)]
        new = [Heard(START - 10 * MINUTE, MINUTE)] * 9

        found = feed_lost([*old, *new], START)
        assert found is not None
        assert found.since == START - 10 * MINUTE

    def test_a_single_sump_never_makes_a_lost_feed(self):
        """With one sump its signals speak for themselves."""
        assert feed_lost([Heard(START - DAY, MINUTE)], START) is None

    def test_without_a_broker_the_feed_is_lost_at_once(self):
        """The agent knows that it has no broker before any signal is missed."""
        found = feed_lost([], START, disconnected_since=START - 30_000)

        assert found is not None
        assert (found.since, found.detail) == (START - 30_000, "no broker for 30 s.")

    def test_sumps_never_heard_of_do_not_count(self):
        """A plant that is only being set up has lost nothing."""
        assert feed_lost([None, None, None], START) is None

    def test_a_sump_is_heard_by_any_of_its_signals_but_running(self):
        """The newest reading counts, missed after the shortest time of any signal."""
        plan = a_sump(
            signals={
                Signal.LEVEL: SignalPlan(signal=Signal.LEVEL, interval=60.0),
                Signal.BRIX: SignalPlan(signal=Signal.BRIX, interval=10.0),
                Signal.RUNNING: SignalPlan(signal=Signal.RUNNING, interval=1.0),
            }
        )
        seen = {Signal.LEVEL: START, Signal.BRIX: START - HOUR, Signal.RUNNING: START + HOUR}

        assert heard_of(a_state(last_seen=seen), plan) == Heard(START, 100_000)
        assert heard_of(a_state(last_seen={}), plan) is None

    def test_a_network_outage_is_one_alarm_for_the_whole_plant(self):
        """Forty sumps fall silent for two hours: people are shown one alarm, and none after."""
        watches = [Watch() for _ in range(40)]
        board, shown = AlarmBoard(), []
        for minute in range(300):
            out = 60 <= minute < 180
            hush = [Signal.LEVEL, Signal.BRIX, Signal.RUNNING] if out else []
            heard = [heard_of(a_state(w.at, last_seen=w.last_seen), w.plan) for w in watches]
            now = watches[0].now + MINUTE
            lost = feed_lost(heard, now)
            board, reports = assess_findings(
                board, [lost] if lost else [], a_sump(id="north", name="North"), now=now
            )
            shown += [r.name for r in reports if r.state is AlarmState.UNACKNOWLEDGED]
            around = Surroundings(
                outage=Outage(alarm="feed-lost", since=lost.since) if lost else None
            )
            for watch in watches:
                reports = watch.minute(silent=hush, around=around)
                shown += [r.name for r in reports if r.state is AlarmState.UNACKNOWLEDGED]

        assert shown == ["feed-lost"]


class TestHistorian:
    """Records may wait for the historian, but not for long."""

    @pytest.mark.parametrize(
        ("waiting", "oldest", "behind"),
        [
            (0, None, False),
            (5, START - 30 * MINUTE, False),
            (5, START - 30 * MINUTE - 1, True),
        ],
    )
    def test_it_is_behind_when_something_has_waited_for_half_an_hour(self, waiting, oldest, behind):
        """The age of the oldest record decides, not their number."""
        assert (historian_behind(waiting, oldest, START) is not None) == behind


class TestSupply:
    """A supply runs out, or gets too old."""

    @pytest.mark.parametrize(
        ("volume", "reorder", "low"),
        [(40.1, None, False), (40.0, None, True), (60.0, 60.0, True), (60.1, 60.0, False)],
    )
    def test_stock_is_low_at_a_fifth_or_where_the_plant_says(self, volume, reorder, low):
        """At the reorder volume it is to be ordered."""
        assert (stock_low(DRUM, volume, START, reorder=reorder) is not None) == low

    def test_a_water_line_has_no_stock(self):
        """Without a full volume and without a reorder volume nothing can be low."""
        assert stock_low(Supply(id="tap", kind="water"), 0.0, START) is None

    def test_a_lot_expires_on_its_label(self):
        """From the moment on the label it is expired, and the finding names the lot."""
        assert expired("A17", START + 1, START) is None
        found = expired("A17", START - 3 * DAY, START)
        assert found is not None
        assert found.detail == "lot A17 expired 3 d ago."
        assert expired("A17", None, START) is None
