"""Errors hour by hour, and the naive ways."""

import numpy as np
import pytest

from simulators.instants import DAY, HOUR, MINUTE
from simulators.score.naive import hourly, weekly
from simulators.score.published import StateWord
from simulators.score.samples import gather
from simulators.score.told import Sight
from simulators.score.yardstick import QUANTITIES, Account, Yardstick, marks_of
from tests.simulators.score.witnesses import BEGIN, made_up, poured, scenario_witness, watched

HOURS = 72


def losing(hours: int = HOURS):
    """A sump that loses 24 L of water and 2.4 L of concentrate a day, and is 500 L at first."""
    minutes = np.arange(1, 60 * hours + 1) / 60.0
    return made_up(
        hours,
        volume=500.0 - 1.1 * minutes,
        concentrate=40.0 - 0.1 * minutes,
        water_lost=1.0 * minutes,
        concentrate_lost=0.1 * minutes,
    )


def state(hour: float, since: float = 0.0, window: float = 24.0, **off: float) -> StateWord:
    """A state that is right but for what is said to be off."""
    volume, concentrate = 500.0 - 1.1 * hour, 40.0 - 0.1 * hour
    at = BEGIN + round(hour * HOUR)
    return StateWord(
        clock=at,
        at=at,
        volume=(volume + off.get("volume", 0.0), 1.0),
        concentration=(concentrate / volume, 0.001),
        since=BEGIN + round(since * HOUR),
        lost=((hour - since + off.get("lost", 0.0), 1.0), (0.1 * (hour - since), 0.1)),
        window_h=window,
        losses=((24.0 + off.get("rate", 0.0), 1.0), (2.4, 0.1)),
        signals={},
    )


def gathered(witness, states):
    """Samples, with a yardstick that says nothing."""
    marks = list(marks_of(witness.begin, witness.end))
    account = Account(marks)
    for _ in marks:
        account.say({})
    nothing = {name: np.full(len(marks), np.nan) for name in QUANTITIES}
    return gather(witness, states, account, {"hourly": nothing, "weekly": nothing})


def test_right_words_have_no_error():
    """An agent that says the truth at each hour has errors of nothing, whatever it counts from."""
    samples = gathered(losing(), [state(hour, since=3.0) for hour in range(HOURS + 1)])

    for name in QUANTITIES:
        assert len(samples[name].agent) == HOURS - 23
        assert samples[name].agent == pytest.approx(0.0, abs=0.02), name


def test_errors_are_what_is_said_less_what_is():
    """Three litres too many are +3."""
    states = [state(hour, volume=3.0, lost=-2.0, rate=5.0) for hour in range(HOURS + 1)]
    samples = gathered(losing(), states)

    assert samples["volume"].agent == pytest.approx(3.0, abs=0.02)
    assert samples["water_lost"].agent == pytest.approx(-2.0, abs=0.02)
    assert samples["water_24h"].agent == pytest.approx(5.0, abs=0.02)


def test_a_shorter_window_is_not_a_day():
    """Losses over twelve hours are not held against those of 24."""
    states = [state(hour, window=12.0) for hour in range(HOURS + 1)]
    assert np.all(np.isnan(gathered(losing(), states)["water_24h"].agent))


def test_an_old_state_says_nothing_about_an_hour():
    """Ten minutes old it counts, at its own time; older it is silence."""
    late = gathered(losing(), [state(hour - 9.0 / 60.0) for hour in range(1, HOURS + 1)])
    silent = gathered(losing(), [state(hour - 11.0 / 60.0) for hour in range(1, HOURS + 1)])

    assert late["volume"].agent == pytest.approx(0.0, abs=0.05)
    assert np.all(np.isnan(silent["volume"].agent))


def test_the_last_word_for_an_hour_counts():
    """A state that is published again for the same time takes the place of the first."""
    states = [state(hour, volume=9.0) for hour in range(HOURS + 1)]
    states += [state(hour) for hour in range(HOURS + 1)]
    assert gathered(losing(), states)["volume"].agent == pytest.approx(0.0, abs=0.02)


def marks(witness):
    """Whole hours of a run."""
    return list(marks_of(witness.begin, witness.end))


def test_hourly_means_are_right_where_nothing_is_wrong():
    """With faultless instruments and a mixed sump the naive way is good to a litre."""
    witness = watched("days = 3\n[work]\nweekdays = []")
    volume = hourly(witness, marks(witness))["volume"]
    true = [witness.true("volume", mark) for mark in marks(witness)]

    assert volume[2:] == pytest.approx(np.array(true[2:]), abs=1.0)


def test_hourly_means_take_a_rise_for_an_addition():
    """Thirty litres poured within the hour are not a loss of less than nothing."""
    witness = watched(
        """
        days = 2
        [[each.disturbance]]
        kind = "top-up"
        begin = "0d 20:00"
        volume_l = 30
        strength_pct = 8
        reported = false
        """
    )
    said = hourly(witness, marks(witness))["water_lost"]
    true = witness.true("water_lost", witness.end)

    assert abs(said[-1] - true) < 15.0


def test_an_empty_tank_has_no_absurd_concentration():
    """With the sensor over a bare floor, noise about zero, the hourly way says 0 to 100 %."""
    witness = made_up()
    witness.sights = [
        Sight(witness.begin + i * MINUTE, running=True, holdup=0.0, salts=1.0, mixed=False,
              values={"level": -12.0 if i % 2 else 8.0, "brix": 6.4}, spoilt={})
        for i in range(1, 600)
    ]  # fmt: skip
    said = hourly(witness, marks(witness))["concentration"]

    assert np.all((said >= 0.0) & (said <= 1.0))


def test_a_weekly_round_knows_what_it_saw_last():
    """Nothing before the first round, and the same volume until the second."""
    witness = scenario_witness("unreported", 2, 3.0)
    said = weekly(witness, marks(witness))
    first = next(i for i, value in enumerate(said["volume"]) if not np.isnan(value))

    assert first == 5
    assert np.ptp(said["volume"][first:]) == 0.0
    assert np.all(np.isnan(said["water_24h"]))
    assert said["volume"][-1] == pytest.approx(
        witness.true("volume", witness.begin + 5 * HOUR), abs=25.0
    )


def test_a_weekly_rate_is_that_of_the_week_before():
    """From the second round on the loss goes on as in the week between the two."""
    witness = losing(24 * 15)
    witness.minutes["reading"][:] = 6.4
    said = weekly(witness, marks(witness))
    rate = said["water_24h"][24 * 10]

    assert said["water_lost"][24 * 10] - said["water_lost"][24 * 9] == pytest.approx(rate)
    assert rate == pytest.approx(1.1 * 24.0 * 0.92, abs=3.0)


def test_what_is_known_to_have_come_in_is_not_lost():
    """A metered addition counts in both naive ways."""
    witness = losing(24 * 15)
    witness.minutes["reading"][:] = 6.4
    plain = weekly(witness, marks(witness))["water_lost"][24 * 10]
    witness.happenings = [poured(60 * 24 * 3, 70.0, metered=True, concentrate=0.0)]
    more = weekly(witness, marks(witness))["water_lost"][24 * 10]

    days = 10.0 / 7.0
    assert more - plain == pytest.approx(70.0 * days, rel=0.02)
    assert DAY == 1440 * MINUTE


def test_the_yardstick_is_set_against_the_same_truth():
    """Its errors in the samples are its words less the truth."""
    witness = scenario_witness("unreported", 2, 3.0)
    account = Yardstick(witness).run(marks(witness))
    nothing = {name: np.full(len(account.marks), np.nan) for name in QUANTITIES}
    samples = gather(witness, [], account, {"hourly": nothing, "weekly": nothing})
    last = account.values["water_24h"][-1]
    true = witness.true("water_lost", witness.end) - witness.true("water_lost", witness.end - DAY)

    assert samples["water_24h"].yardstick[-1] == pytest.approx(last - true)
