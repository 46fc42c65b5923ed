"""Units that instruments read in: their size in the unit of the physics."""

LENGTH = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "inch": 25.4, "ft": 304.8}
"""[mm]"""
VOLUME = {"L": 1.0, "l": 1.0, "mL": 0.001, "m3": 1000.0, "m^3": 1000.0, "gal": 3.785411784,
          "gallon": 3.785411784, "imperial_gallon": 4.54609}  # fmt: skip
"""[L]"""
PRESSURE = {"Pa": 1.0, "hPa": 100.0, "mbar": 100.0, "kPa": 1000.0, "bar": 1e5}
"""[Pa]"""
RATIO = {"%": 0.01, "percent": 0.01, "/": 1.0, "1": 1.0}
"""[1]"""
LEVEL_UNITS = {
    "depth": LENGTH,
    "air-gap": LENGTH,
    "volume": VOLUME,
    "percent": RATIO,
    "pressure": PRESSURE,
}


def to_celsius_unit(celsius: float, unit: str) -> float:
    """A temperature [°C] in the unit of a sensor."""
    return celsius * 1.8 + 32.0 if unit in {"degF", "°F"} else celsius
