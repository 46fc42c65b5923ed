"""Units of a signal's values, and the range in which its values make sense at all.

A unit in the payload goes before the bound one. Every conversion is found once for a pair of units
and then is a factor and an offset.
"""

from collections.abc import Mapping
from typing import Final, TypeAlias

from advisor.plan import LevelKind, SignalPlan
from advisor.words import Signal
from agent.decode.problem import PayloadError
from agent.decode.results import Reason
from agent.plant.plant import Binding
from agent.plant.units import internal_unit, scale, usual_unit
from agent.quantities import QuantityError
from agent.refusals import shown

Affine: TypeAlias = tuple[float, float]
"""Factor and offset: inside = factor * found + offset."""

PURE_NUMBER: Final = "1"
"""Internal unit of fractions and counters."""

_LEVEL_RANGES: Final[Mapping[LevelKind, tuple[float, float]]] = {
    "depth": (-500.0, 8e3),
    "air-gap": (-500.0, 8e3),
    "volume": (-500.0, 1e6),
    "percent": (-0.2, 1.5),
    "pressure": (-2e4, 5e5),
}

_RANGES: Final[Mapping[Signal, tuple[float, float]]] = {
    Signal.BRIX: (-2.0, 95.0),
    Signal.TEMPERATURE: (-20.0, 120.0),
    Signal.RUNNING: (0.0, 1.0),
    Signal.CUTTING: (0.0, 1e12),
    Signal.WATER_METER: (0.0, 1e9),
    Signal.CONCENTRATE_METER: (0.0, 1e9),
    Signal.PH: (0.0, 14.0),
    Signal.CONDUCTIVITY: (-0.5, 1e3),
    Signal.AIR_TEMPERATURE: (-50.0, 80.0),
    Signal.HUMIDITY: (-0.05, 1.1),
}
"""Lowest and highest value that a working sensor at a sump can mean (*common practice*): error
codes such as -999 or 32767 are to fall outside, noise and offsets are not. [internal unit]"""

_RATIOS: Final[Mapping[str, float]] = {
    "/": 1.0,
    "%": 1.0,
    "/100": 0.01,
    "/1000": 0.001,
    "ppm": 1e-6,
}
"""Ratios as SenML names them; its % is the same as /, one for the whole."""

_FLOWS: Final[Mapping[str, str]] = {"l/s": "L", "m3/s": "m^3"}
"""Flows in SenML, and the unit of their sums over time, which are volumes."""

_SENML: Final[Mapping[str, str]] = {
    "m3": "m^3",
    "l": "L",
    "Cel": "degC",
    "%RH": "percent",
}
"""Units of SenML that the unit registry names otherwise; it reads m, mm, K, Pa, S/m, pH as they
are. Those of RFC 8798 among them."""


def plausible(signal: Signal, kind: LevelKind) -> tuple[float, float]:
    """Lowest and highest value that makes sense. [internal unit]"""
    return _LEVEL_RANGES[kind] if signal is Signal.LEVEL else _RANGES[signal]


def compiled(unit: str, internal: str, found: str | None = None) -> Affine:
    """Conversion of a unit to the internal one.

    Parameters
    ----------
    unit : str
        As the unit registry names it.
    internal : str
        The unit inside.
    found : str, optional
        The name that stood in the payload, where it was another.

    Raises
    ------
    PayloadError
        If there is no such unit, or it measures something else.
    """
    try:
        return scale(unit, internal)
    except QuantityError as error:
        raise PayloadError(
            Reason.UNIT,
            f"the unit is {shown(found or unit)}: {error}; expected one such as {_told(internal)}",
        ) from error


class Scale:
    """Conversions of one signal's units to its internal unit.

    Parameters
    ----------
    binding : Binding
        Its bound unit; empty: the usual one of the signal.
    plan : SignalPlan
        The kind of the level.

    Attributes
    ----------
    internal : str
        The unit inside.
    bound : Affine
        Conversion of the bound unit.
    """

    def __init__(self, binding: Binding, plan: SignalPlan) -> None:
        usual = usual_unit(binding.signal, plan.kind) or PURE_NUMBER
        self.internal = internal_unit(binding.signal, plan.kind) or PURE_NUMBER
        self.bound = compiled(binding.unit or usual, self.internal)
        self._is_brix = binding.signal is Signal.BRIX
        self._is_meter = binding.signal in {Signal.WATER_METER, Signal.CONCENTRATE_METER}

    def of(self, unit: str) -> Affine:
        """Conversion of a unit that stands in a payload."""
        return compiled(unit, self.internal)

    def of_senml(self, unit: str | None) -> Affine:
        """Conversion of a unit of SenML, or of the bound unit where a record has none.

        SenML has no Brix: a ratio is taken for the mass fraction that Brix is the percentage of.
        Names that are not SenML's are tried as the registry's.

        References
        ----------
        .. [1] RFC 8428, section 12.1: "%" is no percentage, but the ratio itself.
        .. [2] C. Bormann, "Additional Units for Sensor Measurement Lists (SenML)", RFC 8798, 2020,
           section 3: "/100" is the percentage.
        """
        if unit is None:
            return self.bound
        ratio = _RATIOS.get(unit)
        if ratio is None:
            return compiled(_SENML.get(unit, unit), self.internal, found=unit)
        if self._is_brix:
            return 100.0 * ratio, 0.0
        if self.internal != PURE_NUMBER:
            raise PayloadError(
                Reason.UNIT,
                f"the unit is {shown(unit)}, a ratio; expected one such as {_told(self.internal)}",
            )
        return ratio, 0.0

    def of_flow_sum(self, unit: str | None) -> Affine | None:
        """Conversion of the sum of a flow, where this is a totaliser and the unit a flow's."""
        volume = _FLOWS.get(unit) if unit is not None and self._is_meter else None
        return None if volume is None else compiled(volume, self.internal)


def _told(internal: str) -> str:
    """Unit of the internal one's kind that a person would write."""
    return "%" if internal == PURE_NUMBER else internal
