"""Water's own properties that sensors feel: density, refraction, the speed of sound above it."""

from bisect import bisect_right

DENSITY_20 = 998.2067  # [kg/m³], Tanaka et al. 2001 at 20 °C
GRAVITY = 9.80665  # [m/s²]


def density(celsius: float) -> float:
    """Density of air-free water at 101 325 Pa, 0 to 40 °C. [kg/m³]

    References
    ----------
    .. [1] M. Tanaka et al., Metrologia 38 (2001) 301, eq. 1 (coefficients from memory; checked
       against IAPWS-95 in the tests).

    Examples
    --------
    >>> round(density(30.0), 3)
    995.649
    """
    return 999.974950 * (
        1.0 - (celsius - 3.983035) ** 2 * (celsius + 301.797) / (522528.9 * (celsius + 69.34881))
    )


def expansion(celsius: float) -> float:
    """Volume at a temperature over the volume at 20 °C, as for water. [1]"""
    return DENSITY_20 / density(celsius)


def speed_of_sound(celsius: float) -> float:
    """In air. [m/s]

    References
    ----------
    .. [1] 331.3 + 0.606 t m/s, the textbooks' line for dry air, -20 to 40 °C (from memory; checked
       against the ideal gas in the tests).
    """
    return 331.3 + 0.606 * celsius


# What has to be added to a reading at t °C to have it at 20 °C: for water from its refractive
# index (IAPWS R9-97) through the ICUMSA polynomial, and the slope per °Brix from the rows of the
# international temperature correction (AOAC lineage) between 0 and 10 °Brix.
_CELSIUS = (5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 50.0)
_ZERO = (-0.64, -0.50, -0.28, 0.0, 0.34, 0.74, 1.19, 1.69, 2.82)
_SLOPE = (-0.012, -0.008, -0.004, 0.0, 0.003, 0.005, 0.005, 0.005, 0.005)


def brix_correction(celsius: float, brix: float) -> float:
    """What an uncompensated reading at a temperature lacks to its value at 20 °C. [°Brix]"""
    i = min(max(bisect_right(_CELSIUS, celsius) - 1, 0), len(_CELSIUS) - 2)
    x = (celsius - _CELSIUS[i]) / (_CELSIUS[i + 1] - _CELSIUS[i])
    zero = _ZERO[i] + x * (_ZERO[i + 1] - _ZERO[i])
    slope = _SLOPE[i] + x * (_SLOPE[i + 1] - _SLOPE[i])
    return zero + slope * brix
