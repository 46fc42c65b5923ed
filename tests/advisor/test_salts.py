"""What the balance of salts promises."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from advisor.errors import AdvisorError
from advisor.salts import (
    blend_that_never_reaches,
    carry_off_for,
    content_after,
    cycles,
    days_until,
    settles_at,
)

evaporations, carry_offs = st.floats(0.0, 50.0), st.floats(0.01, 20.0)
contents = st.floats(1.0, 500.0)


@given(evaporations, carry_offs, contents, contents, st.floats(50.0, 1000.0), st.floats(0.01, 90.0))
def test_content_follows_its_balance(evaporation, carry_off, start, make_up, volume, days):
    """Small steps of V dh = (M h_m - D h) dt end where the closed form does."""
    content, steps = start, 4000
    for _ in range(steps):
        inflow = (evaporation + carry_off) * make_up - carry_off * content
        content += inflow * days / steps / volume

    assert content_after(days, volume, start, make_up, (evaporation, carry_off)) == pytest.approx(
        content, rel=2e-2
    )


@given(evaporations, carry_offs, contents, contents, st.floats(1.01, 3.0))
def test_the_limit_is_reached_when_it_was_foreseen(evaporation, carry_off, start, make_up, above):
    """At the time foreseen the content is at its limit."""
    limit, losses = start * above, (evaporation, carry_off)
    days = days_until(limit, 300.0, start, make_up, losses)

    if math.isinf(days):
        assert settles_at(make_up, evaporation, carry_off) <= limit
    else:
        assert content_after(days, 300.0, start, make_up, losses) == pytest.approx(limit)


@given(evaporations, carry_offs, st.floats(50.0, 1000.0), contents, contents)
def test_the_blend_settles_at_the_limit(evaporation, carry_off, limit, hard, soft):
    """Any more of the hard water would pass the limit in the end."""
    assume(soft < hard)
    share = blend_that_never_reaches(limit, hard, soft, (evaporation, carry_off))

    end = settles_at(1.0, evaporation, carry_off)
    if share is None:
        assert soft * end > limit
    elif share == 1.0:
        assert hard * end <= limit * (1 + 1e-12)
    else:
        assert (share * hard + (1 - share) * soft) * end == pytest.approx(limit)


def test_without_carry_off_salts_only_pile_up():
    """Nothing leaves: content rises with what evaporates, without end."""
    assert math.isinf(cycles(15.0, 0.0))
    assert content_after(20.0, 300.0, 150.0, 150.0, (15.0, 0.0)) == pytest.approx(300.0)
    assert days_until(300.0, 300.0, 150.0, 150.0, (15.0, 0.0)) == pytest.approx(20.0)
    assert math.isinf(days_until(300.0, 300.0, 150.0, 0.0, (15.0, 0.0)))


def test_a_limit_that_is_passed_is_passed_now():
    """No time is left."""
    assert days_until(100.0, 300.0, 150.0, 150.0, (15.0, 5.0)) == 0.0


@pytest.mark.parametrize(
    "call",
    [
        lambda: cycles(-1.0, 1.0),
        lambda: cycles(1.0, math.nan),
        lambda: carry_off_for(1.0, 1.0),
        lambda: content_after(1.0, 300.0, 1.0, 1.0, (math.inf, 1.0)),
    ],
)
def test_losses_that_are_none_are_refused(call):
    """Negative, not a number, or a single cycle."""
    with pytest.raises(AdvisorError):
        call()
