"""Density, refraction and sound against reference libraries."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from iapws import IAPWS95
from iapws._iapws import _Refractive

from simulators.water import brix_correction, density, expansion, speed_of_sound


@pytest.mark.parametrize("celsius", [4.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0])
def test_density_agrees_with_iapws95(celsius):
    """Tanaka's equation is within 2 mg/L of IAPWS-95."""
    exact = IAPWS95(T=celsius + 273.15, P=0.101325).rho
    assert density(celsius) == pytest.approx(exact, abs=2e-3)


def test_water_swells_by_a_quarter_percent_from_20_to_30():
    """998.207 over 995.650 is 1.00257."""
    assert expansion(30.0) == pytest.approx(1.00257, abs=1e-5)


def icumsa(index: float) -> float:
    """Brix of a refractive index at 20 °C, ICUMSA polynomial. [°Brix]"""
    factors = (11758.74, -88885.21, 270177.93, -413145.80, 318417.95, -99127.4536)
    value = 0.0
    for factor in factors:
        value = value * index + factor
    return value


@pytest.mark.parametrize("celsius", [5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 50.0])
def test_correction_of_water_follows_its_refractive_index(celsius):
    """At 0 °Brix the correction is what IAPWS R9-97 and the ICUMSA polynomial give."""

    def reading(at: float) -> float:
        kelvin = at + 273.15
        vacuum = _Refractive(IAPWS95(T=kelvin, P=0.101325).rho, kelvin, 0.5893)
        return icumsa(vacuum / 1.000272)

    assert brix_correction(celsius, 0.0) == pytest.approx(
        reading(20.0) - reading(celsius), abs=0.01
    )


@pytest.mark.parametrize(
    ("celsius", "brix", "correction"),
    # International temperature correction, docs.cntd.ru/document/1200157922, table A.1.
    [(10.0, 5.0, -0.54), (10.0, 10.0, -0.58), (15.0, 5.0, -0.29), (15.0, 10.0, -0.31)],
)
def test_correction_agrees_with_the_printed_table(celsius, brix, correction):
    """The printed rows come out to the spread between the tables in print."""
    assert brix_correction(celsius, brix) == pytest.approx(correction, abs=0.04)


@given(st.floats(0.0, 55.0), st.floats(0.0, 15.0))
def test_warmer_fluid_reads_lower(celsius, brix):
    """The correction grows with temperature everywhere."""
    assert brix_correction(celsius + 1.0, brix) > brix_correction(celsius, brix)


@pytest.mark.parametrize("celsius", [0.0, 10.0, 20.0, 30.0, 40.0])
def test_speed_of_sound_is_that_of_an_ideal_gas(celsius):
    """Within 0.25 % of sqrt(gamma R T / M), gamma 1.4, M 28.9652 g/mol."""
    ideal = math.sqrt(1.4 * 8.314462618 * (celsius + 273.15) / 0.0289652)
    assert speed_of_sound(celsius) == pytest.approx(ideal, rel=2.5e-3)
