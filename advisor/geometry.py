"""Depth of fluid to volume and back, for the shapes that sumps have."""

from dataclasses import dataclass
from typing import TypeAlias


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangular tank with a level floor. [mm]"""

    length: float
    width: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class UprightCylinder:
    """A cylinder on its flat end. [mm]"""

    diameter: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LyingCylinder:
    """A cylinder on its side, with flat ends. [mm]"""

    diameter: float
    length: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A strapping table: volume [L] at rising depths [mm], straight lines between."""

    depth: tuple[float, ...]
    volume: tuple[float, ...]


Tank: TypeAlias = Box | UprightCylinder | LyingCylinder | Table
