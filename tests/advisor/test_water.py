"""Density, expansion and vapour pressure: what they promise over their range."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.errors import AdvisorError
from advisor.water import COLDEST, HOTTEST, density, expansion, saturation_pressure, volume_at_20

TEMPERATURES = st.floats(COLDEST, HOTTEST)


@pytest.mark.parametrize("function", [density, expansion, saturation_pressure])
@pytest.mark.parametrize("end", [COLDEST, HOTTEST])
def test_both_ends_belong_to_the_range(function, end):
    """0 and 60 °C are answered."""
    assert math.isfinite(function(end))


@pytest.mark.parametrize("function", [density, expansion, saturation_pressure])
@pytest.mark.parametrize(
    "temperature",
    [math.nextafter(0.0, -1.0), math.nextafter(60.0, 61.0), math.inf, math.nan],
)
def test_beyond_the_range_is_refused(function, temperature):
    """One step of a float beyond, or no number: an error that names the temperature."""
    with pytest.raises(AdvisorError, match="temperature") as raised:
        function(temperature)
    assert raised.value.expected == "0 to 60 °C"


@given(st.floats(0.0, 5000.0))
def test_at_20_degrees_a_volume_is_itself(volume):
    """Volumes are stated at 20 °C: there the conversion does nothing."""
    assert volume_at_20(volume, 20.0) == volume


@given(st.floats(1.0, 5000.0), TEMPERATURES)
def test_warming_keeps_the_mass(volume, temperature):
    """Volume times density is the same before and after."""
    mass = volume * density(temperature)
    assert volume_at_20(volume, temperature) * density(20.0) == pytest.approx(mass, rel=1e-14)


@given(TEMPERATURES, TEMPERATURES)
def test_warmer_water_is_lighter_and_presses_more(one, other):
    """Density falls above 4 °C, vapour pressure rises everywhere."""
    cool, warm = sorted((one, other))
    assert saturation_pressure(cool) <= saturation_pressure(warm)
    if cool >= 4.0:
        assert density(cool) >= density(warm)
