"""Where a sump goes by itself, against small steps of the balance itself."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.drift import (
    Rates,
    days_kept_full,
    days_left_alone,
    kept_full,
    left_alone,
    rates_of,
)
from advisor.errors import AdvisorError
from advisor.words import Estimate, Losses

STEPS = 4000
"""Of the midpoint rule, whose error falls with their square."""


def stepped(
    volume: float, strength: float, rates: Rates, days: float, fresh: float | None
) -> tuple[float, float]:
    """Volume [L] and concentration [1] by the midpoint rule; `fresh` fills up what is lost."""

    def change(volume: float, pure: float) -> tuple[float, float]:
        poured = 0.0 if fresh is None else rates.total
        lost = rates.carry_off * pure / volume
        return poured - rates.total, (fresh or 0.0) * poured - lost

    pure, step = volume * strength, days / STEPS
    for _ in range(STEPS):
        dv, dc = change(volume, pure)
        dv, dc = change(volume + dv * step / 2, pure + dc * step / 2)
        volume, pure = volume + dv * step, pure + dc * step
    return volume, pure / volume


flows = st.builds(Rates, st.floats(-8.0, 30.0), st.floats(0.0, 20.0))
strengths = st.floats(0.02, 0.15)


@settings(max_examples=60, deadline=None)
@given(strengths, flows, st.floats(0.1, 4.0))
def test_a_sump_left_alone_goes_where_small_steps_lead(strength, rates, days):
    """The closed form is the balance, whatever evaporates, comes in or is carried off."""
    assert left_alone(300.0, strength, rates, days) == pytest.approx(
        stepped(300.0, strength, rates, days, None), rel=1e-5
    )


@settings(max_examples=60, deadline=None)
@given(strengths, flows, st.floats(0.0, 0.2), st.floats(0.1, 60.0))
def test_a_sump_kept_full_goes_where_small_steps_lead(strength, rates, fresh, days):
    """The same, with what is lost filled up by a mix."""
    by_steps = stepped(300.0, strength, rates, days, fresh)[1]

    assert kept_full(300.0, strength, fresh, rates, days) == pytest.approx(by_steps, rel=1e-5)


@settings(max_examples=100, deadline=None)
@given(strengths, strengths, flows)
def test_the_time_left_alone_is_the_one_after_which_the_goal_is_reached(strength, goal, rates):
    """Going there for so long ends there; where it says never, no time does."""
    days = days_left_alone(300.0, strength, goal, rates)

    if days < 1e4:
        left = left_alone(300.0, strength, rates, days)
        if left[0] > 1e-3:
            assert left[1] == pytest.approx(goal, rel=1e-4)
    else:
        moved = left_alone(300.0, strength, rates, 5.0)[1] - strength
        assert moved * (goal - strength) <= 1e-6


@settings(max_examples=100, deadline=None)
@given(strengths, strengths, st.floats(0.0, 0.2), flows)
def test_the_time_kept_full_is_the_one_after_which_the_goal_is_reached(
    strength, goal, fresh, rates
):
    """Going there for so long ends there; where it says never, no time does."""
    days = days_kept_full(300.0, strength, goal, fresh, rates)

    if days < 1e4:
        assert kept_full(300.0, strength, fresh, rates, days) == pytest.approx(goal, rel=1e-4)
    else:
        end = kept_full(300.0, strength, fresh, rates, 9e3)
        assert (end - goal) * (strength - goal) >= -1e-6


def test_a_goal_that_is_reached_already_takes_no_time():
    """Nothing to wait for."""
    assert days_left_alone(300.0, 0.08, 0.08, Rates(5.0, 5.0)) == 0.0
    assert days_kept_full(300.0, 0.08, 0.08, 0.01, Rates(5.0, 5.0)) == 0.0


def test_losses_become_flows_that_lose_the_same():
    """Evaporation and carry-off at the concentration give water and concentrate back."""
    losses = Losses(
        window_h=24.0,
        water=Estimate(19.6, 1.0),
        concentrate=Estimate(0.4, 0.1),
        evaporation=None,
        carry_off=None,
    )
    rates = rates_of(losses, 0.08)

    assert rates is not None
    assert rates.carry_off * 0.08 == pytest.approx(0.4)
    assert rates.evaporation + rates.carry_off * 0.92 == pytest.approx(19.6)


def test_unknown_losses_are_no_flows():
    """What is not known cannot be gone on with."""
    losses = Losses(window_h=0.0, water=None, concentrate=None, evaporation=None, carry_off=None)
    assert rates_of(losses, 0.08) is None


@pytest.mark.parametrize(("volume", "strength"), [(0.0, 0.08), (300.0, 0.0), (300.0, 1.2)])
def test_no_sump_no_answer(volume, strength):
    """A sump without fluid or without concentrate is refused, by name."""
    with pytest.raises(AdvisorError):
        kept_full(volume, strength, 0.01, Rates(5.0, 5.0), 1.0)
