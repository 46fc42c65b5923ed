"""What people may order of an alarm, and what they are told when an order does not apply."""

import pytest

from advisor.alarms import AlarmBoard
from advisor.effects import AlarmState
from advisor.plan import AlarmPlan
from advisor.words import DAY, HOUR, MINUTE, Estimate, Signal
from tests.alarm_watch import Watch, a_finding
from tests.plants import a_sump

LOW = Estimate(170.0, 1.5)


def a_low_level() -> Watch:
    """A sump whose level has just been alarmed as low."""
    watch = Watch()
    watch.minutes(36, depth=LOW)
    return watch


def test_acknowledging_names_who_did():
    """The alarm is acknowledged, still active, and says by whom."""
    watch = a_low_level()

    assert watch.order("acknowledge", "level-low", by="ann") is None
    told = watch.last("level-low")
    assert (told.state, told.active, told.by) == (AlarmState.ACKNOWLEDGED, True, "ann")


def test_an_acknowledged_alarm_goes_normal_by_itself():
    """Once the level is back nobody needs to do anything more, and nothing is remembered."""
    watch = a_low_level()
    watch.order("acknowledge", "level-low")

    watch.minutes(11)
    assert watch.last("level-low").state is AlarmState.NORMAL
    assert watch.board == AlarmBoard()


@pytest.mark.parametrize(
    ("verb", "alarm", "signal", "words"),
    [
        ("acknowledge", "level-high", None, "nothing to acknowledge: it is normal"),
        ("reset", "level-low", None, "nothing to reset: its condition still stands"),
        ("reset", "level-high", None, "nothing to reset: it is normal"),
        ("unshelve", "level-low", None, "is not shelved: it is unacknowledged"),
        ("return-to-service", "level-low", None, "is in service: it is unacknowledged"),
        ("acknowledge", "level-lwo", None, "there is no alarm 'level-lwo'; there are level-low"),
        ("acknowledge", "level-low", Signal.LEVEL, "is not about one signal"),
        ("acknowledge", "signal-stale", None, "say which (none stands)"),
    ],
)
def test_an_order_that_does_not_apply_is_refused_in_words(verb, alarm, signal, words):
    """The answer says what was expected; nothing changes and nothing is published."""
    watch = a_low_level()
    board, published = watch.board, list(watch.published)

    refusal = watch.order(verb, alarm, signal)
    assert refusal is not None
    assert words in refusal
    assert (watch.board, watch.published) == (board, published)


def test_an_order_on_an_alarm_that_is_switched_off_is_refused():
    """What the plant file has switched off cannot be shelved."""
    watch = Watch(plan=a_sump(alarms={"level-low": AlarmPlan(enabled=False)}))

    assert watch.order("shelve", "level-low") == "level-low is switched off in the plant file"


def test_an_order_without_a_signal_means_the_one_that_stands():
    """One stale signal may be acknowledged by the alarm's name alone, two may not."""
    watch = Watch()
    watch.minute()
    watch.minutes(20, silent=[Signal.BRIX])
    assert watch.order("acknowledge", "signal-stale") is None
    assert watch.last("signal-stale", Signal.BRIX).acknowledged

    watch.minutes(300, silent=[Signal.BRIX, Signal.LEVEL])
    assert watch.order("shelve", "signal-stale") == (
        "signal-stale is about one signal: say which (brix, level)"
    )


class TestShelving:
    """Shelving always ends."""

    def test_it_ends_by_itself_and_shows_what_lies_beneath(self):
        """After the time asked for the alarm is back as it was."""
        watch = a_low_level()
        watch.order("shelve", "level-low", until=watch.now + HOUR)
        assert watch.last("level-low").until == watch.now + HOUR

        watch.minutes(59, depth=LOW)
        assert watch.last("level-low").state is AlarmState.SHELVED
        watch.minutes(1, depth=LOW)
        told = watch.last("level-low")
        assert (told.state, told.until) == (AlarmState.UNACKNOWLEDGED, None)

    def test_without_a_time_it_is_a_shift(self):
        """Eight hours where nobody says how long."""
        watch = a_low_level()
        watch.order("shelve", "level-low")

        assert watch.last("level-low").until == watch.now + 8 * HOUR

    def test_it_is_refused_beyond_the_longest_time(self):
        """A day is the most, and the answer names it."""
        watch = a_low_level()

        assert watch.order("shelve", "level-low", until=watch.now + DAY) is None
        refusal = watch.order("shelve", "level-low", until=watch.now + DAY + 1)
        assert refusal == ("level-low may be shelved for 24 h at most, until 2026-03-03 06:36 UTC")

    def test_the_plants_longest_time_goes_first(self):
        """An alarm that may be shelved for an hour is, where nobody says how long."""
        watch = Watch(plan=a_sump(alarms={"level-low": AlarmPlan(shelve_max=3600.0)}))

        assert watch.order("shelve", "level-low") is None
        assert watch.last("level-low").until == watch.now + HOUR

    @pytest.mark.parametrize("verb", ["shelve", "suppress", "out-of-service"])
    def test_an_end_that_has_passed_is_refused(self, verb):
        """Until now is no time at all."""
        watch = a_low_level()

        assert "is not after" in str(watch.order(verb, "level-low", until=watch.now))

    def test_a_normal_alarm_can_be_shelved_ahead(self):
        """Before maintenance an alarm is shelved, occurs meanwhile, and is not shown."""
        watch = Watch()
        watch.order("shelve", "level-low", until=watch.now + 2 * HOUR)
        assert watch.last("level-low").cause == "Mill 7: level-low has not been raised."

        watch.minutes(60, depth=LOW)
        assert {r.state for r in watch.published} == {AlarmState.SHELVED}
        assert watch.last("level-low").active

    def test_what_came_and_went_on_the_shelf_leaves_nothing_to_acknowledge(self):
        """An occurrence that nobody was shown is over when its condition is."""
        watch = Watch()
        watch.order("shelve", "level-low", until=watch.now + 2 * HOUR)
        watch.minutes(60, depth=LOW)

        watch.minutes(60)
        assert watch.last("level-low").state is AlarmState.NORMAL

    def test_it_may_be_acknowledged_on_the_shelf(self):
        """What lies beneath goes on: acknowledged there, it is so when it comes back."""
        watch = a_low_level()
        watch.order("shelve", "level-low")
        watch.order("acknowledge", "level-low")
        watch.order("unshelve", "level-low")

        assert watch.last("level-low").state is AlarmState.ACKNOWLEDGED


@pytest.mark.parametrize(
    ("verb", "state"),
    [("suppress", AlarmState.SUPPRESSED), ("out-of-service", AlarmState.OUT_OF_SERVICE)],
)
class TestTakenAway:
    """Suppression by order and out of service last until returned, or until a time."""

    def test_it_lasts_until_it_is_returned(self, verb, state):
        """A week later it is still so; then it returns to service."""
        watch = a_low_level()
        watch.order(verb, "level-low")
        watch.minutes(60, depth=LOW)
        watch.now += 7 * DAY
        watch.minutes(60, depth=LOW)
        assert watch.last("level-low").state is state

        assert watch.order("return-to-service", "level-low") is None
        assert watch.last("level-low").state is AlarmState.UNACKNOWLEDGED

    def test_it_ends_at_the_time_given(self, verb, state):
        """An end that was given is kept."""
        watch = a_low_level()
        watch.order(verb, "level-low", until=watch.now + 10 * MINUTE)
        assert watch.last("level-low").state is state

        watch.minutes(10, depth=LOW)
        assert watch.last("level-low").state is AlarmState.UNACKNOWLEDGED


def test_a_latched_alarm_waits_for_its_reset():
    """A wrong concentrate stays alarmed when nobody says it any more, until somebody resets it."""
    watch = Watch()
    watch.minutes(1, findings=(a_finding("wrong-concentrate"),))
    watch.minutes(10)
    assert watch.last("wrong-concentrate").state is AlarmState.LATCHED_UNACKNOWLEDGED

    watch.order("acknowledge", "wrong-concentrate")
    watch.minutes(600)
    assert watch.last("wrong-concentrate").state is AlarmState.LATCHED_ACKNOWLEDGED
    watch.order("reset", "wrong-concentrate")
    assert watch.last("wrong-concentrate").state is AlarmState.NORMAL


def test_what_a_design_suppresses_is_not_returned_by_an_order():
    """The answer says that it is suppressed by design."""
    watch = a_low_level()
    watch.minutes(2, charging=True)

    refusal = watch.order("return-to-service", "level-low")
    assert refusal == "level-low is in service: it is suppressed by design"
