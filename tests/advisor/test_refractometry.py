"""Readings to concentration and to 20 °C: ranges, joints, and how sure it is."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from advisor.errors import AdvisorError
from advisor.refractometry import (
    GREATEST_READING,
    LEAST_READING,
    brix_at_20,
    brix_from_concentration,
    brix_from_index,
    concentration_from_brix,
    index_from_brix,
    reading_at,
    water_index,
)

READINGS = st.floats(LEAST_READING, GREATEST_READING)
TEMPERATURES = st.floats(0.0, 60.0)


@given(st.floats(0.0, 0.3), st.floats(0.5, 4.0))
def test_concentration_to_brix_and_back(concentration, factor):
    """The factor leads from one to the other and back."""
    brix = brix_from_concentration(concentration, factor)
    assert concentration_from_brix(brix, factor) == pytest.approx(concentration, abs=1e-15)


@given(READINGS)
def test_at_20_degrees_nothing_is_corrected(reading):
    """The scale is made for 20 °C: there the reading stands, and the correction has no sd."""
    estimate = brix_at_20(reading, 20.0)
    assert (estimate.value, estimate.sd) == (reading, 0.0)


@given(st.floats(-1.0, 20.0), TEMPERATURES, TEMPERATURES)
def test_warmer_fluid_reads_lower(reading, one, other):
    """The same reading stands for more, the warmer the fluid was, above the point of 4 °C."""
    cool, warm = sorted((max(one, 4.0), max(other, 4.0)))
    assert brix_at_20(reading, cool).value <= brix_at_20(reading, warm).value


@given(st.floats(-1.0, 25.0), TEMPERATURES)
def test_a_threshold_at_fluid_temperature_leads_back(brix, temperature):
    """What is read at a temperature, referred to 20 °C, is what it was made from."""
    reading = reading_at(brix, temperature)
    assert brix_at_20(reading, temperature).value == pytest.approx(brix, abs=1e-8)


@given(READINGS, st.sampled_from([*range(10, 31)]))
def test_the_correction_has_no_steps(reading, temperature):
    """Across every row of the table, both its ends included, the correction goes on evenly."""
    below = brix_at_20(reading, temperature - 1e-9).value
    above = brix_at_20(reading, temperature + 1e-9).value
    assert above == pytest.approx(below, abs=1e-9)


@given(TEMPERATURES, st.sampled_from([0.0, 5.0, 10.0, 15.0, 20.0]))
def test_neither_has_it_across_a_column(temperature, reading):
    """Across every column of the table the correction goes on evenly."""
    below = brix_at_20(reading - 1e-9, temperature).value
    above = brix_at_20(reading + 1e-9, temperature).value
    assert above == pytest.approx(below, abs=3e-9)


@given(READINGS, st.floats(1.0, 20.0))
def test_the_sd_grows_with_the_distance_and_faster_off_the_table(reading, distance):
    """Further from 20 °C is less sure, on both sides, and beyond the table less still."""
    for side in (-1.0, 1.0):
        near = brix_at_20(reading, 20.0 + side * distance * 0.9).sd
        far = brix_at_20(reading, 20.0 + side * distance).sd
        assert 0.0 < near < far
    inside = brix_at_20(reading, 30.0).sd - brix_at_20(reading, 28.0).sd
    assert brix_at_20(reading, 36.0).sd - brix_at_20(reading, 34.0).sd > inside


@given(st.floats(0.0, 20.0), st.floats(12.0, 28.0) | st.floats(33.0, 57.0), st.floats(0.1, 2.0))
def test_a_temperature_that_is_not_known_makes_the_sd_grow(reading, temperature, temperature_sd):
    """Half the width between one sd of temperature up and down is in the sd."""
    sure = brix_at_20(reading, temperature)
    unsure = brix_at_20(reading, temperature, temperature_sd)

    high = brix_at_20(reading, temperature + temperature_sd).value
    low = brix_at_20(reading, temperature - temperature_sd).value
    assert unsure.value == sure.value
    assert unsure.sd == pytest.approx(math.hypot(sure.sd, (high - low) / 2.0), rel=0.25)


@pytest.mark.parametrize(
    "reading",
    [math.nextafter(LEAST_READING, -9.0), math.nextafter(GREATEST_READING, 99.0), math.nan],
)
def test_a_reading_off_the_scale_is_refused(reading):
    """One step of a float beyond, or no number: refused by name, in every direction."""
    with pytest.raises(AdvisorError, match="reading"):
        brix_at_20(reading, 20.0)
    with pytest.raises(AdvisorError, match="Brix"):
        reading_at(reading, 20.0)
    with pytest.raises(AdvisorError, match="Brix"):
        index_from_brix(reading)


@pytest.mark.parametrize(
    "temperature", [math.nextafter(0.0, -1.0), math.nextafter(60.0, 99.0), math.nan]
)
def test_a_temperature_that_no_fluid_has_is_refused(temperature):
    """One step of a float beyond 0 to 60 °C, or no number: refused by name."""
    for function in (brix_at_20, reading_at):
        with pytest.raises(AdvisorError, match="temperature"):
            function(6.0, temperature)
    with pytest.raises(AdvisorError, match="temperature"):
        water_index(temperature)


def test_both_ends_of_both_scales_belong_to_them():
    """-6 and 30 °Brix, 0 and 60 °C are answered."""
    for reading in (LEAST_READING, GREATEST_READING):
        for temperature in (0.0, 60.0):
            assert math.isfinite(brix_at_20(reading, temperature).value)


@given(st.floats(LEAST_READING, GREATEST_READING))
def test_index_to_brix_and_back(brix):
    """The polynomial and its inverse meet to the digits that cancel in it."""
    assert brix_from_index(index_from_brix(brix)) == pytest.approx(brix, abs=1e-8)


@pytest.mark.parametrize(
    "index", [math.nextafter(1.3246, 1.0), math.nextafter(1.3812, 2.0), 1.0, math.nan]
)
def test_an_index_off_the_scale_is_refused(index):
    """Outside of the fitted range, or no number: refused by name."""
    with pytest.raises(AdvisorError, match="refractive index"):
        brix_from_index(index)
