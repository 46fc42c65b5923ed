"""Fractions, percent, parts and ratios: three conventions that must not be mixed up."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.errors import AdvisorError
from advisor.units import (
    fraction_from_parts,
    fraction_from_percent,
    fraction_from_ratio,
    parts_from_fraction,
    percent_from_fraction,
)


@given(st.floats(0.0, 0.99))
def test_every_convention_leads_back(fraction):
    """A concentration said as percent or as parts is the same concentration."""
    assert fraction_from_percent(percent_from_fraction(fraction)) == pytest.approx(fraction)
    assert fraction_from_parts(parts_from_fraction(fraction)) == pytest.approx(fraction)


@given(st.floats(0.1, 100.0), st.floats(0.1, 100.0))
def test_a_ratio_is_the_same_whichever_way_round_it_is_said(one, other):
    """4:1 and 1:4 are one mix: mostly water."""
    fraction = fraction_from_ratio(one, other)
    assert fraction == fraction_from_ratio(other, one)
    assert 0.0 < fraction <= 0.5
    parts = 100.0 * min(one, other) / max(one, other)
    assert fraction == pytest.approx(fraction_from_parts(parts))


@pytest.mark.parametrize("parts", [-1e-9, math.inf, math.nan])
def test_parts_that_cannot_be_poured_are_refused(parts):
    """Parts of concentrate are a number from 0 on."""
    with pytest.raises(AdvisorError, match="parts per hundred"):
        fraction_from_parts(parts)


@pytest.mark.parametrize("fraction", [math.nextafter(0.0, -1.0), 1.0, math.nan])
def test_a_concentration_without_water_has_no_parts(fraction):
    """Parts per hundred of water need some water."""
    with pytest.raises(AdvisorError, match="concentration"):
        parts_from_fraction(fraction)
    assert parts_from_fraction(0.0) == 0.0


@pytest.mark.parametrize("part", [0.0, -4.0, math.inf, math.nan])
def test_a_ratio_needs_two_amounts(part):
    """A ratio of nothing, or of no number, is refused, on either side."""
    with pytest.raises(AdvisorError, match="ratio"):
        fraction_from_ratio(part, 1.0)
    with pytest.raises(AdvisorError, match="ratio"):
        fraction_from_ratio(1.0, part)
