"""Automatic dosing by time and evidence: when a setpoint is issued, kept alive, ended, missed."""

from dataclasses import replace

import pytest

from advisor.effects import Mix, PublishLease, PublishSetpoint
from advisor.setpoint import LEASE
from advisor.station import BACK, DRAINED, GRACE, REST
from advisor.station_desk import SILENT
from advisor.words import DAY, HOUR, MINUTE, Estimate, Quality, Signal
from tests.alarm_watch import START
from tests.station_watch import (
    BAD,
    STATION,
    Bench,
    a_dosed_sump,
    accepted_bench,
    an_advice,
    finished_bench,
    with_signals,
)

# --- issuing --------------------------------------------------------------------------------------


def test_a_top_up_becomes_a_setpoint():
    """What the advice says, with its id, and with an end of its own ten minutes away."""
    bench = Bench()

    assert bench.look() == (PublishSetpoint(bench.newest),)
    asked = bench.newest
    assert (asked.sump, asked.advice, asked.mix) == ("mill-07", "a-000001", Mix(18.0, 2.0))
    assert (asked.issued_at, asked.expires_at) == (START, START + 10 * MINUTE)
    assert bench.stage == "issued"


@pytest.mark.parametrize("kind", ["none", "check", "exchange", "charge"])
def test_no_other_advice_does(kind):
    """Only a top-up is poured by a station; the rest is work for people."""
    bench = Bench(advice=an_advice(kind=kind))
    bench.minutes(30)

    assert bench.setpoints == []


def test_an_advice_that_has_expired_is_not_carried_out():
    """Its validity ends at the very moment that it names."""
    bench = Bench(advice=an_advice(valid_until=START))
    bench.look()

    assert bench.setpoints == []


@pytest.mark.parametrize(
    ("fields", "alarmed"),
    [
        ({"qualities": BAD}, ()),
        ({"qualities": dict.fromkeys(Signal, Quality.GOOD) | {Signal.BRIX: Quality.STALE}}, ()),
        ({"qualities": dict.fromkeys(Signal, Quality.GOOD) | {Signal.BRIX: Quality.ABSENT}}, ()),
        ({"qualities": dict.fromkeys(Signal, Quality.GOOD) | {Signal.LEVEL: "suspect"}}, ()),
        ({"charging": True}, ()),
        ({"at": START - 20 * MINUTE}, ()),
        ({"last_seen": {Signal.BRIX: START}}, ()),
        ({"last_seen": {Signal.LEVEL: START}}, ()),
        ({"volume_sd": 20.0}, ()),
        ({"concentration_sd": 0.0061}, ()),
        ({"volume_l": None}, ()),
        ({"strength": None}, ()),
        ({"holdup": None}, ()),
        ({"holdup": Estimate(35.0, 12.0)}, ()),
        ({}, ("mix-loss-high",)),
        ({}, ("water-gain",)),
        ({}, ("wrong-concentrate",)),
    ],
)
def test_nothing_is_asked_for_on_evidence_that_is_not_good(fields, alarmed):
    """Unknown, unsure, old, suspect or contradicted: refused, without an alarm of its own."""
    bench = Bench(fields=fields, alarmed=alarmed)
    bench.look()

    assert bench.setpoints == []
    assert bench.news == []


@pytest.mark.parametrize("station", [None, replace(STATION, automatic=False)])
def test_nothing_is_asked_for_where_the_sump_is_not_set_to_automatic(station):
    """Advice alone pours nothing."""
    bench = Bench(plan=a_dosed_sump(station=station))
    bench.minutes(30)

    assert bench.told == []


def test_brix_need_not_be_new_while_the_pumps_stand():
    """It stands still then anyway; the balance carries the concentration."""
    bench = Bench(fields={"running": False, "last_seen": {Signal.LEVEL: START}})
    bench.look()

    assert len(bench.setpoints) == 1


def test_an_advice_is_carried_out_once():
    """The same id again pours nothing, however long it stands; a new one does."""
    bench = finished_bench()
    bench.minutes(120)
    assert len(bench.setpoints) == 1

    bench.advice = an_advice(number=2)
    bench.minutes(1)
    assert len(bench.setpoints) == 2


def test_an_advice_that_was_carried_out_in_part_is_taken_up_again():
    """Ended since the evidence went bad; what was poured counts, and the rest is still due."""
    bench = accepted_bench()
    bench.fields = {"qualities": BAD}
    bench.minutes(1)
    bench.deliver(4.0, 0.4, fault="lease ran out")
    bench.fields = {}
    bench.minutes(31)

    assert len(bench.setpoints) == 2


def test_between_two_doses_the_fluid_circulates():
    """Half an hour from the end of one to the next."""
    bench = finished_bench()
    bench.advice = an_advice(5.0, 0.5, number=2)
    bench.minutes(REST // MINUTE - 1)
    assert len(bench.setpoints) == 1

    bench.minutes(1)
    assert len(bench.setpoints) == 2


def test_only_one_setpoint_is_open():
    """A new advice waits until the last setpoint has ended."""
    bench = accepted_bench()
    bench.advice = an_advice(number=2)
    for _ in range(5):
        bench.minutes(2)
        bench.deliver(1.0, 0.1, finished=False)

    assert len(bench.setpoints) == 1


def test_while_the_pumps_stand_there_is_one_dose_until_they_have_run():
    """Nothing tells how strong it was before it has been stirred."""
    bench = Bench(fields={"running": False})
    bench.look()
    bench.answer()
    bench.deliver(18.0, 2.0)
    bench.advice = an_advice(5.0, 0.5, number=2)
    bench.minutes(600)
    assert len(bench.setpoints) == 1

    bench.fields = {"running": True}
    bench.minutes(1)
    assert len(bench.setpoints) == 2


def test_ids_count_up_and_outlive_a_lost_memory():
    """A station that remembers ids must never meet an old one with a new meaning."""
    bench = finished_bench()
    first = int(bench.newest.id.removeprefix("s-"))
    forgotten = Bench(now=bench.now + MINUTE)
    forgotten.look()

    assert int(forgotten.newest.id.removeprefix("s-")) > first


# --- limits ---------------------------------------------------------------------------------------


def test_the_hour_holds_one_largest_dose_unless_the_plant_file_says():
    """30 L asked, 40 L an hour: ten are left for the rest of that hour."""
    bench = Bench(advice=an_advice(27.0, 3.0))
    bench.look()
    bench.answer()
    bench.deliver(27.0, 3.0)
    bench.advice = an_advice(27.0, 3.0, number=2)
    bench.minutes(30)
    assert bench.newest.mix.volume <= 10.0
    assert bench.newest.mix.strength == pytest.approx(0.1, abs=0.01)


def test_the_day_is_counted_from_what_was_delivered():
    """Three full doses fill it; the fourth waits until the first is a day old."""
    bench = Bench(advice=None)
    for number in range(1, 4):
        bench.advice = an_advice(36.0, 4.0, number=number)
        bench.minutes(1)
        bench.answer()
        bench.deliver(36.0, 4.0)
        bench.minutes(60)
    closed = bench.desk.past[0].at
    bench.advice = an_advice(36.0, 4.0, number=4)
    while bench.now < closed + DAY - MINUTE:
        bench.minutes(1)
        assert len(bench.setpoints) == 3
    bench.minutes(1)
    assert len(bench.setpoints) == 4


def test_what_a_station_poured_less_leaves_room_in_the_day():
    """Ten of twenty litres count as ten."""
    bench = Bench(plan=a_dosed_sump(station=replace(STATION, max_day=50.0, max_hour=50.0)))
    bench.look()
    bench.answer()
    bench.fields = {"qualities": BAD}
    bench.minutes(1)
    bench.deliver(9.0, 1.0, fault="lease ran out")
    bench.fields = {}
    bench.advice = an_advice(36.0, 4.0, number=2)
    bench.minutes(30)

    assert bench.newest.mix.volume == pytest.approx(40.0)


def test_a_lost_setpoint_counts_in_full():
    """Nobody knows what it poured."""
    bench = Bench(plan=a_dosed_sump(station=replace(STATION, max_day=50.0, max_hour=50.0)))
    bench.minutes(200)
    assert bench.stage == "none"
    bench.reset()
    bench.advice = an_advice(36.0, 4.0, number=2)
    bench.minutes(60)

    assert bench.newest.mix.volume == pytest.approx(30.0)


def test_nothing_is_asked_for_that_does_not_fit():
    """405 L with an sd of 2 L: two sds and 20 L are more than the 435.75 L under the headroom."""
    fits, does_not = Bench(fields={"volume_l": 411.7}), Bench(fields={"volume_l": 411.8})
    fits.look()
    does_not.look()

    assert len(fits.setpoints) == 1
    assert does_not.setpoints == []


# --- the lease ------------------------------------------------------------------------------------


def test_a_lease_is_renewed_while_the_evidence_is_good():
    """Never longer than ten minutes ahead, never fewer than five left."""
    bench = accepted_bench()
    until = bench.newest.expires_at
    for _ in range(30):
        bench.minutes(1)
        bench.deliver(1.0, 0.1, finished=False)
        until = max([until, *(lease.until for lease in bench.leases)])
        assert until <= bench.now + LEASE
        assert until > bench.now + 4 * MINUTE

    assert {lease.setpoint for lease in bench.leases} == {bench.newest.id}


def test_a_lease_is_renewed_on_new_evidence_only():
    """While nothing comes in the old one runs out, and that is no fault of the station."""
    bench = accepted_bench()
    bench.fields = {"at": bench.now}
    bench.minutes(9)
    assert bench.leases == []

    bench.minutes(2)
    assert bench.stage == "ending"
    bench.deliver(9.0, 1.0, fault="lease ran out")
    assert (bench.stage, bench.news) == ("none", [])


def test_no_lease_before_the_station_has_accepted():
    """Until then the setpoint's own end is all there is."""
    bench = Bench()
    bench.minutes(9)

    assert bench.leases == []


@pytest.mark.parametrize(
    ("fields", "alarmed"),
    [({"qualities": BAD}, ()), ({"volume_sd": 21.0}, ()), ({}, ("mix-loss-high",))],
)
def test_evidence_that_goes_bad_ends_the_lease_at_once(fields, alarmed):
    """The ending lease has passed already; it is said once, and pauses nothing."""
    bench = accepted_bench()
    bench.fields, bench.alarmed = fields, alarmed
    bench.minutes(1)
    assert bench.leases == [PublishLease(bench.newest.id, bench.now)]
    assert bench.stage == "ending"

    bench.minutes(3)
    assert len(bench.leases) == 1
    bench.deliver(4.0, 0.4, fault="lease ran out")
    assert (bench.stage, bench.desk.paused, bench.news) == ("none", "", [])


def test_a_setpoint_that_was_not_answered_yet_is_ended_too():
    """The evidence it was issued on is gone."""
    bench = Bench()
    bench.look()
    bench.fields = {"qualities": BAD}
    bench.minutes(1)

    assert bench.leases == [PublishLease(bench.newest.id, bench.now)]
    assert bench.answer(False, why="lease ran out") is None
    assert (bench.stage, bench.desk.paused) == ("none", "")


def test_evidence_that_comes_back_does_not_revive_it():
    """What was ended stays ended; a new setpoint follows once the old one is closed."""
    bench = accepted_bench()
    bench.fields = {"qualities": BAD}
    bench.minutes(1)
    bench.fields = {}
    bench.minutes(5)

    assert bench.stage == "ending"
    assert len(bench.leases) == 1


def test_a_sump_that_somebody_fills_meanwhile_ends_the_dose():
    """What is left would not fit under the headroom any more."""
    bench = accepted_bench()
    bench.fields = {"volume_l": 420.0}
    bench.minutes(1)

    assert bench.stage == "ending"


def test_switching_automatic_off_ends_the_dose():
    """Also where the whole station has gone from the plant file."""
    bench = accepted_bench()
    bench.plan = a_dosed_sump(station=None)
    bench.minutes(1)

    assert bench.leases == [PublishLease(bench.newest.id, bench.now)]


# --- the level stop -------------------------------------------------------------------------------


def test_the_level_stop_is_the_running_value_unless_the_pumps_are_known_to_stand():
    """415 mm less 37 L of holdup and its sd over 1.05 L/mm; after a stop only once all is back."""
    running, stopped = Bench(), Bench(fields={"running": False})
    running.look()
    stopped.look()
    assert running.newest.stop_at_level == pytest.approx(415.0 - 37.0 / 1.05)
    assert stopped.newest.stop_at_level == pytest.approx(415.0 - 37.0 / 1.05)

    later = Bench(fields={"running": False}, advice=None)
    later.look()
    later.minutes(DRAINED // MINUTE)
    later.advice = an_advice()
    later.look()
    assert later.newest.stop_at_level == pytest.approx(415.0)


def test_a_start_of_the_pumps_ends_a_dose_whose_level_stop_was_for_standing_ones():
    """The reading falls by the holdup, and the stop would come too late."""
    bench = Bench(fields={"running": False}, advice=None)
    bench.look()
    bench.minutes(DRAINED // MINUTE)
    bench.advice = an_advice()
    bench.look()
    bench.answer()
    bench.fields = {"running": True}
    bench.minutes(1)

    assert bench.stage == "ending"


# --- what is missed -------------------------------------------------------------------------------


def test_a_setpoint_that_nobody_answers_pauses_automatic_dosing():
    """After its end, and the time a message takes: ended, told once, closed as lost later."""
    bench = Bench()
    bench.look()
    bench.minutes((LEASE + GRACE) // MINUTE - 1)
    assert bench.news == []

    bench.minutes(1)
    assert bench.news == [f"the station has not answered setpoint {bench.newest.id}."]
    assert bench.leases == [PublishLease(bench.newest.id, bench.now)]
    bench.minutes(SILENT // MINUTE)
    assert (bench.stage, len(bench.news)) == ("none", 1)
    assert bench.desk.past[-1].outcome == "lost"


def test_a_station_that_falls_silent_in_mid_dose_pauses_it():
    """A quarter of an hour without a word."""
    bench = accepted_bench()
    bench.deliver(3.0, 0.3, finished=False)
    bench.minutes(SILENT // MINUTE)

    assert bench.news == [f"the station says nothing more about setpoint {bench.newest.id}."]
    assert bench.leases[-1] == PublishLease(bench.newest.id, bench.now)


def test_a_station_that_never_ends_pauses_it():
    """20 L at 2 L/min and a quarter of an hour: then it is late, whatever it says."""
    bench = accepted_bench()
    for _ in range(24):
        bench.deliver(3.0, 0.3, finished=False)
        bench.minutes(1)
    assert bench.news == []

    bench.minutes(1)
    assert bench.news == [f"setpoint {bench.newest.id} should have been finished by now."]
    assert bench.stage == "ending"


def test_an_ended_setpoint_that_is_never_reported_pauses_it():
    """Nobody knows what was poured before the lease ran out."""
    bench = accepted_bench()
    bench.fields = {"qualities": BAD}
    bench.minutes(1)
    bench.minutes((LEASE + SILENT) // MINUTE + 1)

    assert bench.stage == "none"
    assert bench.desk.past[-1].outcome == "lost"
    assert "no report" in bench.desk.paused


def test_paused_it_asks_for_nothing_until_a_person_resets():
    """Advice goes on meanwhile."""
    bench = accepted_bench()
    bench.deliver(9.0, 0.0, fault="drum empty")
    bench.advice = an_advice(number=2)
    bench.minutes(300)
    assert len(bench.setpoints) == 1

    bench.reset()
    bench.minutes(1)
    assert len(bench.setpoints) == 2


# --- counters -------------------------------------------------------------------------------------

FULL = {Signal.WATER_METER: 9_990.0, Signal.CONCENTRATE_METER: 50.0}


def test_the_counters_ends_are_their_newest_totals_and_the_dose():
    """Past a rollover where there is one."""
    bench = Bench(plan=with_signals(a_dosed_sump()), fields={"totals": FULL})
    bench.look()

    assert bench.newest.water_meter_end == pytest.approx(8.0)
    assert bench.newest.concentrate_meter_end == pytest.approx(52.0)


def test_no_counter_no_end():
    """Null where the sump has no meter: the station's memory of ids is then all there is."""
    bench = Bench()
    bench.look()

    assert (bench.newest.water_meter_end, bench.newest.concentrate_meter_end) == (None, None)


def test_a_counter_that_was_never_read_is_waited_for():
    """Nobody knows where it shall end."""
    bench = Bench(plan=with_signals(a_dosed_sump()))
    bench.minutes(10)

    assert bench.setpoints == []


@pytest.mark.parametrize(("gained", "issued"), [(0.0, 1), (17.5, 2)])
def test_a_counter_that_does_not_hold_the_last_dose_yet_is_waited_for(gained, issued):
    """Its end would be too low; a meter that speaks only when it moves has said enough."""
    plan = with_signals(a_dosed_sump())
    bench = finished_bench(plan=plan, fields={"totals": FULL})
    seen = dict.fromkeys(plan.signals, bench.now + HOUR) | {Signal.WATER_METER: bench.now - 1}
    after = {Signal.WATER_METER: 9_990.0 + gained, Signal.CONCENTRATE_METER: 52.0}
    bench.fields = {"totals": after, "last_seen": seen}
    bench.advice = an_advice(5.0, 0.5, number=2)
    bench.minutes(40)

    assert len(bench.setpoints) == issued


# --- restarts -------------------------------------------------------------------------------------


def test_a_restart_goes_on_with_the_open_setpoint():
    """Within the lease nothing changes: it is renewed once the level has been heard again."""
    bench = accepted_bench()
    bench.minutes(2)
    bench.restart()
    bench.fields = {"at": bench.now - MINUTE}
    bench.minutes(1)
    assert bench.stage == "accepted"

    bench.fields = {}
    bench.minutes(4)
    assert (bench.stage, len(bench.leases), len(bench.setpoints)) == ("accepted", 1, 1)


def test_after_a_restart_a_lease_that_has_run_out_is_not_revived():
    """The station has stopped; its report is waited for, and nothing is paused for that."""
    bench = accepted_bench()
    bench.now += 20 * MINUTE
    bench.restart()
    bench.minutes(1)
    assert bench.stage == "ending"

    bench.deliver(18.0, 2.0)
    assert (bench.stage, bench.news) == ("none", [])


def test_after_a_restart_what_was_said_meanwhile_is_waited_for():
    """Timers that were due while it was away are judged only when it has listened again."""
    bench = Bench()
    bench.look()
    restarted = bench.now + HOUR
    bench.since = restarted
    bench.minutes(60)
    assert bench.news == []

    bench.now = restarted
    bench.deliver(18.0, 2.0)
    assert (bench.stage, bench.news) == ("none", [])


def test_nothing_is_asked_for_in_the_first_minutes_after_a_start():
    """A message about the last setpoint may be under way still."""
    bench = Bench(since=START)
    bench.minutes(BACK // MINUTE - 1)
    assert bench.setpoints == []

    bench.minutes(1)
    assert len(bench.setpoints) == 1
