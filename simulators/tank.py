"""The true tank: depth to volume and back, by a table of its own for every shape."""

import math
from bisect import bisect_right
from collections.abc import Callable

from simulators.scenario.sump import BoxSpec, LyingSpec, TableSpec, TankSpec, UprightSpec

_POINTS = 400


def _segment(depth: float, diameter: float) -> float:
    """Area of a circle's segment of a depth. [mm²]"""
    radius = diameter / 2.0
    off = radius - depth
    chord = math.sqrt(max(2.0 * radius * depth - depth * depth, 0.0))
    return radius * radius * math.acos(max(-1.0, min(1.0, off / radius))) - off * chord


def _even(height: float, volume: Callable[[float], float]) -> tuple[list[float], list[float]]:
    """Table of a volume [mm³] at even depths [mm]; volumes in litres."""
    depths = [height * i / _POINTS for i in range(_POINTS + 1)]
    return depths, [volume(depth) * 1e-6 for depth in depths]


def drawn_table(shape: TankSpec) -> tuple[list[float], list[float]]:
    """Depths [mm] and volumes [L] by the drawing."""
    match shape:
        case BoxSpec():
            area = shape.length_mm * shape.width_mm
            return [0.0, shape.height_mm], [0.0, area * shape.height_mm * 1e-6]
        case UprightSpec():
            area = math.pi * shape.diameter_mm**2 / 4.0
            return [0.0, shape.height_mm], [0.0, area * shape.height_mm * 1e-6]
        case LyingSpec():
            return _even(
                shape.diameter_mm, lambda h: shape.length_mm * _segment(h, shape.diameter_mm)
            )
        case TableSpec():
            return list(shape.depth_mm), list(shape.volume_l)


class Tank:
    """Straight lines between the points of a table; beyond its ends the last slope goes on.

    Parameters
    ----------
    shape
        By the drawing.
    area_factor
        True area over drawn area: plates, baffles, a weir. [1]
    sludge
        Chips and sludge on the floor, which take the fluid's place up to a fifth of the height.
        [L]
    """

    def __init__(self, shape: TankSpec, area_factor: float = 1.0, sludge: float = 0.0) -> None:
        depths, volumes = drawn_table(shape)
        volumes = [volume * area_factor for volume in volumes]
        if sludge > 0.0:
            depths, volumes = _with_sludge(depths, volumes, sludge)
        self._depths = depths
        self._volumes = volumes
        self.height = depths[-1]

    def depth(self, volume: float) -> float:
        """Depth at which the tank holds `volume` [L]. [mm]"""
        return _between(self._volumes, self._depths, volume)

    def volume(self, depth: float) -> float:
        """What the tank holds up to `depth` [mm]. [L]"""
        return _between(self._depths, self._volumes, depth)

    def area(self, depth: float) -> float:
        """Surface at `depth` [mm]. [m²]"""
        i = _place(self._depths, depth)
        rise = self._depths[i + 1] - self._depths[i]
        return (self._volumes[i + 1] - self._volumes[i]) / rise


def _with_sludge(
    depths: list[float], volumes: list[float], sludge: float
) -> tuple[list[float], list[float]]:
    """Take the sludge's volume out of the lowest fifth of the tank."""
    top = depths[-1] / 5.0
    knots = sorted({*depths, top})
    inside = [_between(depths, volumes, knot) for knot in knots]
    room = _between(depths, volumes, top)
    taken = min(sludge, 0.9 * room)
    return knots, [
        volume * (1.0 - taken / room) if knot <= top else volume - taken
        for knot, volume in zip(knots, inside, strict=True)
    ]


def _place(points: list[float], x: float) -> int:
    """Index of the interval in which x lies, the outer ones going on for ever."""
    return min(max(bisect_right(points, x) - 1, 0), len(points) - 2)


def _between(xs: list[float], ys: list[float], x: float) -> float:
    """Straight line through the two nearest points."""
    i = _place(xs, x)
    return ys[i] + (ys[i + 1] - ys[i]) * (x - xs[i]) / (xs[i + 1] - xs[i])
