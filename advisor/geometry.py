"""Depth of fluid to volume and back, for the shapes that sumps have.

Depths are from the floor [mm], volumes what the tank itself holds [L]. Beyond the tank is an error
here: a caller whose sensor may read a millimetre over the rim decides what that means.
"""

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, fields
from itertools import pairwise
from math import asin, cbrt, inf, isfinite, pi, sin, sqrt
from typing import TYPE_CHECKING, Final, TypeAlias, TypeVar, assert_never

from advisor.errors import AdvisorError

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Vector: TypeAlias = npt.NDArray[np.float64]

_Number = TypeVar("_Number", float, "Vector")
_LITRES: Final = 1e-6
"""Of a cubic millimetre. [L]"""


def _check_sizes(tank: "Box | UprightCylinder | LyingCylinder") -> None:
    """Refuse sizes that no tank has."""
    for size in fields(tank):
        value: float = getattr(tank, size.name)
        if not 0.0 < value < inf:
            raise AdvisorError(f"{size.name} of the tank", value, "a length above 0 mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangular tank with a level floor. [mm]"""

    length: float
    width: float
    height: float

    def __post_init__(self) -> None:
        _check_sizes(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class UprightCylinder:
    """A cylinder on its flat end. [mm]"""

    diameter: float
    height: float

    def __post_init__(self) -> None:
        _check_sizes(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class LyingCylinder:
    """A cylinder on its side, with flat ends. [mm]"""

    diameter: float
    length: float

    def __post_init__(self) -> None:
        _check_sizes(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A strapping table: volume [L] at rising depths [mm], straight lines between.

    The first depth is the floor, 0 mm; its volume may be above 0 L, where a pit lies below.
    """

    depth: tuple[float, ...]
    volume: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.depth) < 2 or len(self.depth) != len(self.volume):
            sizes = f"{len(self.depth)} depths, {len(self.volume)} volumes"
            raise AdvisorError("tank table", sizes, "as many volumes as depths, two at least")
        if not all(isfinite(value) for value in (*self.depth, *self.volume)):
            raise AdvisorError("tank table", (self.depth, self.volume), "numbers only")
        if self.depth[0] != 0.0:
            raise AdvisorError("first depth of the tank table", self.depth[0], "0 mm, the floor")
        if self.volume[0] < 0.0 or self.volume[0] == self.volume[-1]:
            raise AdvisorError("volumes of the tank table", self.volume, "0 L or more, and rising")
        for depths in pairwise(self.depth):
            if depths[0] >= depths[1]:
                raise AdvisorError("depths of the tank table", depths, "rising depths")
        for volumes in pairwise(self.volume):
            if volumes[0] > volumes[1]:
                raise AdvisorError("volumes of the tank table", volumes, "none that falls")


Tank: TypeAlias = Box | UprightCylinder | LyingCylinder | Table


def height(tank: Tank) -> float:
    """Greatest depth that the tank can hold. [mm]"""
    match tank:
        case Box() | UprightCylinder():
            return tank.height
        case LyingCylinder():
            return tank.diameter
        case Table():
            return tank.depth[-1]
        case _:
            assert_never(tank)


def capacity(tank: Tank) -> float:
    """Volume of the full tank. [L]"""
    match tank:
        case Box() | UprightCylinder():
            return _base(tank) * tank.height
        case LyingCylinder():
            return _full(tank)
        case Table():
            return tank.volume[-1]
        case _:
            assert_never(tank)


def volume_at(tank: Tank, depth: float) -> float:
    """Volume of the fluid that stands `depth` deep. [L]

    Parameters
    ----------
    tank : Tank
        Its shape.
    depth : float
        From the floor, 0 to the tank's height. [mm]

    Raises
    ------
    AdvisorError
        If `depth` is beyond the tank.

    Notes
    -----
    For the lying cylinder the segment is taken from its angle, on the emptier side of the two, so
    that the first drop is as exact as the rest.

    References
    ----------
    .. [1] D. Jones, "Calculating Tank Volume", 2005: horizontal cylinder with flat ends.
    .. [2] ISO 7507-1: strapping tables, linear between gauge heights (*from memory*).

    Examples
    --------
    >>> volume_at(Box(length=1500, width=700, height=450), 380)
    399.0
    >>> volume_at(LyingCylinder(diameter=1000, length=2000), 300)
    396.337
    """
    match tank:
        case Box() | UprightCylinder():
            return _base(tank) * _within(depth, tank.height)
        case LyingCylinder():
            return _full(tank) * _filled(_within(depth, tank.diameter), tank.diameter)
        case Table():
            return _between(tank.depth, tank.volume, _within(depth, tank.depth[-1]))
        case _:
            assert_never(tank)


def depth_at(tank: Tank, volume: float) -> float:
    """Depth at which the tank holds `volume`; the least one, where a table is flat. [mm]

    Parameters
    ----------
    tank : Tank
        Its shape.
    volume : float
        From what is below the floor of a table, else 0, to the tank's capacity. [L]

    Raises
    ------
    AdvisorError
        If the tank cannot hold `volume`.

    Examples
    --------
    >>> depth_at(Box(length=1500, width=700, height=450), 399.0)
    380.0
    """
    full, least = capacity(tank), _least(tank)
    if not least <= volume <= full:
        raise AdvisorError("volume", volume, f"{least:g} to {full:g} L, what the tank holds")
    match tank:
        case Box() | UprightCylinder():
            return min(volume / _base(tank), tank.height)
        case LyingCylinder():
            return tank.diameter * _depth_share(volume / full)
        case Table():
            return _between(tank.volume, tank.depth, volume)
        case _:
            assert_never(tank)


def area_at(tank: Tank, depth: float) -> float:
    """Free surface of the fluid that stands `depth` deep: volume per depth. [L/mm]

    At a corner of a table it is the surface above, at its top the last one below.

    Parameters
    ----------
    tank : Tank
        Its shape.
    depth : float
        From the floor, 0 to the tank's height. [mm]

    Raises
    ------
    AdvisorError
        If `depth` is beyond the tank.

    Examples
    --------
    >>> area_at(Box(length=1500, width=700, height=450), 380)  # 1.05 m²
    1.05
    """
    match tank:
        case Box() | UprightCylinder():
            _within(depth, tank.height)
            return _base(tank)
        case LyingCylinder():
            wet = _within(depth, tank.diameter)
            return 2.0 * sqrt(wet * (tank.diameter - wet)) * tank.length * _LITRES
        case Table():
            above = bisect_right(tank.depth, _within(depth, tank.depth[-1]), 1, len(tank.depth) - 1)
            rise = tank.volume[above] - tank.volume[above - 1]
            return rise / (tank.depth[above] - tank.depth[above - 1])
        case _:
            assert_never(tank)


def volumes_at(tank: Tank, depths: "Vector") -> "Vector":
    """Volumes at many depths [mm] at once, as :func:`volume_at` has them; errors too. [L]"""
    import numpy as np  # one reading at a time needs none of it

    _all_within("depth", depths, 0.0, height(tank), "mm")
    match tank:
        case Box() | UprightCylinder():
            return depths * _base(tank)
        case LyingCylinder():
            lower = depths + depths <= tank.diameter
            emptier = np.where(lower, depths, tank.diameter - depths)
            angles = 4.0 * np.arcsin(np.sqrt(emptier / tank.diameter))
            share = _less_sines(angles) / (2.0 * pi)
            return _full(tank) * np.where(lower, share, 1.0 - share)
        case Table():
            return _all_between(tank.depth, tank.volume, depths)
        case _:
            assert_never(tank)


def depths_at(tank: Tank, volumes: "Vector") -> "Vector":
    """Depths of many volumes [L] at once, as :func:`depth_at` has them; errors too. [mm]"""
    import numpy as np  # one reading at a time needs none of it

    full = capacity(tank)
    _all_within("volume", volumes, _least(tank), full, "L, what the tank holds")
    match tank:
        case Box() | UprightCylinder():
            return np.minimum(volumes / _base(tank), tank.height)
        case LyingCylinder():
            filled = volumes / full
            lower = filled <= 0.5
            targets = 2.0 * pi * np.where(lower, filled, 1.0 - filled)
            angles = _first_angle(np.cbrt(6.0 * targets))
            for _ in range(_STEPS):
                slopes = 2.0 * np.square(np.sin(0.5 * angles))
                misses = _less_sines(angles) - targets
                angles = np.minimum(angles - misses / np.where(slopes > 0.0, slopes, 1.0), pi)
            share = np.square(np.sin(0.25 * angles))
            return tank.diameter * np.where(lower, share, 1.0 - share)
        case Table():
            return _all_between(tank.volume, tank.depth, volumes)
        case _:
            assert_never(tank)


def _within(depth: float, deepest: float) -> float:
    """Give the depth back, or refuse it. [mm]"""
    if not 0.0 <= depth <= deepest:
        raise AdvisorError("depth", depth, f"0 to {deepest:g} mm")
    return depth


def _all_within(quantity: str, values: "Vector", low: float, high: float, unit: str) -> None:
    """Refuse an array for the first value in it that is beyond."""
    beyond = values[~((values >= low) & (values <= high))]
    if beyond.size:
        raise AdvisorError(quantity, float(beyond.flat[0]), f"{low:g} to {high:g} {unit}")


def _least(tank: Tank) -> float:
    """Volume below the floor. [L]"""
    return tank.volume[0] if isinstance(tank, Table) else 0.0


def _base(tank: Box | UprightCylinder) -> float:
    """Area of the floor. [L/mm]"""
    if isinstance(tank, Box):
        return tank.length * tank.width * _LITRES
    return 0.25 * pi * tank.diameter * tank.diameter * _LITRES


def _full(tank: LyingCylinder) -> float:
    """Volume of the whole cylinder. [L]"""
    return 0.25 * pi * tank.diameter * tank.diameter * tank.length * _LITRES


def _filled(depth: float, diameter: float) -> float:
    """Share of a circle that lies under a chord. [1]"""
    if depth + depth > diameter:
        return 1.0 - _filled(diameter - depth, diameter)
    return _less_sine(4.0 * asin(sqrt(depth / diameter))) / (2.0 * pi)


def _depth_share(filled: float) -> float:
    """Height of the chord that has this share of the circle under it, per diameter. [1]

    The angle x of the segment solves x - sin x = 2 pi `filled`, Kepler's equation at its limit. The
    left side is convex up to pi: from wherever it starts there, one Newton step lands above the
    solution (pi at most, by the bracket), and the others come down to it, never past.
    """
    if filled > 0.5:
        return 1.0 - _depth_share(1.0 - filled)
    target = 2.0 * pi * filled
    angle = _first_angle(cbrt(6.0 * target))
    for _ in range(_STEPS):
        slope = 2.0 * sin(0.5 * angle) ** 2
        if slope == 0.0:
            break
        step = (_less_sine(angle) - target) / slope
        angle = min(angle - step, pi)
        if abs(step) <= 1e-8 * angle:  # converges with the square: what is left is 1e-16
            break
    return sin(0.25 * angle) ** 2


_STEPS: Final = 5
"""Newton steps to the last digit; the worst start, half full, needs three."""

_SMALL: Final = 1.0
"""Angle under which x - sin x is summed as a series, lest its digits cancel. [rad]"""


def _less_sine(angle: float) -> float:
    """Take the sine from an angle, to the last digits however small. [rad]"""
    return _series(angle) if angle < _SMALL else angle - sin(angle)


def _less_sines(angles: "Vector") -> "Vector":
    """Take the sines from many angles. [rad]"""
    import numpy as np  # one reading at a time needs none of it

    chosen: Vector = np.where(angles < _SMALL, _series(angles), angles - np.sin(angles))
    return chosen


def _first_angle(root: _Number) -> _Number:
    """Three terms of the series for x by the cube root of 6 (x - sin x): 2 % low at pi. [rad]"""
    square = root * root
    return root * (1.0 + square / 60.0 + square * square / 1400.0)


def _series(angle: _Number) -> _Number:
    """Sum the first eight terms of x - sin x: to 5e-17 of it, up to 1. [rad]"""
    square = angle * angle
    tail = 1.0 - square / 210.0 * (1.0 - square / 272.0)
    tail = 1.0 - square / 110.0 * (1.0 - square / 156.0 * tail)
    tail = 1.0 - square / 42.0 * (1.0 - square / 72.0 * tail)
    return angle * square / 6.0 * (1.0 - square / 20.0 * tail)


def _between(xs: tuple[float, ...], ys: tuple[float, ...], x: float) -> float:
    """Interpolate in a rising table, at `x`. [its own unit]"""
    above = bisect_left(xs, x, 1, len(xs) - 1)
    low, start = xs[above - 1], ys[above - 1]
    if x <= low:  # the first point, where a flat stretch may follow
        return start
    rise = (ys[above] - start) * ((x - low) / (xs[above] - low))
    return min(start + rise, ys[above])


def _all_between(xs: tuple[float, ...], ys: tuple[float, ...], at: "Vector") -> "Vector":
    """Interpolate in a rising table at many places. [its own unit]"""
    import numpy as np  # one reading at a time needs none of it

    corners, values = np.asarray(xs), np.asarray(ys)
    above = np.clip(np.searchsorted(corners, at, side="left"), 1, len(xs) - 1)
    low, start = corners[above - 1], values[above - 1]
    run = corners[above] - low
    share = np.where(at > low, at - low, 0.0) / np.where(run > 0.0, run, 1.0)
    met: Vector = np.minimum(start + (values[above] - start) * share, values[above])
    return met
