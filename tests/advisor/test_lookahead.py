"""When the next top-up is due."""

from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from advisor.effects import After
from advisor.geometry import volume_at
from advisor.lookahead import inner_band, next_top_up
from advisor.words import DAY, Estimate, Losses
from tests.alarm_watch import START
from tests.plants import FLUID, a_sump
from tests.sump_states import LOSSES


def after(volume: float, strength: float) -> After:
    """So much, surely."""
    return After(volume=Estimate(volume, 0.0), concentration=Estimate(strength, 0.0))


def losses(water: float, concentrate: float, sd: float = 0.0) -> Losses:
    """So much a day."""
    return replace(LOSSES, water=Estimate(water, sd), concentrate=Estimate(concentrate, sd))


def test_level_is_due_when_the_loss_has_used_up_the_room():
    """394 L to 294 L (280 mm) at 20 L a day of mix at the sump's own strength: 5 days."""
    due = next_top_up(after(394.0, 0.08), losses(18.4, 1.6), a_sump(), START)

    assert due is not None
    assert (due.at - START) / DAY == pytest.approx(5.0)
    assert due.strength == pytest.approx(0.08)


def test_evaporation_drives_the_concentration_out_first():
    """Water alone lost: 8 % reach 9 % when a ninth of 399 L is gone, before the level is low."""
    due = next_top_up(after(399.0, 0.08), losses(20.0, 0.0), a_sump(), START)

    assert due is not None
    assert (due.at - START) / DAY == pytest.approx(399.0 / 9 / 20.0)
    assert due.strength == 0.0


def test_the_sd_is_of_volume_and_rate_together():
    """By error propagation: sd(t) = sqrt(sd_V^2 + (t sd_r)^2) / r."""
    known = After(volume=Estimate(394.0, 3.0), concentration=Estimate(0.08, 0.0))
    due = next_top_up(known, losses(18.4, 1.6, sd=0.5), a_sump(), START)

    assert due is not None
    assert due.sd_h == pytest.approx(24.0 * (3.0**2 + 25 * 2 * 0.25) ** 0.5 / 20.0)


@given(
    st.floats(300.0, 399.0),
    st.floats(0.071, 0.089),
    st.floats(0.0, 60.0),
    st.floats(0.0, 5.0),
)
def test_at_the_foreseen_moment_the_need_is_there(volume, strength, water, concentrate):
    """Going on with the losses, level or concentration is at its edge then, and not before."""
    assume(water + concentrate > 0.3)
    plan = a_sump()
    due = next_top_up(after(volume, strength), losses(water, concentrate), plan, START)
    assume(due is not None)

    days = (due.at - START) / DAY
    left = volume - (water + concentrate) * days
    then = (volume * strength - concentrate * days) / left
    low, high = inner_band(plan)
    room = left - volume_at(plan.tank, plan.levels.top_up)
    near = [abs(room) / volume, abs(then - low), abs(then - high)]
    assert min(near) < 1e-6
    assert room > -1e-3
    assert low - 1e-6 <= then <= high + 1e-6


@pytest.mark.parametrize(
    "lost",
    [
        replace(LOSSES, water=None),
        replace(LOSSES, concentrate=None),
        losses(0.0, 0.0),
        losses(-1.0, -1.0),
        losses(1e-6, 0.0),
    ],
)
def test_without_losses_nothing_is_foreseen(lost):
    """Not known, none, negative, or so small that a year passes."""
    assert next_top_up(after(399.0, 0.08), lost, a_sump(), START) is None


def test_the_inner_half_lies_about_the_target():
    """Halfway from the target to either edge; a target off the middle is inside all the same."""
    assert inner_band(a_sump()) == pytest.approx((0.07, 0.09))
    assert inner_band(a_sump(fluid=replace(FLUID, target=0.065))) == pytest.approx((0.0625, 0.0825))
