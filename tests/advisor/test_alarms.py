"""What a sump's alarms do over hours and days: raised, held, frozen, suppressed, explained."""

from dataclasses import replace

import pytest
from pydantic import TypeAdapter

from advisor.alarm_definitions import DEFINITIONS
from advisor.alarms import (
    AlarmBoard,
    Outage,
    Surroundings,
    assess,
    assess_findings,
    consequences,
    stale_signals,
    standing,
)
from advisor.effects import AlarmState
from advisor.plan import AlarmPlan, SignalPlan
from advisor.words import HOUR, MINUTE, Estimate, Quality, Signal, SumpEvent
from tests.alarm_watch import START, Watch, a_finding, a_state
from tests.plants import a_sump

UNACKNOWLEDGED = AlarmState.UNACKNOWLEDGED
RETURNED = AlarmState.RETURNED_UNACKNOWLEDGED
NORMAL = AlarmState.NORMAL
SUPPRESSED = AlarmState.SUPPRESSED

LOW = Estimate(170.0, 1.5)
WEAK = Estimate(0.055, 0.001)


class TestLevel:
    """The level is judged at the depth with everything drained back."""

    def test_low_is_raised_once_longer_than_the_drain_back(self):
        """Half an hour of draining back raises nothing; what stays low for longer does."""
        watch = Watch()

        assert watch.minutes(35, depth=LOW) == ()
        (raised,) = watch.minutes(1, depth=LOW)
        assert (raised.name, raised.state) == ("level-low", UNACKNOWLEDGED)
        assert (raised.value, raised.limit, raised.unit) == (170.0, 180.0, "mm")

    def test_low_clears_only_past_the_deadband(self):
        """At 5 % of the range above the limit it still stands, beyond that it clears."""
        watch = Watch()
        watch.minutes(40, depth=LOW)

        watch.minutes(60, depth=Estimate(192.5, 1.5))
        assert watch.states("level-low") == [UNACKNOWLEDGED]
        watch.minutes(11, depth=Estimate(192.6, 1.5))
        assert watch.states("level-low") == [UNACKNOWLEDGED, RETURNED]

    def test_high_is_the_brim_less_the_headroom(self):
        """At 430 mm less 15 mm the sump is too full: no dose ever fills it so far."""
        watch = Watch()

        watch.minutes(60, depth=Estimate(414.9, 0.0))
        assert watch.published == []
        watch.minutes(60, depth=Estimate(415.0, 0.0))
        assert watch.last("level-high").limit == 415.0

    def test_a_level_that_nobody_knows_well_is_not_called_low(self):
        """10 mm under the limit with an sd of 12 mm may as well be above it."""
        watch = Watch()

        watch.minutes(600, depth=Estimate(170.0, 12.0))
        assert watch.published == []

    def test_a_short_excursion_raises_nothing(self):
        """A value that comes back before the delay is over starts the delay anew."""
        watch = Watch()
        for _ in range(10):
            watch.minutes(34, depth=LOW)
            watch.minutes(1)

        assert watch.published == []

    def test_a_pump_cycle_every_hour_raises_nothing(self):
        """A rest depth that is wrong for half an hour after each pump stop is no alarm."""
        watch = Watch()
        for _ in range(24):
            watch.minutes(30, depth=Estimate(178.0, 1.5))
            watch.minutes(30, depth=Estimate(200.0, 1.5))

        assert watch.published == []

    @pytest.mark.parametrize("silent", [(Signal.LEVEL,), ()])
    def test_without_evidence_it_is_neither_raised_nor_cleared(self, silent):
        """A level sensor that is silent or bad freezes the level alarms as they stand."""
        watch = Watch()
        watch.minutes(40, depth=LOW)
        bad = {} if silent else {"qualities": {Signal.LEVEL: Quality.BAD}}

        watch.minutes(15, depth=LOW, silent=silent, **bad)
        watch.minutes(300, silent=silent, **bad)
        assert watch.last("level-low").active
        watch.minutes(11)
        assert not watch.last("level-low").active

    def test_a_delay_waits_while_there_is_no_evidence(self):
        """Time without evidence does not count towards a delay, time before and after does."""
        watch = Watch()
        watch.minutes(30, depth=LOW)
        watch.minutes(100, depth=LOW, qualities={Signal.LEVEL: Quality.BAD})

        assert watch.minutes(6, depth=LOW) == ()
        assert len(watch.minutes(1, depth=LOW)) == 1

    def test_a_level_alarm_that_is_not_judged_names_why(self):
        """A standing level alarm whose sensor falls silent follows from that silence."""
        watch = Watch()
        watch.minutes(40, depth=LOW)

        watch.minutes(30, depth=LOW, silent=[Signal.LEVEL])
        assert watch.last("level-low").because_of == "signal-stale/level"
        assert watch.last("level-low").state is UNACKNOWLEDGED
        assert "not judged" in watch.last("signal-stale", Signal.LEVEL).consequence

    def test_dipsticks_alone_are_judged_by_the_clock(self):
        """Where no level sensor is bound the delays pass although no data come."""
        watch = Watch(plan=a_sump(signals={}))

        watch.minutes(36, depth=LOW)
        assert watch.at == START
        assert watch.states("level-low") == [UNACKNOWLEDGED]

    def test_low_is_higher_where_the_pumps_need_more(self):
        """Pumps that need 170 mm while 21 L are up in the machine need 190 mm at rest."""
        levels = replace(a_sump().levels, low_running=170.0)
        watch = Watch(plan=a_sump(levels=levels))

        watch.minutes(36, depth=Estimate(188.0, 1.5), holdup=Estimate(22.0, 1.0))
        assert watch.last("level-low").limit == pytest.approx(190.0)

    def test_high_is_not_judged_while_somebody_fills(self):
        """An addition that has just begun may bring the level up for a while."""
        watch = Watch()
        pour = SumpEvent(
            id="a1", at=START, kind="addition", source="report", volume=None, strength=None
        )

        watch.minutes(19 + 35, depth=Estimate(420.0, 1.5), events=(pour,))
        assert watch.published == []
        watch.minutes(2, depth=Estimate(420.0, 1.5), events=(pour,))
        assert watch.states("level-high") == [UNACKNOWLEDGED]


class TestConcentration:
    """The concentration is judged by the probability that it is outside its band."""

    def test_an_estimate_outside_the_band_by_less_than_its_sd_is_no_alarm(self):
        """5.9 % with an sd of 0.1 % may well be 6.0 %."""
        watch = Watch()

        watch.minutes(600, concentration=Estimate(0.059, 0.001))
        assert watch.published == []

    def test_low_is_raised_when_it_is_surely_low(self):
        """5.8 % with an sd of 0.1 % is below 6 % with more than 95 % probability."""
        watch = Watch()

        (raised,) = watch.minutes(31, concentration=Estimate(0.058, 0.001))
        assert raised.name == "concentration-low"
        assert raised.value == pytest.approx(5.8)
        assert (raised.limit, raised.unit) == (6.0, "%")

    def test_high_is_raised_when_it_is_surely_high(self):
        """10.5 % with an sd of 0.1 % is above 10 %."""
        watch = Watch()

        (raised,) = watch.minutes(31, concentration=Estimate(0.105, 0.001))
        assert raised.name == "concentration-high"

    def test_an_estimate_that_gets_vaguer_does_not_clear_it(self):
        """Knowing less is no reason to say that the mix is right again."""
        watch = Watch()
        watch.minutes(31, concentration=WEAK)

        watch.minutes(600, concentration=Estimate(0.055, 0.02))
        assert watch.states("concentration-low") == [UNACKNOWLEDGED]

    def test_a_check_by_hand_is_judged_where_no_inline_reading_comes(self):
        """Without Brix the delays run on the clock, so that a check at noon alarms at half past."""
        watch = Watch(plan=a_sump(signals={}))

        watch.minutes(31, concentration=WEAK)
        assert watch.states("concentration-low") == [UNACKNOWLEDGED]

    def test_it_clears_halfway_to_a_target_that_is_close_to_the_limit(self):
        """A deadband never reaches beyond the target, or no top-up could clear the alarm."""
        fluid = replace(a_sump().fluid, target=0.061)
        watch = Watch(plan=a_sump(fluid=fluid))
        watch.minutes(31, concentration=WEAK)

        watch.minutes(11, concentration=Estimate(0.061, 0.001))
        assert watch.states("concentration-low") == [UNACKNOWLEDGED, RETURNED]


class TestSilence:
    """A signal is missed by the clock, after what the plant file says or ten usual intervals."""

    @pytest.mark.parametrize(
        ("bound", "intervals", "seconds"),
        [
            (SignalPlan(signal=Signal.BRIX, stale_after=90.0, interval=60.0), {}, 90),
            (SignalPlan(signal=Signal.BRIX, interval=60.0), {Signal.BRIX: 5.0}, 600),
            (SignalPlan(signal=Signal.BRIX), {Signal.BRIX: 5.0}, 50),
            (SignalPlan(signal=Signal.BRIX), {}, 3600),
        ],
    )
    def test_stale_is_older_than_planned_or_than_ten_intervals(self, bound, intervals, seconds):
        """The plant file goes first, then the stated interval, then the learned one."""
        plan = a_sump(signals={Signal.BRIX: bound})
        state = a_state(last_seen={Signal.BRIX: START}, intervals=intervals)

        assert stale_signals(state, plan, START + seconds * 1000) == frozenset()
        assert stale_signals(state, plan, START + seconds * 1000 + 1) == {Signal.BRIX}

    def test_a_signal_never_heard_of_is_not_stale(self):
        """Before the first reading there is nothing to miss."""
        state = a_state(last_seen={})

        assert stale_signals(state, a_sump(), START + 1000 * HOUR) == frozenset()

    def test_running_is_never_stale(self):
        """Pumps are told on change, even where the plant file gives a time."""
        bound = SignalPlan(signal=Signal.RUNNING, stale_after=10.0)
        state = a_state(last_seen={Signal.RUNNING: START})

        assert stale_signals(state, a_sump(signals={Signal.RUNNING: bound}), START + HOUR) == set()

    def test_a_signal_that_is_not_bound_is_not_stale(self):
        """What the plant file no longer names is not missed."""
        state = a_state(last_seen={Signal.PH: START})

        assert stale_signals(state, a_sump(), START + 1000 * HOUR) == frozenset()

    def test_a_silent_signal_is_alarmed_and_clears_when_heard_again(self):
        """Ten minutes and the delay after the last reading, one alarm that names the signal."""
        watch = Watch()
        watch.minute()

        watch.minutes(12, silent=[Signal.BRIX])
        assert watch.published == []
        watch.minutes(1, silent=[Signal.BRIX])
        assert watch.states("signal-stale", Signal.BRIX) == [UNACKNOWLEDGED]
        watch.minutes(3)
        assert watch.states("signal-stale", Signal.BRIX) == [UNACKNOWLEDGED, RETURNED]

    def test_time_in_which_nobody_looked_does_not_count(self):
        """A delay that was running when the agent stopped begins anew when it starts again."""
        watch = Watch()
        watch.minutes(5)
        watch.minutes(12, silent=[Signal.BRIX])
        assert watch.board != AlarmBoard()

        watch.now += 10 * HOUR
        watch.minutes(2, silent=[Signal.BRIX])
        assert watch.published == []
        watch.minutes(1, silent=[Signal.BRIX])
        assert watch.states("signal-stale", Signal.BRIX) == [UNACKNOWLEDGED]

    def test_signals_that_fall_silent_together_are_one_alarm(self):
        """A gateway that dies with three signals is told once; the others say because of what."""
        plan = a_sump(
            signals={
                Signal.BRIX: SignalPlan(signal=Signal.BRIX, interval=60.0),
                Signal.LEVEL: SignalPlan(signal=Signal.LEVEL, interval=60.0),
                Signal.TEMPERATURE: SignalPlan(signal=Signal.TEMPERATURE, interval=600.0),
            }
        )
        watch = Watch(plan=plan)
        watch.minutes(3)
        watch.minutes(200, silent=list(plan.signals))

        assert watch.states("signal-stale", Signal.LEVEL) == [UNACKNOWLEDGED]
        for signal in (Signal.BRIX, Signal.TEMPERATURE):
            assert watch.states("signal-stale", signal) == [SUPPRESSED]
            assert watch.last("signal-stale", signal).because_of == "signal-stale/level"
        assert consequences(watch.board, "signal-stale/level") == (
            "signal-stale/brix",
            "signal-stale/temperature",
        )

    def test_signals_that_fall_silent_on_different_days_are_two_alarms(self):
        """A second sensor that dies later has its own reason."""
        watch = Watch()
        watch.minutes(3)
        watch.minutes(300, silent=[Signal.BRIX])
        watch.minutes(300, silent=[Signal.BRIX, Signal.LEVEL])

        assert watch.states("signal-stale", Signal.BRIX) == [UNACKNOWLEDGED]
        assert watch.states("signal-stale", Signal.LEVEL) == [UNACKNOWLEDGED]

    def test_after_an_outage_nothing_that_was_suppressed_comes_up(self):
        """Signals come back one after another: none of them is shown meanwhile."""
        watch = Watch()
        watch.minutes(3)
        watch.minutes(60, silent=[Signal.LEVEL, Signal.BRIX])
        watch.minutes(5, silent=[Signal.BRIX])
        watch.minutes(30)

        assert watch.states("signal-stale", Signal.BRIX) == [SUPPRESSED, NORMAL]

    def test_a_consequence_that_outlives_its_cause_is_shown(self):
        """A sensor that stays dead when the others are back gets its own alarm."""
        watch = Watch()
        watch.minutes(3)
        watch.minutes(60, silent=[Signal.LEVEL, Signal.BRIX])
        watch.minutes(30, silent=[Signal.BRIX])

        assert watch.states("signal-stale", Signal.BRIX) == [SUPPRESSED, UNACKNOWLEDGED]
        assert watch.last("signal-stale", Signal.BRIX).because_of is None


class TestOutage:
    """One cause, one alarm: what silences a whole plant silences its alarms."""

    def test_a_lost_feed_suppresses_every_silent_signal(self):
        """No sump alarms for itself while the feed is lost, and each names it."""
        watch = Watch()
        watch.minutes(3)
        lost = Surroundings(outage=Outage(alarm="feed-lost", since=watch.now))

        watch.minutes(500, silent=[Signal.LEVEL, Signal.BRIX], around=lost)
        assert {r.state for r in watch.published} == {SUPPRESSED}
        assert {r.because_of for r in watch.published} == {"feed-lost"}
        watch.minutes(60)
        assert UNACKNOWLEDGED not in {r.state for r in watch.published}
        assert watch.board == AlarmBoard()

    def test_a_signal_that_was_silent_before_is_not_explained_by_it(self):
        """A sensor that died yesterday stays alarmed when the network dies today."""
        watch = Watch()
        watch.minutes(3)
        watch.minutes(300, silent=[Signal.BRIX])
        lost = Surroundings(outage=Outage(alarm="feed-lost", since=watch.now))

        watch.minutes(60, silent=[Signal.LEVEL, Signal.BRIX], around=lost)
        assert watch.states("signal-stale", Signal.BRIX) == [UNACKNOWLEDGED]
        assert watch.states("signal-stale", Signal.LEVEL) == [SUPPRESSED]

    def test_alarms_raised_just_before_the_cause_was_known_go_under_it(self):
        """A cause that is found a little later takes its consequences off the screen."""
        watch = Watch()
        watch.minutes(3)
        fell = watch.now
        watch.minutes(20, silent=[Signal.LEVEL, Signal.BRIX])
        lost = Surroundings(outage=Outage(alarm="feed-lost", since=fell))

        watch.minutes(1, silent=[Signal.LEVEL, Signal.BRIX], around=lost)
        assert watch.states("signal-stale", Signal.LEVEL) == [UNACKNOWLEDGED, SUPPRESSED]

    def test_a_backlog_worked_off_late_raises_nothing_that_is_over(self):
        """Readings of an hour ago that come in order are judged as of their own time."""
        watch = Watch()
        watch.minutes(3)
        now = watch.now + HOUR
        for minute in range(60):
            at = watch.now + minute * MINUTE
            state = a_state(at, depth=LOW if minute < 30 else Estimate(350.0, 1.5))
            watch.board, reports = assess(
                watch.board, state, watch.plan, at=at, now=now + minute * 10
            )
            assert [r for r in reports if r.name != "signal-stale"] == []


class TestFindings:
    """What the estimator finds becomes an alarm of the same name."""

    @pytest.mark.parametrize(
        "name", ["water-loss-high", "mix-loss-high", "concentrate-loss-high", "water-gain"]
    )
    def test_a_finding_on_the_sump_is_alarmed_and_goes_with_it(self, name):
        """A loss or gain is raised after five minutes and clears half an hour after it is gone."""
        watch = Watch()
        watch.minutes(6, findings=(a_finding(name, detail="lost 5.2 L/d, sd 0.8 L/d"),))
        assert watch.states(name) == [UNACKNOWLEDGED]
        assert "Mill 7: lost 5.2 L/d" in watch.last(name).cause

        watch.minutes(31)
        assert watch.states(name) == [UNACKNOWLEDGED, RETURNED]

    @pytest.mark.parametrize("name", ["sensor-fault", "sensor-drift"])
    def test_a_finding_on_a_sensor_names_the_signal(self, name):
        """An alarm about one signal is published about that signal."""
        watch = Watch()

        watch.minutes(61, findings=(a_finding(name, Signal.BRIX),))
        assert watch.states(name, Signal.BRIX) == [UNACKNOWLEDGED]
        assert "Mill 7, brix" in watch.last(name, Signal.BRIX).cause

    def test_a_finding_with_a_new_name_is_alarmed_too(self):
        """What the estimator learns to find later is neither lost nor an error."""
        watch = Watch()

        watch.minutes(6, findings=(a_finding("oil-layer", detail="12 mm of oil"),))
        assert watch.states("oil-layer") == [UNACKNOWLEDGED]
        assert watch.last("oil-layer").cause == "Mill 7: 12 mm of oil"

    def test_two_findings_of_one_name_are_one_alarm(self):
        """The first that is told of speaks."""
        watch = Watch()
        both = (a_finding("water-gain", detail="one"), a_finding("water-gain", detail="two"))

        watch.minutes(6, findings=both)
        assert watch.states("water-gain") == [UNACKNOWLEDGED]
        assert watch.last("water-gain").cause == "Mill 7: one"

    def test_a_fault_of_a_silent_sensor_is_not_shown_beside_its_silence(self):
        """Silence explains what was found on the same sensor, which is suppressed and says so."""
        watch = Watch()
        watch.minutes(3)
        fault = (a_finding("sensor-fault", Signal.BRIX), a_finding("sensor-drift", Signal.BRIX))

        watch.minutes(90, silent=[Signal.BRIX], findings=fault)
        assert watch.last("signal-stale", Signal.BRIX).state is UNACKNOWLEDGED
        for name in ("sensor-fault", "sensor-drift"):
            assert watch.last(name, Signal.BRIX).state is SUPPRESSED
            assert watch.last(name, Signal.BRIX).because_of == "signal-stale/brix"

    def test_a_leak_explains_the_low_level_without_hiding_it(self):
        """A low level needs its own action even where a leak is known."""
        watch = Watch()

        watch.minutes(40, depth=LOW, findings=(a_finding("mix-loss-high"),))
        low = watch.last("level-low")
        assert (low.state, low.because_of) == (UNACKNOWLEDGED, "mix-loss-high")

    def test_findings_from_elsewhere_are_alarmed_alike(self):
        """What the state does not tell, such as open advice, joins from outside."""
        watch = Watch()
        open_advice = Surroundings(findings=(a_finding("advice-open", detail="open for 2 days"),))

        watch.minute(around=open_advice)
        assert watch.states("advice-open") == [UNACKNOWLEDGED]
        watch.minutes(2)
        assert watch.states("advice-open") == [UNACKNOWLEDGED, RETURNED]


class TestCharge:
    """While a sump is charged its alarms are suppressed by design."""

    def test_nothing_is_raised_while_the_sensors_are_out(self):
        """Empty tank, silent sensors, wrong readings: no alarm is shown."""
        watch = Watch()
        watch.minutes(3)

        watch.minutes(
            180,
            charging=True,
            depth=Estimate(0.0, 1.0),
            concentration=Estimate(0.0, 0.001),
            silent=[Signal.LEVEL, Signal.BRIX],
            findings=(a_finding("sensor-fault", Signal.LEVEL),),
        )
        assert {r.state for r in watch.published} == {SUPPRESSED}

    def test_a_standing_alarm_is_suppressed_and_judged_again_afterwards(self):
        """A low level goes under the charge and has cleared when the sump is full."""
        watch = Watch()
        watch.minutes(40, depth=LOW)

        watch.minutes(120, charging=True, depth=LOW)
        assert watch.last("level-low").state is SUPPRESSED
        watch.minutes(30)
        assert watch.last("level-low").state is RETURNED

    def test_a_wrong_concentrate_poured_into_the_charge_is_shown(self):
        """What can only happen while filling is not suppressed by it."""
        watch = Watch()

        watch.minutes(3, charging=True, findings=(a_finding("wrong-concentrate"),))
        assert watch.states("wrong-concentrate") == [UNACKNOWLEDGED]


class TestPlan:
    """What the plant file says otherwise holds."""

    def test_an_alarm_that_is_switched_off_is_never_raised(self):
        """Not enabled means never."""
        watch = Watch(plan=a_sump(alarms={"level-low": AlarmPlan(enabled=False)}))

        watch.minutes(300, depth=LOW)
        assert watch.published == []

    def test_an_alarm_switched_off_while_it_stands_clears(self):
        """A changed plant file takes a standing alarm back."""
        watch = Watch()
        watch.minutes(40, depth=LOW)
        watch.plan = a_sump(alarms={"level-low": AlarmPlan(enabled=False)})

        watch.minutes(11, depth=LOW)
        assert watch.last("level-low").state is RETURNED

    def test_limit_delay_and_priority_are_the_plants(self):
        """An own limit with an own delay is raised as told."""
        rule = AlarmPlan(limit=300.0, on_delay=0.0, priority="high")
        watch = Watch(plan=a_sump(alarms={"level-low": rule}))

        (raised,) = watch.minute(depth=Estimate(298.0, 1.5))
        assert (raised.limit, raised.priority) == (300.0, "high")

    def test_one_signals_setting_goes_before_its_alarms(self):
        """`signal-stale/brix` may differ from `signal-stale`."""
        rules = {
            "signal-stale": AlarmPlan(priority="medium"),
            "signal-stale/brix": AlarmPlan(enabled=False),
        }
        watch = Watch(plan=a_sump(alarms=rules))
        watch.minute()

        watch.minutes(60, silent=[Signal.BRIX, Signal.LEVEL])
        assert {r.signal for r in watch.published} == {Signal.LEVEL}
        assert watch.last("signal-stale", Signal.LEVEL).priority == "medium"

    def test_an_alarm_asks_again_after_its_re_alarm_time(self):
        """Acknowledged and still active after an hour, it is unacknowledged again."""
        watch = Watch(plan=a_sump(alarms={"level-low": AlarmPlan(re_alarm=3600.0)}))
        watch.minutes(36, depth=LOW)
        watch.order("acknowledge", "level-low")

        watch.minutes(59, depth=LOW)
        assert watch.last("level-low").state is AlarmState.ACKNOWLEDGED
        watch.minutes(1, depth=LOW)
        assert watch.last("level-low").state is UNACKNOWLEDGED


class TestBoard:
    """The board is a value that survives a restart and does not grow."""

    def test_a_sump_in_good_order_leaves_nothing_to_remember(self):
        """A quiet day publishes nothing and keeps nothing."""
        watch = Watch()

        watch.minutes(1440)
        assert watch.published == []
        assert watch.board == AlarmBoard()

    def test_a_board_comes_back_from_json_exactly(self):
        """Whatever stands, is delayed, shelved or suppressed is the same after a restart."""
        watch = Watch()
        watch.minutes(3)
        watch.minutes(70, silent=[Signal.LEVEL, Signal.BRIX], findings=(a_finding("water-gain"),))
        watch.order("shelve", "water-gain", until=watch.now + HOUR)
        watch.minutes(2, concentration=Estimate(0.0123456789, 1e-9), silent=[Signal.LEVEL])
        codec = TypeAdapter(AlarmBoard)

        assert len(watch.board.alarms) >= 4
        assert codec.validate_json(codec.dump_json(watch.board)) == watch.board

    def test_what_changed_nothing_is_not_told_again(self):
        """A standing alarm is published once, not every minute."""
        watch = Watch()

        watch.minutes(1000, depth=LOW)
        assert watch.states("level-low") == [UNACKNOWLEDGED]

    def test_every_alarm_at_once_fits_a_bounded_board(self):
        """However many findings come, there is one entry for each alarm and signal."""
        watch = Watch()
        everything = tuple(
            a_finding(name, signal)
            for name, rule in DEFINITIONS.items()
            for signal in (Signal if rule.of_signal else (None,))
        )

        watch.minutes(100, findings=everything * 3)
        assert len(watch.board.alarms) == len(everything)

    def test_what_stands_can_be_listed_at_any_time(self):
        """The list for a page is the alarms as last published."""
        watch = Watch()
        watch.minutes(40, depth=LOW, concentration=WEAK)

        assert set(standing(watch.board, watch.plan)) == {
            watch.last("level-low"),
            watch.last("concentration-low"),
        }


def test_alarms_of_a_supply_use_the_same_machine():
    """Found conditions of anything with a name are raised, and clear after a minute."""
    drum = a_sump(id="drum-1", name="Drum 1")
    board, (raised,) = assess_findings(AlarmBoard(), [a_finding("stock-low")], drum, now=START)
    assert (raised.state, raised.cause) == (UNACKNOWLEDGED, "Drum 1: seen by a test")

    board, reports = assess_findings(board, [], drum, now=START + MINUTE)
    assert reports == ()
    board, (cleared,) = assess_findings(board, [], drum, now=START + 2 * MINUTE)
    assert cleared.state is RETURNED
