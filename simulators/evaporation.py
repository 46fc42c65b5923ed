"""Water that leaves as vapour: vapour pressures, and two published relations for open surfaces.

The relations disagree by a third or so, as measurements do. A scenario chooses one, so that no
estimator can be right by sharing the formula.
"""

import math

KELVIN = 273.15
PRESSURE = 101_325.0  # [Pa]

_CRITICAL_T = 647.096  # [K]
_CRITICAL_P = 22.064e6  # [Pa]
_WAGNER = (
    (-7.85951783, 1.0),
    (1.84408259, 1.5),
    (-11.7866497, 3.0),
    (22.6807411, 3.5),
    (-15.9618719, 4.0),
    (1.80122502, 7.5),
)


def saturation_pressure(celsius: float) -> float:
    """Vapour pressure of water at saturation. [Pa]

    Parameters
    ----------
    celsius
        Temperature, 0 to 100. [°C]

    References
    ----------
    .. [1] W. Wagner and A. Pruss, J. Phys. Chem. Ref. Data 22 (1993) 783, eq. 1 (coefficients from
       memory; checked against an IAPWS library in the tests).

    Examples
    --------
    >>> round(saturation_pressure(25.0), 1)
    3169.8
    """
    kelvin = celsius + KELVIN
    tau = 1.0 - kelvin / _CRITICAL_T
    series = sum(factor * tau**power for factor, power in _WAGNER)
    return _CRITICAL_P * math.exp(_CRITICAL_T / kelvin * series)


def humidity_ratio(vapour: float) -> float:
    """Mass of water per mass of dry air at a vapour pressure [Pa], at 101 325 Pa. [kg/kg]"""
    return 0.621945 * vapour / (PRESSURE - vapour)


def vapour_pressure(ratio: float) -> float:
    """Vapour pressure at a humidity ratio [kg/kg], at 101 325 Pa. [Pa]"""
    return PRESSURE * ratio / (0.621945 + ratio)


def latent_heat(celsius: float) -> float:
    """Heat of evaporation of water, a line through the steam tables, 0 to 60 °C. [J/kg]

    References
    ----------
    .. [1] 2500.9 kJ/kg at 0 °C and 2358.4 kJ/kg at 60 °C: steam tables (from memory; checked
       against an IAPWS library in the tests).
    """
    return 2.5009e6 - 2375.0 * celsius


def by_vapour_pressure(area: float, surface: float, air: float, speed: float) -> float:
    """Evaporation from an open surface by the difference of vapour pressures. [kg/s]

    .. math:: w = A (p_w - p_a)(0.089 + 0.0782 v) / Y

    Parameters
    ----------
    area
        Open surface. [m²]
    surface, air
        Vapour pressure at the surface and in the air. [Pa]
    speed
        Of the air over the surface. [m/s]

    Notes
    -----
    Y is 2400 kJ/kg. Condensation (air moister than the surface) comes out negative and is kept:
    it does happen on a chilled fluid.

    References
    ----------
    .. [1] W. H. Carrier, "The temperature of evaporation", ASHVE Trans. 24 (1918), in the form of
       the ASHRAE Handbook, HVAC Applications, chapter on natatoriums (from memory).
    """
    return area * (surface - air) * 1e-3 * (0.089 + 0.0782 * speed) / 2400.0


def by_humidity_ratio(area: float, surface: float, air: float, speed: float) -> float:
    """Evaporation from an open surface by the difference of humidity ratios. [kg/s]

    .. math:: w = (25 + 19 v) A (x_s - x) / 3600

    Arguments as for :func:`by_vapour_pressure`.

    References
    ----------
    .. [1] Engineering rule for open surfaces; its worked case (v = 0.5 m/s, 25 m x 20 m,
       x_s = 0.019826, x = 0.0115: 0.04 kg/s) is quoted at physicsforums.com/threads/242677.
    """
    difference = humidity_ratio(surface) - humidity_ratio(air)
    return (25.0 + 19.0 * speed) * area * difference / 3600.0


RELATIONS = {"vapour-pressure": by_vapour_pressure, "humidity-ratio": by_humidity_ratio}
