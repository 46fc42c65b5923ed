"""Values of Sparkplug metrics: numbers as their data type means them, units, quality."""

from typing import TypeAlias

from agent.decode.problem import PayloadError
from agent.decode.results import Reason
from agent.decode.sparkplug_payload import Proto

Value: TypeAlias = float | bool | str

SIGNED: dict[int, int] = {1: 8, 2: 16, 3: 32, 4: 64}
"""Bits of Int8, Int16, Int32 and Int64, which stand in unsigned fields (Sparkplug 3.0, 6.4.16)."""
BOOLEAN = 11
UNITS = ("engUnit", "Engineering Units", "unit")
"""Properties in which gateways put a metric's unit, *common practice*."""
BAD_QUALITY, STALE_QUALITY = 0, 500
"""Of the property `Quality` (Sparkplug 3.0, 6.4.12): 192 is good, 500 is stale, 0 is bad."""


def value_of(metric: Proto, datatype: int) -> Value:
    """Value of a metric.

    Raises
    ------
    PayloadError
        If it has none that a signal can be.
    """
    field = metric.WhichOneof("value")
    if metric.is_null or field is None:
        raise PayloadError(Reason.SPARKPLUG, "the metric is null; expected a value")
    quality = property_of(metric, ("Quality",))
    if quality in {BAD_QUALITY, STALE_QUALITY}:
        said = "bad" if quality == BAD_QUALITY else "stale"
        raise PayloadError(Reason.SPARKPLUG, f"its Quality is {quality}, {said}; expected 192")
    found = getattr(metric, field)
    if field in {"boolean_value", "string_value"}:
        return bool(found) if field == "boolean_value" else str(found)
    if field in {"float_value", "double_value"}:
        return float(found)
    if field not in {"int_value", "long_value"}:
        raise PayloadError(Reason.SPARKPLUG, f"the value is {field}; expected a number or a flag")
    bits = SIGNED.get(datatype)
    if bits is not None:
        found &= (1 << bits) - 1
        found -= (found >> (bits - 1)) << bits
    return float(found)


def unit_of(metric: Proto) -> str | None:
    """Unit that a birth gives a metric."""
    found = property_of(metric, UNITS)
    return found if isinstance(found, str) and found else None


def property_of(metric: Proto, names: tuple[str, ...]) -> object:
    """Value of the first property of one of these names; `None` where there is none."""
    if not metric.HasField("properties"):
        return None
    found = dict(zip(metric.properties.keys, metric.properties.values, strict=False))
    for name in names:
        if name in found and (field := found[name].WhichOneof("value")) is not None:
            return getattr(found[name], field)
    return None
