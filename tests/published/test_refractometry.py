"""The three tables in print, ISO 1743, ICUMSA's scale and IAPWS's water."""

import iapws
import pytest
from iapws._iapws import _Refractive

from advisor.refractometry import (
    brix_at_20,
    brix_from_index,
    index_from_brix,
    reading_at,
    water_index,
)

AIR = 1.000272
"""Refractive index of air at 589.3 nm: between the vacuum's scale and the refractometer's."""

# Table A.1 of an interstate standard (docs.cntd.ru/document/1200157922), which carries the
# international table of the AOAC, 1936: °C, then what is added at 0, 5, 10, 15, 20 °Brix. The page
# ends at 22 °C; its rows for 25 and 30 °C are from memory, and not used by the module.
INTERNATIONAL = [
    (10, (-0.50, -0.54, -0.58, -0.61, -0.64)),
    (12, (-0.42, -0.45, -0.48, -0.50, -0.52)),
    (15, (-0.27, -0.29, -0.31, -0.33, -0.34)),
    (18, (-0.12, -0.13, -0.13, -0.14, -0.14)),
    (22, (0.13, 0.13, 0.14, 0.14, 0.15)),
]
REMEMBERED = [
    (25, (0.33, 0.35, 0.36, 0.37, 0.38)),
    (30, (0.72, 0.74, 0.77, 0.78, 0.79)),
]

# OIV-MA-AS2-02, table I (copy at yumpu.com/en/document/view/12038601): at 10, 15, 20 %.
OIV = [
    (5, (-0.82, -0.87, -0.92)),
    (10, (-0.59, -0.62, -0.65)),
    (12, (-0.49, -0.51, -0.53)),
    (14, (-0.38, -0.39, -0.40)),
    (15, (-0.32, -0.33, -0.34)),
    (16, (-0.26, -0.27, -0.28)),
    (17, (-0.20, -0.20, -0.21)),
]

# CRC Handbook of Chemistry and Physics, as transcribed in SnpEff's RefractiveIndex.java: at 5, 10,
# 15, 20 %.
HANDBOOK = [
    (15, (-0.25, -0.27, -0.31, -0.31)),
    (17, (-0.16, -0.18, -0.20, -0.20)),
    (19, (-0.06, -0.07, -0.08, -0.08)),
    (21, (0.06, 0.07, 0.07, 0.07)),
    (23, (0.18, 0.20, 0.20, 0.21)),
    (25, (0.30, 0.32, 0.32, 0.34)),
    (27, (0.43, 0.46, 0.46, 0.48)),
    (30, (0.64, 0.67, 0.70, 0.71)),
]

# ISO 1743-1973 (as GOST R 50546-93, meganorm.ru), glucose syrup: dry substance [%], refractive
# index at 20, 30, 45, 60 °C.
ISO_1743 = [
    (0, (1.33299, 1.33194, 1.32985, 1.32725)),
    (4, (1.33904, 1.33793, 1.33578, 1.33313)),
    (8, (1.34531, 1.34415, 1.34193, 1.33923)),
    (12, (1.35178, 1.35057, 1.34829, 1.34554)),
    (16, (1.35846, 1.35719, 1.35484, 1.35205)),
    (20, (1.36534, 1.36402, 1.36161, 1.35877)),
]

# ICUMSA SPS-3, 589 nm in air, 20 °C (from memory): % sucrose, index.
ICUMSA = [
    (0, 1.332986),
    (5, 1.340264),
    (10, 1.347824),
    (15, 1.355679),
    (20, 1.363842),
    (25, 1.372328),
    (30, 1.381149),
]

# CRC Handbook, concentrative properties of sucrose, same transcription: four decimals.
FOUR_DECIMALS = [(1, 1.3344), (4, 1.3388), (8, 1.3448), (12, 1.3509), (18, 1.3606), (28, 1.3776)]


def added(reading: float, temperature: float) -> float:
    """What the module adds to a reading."""
    return brix_at_20(reading, temperature).value - reading


@pytest.mark.parametrize(("temperature", "row"), INTERNATIONAL)
def test_the_international_table_is_the_one_that_is_used(temperature, row):
    """Its every printed value comes out to the last digit."""
    for reading, printed in zip((0.0, 5.0, 10.0, 15.0, 20.0), row, strict=True):
        assert added(reading, temperature) == pytest.approx(printed, abs=1e-12)


@pytest.mark.parametrize(("temperature", "row"), REMEMBERED)
def test_the_tables_remembered_rows_are_met_by_waters_own_index(temperature, row):
    """Within 0.04 °Brix and well within an sd, where no print was seen."""
    for reading, remembered in zip((0.0, 5.0, 10.0, 15.0, 20.0), row, strict=True):
        off = abs(added(reading, temperature) - remembered)
        assert off < 0.04
        assert off < brix_at_20(reading, temperature).sd


@pytest.mark.parametrize(("temperature", "row"), OIV)
def test_the_oivs_table_is_met_within_the_stated_spread(temperature, row):
    """Within 0.02 °Brix from 10 °C on; at 5 °C, off the table, within two sds."""
    for reading, printed in zip((10.0, 15.0, 20.0), row, strict=True):
        if temperature >= 10:
            assert added(reading, temperature) == pytest.approx(printed, abs=0.021)
        assert (
            abs(added(reading, temperature) - printed) < 2.0 * brix_at_20(reading, temperature).sd
        )


@pytest.mark.parametrize(("temperature", "row"), HANDBOOK)
def test_the_handbooks_table_is_met_within_the_stated_spread(temperature, row):
    """Within 0.04 °Brix below 20 °C, 0.11 up to 30 °C, and always within two sds."""
    for reading, printed in zip((5.0, 10.0, 15.0, 20.0), row, strict=True):
        off = abs(added(reading, temperature) - printed)
        assert off <= (0.041 if temperature < 20 else 0.11)
        assert off < 2.0 * brix_at_20(reading, temperature).sd + 0.005  # rounding of the print


def test_the_tables_in_print_are_not_the_same():
    """At 15 °C and 10 °Brix they say -0.27, -0.31 and -0.32: two of them are not this one."""
    handbook, oiv = dict(HANDBOOK)[15][1], dict(OIV)[15][0]
    assert len({round(added(10.0, 15.0), 2), handbook, oiv}) == 3


@pytest.mark.parametrize(("percent", "indices"), ISO_1743)
@pytest.mark.parametrize(
    ("place", "temperature", "tolerance"), [(1, 30.0, 0.035), (2, 45.0, 0.07), (3, 60.0, 0.2)]
)
def test_glucose_syrup_is_met_up_to_60_degrees(percent, indices, place, temperature, tolerance):
    """Beyond the table too, an independent standard's fluid is corrected as it prints, in 2 sds."""
    true = brix_from_index(indices[0])
    reading = brix_from_index(indices[place])

    estimate = brix_at_20(reading, temperature)

    assert estimate.value == pytest.approx(true, abs=tolerance), f"{percent} %"
    assert abs(estimate.value - true) < 2.0 * estimate.sd


@pytest.mark.parametrize("temperature", [0.01, 5.0, 9.0, 15.0, 25.0, 31.0, 35.0, 40.0, 60.0])
def test_water_reads_zero_once_it_is_corrected(temperature):
    """From first principles: water's index by IAPWS (iapws 1.5.5) on the scale for 20 °C."""
    rho = iapws.IAPWS95(T=temperature + 273.15, P=0.101325).rho
    index = _Refractive(rho, temperature + 273.15, 0.5893) / AIR
    zero = brix_from_index(_Refractive(998.2067, 293.15, 0.5893) / AIR)

    corrected = brix_at_20(brix_from_index(index) - zero, temperature).value

    assert corrected == pytest.approx(0.0, abs=0.025)


@pytest.mark.parametrize("temperature", [0.01, 10.0, 20.0, 25.0, 40.0, 60.0])
def test_waters_index_agrees_with_iapws(temperature):
    """The release on the refractive index, as iapws 1.5.5 works it out."""
    rho = iapws.IAPWS95(T=temperature + 273.15, P=0.101325).rho
    other = _Refractive(rho, temperature + 273.15, 0.5893) / AIR
    assert water_index(temperature) == pytest.approx(other, abs=4e-7 if temperature <= 40 else 7e-6)


def test_waters_index_agrees_with_print():
    """ISO 1743's row of water to its five decimals; 25 °C as the chemicals library documents it."""
    for temperature, printed in zip((20.0, 30.0, 45.0, 60.0), ISO_1743[0][1], strict=True):
        assert water_index(temperature) == pytest.approx(printed, abs=6e-5)
    assert water_index(25.0) * AIR == pytest.approx(1.3328581926, abs=3e-7)


def test_the_vacuums_scale_is_not_the_refractometers():
    """An index against vacuum, taken for one against air, is wrong by a quarter of a degree."""
    mixed_up = brix_from_index(water_index(20.0) * AIR) - brix_from_index(water_index(20.0))
    assert mixed_up == pytest.approx(0.25, abs=0.01)


@pytest.mark.parametrize(("percent", "index"), ICUMSA)
def test_index_and_brix_agree_with_icumsa(percent, index):
    """ICUMSA's own table, to 0.02 °Brix: what its fitted polynomial leaves."""
    assert brix_from_index(index) == pytest.approx(percent, abs=0.021)
    assert index_from_brix(percent) == pytest.approx(index, abs=3.5e-5)


@pytest.mark.parametrize(("percent", "index"), FOUR_DECIMALS)
def test_index_and_brix_agree_with_the_handbook(percent, index):
    """Four decimals of index are 0.07 °Brix: half of it, and the polynomial's 0.02."""
    assert brix_from_index(index) == pytest.approx(percent, abs=0.055)


def test_a_rule_for_oils_must_not_be_put_on_the_brix_scale():
    """0.00045 per kelvin is of the index of oils; a calculator's page adds it to °Brix.

    calculatorultra.com, refractometer temperature correction: 10 °Brix at 25 °C becomes 10.0023.
    """
    assert added(10.0, 25.0) > 100 * 0.00045 * 5.0
    assert reading_at(10.0, 30.0) < 9.3
