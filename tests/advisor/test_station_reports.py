"""Automatic dosing by what the station says: answers and reports, wrong, late, twice."""

import pytest

from advisor.effects import PublishLease
from advisor.words import DAY, HOUR, MINUTE
from tests.station_watch import (
    BAD,
    Bench,
    a_dosed_sump,
    accepted_bench,
    an_advice,
    finished_bench,
)

# --- answers --------------------------------------------------------------------------------------


def test_a_refusal_closes_the_setpoint_and_pauses_automatic_dosing():
    """With the station's own words."""
    bench = Bench()
    bench.look()
    bench.answer(False, why="drum empty")

    assert bench.stage == "none"
    assert bench.news == [f"the station refuses setpoint {bench.newest.id}: drum empty."]
    assert bench.desk.past[-1].counted == 0.0


def test_an_answer_twice_is_an_answer_once():
    """The broker may deliver it again, at once or after the dose has ended."""
    bench = accepted_bench()
    once = bench.desk
    bench.answer()
    assert bench.desk == once

    bench.deliver(18.0, 2.0)
    bench.answer()
    assert (bench.stage, bench.news, bench.leases) == ("none", [], [])


def test_an_answer_to_what_was_never_asked_is_refused():
    """It says so, and changes nothing."""
    bench = Bench()
    bench.look()
    before = bench.desk

    assert bench.answer(ident="s-99999999999") == "setpoint 's-99999999999' was never issued"
    assert bench.answer(ident="x") == "setpoint 'x' was never issued"
    assert bench.desk == before


def test_an_answer_to_what_is_long_forgotten_changes_nothing():
    """Its number has been used, so it was ours."""
    bench = finished_bench()
    bench.minutes(1)

    assert bench.answer(ident="s-17") is None
    assert bench.desk.paused == ""


def test_a_station_that_changes_its_mind_is_stopped():
    """Refused after it was accepted: the lease ends, and people look."""
    bench = accepted_bench()
    bench.answer(False, why="busy")

    assert bench.leases == [PublishLease(bench.newest.id, bench.now)]
    assert (bench.stage, len(bench.news)) == ("ending", 1)


def test_a_station_that_accepts_what_it_had_refused_is_stopped():
    """Nobody counts on it any more."""
    bench = Bench()
    bench.look()
    bench.answer(False, why="busy")
    bench.answer(True)

    assert bench.leases == [PublishLease(bench.newest.id, bench.now)]
    assert "which was closed (refused)" in bench.news[-1]


def test_a_station_that_accepts_what_was_ended_is_told_again():
    """The end may have come before the setpoint was begun."""
    bench = Bench()
    bench.look()
    bench.fields = {"qualities": BAD}
    bench.minutes(1)
    bench.answer(True)

    assert bench.leases == [PublishLease(bench.newest.id, bench.now)] * 2
    assert (bench.stage, bench.news) == ("ending", [])


# --- clocks ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("minutes", [3, 400, 60 * 24 * 365])
def test_a_station_whose_clock_is_ahead_is_stopped(minutes):
    """Its lease would end early, and its reports would lie in the future."""
    bench = Bench()
    bench.look()
    bench.answer(late=minutes * MINUTE)

    assert bench.news == [f"the station's clock is ahead by {minutes} min."]
    assert bench.leases == [PublishLease(bench.newest.id, bench.now)]


@pytest.mark.parametrize("minutes", [3, 400, 60 * 24 * 365 * 50])
def test_a_station_whose_clock_is_behind_is_stopped_by_its_own_clock(minutes):
    """An end that has passed by the agent's clock alone would let it pour on."""
    bench = Bench()
    bench.look()
    bench.answer(late=-minutes * MINUTE)

    assert bench.news == [f"the station's clock is behind by at least {minutes} min."]
    assert bench.leases == [PublishLease(bench.newest.id, bench.now - minutes * MINUTE)]


def test_a_clock_that_goes_wrong_in_mid_dose_is_seen_too():
    """Reports have a time as well."""
    bench = accepted_bench()
    bench.deliver(3.0, 0.3, finished=False, late=10 * MINUTE)

    assert bench.news == ["the station's clock is ahead by 10 min."]
    assert bench.stage == "ending"


def test_a_minute_is_no_wrong_clock():
    """Clocks of controllers drift."""
    bench = Bench()
    bench.look()
    bench.answer(late=MINUTE)
    bench.deliver(18.0, 2.0, late=-MINUTE)

    assert (bench.stage, bench.news) == ("none", [])


def test_a_setpoint_that_is_begun_after_its_end_is_stopped():
    """It waited at the broker, and the station did not mind its end."""
    bench = Bench()
    bench.look()
    bench.now += 11 * MINUTE
    bench.answer(late=2 * MINUTE)

    assert bench.news == [f"the station begins setpoint {bench.newest.id} after it has expired."]
    assert bench.stage == "ending"


def test_an_answer_that_was_long_under_way_is_no_wrong_clock():
    """It was given in time, and comes late."""
    bench = Bench()
    bench.look()
    bench.now += 9 * MINUTE
    bench.answer(late=-9 * MINUTE)

    assert (bench.stage, bench.news) == ("accepted", [])


# --- reports --------------------------------------------------------------------------------------


def test_a_report_of_all_closes_the_setpoint():
    """Nothing is said about it but what was poured."""
    bench = finished_bench()
    past = bench.desk.past[-1]

    assert (past.outcome, past.counted) == ("finished", 20.0)
    assert (bench.desk.paused, bench.news, bench.leases) == ("", [], [])


def test_reports_in_between_keep_it_open():
    """Totals so far, in whatever order they come: the largest counts."""
    bench = accepted_bench()
    bench.deliver(9.0, 1.0, finished=False)
    bench.deliver(4.0, 0.5, finished=False)
    assert bench.desk.open is not None
    assert (bench.desk.open.water, bench.desk.open.concentrate) == (9.0, 1.0)

    bench.deliver(18.0, 2.0)
    assert bench.desk.past[-1].counted == 20.0


def test_a_report_without_an_answer_before_it_is_answer_enough():
    """The answer may have been lost with the station's power."""
    bench = Bench()
    bench.look()
    bench.deliver(2.0, 0.2, finished=False)
    assert bench.stage == "accepted"

    bench.deliver(18.0, 2.0)
    assert bench.news == []


def test_a_report_twice_is_a_report_once():
    """With the same totals it says nothing new, however late."""
    bench = finished_bench()
    once = bench.desk
    bench.now += HOUR
    bench.deliver(18.0, 2.0)

    assert bench.desk == once


def test_a_part_that_was_poured_until_the_lease_ran_out_is_no_fault_of_the_station():
    """Agent or broker were away; the report may come before the agent's clock has moved on."""
    bench = accepted_bench()
    bench.deliver(9.0, 1.0, fault="lease ran out", late=10 * MINUTE)

    assert "clock is ahead" not in "".join(bench.news)
    assert (bench.stage, bench.desk.paused) == ("none", "")


@pytest.mark.parametrize(
    ("water", "concentrate", "fault", "said"),
    [
        (9.0, 1.0, None, "9 L of water poured"),
        (18.0, 0.9, None, "0.9 L of concentrate poured"),
        (18.0, 0.0, "drum empty", "the station reports: drum empty"),
        (21.0, 2.0, None, "21 L of water poured"),
        (18.0, 2.6, None, "2.6 L of concentrate poured"),
    ],
)
def test_what_was_poured_otherwise_pauses_automatic_dosing(water, concentrate, fault, said):
    """Partial, faulty and excess deliveries: told once, with the numbers, until a person resets."""
    bench = accepted_bench()
    bench.deliver(water, concentrate, fault=fault)

    assert len(bench.news) == 1
    assert said in bench.news[0]
    assert (bench.stage, bool(bench.desk.paused)) == ("none", True)
    assert bench.desk.past[-1].counted == water + concentrate


def test_too_much_in_mid_dose_ends_it_at_once():
    """It is not waited for the end."""
    bench = accepted_bench()
    bench.deliver(25.0, 2.0, finished=False)

    assert bench.leases == [PublishLease(bench.newest.id, bench.now)]
    assert bench.stage == "ending"


def test_too_strong_in_mid_dose_ends_it_at_once():
    """18 L and 2 L are 10 %: the station stops at 13.5 %, and so do we."""
    bench = accepted_bench()
    assert bench.newest.max_strength == pytest.approx(0.135)
    bench.deliver(2.0, 0.3, finished=False)
    assert bench.news == []

    bench.deliver(3.0, 0.5, finished=False)
    assert "poured at 14.3 %, at most 13.5 % asked" in bench.news[0]
    assert bench.stage == "ending"


def test_more_for_an_ended_setpoint_than_was_asked_is_told():
    """That it was ended excuses less, not more."""
    bench = accepted_bench()
    bench.fields = {"qualities": BAD}
    bench.minutes(1)
    bench.deliver(25.0, 2.0)

    assert "25 L of water poured" in bench.news[0]
    assert bench.desk.paused


def test_pouring_on_after_the_end_is_told_and_counts():
    """A valve that does not close."""
    bench = finished_bench()
    bench.minutes(30)
    bench.deliver(30.0, 2.0, finished=False)

    assert "12.0 L more have been poured" in bench.news[0]
    past = bench.desk.past[-1]
    assert (past.counted, past.at) == (32.0, bench.now)


def test_a_late_report_of_a_lost_setpoint_says_what_was_poured():
    """It counted in full; now it counts as it was."""
    bench = Bench()
    bench.minutes(40)
    assert bench.desk.past[-1].counted == 20.0
    told = len(bench.news)
    bench.deliver(9.0, 1.0)

    assert bench.desk.past[-1].counted == 10.0
    assert len(bench.news) == told
    assert bench.desk.paused


def test_a_report_on_what_was_never_asked_pauses_automatic_dosing():
    """Something pours that we know nothing of."""
    bench = Bench(advice=None)
    bench.look()
    bench.deliver(5.0, 0.5, ident="s-99999999999")

    assert bench.news == ["the station reports setpoint s-99999999999, which was never issued."]


def test_a_station_worked_by_hand_may_report_under_its_own_names():
    """The balance takes it in; there is nothing to pause."""
    bench = Bench(plan=a_dosed_sump(station=None), advice=None)
    bench.deliver(5.0, 0.5, ident="hand-1")

    assert bench.news == []


def test_memory_does_not_grow():
    """A year of doses leaves those of a day, and the last few."""
    bench = Bench(advice=None)
    for number in range(400):
        bench.now += DAY // 4
        bench.advice = an_advice(number=number)
        bench.look()
        bench.answer()
        bench.deliver(18.0, 2.0)

    assert len(bench.setpoints) == 400
    assert len(bench.desk.past) <= 9
