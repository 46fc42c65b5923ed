"""A tank drawn from the side with its levels, and its volume over depth: numbers for SVG."""

from dataclasses import dataclass
from itertools import pairwise

from advisor.geometry import (
    Box,
    LyingCylinder,
    Table,
    Tank,
    UprightCylinder,
    area_at,
    height,
    volume_at,
)

WIDTH, HEIGHT = 260.0, 220.0
"""Of each of the two drawings, without their margins."""
STEPS = 60


@dataclass(frozen=True, slots=True)
class Level:
    """A depth that has a name, and where it stands."""

    name: str
    depth: float
    """[mm]"""
    volume: float
    """[L]"""
    y: float
    x: float
    """On the curve."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """Shapes as SVG paths, and what stands beside them."""

    outline: str
    curve: str
    levels: tuple[Level, ...]
    points: tuple[tuple[float, float], ...]
    """Of a strapping table, on the curve."""
    height: float
    """[mm]"""
    capacity: float
    """[L]"""


def draw(tank: Tank, levels: dict[str, float]) -> Drawing:
    """Draw a tank, and depths in it [mm]; those beyond its top are left out."""
    top = height(tank)
    full = volume_at(tank, top)

    def at(depth: float) -> tuple[float, float]:
        return volume_at(tank, depth) / full * WIDTH, HEIGHT * (1.0 - depth / top)

    depths = [top * step / STEPS for step in range(STEPS + 1)]
    if isinstance(tank, Table):
        depths = sorted({*tank.depth})
    curve = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in map(at, depths))
    marks = [
        Level(name, depth, volume_at(tank, depth), at(depth)[1], at(depth)[0])
        for name, depth in levels.items()
        if 0.0 <= depth <= top
    ]
    points = tuple(map(at, tank.depth)) if isinstance(tank, Table) else ()
    return Drawing(_outline(tank, top), curve, tuple(marks), points[:200], top, full)


def _outline(tank: Tank, top: float) -> str:
    """Cross-section: wider where more of a millimetre's fluid fits."""
    match tank:
        case Box():
            return _sides([(1.0, 0.0), (1.0, 1.0)])
        case UprightCylinder():
            return _sides([(0.72, 0.0), (0.72, 1.0)])
        case LyingCylinder():
            r = HEIGHT / 2.0
            x = (WIDTH - HEIGHT) / 2.0
            arc = f"a{r:.1f} {r:.1f} 0 1 0"
            return f"M{x:.1f} {r:.1f}{arc} {HEIGHT:.1f} 0{arc} {-HEIGHT:.1f} 0z"
        case Table():
            return _of_table(tank, top)


def _of_table(tank: Table, top: float) -> str:
    """Steps as wide as the table's mean areas."""
    middles = [(a + b) / 2.0 for a, b in pairwise(tank.depth)]
    areas = [area_at(tank, depth) for depth in middles]
    widest = max(areas) or 1.0
    sides: list[tuple[float, float]] = []
    for area, (low, high) in zip(areas, pairwise(tank.depth), strict=True):
        share = max(area / widest, 0.02)
        sides += [(share, low / top), (share, high / top)]
    return _sides(sides)


def _sides(sides: list[tuple[float, float]]) -> str:
    """Path of a shape that is its own mirror image: width and height, each 0..1."""
    left = [((1.0 - w) / 2.0 * WIDTH, HEIGHT * (1.0 - h)) for w, h in sides]
    right = [((1.0 + w) / 2.0 * WIDTH, HEIGHT * (1.0 - h)) for w, h in reversed(sides)]
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in [*left, *right]) + "z"
