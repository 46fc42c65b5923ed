"""Legal units, and the trade's two conventions side by side."""

import pytest
import scipy.constants

from advisor.units import (
    FLUID_OUNCE,
    GALLON,
    fraction_from_parts,
    fraction_from_ratio,
    parts_from_fraction,
)


def test_gallon_and_fluid_ounce_are_the_legal_ones():
    """231 cubic inches of 25.4 mm, and its 128th (NIST Handbook 44, appendix C)."""
    assert pytest.approx(231 * 2.54**3 / 1000, rel=1e-15) == GALLON == 3.785411784
    assert pytest.approx(0.0295735295625, rel=1e-15) == FLUID_OUNCE
    assert pytest.approx(scipy.constants.gallon * 1000, rel=1e-15) == GALLON
    assert pytest.approx(scipy.constants.fluid_ounce * 1000, rel=1e-15) == FLUID_OUNCE


@pytest.mark.parametrize(
    ("concentrate", "water", "percent", "parts"),
    # Own arithmetic: p = 100 c / (c + w), q = 100 c / w.
    [
        (1, 4, 20.0, 25.0),
        (1, 9, 10.0, 11.1111),
        (1, 12, 7.6923, 8.3333),
        (1, 19, 5.0, 5.2632),
        (1, 20, 4.7619, 5.0),
        (1, 30, 3.2258, 3.3333),
    ],
)
def test_ratio_percent_and_parts_of_one_mix(concentrate, water, percent, parts):
    """1 to 20 is 4.76 % of the mix and 5 parts to a hundred: the trade says 5 to both."""
    fraction = fraction_from_ratio(concentrate, water)
    assert 100.0 * fraction == pytest.approx(percent, abs=5.1e-5)
    assert parts_from_fraction(fraction) == pytest.approx(parts, abs=5.1e-5)


@pytest.mark.parametrize(
    ("nominal", "of_mix"), [(5, 4.7619), (8, 7.4074), (10, 9.0909), (12, 10.7143)]
)
def test_parts_taken_for_percent_miss_by_half_a_percent_and_more(nominal, of_mix):
    """The confusion that the conversion is there to stop (own arithmetic)."""
    assert 100.0 * fraction_from_parts(nominal) == pytest.approx(of_mix, abs=5.1e-5)
