"""What a level sensor says, as the depth of the fluid, and back; for every kind of sensor.

Readings are in the level signal's internal unit: mm of depth or of air gap, L, fraction of the
volume at the brim, Pa above the air.
"""

from math import isfinite
from typing import Final, assert_never

from advisor.errors import AdvisorError
from advisor.geometry import capacity, depth_at, height, volume_at
from advisor.plan import SignalPlan, SumpPlan
from advisor.water import COLDEST, HOTTEST, density
from advisor.words import Signal

GRAVITY: Final = 9.80665
"""Standard acceleration of gravity, ISO 80000-3. [m/s²]"""

_DEPTH: Final = SignalPlan(signal=Signal.LEVEL)
_USUAL: Final = 20.0


def depth_of(plan: SumpPlan, reading: float, temperature: float | None = None) -> float:
    """Depth that a level reading stands for, kept within the tank. [mm]

    Parameters
    ----------
    plan : SumpPlan
        Its tank, and the kind and mounting of its level signal; without one, a depth.
    reading : float
        In the signal's internal unit. [its own unit]
    temperature : float or None
        Of the fluid, for its density under a pressure sensor. `None`, and what no fluid has, as
        from a broken thermometer, count as 20. [°C]

    Returns
    -------
    depth
        A sensor scatters over the ends of the tank as it does elsewhere; what lies beyond is the
        empty or the full tank. Readings that no tank explains are for the signal's range to refuse.

    Raises
    ------
    AdvisorError
        If `reading` is not a number, or an air gap's mounting height is not known.

    Notes
    -----
    Pressure: depth = pressure / (density x gravity), above the sensor's `mount`. The density is
    water's at that temperature: a mix of 8 % whose concentrate weighs 0.95 kg/L is 0.4 % lighter,
    which makes its depth read 0.4 % low, 1.5 mm at 380 mm. Where the walls are upright, pressure
    weighs the fluid: depth and density then err together, and the volume at 20 °C comes out right
    though nobody knows the temperature, if it is taken as 20 °C throughout.

    Examples
    --------
    >>> from advisor.plan import Fluid, Levels
    >>> from advisor.geometry import Box
    >>> gap = SignalPlan(signal=Signal.LEVEL, kind="air-gap", mount=600.0)
    >>> fluid = Fluid(id="semi-a", refractometer_factor=1.25, band_low=0.06, band_high=0.1,
    ...     target=0.08)
    >>> plan = SumpPlan(id="mill-07", name="", fluid=fluid,
    ...     tank=Box(length=1500, width=700, height=450),
    ...     levels=Levels(low=180, target=380, brim=430, top_up=280),
    ...     signals={Signal.LEVEL: gap})
    >>> depth_of(plan, 220.0)
    380.0
    """
    if not isfinite(reading):
        raise AdvisorError("level reading", reading, "a number")
    signal = plan.signals.get(Signal.LEVEL, _DEPTH)
    match signal.kind:
        case "depth":
            depth = reading
        case "air-gap":
            depth = _mount(signal) - reading
        case "volume":
            return _depth_of_volume(plan, reading)
        case "percent":
            return _depth_of_volume(plan, reading * volume_at(plan.tank, plan.levels.brim))
        case "pressure":
            depth = (signal.mount or 0.0) + reading / _pressure_per_mm(temperature)
        case _:
            assert_never(signal.kind)
    return min(max(depth, 0.0), height(plan.tank))


def as_depth(plan: SumpPlan) -> tuple[float, float, float] | None:
    """Sign, offset [mm] and bound [mm] by which readings become depths where they are lengths.

    ``min(max(offset + sign * reading, 0), bound)`` is what :func:`depth_of` gives; `None` for the
    other kinds of sensor.
    """
    signal = plan.signals.get(Signal.LEVEL, _DEPTH)
    if signal.kind == "depth":
        return 1.0, 0.0, height(plan.tank)
    if signal.kind == "air-gap" and signal.mount is not None:
        return -1.0, signal.mount, height(plan.tank)
    return None


def reading_at_depth(plan: SumpPlan, depth: float, temperature: float | None = None) -> float:
    """Level reading when fluid stands `depth` deep, for thresholds and expectations. [its own unit]

    The inverse of :func:`depth_of`, in the signal's internal unit.

    Parameters
    ----------
    plan : SumpPlan
        Its tank, and the kind and mounting of its level signal; without one, a depth.
    depth : float
        From the floor, 0 to the tank's height. [mm]
    temperature : float or None
        Of the fluid, as for :func:`depth_of`. [°C]

    Raises
    ------
    AdvisorError
        If `depth` is beyond the tank, or an air gap's mounting height is not known.
    """
    volume = volume_at(plan.tank, depth)
    signal = plan.signals.get(Signal.LEVEL, _DEPTH)
    match signal.kind:
        case "depth":
            return depth
        case "air-gap":
            return _mount(signal) - depth
        case "volume":
            return volume
        case "percent":
            return volume / volume_at(plan.tank, plan.levels.brim)
        case "pressure":
            above = max(depth - (signal.mount or 0.0), 0.0)
            return above * _pressure_per_mm(temperature)
        case _:
            assert_never(signal.kind)


def as_plant_reads(signal: SignalPlan, value: float) -> float:
    """A value in a signal's internal unit, in the unit that the plant reads. [its own unit]"""
    return (value - signal.offset) / signal.per_unit


def _mount(signal: SignalPlan) -> float:
    """Height of an air-gap sensor above the floor. [mm]"""
    if signal.mount is None:
        raise AdvisorError("mount of the level sensor", None, "its height above the floor in mm")
    return signal.mount


def _depth_of_volume(plan: SumpPlan, volume: float) -> float:
    """Depth of a volume [L] that a sensor tells, kept within the tank. [mm]"""
    least, full = volume_at(plan.tank, 0.0), capacity(plan.tank)
    return depth_at(plan.tank, min(max(volume, least), full))


def _pressure_per_mm(temperature: float | None) -> float:
    """Pressure of a millimetre of water. [Pa/mm]"""
    if temperature is None or not COLDEST <= temperature <= HOTTEST:
        temperature = _USUAL
    return density(temperature) * GRAVITY / 1000.0
