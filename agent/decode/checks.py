"""A person's measurement in the unit in which it was read, to the unit inside."""

from collections.abc import Mapping
from typing import Final

from advisor.plan import Fluid
from advisor.words import CheckKind
from agent.decode.problem import PayloadError
from agent.decode.results import Reason
from agent.decode.scale import compiled
from agent.refusals import shown

_KINDS: Final[Mapping[CheckKind, tuple[str, str, float]]] = {
    CheckKind.REFRACTOMETER: ("degBrix", "degBrix", 95.0),
    CheckKind.TITRATION: ("%", "1", 1.0),
    CheckKind.DIPSTICK: ("mm", "mm", 2e4),
    CheckKind.PH: ("pH", "pH", 14.0),
    CheckKind.DIP_SLIDE: ("CFU/mL", "CFU/mL", 1e12),
    CheckKind.HARDNESS: ("mg/L", "mg/L", 1e6),
    CheckKind.NITRITE: ("mg/L", "mg/L", 1e6),
    CheckKind.CHLORIDE: ("mg/L", "mg/L", 1e6),
    CheckKind.CONDUCTIVITY: ("mS/cm", "mS/cm", 1e3),
    CheckKind.TRAMP_OIL: ("%", "1", 1.0),
    CheckKind.LOOK: ("1", "1", 1.0),
}
"""Unit where none is said, unit inside, and what no such measurement exceeds there."""


def check_value(kind: CheckKind, value: float, unit: str, fluid: Fluid) -> float:
    """Convert what a person read to the unit inside.

    Parameters
    ----------
    kind : CheckKind
        What was measured, and how.
    value : float
        The reading.
    unit : str
        Its unit; empty for the usual one of its kind.
    fluid : Fluid
        A refractometer that shows % of the mix has this fluid's factor in it.

    Returns
    -------
    float
        In the unit of `CheckKind`.

    Raises
    ------
    PayloadError
        If the unit is not one of the kind, or no such measurement can be.
    """
    usual, internal, highest = _KINDS[kind]
    if kind is CheckKind.REFRACTOMETER and unit == "%":
        inside = value / fluid.refractometer_factor
    else:
        factor, offset = compiled(unit or usual, internal)
        inside = value * factor + offset
    if not 0.0 <= inside <= highest:
        raise PayloadError(
            Reason.RANGE,
            f"value is {shown(value)} {unit or usual}, which is {shown(inside)} {internal}; "
            f"expected 0 to {shown(highest)} {internal} of a {kind}",
        )
    return inside
