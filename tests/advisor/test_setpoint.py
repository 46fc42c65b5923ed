"""What a station may be asked to pour: limits, cuts, counters, level stops in its own unit."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.effects import Mix
from advisor.plan import Levels, SignalPlan
from advisor.setpoint import (
    Poured,
    allowance,
    ends,
    room,
    setpoint_for,
    stop_level,
    within,
)
from advisor.words import DAY, HOUR, Estimate, Signal
from tests.alarm_watch import START
from tests.plants import FLUID
from tests.station_watch import STATION, a_dosed_sump, an_advice, with_signals
from tests.sump_states import sump_holding

SUMP = a_dosed_sump()


def test_the_allowance_rolls():
    """An hour and a day are counted back from now, to the millisecond."""
    station = replace(STATION, max_hour=30.0)
    hour_ago, day_ago = Poured(START - HOUR, 25.0), Poured(START - DAY, 80.0)

    assert allowance(station, (), START) == 30.0
    assert allowance(station, (hour_ago,), START) == 30.0
    assert allowance(station, (hour_ago,), START - 1) == 5.0
    assert allowance(station, (day_ago, hour_ago), START) == 30.0
    assert allowance(station, (day_ago, hour_ago), START - 1) == 5.0
    assert allowance(station, (day_ago, Poured(START - 2 * HOUR, 30.0)), START - 1) == 10.0


def test_without_limits_nothing_is_allowed():
    """A plant file cannot leave them out; a plan built otherwise might."""
    assert allowance(replace(STATION, max_dose=None), (), START) == 0.0
    assert allowance(replace(STATION, max_day=None), (), START) == 0.0


@given(
    st.floats(0.0, 60.0),
    st.floats(0.0, 12.0),
    st.floats(0.0, 60.0),
    st.sampled_from([0.01, 0.05, 0.1, 0.5]),
    st.sampled_from([0.0, 0.01, 0.02]),
)
def test_a_cut_mix_keeps_every_limit(water, concentrate, most, step, weakest):
    """Not more than allowed, no stronger and no weaker than the fluid takes, in whole steps."""
    fluid = replace(FLUID, weak_mix=weakest)
    plan = a_dosed_sump(fluid=fluid, station=replace(STATION, resolution=step))
    cut = within(Mix(water, concentrate), most, plan)
    if cut is None:
        return
    assert 0.0 < cut.volume <= most + 1e-6
    assert weakest - 1e-9 <= cut.strength <= 0.20 + 1e-9
    if cut != Mix(water, concentrate):
        for part in (cut.water, cut.concentrate):
            assert part / step == pytest.approx(round(part / step), abs=1e-6)


def test_a_cut_keeps_the_strength():
    """To what the steps can do."""
    cut = within(Mix(36.0, 4.0), 13.0, SUMP)

    assert cut is not None
    assert cut.volume == pytest.approx(13.0, abs=0.1)
    assert cut.strength == pytest.approx(0.1, abs=0.005)


def test_less_than_a_least_dose_is_left_for_later():
    """1.5 % of 399 L are 6 L: five are not worth the valves' wear, and cannot meet a strength."""
    assert within(Mix(36.0, 4.0), 5.9, SUMP) is None
    assert within(Mix(36.0, 4.0), 6.0, SUMP) is not None


def test_room_is_what_is_under_the_headroom_less_the_margin():
    """415 mm x 1.05 L/mm, less two sds of 3 L, less what is in it."""
    state = sump_holding(SUMP, 400.0, 0.08, volume_sd=3.0)

    assert room(state, SUMP) == pytest.approx(435.75 - 6.0 - 400.0)


@pytest.mark.parametrize(
    ("signal", "running", "stopped"),
    [
        (SignalPlan(signal=Signal.LEVEL, unit="mm"), 415 - 37 / 1.05, 415.0),
        (
            SignalPlan(signal=Signal.LEVEL, kind="air-gap", mount=600.0, unit="mm"),
            185 + 37 / 1.05,
            185.0,
        ),
        (SignalPlan(signal=Signal.LEVEL, kind="volume", unit="L"), 398.75, 435.75),
        (
            SignalPlan(signal=Signal.LEVEL, kind="percent", unit="%", per_unit=0.01),
            100 * 398.75 / 451.5,
            100 * 435.75 / 451.5,
        ),
        (
            SignalPlan(signal=Signal.LEVEL, unit="in", per_unit=25.4),
            (415 - 37 / 1.05) / 25.4,
            415 / 25.4,
        ),
    ],
)
def test_the_level_stop_is_in_the_sensor_s_own_unit_and_sense(signal, running, stopped):
    """Calculated by hand: brim less headroom is 415 mm, 37 L are up, the box has 1.05 L/mm."""
    plan = a_dosed_sump(signals={Signal.LEVEL: signal})
    state = sump_holding(plan, 360.0, 0.08, holdup=Estimate(35.0, 2.0))

    assert stop_level(replace(state, running=True), plan) == pytest.approx(running)
    assert stop_level(replace(state, running=None), plan) == pytest.approx(running)
    assert stop_level(replace(state, running=False), plan) == pytest.approx(stopped)


def test_an_unknown_holdup_takes_the_safe_side():
    """15 % of the volume at the brim may come back."""
    plan = a_dosed_sump(holdup=None)
    state = sump_holding(plan, 360.0, 0.08, holdup=None)

    assert stop_level(state, plan) == pytest.approx(415.0 - 0.15 * 451.5 / 1.05)


@pytest.mark.parametrize(
    ("mix", "stop"), [(Mix(18.0, 2.0), 0.135), (Mix(10.0, 0.0), 0.01), (Mix(8.0, 2.0), 0.2)]
)
def test_the_strength_stop_is_near_the_mix_and_never_beyond_the_fluid_s_limit(mix, stop):
    """A quarter and a point more than asked."""
    state = sump_holding(SUMP, 360.0, 0.08)
    asked = setpoint_for(an_advice(), mix, state, SUMP, number=7, now=START)

    assert asked.max_strength == pytest.approx(stop)
    assert asked.id == "s-7"


def test_the_counters_end_where_they_stand_plus_the_dose():
    """A total that is not known, or a meter that is not bound, has no end."""
    plan = with_signals(SUMP)
    totals = {Signal.WATER_METER: 9_999.0}
    state = sump_holding(plan, 360.0, 0.08, totals=totals)

    assert ends(Mix(0.5, 0.1), state, plan) == (9_999.5, None)
    assert ends(Mix(1.0, 0.1), state, plan) == (0.0, None)
    assert ends(Mix(1.0, 0.1), state, SUMP) == (None, None)


def test_headroom_deeper_than_the_tank_leaves_no_room():
    """Nothing fits, and nothing fails."""
    levels = Levels(low=10.0, target=200.0, brim=400.0, top_up=100.0)
    plan = a_dosed_sump(levels=levels, headroom=500.0)

    assert room(sump_holding(plan, 100.0, 0.08), plan) < 0.0
