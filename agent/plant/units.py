"""Which unit each signal has inside, and how what a plant reads becomes it."""

from collections.abc import Mapping

from advisor.plan import LevelKind
from advisor.words import Signal
from agent.quantities import conversion

LEVEL_UNITS: Mapping[LevelKind, str] = {
    "depth": "mm",
    "air-gap": "mm",
    "volume": "L",
    "percent": "1",
    "pressure": "Pa",
}
"""Internal unit of a level signal, by its kind; 1 is a fraction."""

UNITS: Mapping[Signal, str] = {
    Signal.BRIX: "degBrix",
    Signal.TEMPERATURE: "degC",
    Signal.WATER_METER: "L",
    Signal.CONCENTRATE_METER: "L",
    Signal.PH: "pH",
    Signal.CONDUCTIVITY: "mS/cm",
    Signal.AIR_TEMPERATURE: "degC",
    Signal.HUMIDITY: "1",
}
"""Internal unit of the other signals; those that are on or off have none."""


def internal_unit(signal: Signal, kind: LevelKind = "depth") -> str | None:
    """Unit of a signal inside; `None` of one that has none."""
    return LEVEL_UNITS[kind] if signal is Signal.LEVEL else UNITS.get(signal)


def usual_unit(signal: Signal, kind: LevelKind = "depth") -> str:
    """Unit that is meant where the plant file names none; empty of a signal that has none."""
    inside = internal_unit(signal, kind) or ""
    return "%" if inside == "1" else inside


def scale(unit: str, inside: str) -> tuple[float, float]:
    """Factor and offset from a plant's unit to the internal one.

    Raises
    ------
    QuantityError
        If there is no such unit, or it measures something else.
    """
    if unit == inside or (inside == "pH" and unit in {"", "1"}):
        return 1.0, 0.0
    return conversion(unit, inside)
