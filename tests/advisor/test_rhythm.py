"""Little and often against once a week."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.drift import Rates, left_alone
from advisor.geometry import volume_at
from advisor.rhythm import fitting, rhythm
from tests.plants import FLUID, a_sump

RATES = Rates(evaporation=15.0, carry_off=5.0)
FULL = 399.0


def test_little_and_often_keeps_it_closer():
    """The same sump, the same losses: a fifth of the swing, and more rounds."""
    often = rhythm(FULL, 0.08, RATES, a_sump(), 1.0, 28.0)
    seldom = rhythm(FULL, 0.08, RATES, a_sump(), 7.0, 28.0)

    assert (often.rounds, seldom.rounds) == (29, 5)
    assert often.highest - 0.08 < 0.2 * (seldom.highest - 0.08)
    assert not often.is_out_of_band
    assert seldom.is_out_of_band


def test_a_week_by_hand():
    """Seven days of 15 L of water and 5 L of mix leave 259 L at 0.08 (399/259)^(15/20)."""
    seldom = rhythm(FULL, 0.08, RATES, a_sump(), 7.0, 7.0)

    assert seldom.least == pytest.approx(259.0)
    assert seldom.highest == pytest.approx(0.08 * (399 / 259) ** 0.75)
    assert seldom.excursion == pytest.approx(seldom.highest - 0.08)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(150.0, 440.0),
    st.floats(0.05, 0.12),
    st.builds(Rates, st.floats(0.0, 20.0), st.floats(0.0, 10.0)),
    st.sampled_from([0.5, 1.0, 3.5, 7.0]),
    st.sampled_from([0.0, 0.01]),
)
def test_what_is_poured_is_what_was_lost_and_what_was_missing(volume, strength, rates, every, weak):
    """Water and concentrate balance over all the rounds, step by step."""
    plan = a_sump(fluid=replace(FLUID, weak_mix=weak))
    found = rhythm(volume, strength, rates, plan, every, 14.0)

    held, pure, poured = volume, volume * strength, 0.0
    for done in range(found.rounds):
        mix = fitting(held, pure / held, FULL, plan)
        held, pure, poured = held + mix.volume, pure + mix.concentrate, poured + mix.volume
        assert weak * mix.volume - 1e-9 <= mix.concentrate <= 0.2 * mix.volume + 1e-9
        if done < found.rounds - 1:
            held, concentration = left_alone(held, pure / held, rates, every)
            pure = held * concentration
    assert found.poured.volume == pytest.approx(poured)


def test_buckets_are_counted_whole():
    """20 L are two buckets that carry 16 L; without vessels nothing is counted."""
    plan = a_sump()
    start = left_alone(FULL, 0.08, RATES, 1.0)

    assert rhythm(*start, RATES, plan, 1.0, 1.0).buckets == 4
    assert rhythm(*start, RATES, replace(plan, vessels=()), 1.0, 1.0).buckets is None


def test_costs_are_those_of_the_concentrate():
    """Price times litres; unknown without a price."""
    priced = a_sump(fluid=replace(FLUID, price=5.0))
    found = rhythm(FULL, 0.08, RATES, priced, 1.0, 28.0)

    assert found.cost == pytest.approx(5.0 * found.poured.concentrate)
    assert rhythm(FULL, 0.08, RATES, a_sump(), 1.0, 28.0).cost is None


def test_running_low_is_said():
    """A week of 40 L a day falls under the lowest level; two days do not."""
    thirsty = Rates(evaporation=35.0, carry_off=5.0)

    assert rhythm(FULL, 0.08, thirsty, a_sump(), 7.0, 7.0).is_too_low
    assert not rhythm(FULL, 0.08, thirsty, a_sump(), 2.0, 14.0).is_too_low
    assert volume_at(a_sump().tank, 180.0) == pytest.approx(189.0)
