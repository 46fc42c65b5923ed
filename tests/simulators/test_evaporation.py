"""Vapour pressure and evaporation against published values and reference libraries."""

import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from iapws import IAPWS97

from simulators.evaporation import (
    by_humidity_ratio,
    by_vapour_pressure,
    humidity_ratio,
    latent_heat,
    saturation_pressure,
    vapour_pressure,
)
from simulators.physics import Sump
from tests.simulators.floors import a_body

psychrolib.SetUnitSystem(psychrolib.SI)

DAY_S = 86_400.0


@pytest.mark.parametrize(
    ("celsius", "pressure", "rel"),
    [
        # ASHRAE Handbook Fundamentals 2017, ch. 1, table 3, as asserted by psychrolib's own tests
        # within 300 ppm (tests/test_psychrolib_si.py).
        pytest.param(5.0, 872.6, 3e-4, id="ashrae-5"),
        pytest.param(25.0, 3169.7, 3e-4, id="ashrae-25"),
        pytest.param(50.0, 12351.3, 3e-4, id="ashrae-50"),
        pytest.param(100.0, 101418.0, 3e-4, id="ashrae-100"),
        # FAO Irrigation and Drainage Paper 56, example 3: 3.075 kPa at 24.5 °C, 1.705 at 15 °C.
        pytest.param(24.5, 3075.0, 1e-3, id="fao-24.5"),
        pytest.param(15.0, 1705.0, 1e-3, id="fao-15"),
    ],
)
def test_saturation_pressure_agrees_with_print(celsius, pressure, rel):
    """The printed saturation pressures come out."""
    assert saturation_pressure(celsius) == pytest.approx(pressure, rel=rel)


@given(st.floats(0.5, 90.0))
def test_saturation_pressure_agrees_with_two_libraries(celsius):
    """Within 1e-4 of IAPWS-IF97 and 3e-4 of ASHRAE's equation, wherever a fluid can be."""
    iapws = IAPWS97(T=celsius + 273.15, x=0).P * 1e6
    assert saturation_pressure(celsius) == pytest.approx(iapws, rel=1e-4)
    assert saturation_pressure(celsius) == pytest.approx(
        psychrolib.GetSatVapPres(celsius), rel=3e-4
    )


@given(st.floats(1.0, 45.0), st.floats(0.05, 0.95))
def test_humidity_ratio_agrees_with_psychrolib(celsius, relative):
    """Humidity ratio of moist air at 101 325 Pa as the reference library has it."""
    vapour = relative * saturation_pressure(celsius)
    other = psychrolib.GetHumRatioFromRelHum(celsius, relative, 101_325.0)
    assert humidity_ratio(vapour) == pytest.approx(other, rel=1e-3)
    assert vapour_pressure(humidity_ratio(vapour)) == pytest.approx(vapour, rel=1e-12)


@pytest.mark.parametrize("celsius", [0.01, 20.0, 40.0, 60.0])
def test_latent_heat_agrees_with_steam_tables(celsius):
    """The straight line is within 0.1 % of IAPWS-IF97."""
    kelvin = celsius + 273.15
    exact = (IAPWS97(T=kelvin, x=1).h - IAPWS97(T=kelvin, x=0).h) * 1e3
    assert latent_heat(celsius) == pytest.approx(exact, rel=1e-3)


def test_pool_of_the_worked_case():
    """25 m x 20 m at 0.5 m/s, x_s 0.019826, x 0.0115: 0.04 kg/s.

    Source: worked case quoted at physicsforums.com/threads/242677.
    """
    surface, air = vapour_pressure(0.019826), vapour_pressure(0.0115)
    assert by_humidity_ratio(500.0, surface, air, 0.5) == pytest.approx(0.0400, rel=3e-3)
    # the vapour-pressure relation gives a tenth less in this case: they are independent
    assert by_vapour_pressure(500.0, surface, air, 0.5) == pytest.approx(0.040, rel=0.15)


def test_basin_of_a_second_worked_case():
    """v 2 m/s, 10 m², x_s 0.03, x 0.01: 12.6 kg/h. Source: a calculator page of that rule."""
    surface, air = vapour_pressure(0.03), vapour_pressure(0.01)
    assert by_humidity_ratio(10.0, surface, air, 2.0) * 3600.0 == pytest.approx(12.6, rel=1e-9)


@pytest.mark.parametrize(
    ("case", "carrier", "theta"),
    [
        # area, fluid °C, air °C, humidity, m/s -> kg/d; computed from the formulas with iapws
        # by somebody else (FACTS of the trade, open-surface evaporation).
        pytest.param((1.5, 30.0, 22.0, 0.5, 0.1), 15.3, 18.4, id="sump"),
        pytest.param((1.0, 25.0, 25.0, 0.5, 0.1), 5.5, 6.6, id="even"),
        pytest.param((2.0, 35.0, 25.0, 0.4, 0.3), 35.3, 42.3, id="warm"),
    ],
)
def test_relations_on_three_sumps(case, carrier, theta):
    """Both relations give what the same formulas gave elsewhere."""
    area, fluid, air, relative, speed = case
    surface = saturation_pressure(fluid)
    vapour = relative * saturation_pressure(air)
    by_pressure = by_vapour_pressure(area, surface, vapour, speed) * DAY_S
    by_ratio = by_humidity_ratio(area, surface, vapour, speed) * DAY_S
    assert by_pressure == pytest.approx(carrier, rel=0.01)
    assert by_ratio == pytest.approx(theta, rel=0.01)


def test_open_tank_loses_what_the_relation_says():
    """A standing tank held at 30 °C in air of 22 °C and 50 %, 1.05 m² open: 10.7 kg a day.

    0.7 of the 15.3 kg/d of the published relation for 1.5 m².
    """
    sump = Sump(a_body(open_share=1.0), 10.0, 330.0, 0.0)
    vapour = 0.5 * saturation_pressure(22.0)
    for _ in range(8640):
        sump.celsius = 30.0
        sump.step(running=False, cutting=False, air=22.0, vapour=vapour)
    assert sump.book.evaporation * 0.998207 == pytest.approx(0.7 * 15.3, rel=0.01)


def test_evaporating_heat_of_cutting():
    """One kilowatt that evaporates is 1.48 kg of water an hour: 2.43 MJ/kg at 30 °C."""
    body = a_body(cut_heat=1000.0, cut_evaporates=1.0, spray_area=0.0, open_share=0.0)
    sump = Sump(body, 10.0, 330.0, 0.0)
    for _ in range(360):
        sump.celsius = 30.0
        sump.step(running=True, cutting=True, air=22.0, vapour=1300.0)
    assert sump.book.evaporation * 0.998207 == pytest.approx(1.48, rel=0.01)


def test_chilled_fluid_takes_water_from_the_air():
    """Where the air is moister than the surface, evaporation is negative, and booked so."""
    sump = Sump(a_body(open_share=1.0), 10.0, 330.0, 0.08)
    for _ in range(360):
        sump.celsius = 8.0
        sump.step(running=False, cutting=False, air=28.0, vapour=2400.0)
    assert sump.book.evaporation < 0.0
