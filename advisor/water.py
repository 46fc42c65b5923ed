"""Water: density, thermal expansion and vapour pressure; the fluid is taken to be nearly water.

A mix of 5 to 10 % expands and evaporates as its water does, to within what sensors see. Oil
expands about three times as much (*from memory*: 0.7e-3 per K), which adds some 8 % to the
expansion of a mix that holds 5 % of it: 0.02 % of the volume at 30 °C, less than 0.1 L in 300 L.
"""

from math import exp
from typing import Final

from advisor.errors import AdvisorError

COLDEST: Final = 0.0
"""Below this fluid freezes. [°C]"""

HOTTEST: Final = 60.0
"""Above this no sump runs, and the formulas leave their ground. [°C]"""


def density(temperature: float) -> float:
    """Density of air-free water at 101 325 Pa. [kg/m³]

    Parameters
    ----------
    temperature : float
        0 to 60. [°C]

    Raises
    ------
    AdvisorError
        If `temperature` is beyond that.

    Notes
    -----
    Published for 0 to 40 °C with an uncertainty under 0.001 kg/m³. Continued to 60 °C it is
    0.002 kg/m³ above the IAPWS-95 formulation at 45 °C and under 0.018 kg/m³ off at 60 °C.

    References
    ----------
    .. [1] M. Tanaka et al., "Recommended table for the density of water between 0 °C and 40 °C
       based on recent experimental reports", Metrologia 38 (2001) 301-309.

    Examples
    --------
    >>> density(16.0)  # 998.9468 was measured
    998.9459
    """
    if not COLDEST <= temperature <= HOTTEST:
        raise AdvisorError("temperature", temperature, f"{COLDEST:g} to {HOTTEST:g} °C")
    from_maximum = temperature - 3.983035
    return 999.974950 * (
        1.0
        - from_maximum
        * from_maximum
        * (temperature + 301.797)
        / (522528.9 * (temperature + 69.34881))
    )


_DENSITY_20: Final = density(20.0)
"""At the temperature to which volumes are referred. [kg/m³]"""


def expansion(temperature: float) -> float:
    """Volume of fluid at a temperature per its volume at 20 °C. [1]

    The tank grows as well, by less than a tenth of this for steel (*from memory*: 36e-6 per K by
    volume), and is neglected.

    >>> expansion(30.0)
    1.00257
    """
    return _DENSITY_20 / density(temperature)


def volume_at_20(volume: float, temperature: float) -> float:
    """Volume that fluid measured at a temperature has at 20 °C. [L]

    Parameters
    ----------
    volume : float
        As the tank holds it. [L]
    temperature : float
        Of the fluid, 0 to 60. [°C]

    Examples
    --------
    Fluid that has cooled by ten kelvin is not lost:

    >>> volume_at_20(300.0, 30.0)
    299.23
    """
    return volume / expansion(temperature)


def saturation_pressure(temperature: float) -> float:
    """Vapour pressure over water at its surface temperature. [Pa]

    Parameters
    ----------
    temperature : float
        0 to 60. [°C]

    Raises
    ------
    AdvisorError
        If `temperature` is beyond that.

    Notes
    -----
    The Tetens form. Within 0.13 % of IAPWS-IF97 over the range.

    References
    ----------
    .. [1] R. G. Allen et al., "Crop evapotranspiration", FAO Irrigation and Drainage Paper 56,
       Rome 1998, equation 11.

    Examples
    --------
    >>> saturation_pressure(24.5)  # example 3 of [1]: 3.075 kPa
    3074.6
    """
    if not COLDEST <= temperature <= HOTTEST:
        raise AdvisorError("temperature", temperature, f"{COLDEST:g} to {HOTTEST:g} °C")
    return 610.8 * exp(17.27 * temperature / (temperature + 237.3))
