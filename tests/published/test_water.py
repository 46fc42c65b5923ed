"""Water against print and independent libraries."""

import iapws
import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from iapws.iapws97 import _PSat_T

from advisor.water import density, expansion, saturation_pressure, volume_at_20

psychrolib.SetUnitSystem(psychrolib.SI)

DENSITIES = [
    # Tanaka et al., Metrologia 38 (2001) 301: worked out with its formula by another program.
    (4.0, 999.9749, 1e-4),
    (10.0, 999.7027, 1e-4),
    (15.0, 999.1026, 1e-4),
    (20.0, 998.2067, 1e-4),
    (25.0, 997.0470, 1e-4),
    (30.0, 995.6488, 1e-4),
    (35.0, 994.0326, 1e-4),
    (40.0, 992.2152, 1e-4),
    # An absolute determination: 998.9468 +- 0.0006 at 16 °C (its abstract); two of its sds.
    (16.0, 998.9468, 0.0012),
]


@pytest.mark.parametrize(("temperature", "value", "tolerance"), DENSITIES)
def test_density_agrees_with_print(temperature, value, tolerance):
    """Density as published, to the printed digits."""
    assert density(temperature) == pytest.approx(value, abs=tolerance)


@pytest.mark.parametrize(
    ("temperature", "tolerance"),
    [(1.0, 0.002), (20.0, 0.002), (40.0, 0.002), (45.0, 0.003), (50.0, 0.006), (60.0, 0.018)],
)
def test_density_agrees_with_iapws_95(temperature, tolerance):
    """Within what the docstring says of the formulation for scientific use (iapws 1.5.5)."""
    other = iapws.IAPWS95(T=temperature + 273.15, P=0.101325).rho
    assert density(temperature) == pytest.approx(other, abs=tolerance)


def test_kells_formula_agrees_but_not_with_its_misprint():
    """Kell 1975 with 16.879850e-3 gives the same density; a reprint's 16.897850e-3 is 0.26 off.

    Numerator as in J. Res. NIST 97 (1992) 335, the reprint that has the digits exchanged.
    """
    t = 20.0
    numerator = (
        999.83952
        + 16.945176 * t
        - 7.9870401e-3 * t**2
        - 46.170461e-6 * t**3
        + 105.56302e-9 * t**4
        - 280.54253e-12 * t**5
    )
    assert density(t) == pytest.approx(numerator / (1.0 + 16.879850e-3 * t), abs=0.004)
    assert density(t) - numerator / (1.0 + 16.897850e-3 * t) > 0.25


@pytest.mark.parametrize(("temperature", "ratio"), [(30.0, 1.00257), (40.0, 1.00604)])
def test_water_expands_as_iapws_95_says(temperature, ratio):
    """0.26 % from 20 to 30 °C, 0.60 % to 40 (IAPWS-95, iapws 1.5.5)."""
    assert expansion(temperature) == pytest.approx(ratio, abs=5e-6)
    assert volume_at_20(300.0, temperature) == pytest.approx(300.0 / ratio, abs=2e-3)


@pytest.mark.parametrize(
    ("temperature", "pressure"),
    # FAO Irrigation and Drainage Paper 56, example 3 (from memory): 3.075 and 1.705 kPa.
    [(24.5, 3075.0), (15.0, 1705.0)],
)
def test_vapour_pressure_agrees_with_fao_56(temperature, pressure):
    """The paper's own example, to its three decimals of a kilopascal."""
    assert saturation_pressure(temperature) == pytest.approx(pressure, abs=0.55)


@pytest.mark.parametrize(
    ("temperature", "pressure"),
    # ASHRAE Handbook Fundamentals 2017, ch. 1, table 3, as asserted in psychrolib's own tests.
    [(5.0, 872.6), (25.0, 3169.7), (50.0, 12_351.3)],
)
def test_vapour_pressure_agrees_with_ashrae(temperature, pressure):
    """Table 3 to 0.13 %."""
    assert saturation_pressure(temperature) == pytest.approx(pressure, rel=1.3e-3)


@given(st.floats(0.1, 60.0))
def test_vapour_pressure_agrees_with_two_libraries(temperature):
    """IAPWS-IF97 (iapws 1.5.5) and Hyland-Wexler (psychrolib 2.5.0) to 0.13 %."""
    pressure = saturation_pressure(temperature)
    assert pressure == pytest.approx(_PSat_T(temperature + 273.15) * 1e6, rel=1.3e-3)
    assert pressure == pytest.approx(psychrolib.GetSatVapPres(temperature), rel=1.3e-3)
