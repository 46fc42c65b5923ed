"""A weekend or a shutdown: how a sump comes through, and what is poured before it."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.drift import Rates
from advisor.effects import After
from advisor.geometry import volume_at
from advisor.lookahead import inner_band
from advisor.plan import SumpPlan
from advisor.standstill import (
    Idle,
    assumed_idle,
    creeps_out,
    dries_out,
    moved,
    plan_standstill,
)
from advisor.words import DAY, HOUR, Estimate
from tests.alarm_watch import START
from tests.plants import FLUID, a_sump
from tests.sump_states import LOSSES

NO_LOSS = replace(LOSSES, water=Estimate(0.0, 0.1), concentrate=Estimate(0.0, 0.01))


def holding(volume: float, concentration: float) -> After:
    """A sump well known. [L], [1]"""
    return After(volume=Estimate(volume, 1.0), concentration=Estimate(concentration, 0.0005))


def idle(water: float, concentrate: float = 0.0) -> Idle:
    """Losses with the pumps stopped, well known. [L/d]"""
    return Idle(Estimate(water, 0.0), Estimate(concentrate, 0.0))


def planned(now: After, still: Idle, days: float, plan: SumpPlan | None = None, losses=LOSSES):
    """A standstill that begins in half a day and lasts so many."""
    begin = START + 12 * HOUR
    end = begin + round(days * DAY)
    return plan_standstill(now, losses, still, plan or a_sump(vessels=()), (START, begin, end))


def test_a_weekend_is_come_through_at_level_and_in_band():
    """Topped up to the target before it: at the start it is a little low and a little strong."""
    found = planned(holding(370.0, 0.083), idle(5.0), 2.5)

    assert found.before.kind == "top-up"
    assert found.before.after.volume.value == pytest.approx(399.0, abs=4.0)
    assert found.after.volume.value == pytest.approx(
        found.before.after.volume.value - 12.5, abs=1e-6
    )
    assert found.after.concentration.value == pytest.approx(0.0826, abs=0.002)
    assert (found.leaves_band, found.falls_low) == (None, None)
    assert found.restart.mix is not None


def test_a_long_shutdown_is_begun_leaner():
    """Three weeks of 5 L a day: filled higher and leaner before, so that the band is kept."""
    plan = a_sump(vessels=())
    found = planned(holding(399.0, 0.08), idle(5.0), 21.0, plan)

    low, high = inner_band(plan)
    assert low - 0.001 <= found.before.after.concentration.value < 0.075
    assert found.before.after.volume.value > 410.0
    assert found.after.concentration.value <= plan.fluid.band_high
    assert found.leaves_band is None
    alone = moved(holding(399.0, 0.08), Estimate(5.0, 0.0), Estimate(0.0, 0.0), 21.5)
    assert alone.concentration.value > high


def test_a_very_long_shutdown_is_begun_fuller():
    """Where the target level would not last above the lowest, it is filled higher."""
    plan = a_sump(vessels=())
    found = planned(holding(399.0, 0.075), idle(5.0), 43.0, plan, NO_LOSS)

    assert found.before.after.volume.value > 399.0 + 4.0
    assert found.after.volume.value >= volume_at(plan.tank, plan.levels.low)
    assert found.falls_low is None


def test_what_cannot_be_kept_is_said_with_its_time():
    """A hundred days: both are left, each at its moment."""
    found = planned(holding(399.0, 0.08), idle(5.0), 100.0)

    begin = START + 12 * HOUR
    assert found.falls_low is not None
    assert found.leaves_band is not None
    assert begin < found.leaves_band < found.falls_low < begin + 100 * DAY


def test_a_sump_out_of_its_band_has_left_it_already():
    """Where not even the dose before leads into the band: from the begin on."""
    plan = a_sump(vessels=(), fluid=replace(FLUID, premix_max=0.055))
    found = planned(holding(430.0, 0.04), idle(5.0), 2.0, plan, NO_LOSS)

    assert found.before.after.concentration.value < 0.06
    assert found.leaves_band == START + 12 * HOUR


def test_top_ups_that_are_due_until_then_are_foreseen():
    """Two weeks until the shutdown at 19.4 L a day: not dry, but topped up in between."""
    begin = START + 14 * DAY
    found = plan_standstill(
        holding(390.0, 0.08), LOSSES, idle(5.0), a_sump(), (START, begin, begin + 2 * DAY)
    )

    assert 290.0 < found.expected.volume.value <= 399.0
    assert 0.07 < found.expected.concentration.value < 0.095


def test_unknown_losses_leave_it_as_it_is_until_then():
    """What is not known is not gone on with."""
    unknown = replace(LOSSES, water=None)
    found = planned(holding(390.0, 0.08), idle(5.0), 2.0, losses=unknown)

    assert found.expected == holding(390.0, 0.08)


@settings(max_examples=40, deadline=None)
@given(st.floats(250.0, 430.0), st.floats(0.065, 0.095), st.floats(0.0, 10.0), st.floats(0.5, 20.0))
def test_never_over_the_brim_and_never_plain_water_where_that_harms(volume, strength, water, days):
    """The dose before a standstill keeps the limits of every dose."""
    plan = a_sump(fluid=replace(FLUID, weak_mix=0.01))
    found = planned(holding(volume, strength), idle(water), days, plan, NO_LOSS)

    safe = volume_at(plan.tank, plan.levels.brim - plan.headroom)
    assert found.before.after.volume.value <= max(safe, volume) + 1e-6
    for batch in found.before.batches:
        assert batch.concentrate >= 0.01 * (batch.water + batch.concentrate) - 1e-6


def test_moving_on_agrees_with_small_changes():
    """Sds by first-order propagation, against differences of the same function."""
    before = After(volume=Estimate(300.0, 4.0), concentration=Estimate(0.08, 0.001))
    water, concentrate, days = Estimate(15.0, 2.0), Estimate(0.5, 0.1), 3.0

    def strength(volume: float, c: float, w: float, k: float) -> float:
        return (c * volume - k * days) / (volume - (w + k) * days)

    at = (300.0, 0.08, 15.0, 0.5)
    variance = 0.0
    for place, sd in enumerate((4.0, 0.001, 2.0, 0.1)):
        step = 1e-6 * at[place]
        up = strength(*(v + (step if n == place else 0.0) for n, v in enumerate(at)))
        variance += ((up - strength(*at)) / step * sd) ** 2
    found = moved(before, water, concentrate, days)

    assert found.concentration.value == pytest.approx(strength(*at))
    assert found.concentration.sd == pytest.approx(variance**0.5, rel=1e-4)
    assert found.volume.sd == pytest.approx((4.0**2 + 6.0**2 + 0.3**2) ** 0.5)


def test_the_weak_mix_alone_creeps_an_idle_sump_out_of_its_band():
    """300 L from 8 to 10 % take 6 L of concentrate: at 10 L a day of 1 % sixty days, by hand."""
    plan = a_sump(fluid=replace(FLUID, weak_mix=0.01))
    found = creeps_out(holding(300.0, 0.08), idle(10.0), plan, START)

    assert found == START + 60 * DAY


def test_plain_water_does_not_creep():
    """Where water alone fills up what evaporates, the concentration stands still."""
    assert creeps_out(holding(300.0, 0.08), idle(10.0), a_sump(), START) is None


def test_an_idle_sump_dries_out_of_its_band():
    """300 L at 8 % are 240 L at 10 %: six days at 10 L a day, by hand."""
    assert dries_out(holding(300.0, 0.08), idle(10.0), a_sump(), START) == START + 6 * DAY
    assert dries_out(holding(300.0, 0.11), idle(10.0), a_sump(), START) is None
    assert dries_out(holding(300.0, 0.08), idle(0.01), a_sump(), START) is None


def test_what_nothing_tells_of_an_idle_sump_is_wide():
    """Half of the evaporation, with an sd that reaches from nearly none to nearly all."""
    still = assumed_idle(Rates(evaporation=10.0, carry_off=5.0))

    assert still.water.value == 5.0
    assert still.water.value - 2 * still.water.sd < 0.0
    assert still.water.value + 2 * still.water.sd > 10.0
    assert still.concentrate.value == 0.0
