"""One thing that was looked at."""

from dataclasses import dataclass
from typing import Literal, TypeAlias

Level: TypeAlias = Literal["ok", "look", "fault"]
"""Well; worth a look; something that loses data or does not work."""


@dataclass(frozen=True, slots=True)
class Found:
    """What was looked at, and how it is."""

    level: Level
    about: str
    said: str


def span(seconds: float) -> str:
    """Write a length of time for people."""
    for unit, size in (("d", 86_400.0), ("h", 3_600.0), ("min", 60.0)):
        if seconds >= 2 * size:
            return f"{seconds / size:.1f} {unit}"
    return f"{seconds:.0f} s"
