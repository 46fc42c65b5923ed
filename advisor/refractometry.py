"""Refractometer readings: °Brix to concentration, to refractive index, and from fluid temperature.

Three tables of the temperature correction are in print. This module follows the international one
(AOAC 1936 lineage, [1]_), which the OIV's [2]_ meets within 0.02 °Brix from 10 to 20 °C and the
older handbook's [3]_ within 0.04 °Brix below 20 °C and 0.11 °Brix at 30 °C.

References
----------
.. [1] Interstate standard, document 1200157922 of the Russian standards library, table A.1: rows 10
   to 22 °C, which were seen in print. Warmer ones were not: from 22 °C on the correction follows
   water's own index, which ISO 1743-1973 (glucose syrup, as GOST R 50546-93) confirms.
.. [2] OIV, Compendium of International Methods of Wine and Must Analysis, MA-AS2-02, table I.
.. [3] CRC Handbook of Chemistry and Physics, temperature corrections for refractometric sucrose.
"""

from math import hypot
from typing import Final

from advisor.errors import AdvisorError
from advisor.water import COLDEST, HOTTEST, density
from advisor.words import Estimate

LEAST_READING: Final = -6.0
"""What water of 60 °C reads, and a little. [°Brix]"""

GREATEST_READING: Final = 30.0
"""Beyond any mix that a sump holds, and any premix. [°Brix]"""

_FIRST_ROW: Final = 10.0
_LAST_ROW: Final = 22.0
_TABLE: Final = (  # what is added at readings of 0, 5, 10, 15, 20 °Brix; a row for each °C from 10
    (-0.50, -0.54, -0.58, -0.61, -0.64),
    (-0.46, -0.49, -0.53, -0.55, -0.58),
    (-0.42, -0.45, -0.48, -0.50, -0.52),
    (-0.37, -0.40, -0.42, -0.44, -0.46),
    (-0.33, -0.35, -0.37, -0.39, -0.40),
    (-0.27, -0.29, -0.31, -0.33, -0.34),
    (-0.22, -0.24, -0.25, -0.26, -0.27),
    (-0.17, -0.18, -0.19, -0.20, -0.21),
    (-0.12, -0.13, -0.13, -0.14, -0.14),
    (-0.06, -0.06, -0.06, -0.07, -0.07),
    (0.00, 0.00, 0.00, 0.00, 0.00),
    (0.06, 0.07, 0.07, 0.07, 0.07),
    (0.13, 0.13, 0.14, 0.14, 0.15),
)

_PRINT_SD: Final = 0.005
"""Half of what the tables in print differ by, per kelvin from 20 °C. [°Brix/K]"""
_FLUID_SD: Final = 0.08
"""A mix is no sugar water: 5 % of oil, whose index falls four times as fast with temperature as
water's, changes the correction by some 8 % of it. Own reckoning. [1]"""
_BEYOND_SD: Final = 0.01
"""What the continuation may be off for each kelvin beyond the table; the OIV's table at 5 °C is
0.10 °Brix away, ISO 1743-1973 at 45 °C 0.04. [°Brix/K]"""


def concentration_from_brix(brix: float, factor: float) -> float:
    """Concentration of a mix by its reading at 20 °C and the concentrate's factor. [1]

    Parameters
    ----------
    brix : float
        Reading. [°Brix]
    factor : float
        Of the concentrate, from its data sheet or a calibration. [%/°Brix]

    Notes
    -----
    Linear through zero (*common practice*); tramp oil and salts lift the reading, not the result.

    Examples
    --------
    >>> concentration_from_brix(6.4, 1.25)
    0.08
    """
    return brix * factor / 100.0


def brix_from_concentration(concentration: float, factor: float) -> float:
    """Reading at 20 °C of a mix of known concentration [1]; factor in [%/°Brix]. [°Brix]

    >>> brix_from_concentration(0.08, 1.25)
    6.4
    """
    return concentration * 100.0 / factor


def brix_at_20(reading: float, temperature: float, temperature_sd: float = 0.0) -> Estimate:
    """Refer a reading without temperature compensation to 20 °C. [°Brix]

    Parameters
    ----------
    reading : float
        As the instrument shows it, -6 to 30. [°Brix]
    temperature : float
        Of the fluid at the prism, 0 to 60. [°C]
    temperature_sd : float
        How far that may be off; large where nothing measures it. [°C]

    Returns
    -------
    estimate
        The sd is that of the correction alone, most of it the same for all readings of a fluid:
        it does not average out. What the instrument scatters comes on top. [°Brix]

    Raises
    ------
    AdvisorError
        If `reading` or `temperature` is beyond its range, or not a number.

    Notes
    -----
    Between the rows and columns of table A.1 of [1]_ straight lines, 10 to 22 °C; under 0 and over
    20 °Brix its outer columns. Beyond, the correction goes on as that of water's own refractive
    index does (:func:`water_index`): within 0.05 °Brix of ISO 1743-1973 at 45 °C, within 0.2 at
    60 °C. There the sd is larger.

    References
    ----------
    .. [1] See the module.

    Examples
    --------
    A mix of 30 °C reads three quarters of a degree too low:

    >>> brix_at_20(6.0, 30.0)
    Estimate(value=6.745, sd=0.112)
    """
    _check_scale("reading", reading)
    added, slope, beyond = _correction(reading, temperature)
    sd = hypot(
        _PRINT_SD * (temperature - 20.0),
        _FLUID_SD * added,
        _BEYOND_SD * beyond,
        slope * temperature_sd,
    )
    return Estimate(reading + added, sd)


def reading_at(brix: float, temperature: float) -> float:
    """Reading, without compensation, of fluid that would read `brix` at 20 °C. [°Brix]

    The inverse of :func:`brix_at_20`, for thresholds in the sensor's own scale; temperature in
    [°C].

    >>> reading_at(6.746, 30.0)
    6.0
    """
    _check_scale("Brix", brix)
    reading = brix
    for _ in range(5):  # the correction hangs on the reading by under 0.01, so two digits a round
        reading = brix - _correction(reading, temperature)[0]
    return reading


def _correction(reading: float, temperature: float) -> tuple[float, float, float]:
    """Find what is added [°Brix], what a kelvin changes of it, and the kelvins off the table."""
    if not COLDEST <= temperature <= HOTTEST:
        raise AdvisorError("temperature", temperature, f"{COLDEST:g} to {HOTTEST:g} °C")
    nearest = temperature
    if not _FIRST_ROW <= temperature <= _LAST_ROW:
        nearest = _FIRST_ROW if temperature < _FIRST_ROW else _LAST_ROW
    row = min(int(nearest), 21) - 10
    place = reading / 5.0
    column = 0 if place < 1.0 else min(int(place), 3)
    share = 0.0 if place < 0.0 else 1.0 if place > 4.0 else place - column
    upper, lower = _TABLE[row], _TABLE[row + 1]
    at_row = upper[column] + (upper[column + 1] - upper[column]) * share
    slope = lower[column] + (lower[column + 1] - lower[column]) * share - at_row
    added = at_row + slope * (nearest - 10.0 - row)
    if nearest == temperature:
        return added, slope, 0.0
    grown = _EDGE_READINGS[nearest] - _water_reading(temperature)
    return added + grown, grown / (temperature - nearest), abs(temperature - nearest)


def _check_scale(quantity: str, brix: float) -> None:
    """Refuse what no refractometer shows of a fluid. [°Brix]"""
    if not LEAST_READING <= brix <= GREATEST_READING:
        raise AdvisorError(quantity, brix, f"{LEAST_READING:g} to {GREATEST_READING:g} °Brix")


def water_index(temperature: float) -> float:
    """Refractive index of water in air at 589.3 nm. [1]

    Parameters
    ----------
    temperature : float
        0 to 60. [°C]

    Notes
    -----
    Uncertain by 6e-6 in the formulation for the liquid; from vacuum to air by division by 1.000272.

    References
    ----------
    .. [1] IAPWS R9-97, "Release on the Refractive Index of Ordinary Water Substance as a Function
       of Wavelength, Temperature and Pressure", 1997.

    Examples
    --------
    >>> water_index(20.0)  # ICUMSA: 1.332986
    1.332987
    """
    rho = density(temperature) / 1000.0
    theta = (temperature + 273.15) / 273.15
    colour = (589.3 / 589.0) ** 2
    molar = rho * (
        0.244257733
        + 9.74634476e-3 * rho
        - 3.73234996e-3 * theta
        + 2.68678472e-4 * colour * theta
        + 1.58920570e-3 / colour
        + 2.45934259e-3 / (colour - 0.229202**2)
        + 0.900704920 / (colour - 5.432937**2)
        - 1.66626219e-2 * rho * rho
    )
    return float(((2.0 * molar + 1.0) / (1.0 - molar)) ** 0.5) / 1.000272


_LEAST_INDEX: Final = 1.3246
_GREATEST_INDEX: Final = 1.3812


def brix_from_index(index: float) -> float:
    """Brix of a refractive index at 589.3 nm and 20 °C, in air. [°Brix]

    Parameters
    ----------
    index : float
        1.3246 to 1.3812: -6 to 30 °Brix. [1]

    Raises
    ------
    AdvisorError
        If `index` is beyond that.

    Notes
    -----
    A polynomial fitted to the ICUMSA table, which it gives to within 0.02 °Brix from 0 to 30; the
    digits cancel, so it needs double precision. A unit in the fourth decimal is 0.07 °Brix.

    References
    ----------
    .. [1] Encyclopaedia article "Brix", copy at liquisearch.com/brix/tables.
    .. [2] ICUMSA, Specification and Standard SPS-3 (*from memory*).

    Examples
    --------
    >>> brix_from_index(1.340264)
    4.982
    """
    if not _LEAST_INDEX <= index <= _GREATEST_INDEX:
        raise AdvisorError("refractive index", index, f"{_LEAST_INDEX} to {_GREATEST_INDEX}")
    return _polynomial(index)


def index_from_brix(brix: float) -> float:
    """Refractive index of a reading [°Brix] at 20 °C: :func:`brix_from_index` back. [1]

    >>> index_from_brix(4.982)
    1.340264
    """
    _check_scale("Brix", brix)
    index = 1.333 + 1.5e-3 * brix
    for _ in range(5):
        index -= (_polynomial(index) - brix) / _slope(index)
    return index


def _polynomial(n: float) -> float:
    """Brix of refractive index `n`, by Horner's rule. [°Brix]"""
    return (
        (((11758.74 * n - 88885.21) * n + 270177.93) * n - 413145.80) * n + 318417.95
    ) * n - 99127.4536


def _slope(n: float) -> float:
    """Derivative of the polynomial. [°Brix]"""
    return (((5 * 11758.74 * n - 4 * 88885.21) * n + 3 * 270177.93) * n - 2 * 413145.80) * n + (
        318417.95
    )


def _water_reading(temperature: float) -> float:
    """Read water at a temperature [°C] on the scale for 20 °C. [°Brix]"""
    return _polynomial(water_index(temperature))


_EDGE_READINGS: Final = {edge: _water_reading(edge) for edge in (_FIRST_ROW, _LAST_ROW)}
