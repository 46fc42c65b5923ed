"""What is asked of a pour, and what is answered: litres and fractions, no arithmetic."""

from dataclasses import dataclass
from math import inf

from advisor.effects import Batch, Mix
from advisor.words import Estimate

NEVER, FOR_BAND, ALWAYS = "never", "for the band", "always"
"""When draining is allowed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """How one batch of a mix can be made: so much of a first fluid, then of a second one into it.

    The first is water, or what a proportioner gives; the second concentrate, a premix, or none.
    """

    name: str
    """Of the vessel, or of what the portion is."""
    fill: float
    """Most that one batch holds. [L]"""
    marks: tuple[float, float]
    """Smallest step of the first and of the second; 0 where any amount can be measured. [L]"""
    strengths: tuple[float, float | None] = (0.0, 1.0)
    """Of the first and of the second. [1]"""
    unit: float = 1.0
    """People count in wholes of this. [L]"""
    most: int = 1
    """Batches at most."""
    limits: tuple[float, float] | None = None
    """Weakest and strongest batch, where not those of the task. [1]"""
    supply: str = ""
    """Where a premix comes from, or the first of the two; empty: water line and drum."""
    part: int = 0
    """Ways of one part exclude each other: a strong mix, and what fills up the rest."""
    left: float = inf
    """Of the premix that it takes, at hand. [L]"""

    @property
    def takes_premix(self) -> bool:
        """Whether its concentrate comes out of a premix, and not out of the drums."""
        return self.strengths[1] is not None and self.strengths[1] < 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What is known and what is wanted. Litres and fractions."""

    volume: Estimate
    concentration: Estimate
    correlation: float
    wanted: float
    """Volume wanted. [L]"""
    cap: float
    """Most volume afterwards. [L]"""
    target: float
    band: tuple[float, float] = (0.0, 1.0)
    weakest: float = 0.0
    """Of every batch. [1]"""
    strongest: float = 1.0
    """Of every batch. [1]"""
    stock: float = inf
    """Concentrate at hand in drums; a premix has a stock of its own. [L]"""
    ways: tuple[Way, ...]
    volume_tolerance: float = 0.0
    """[L]"""
    target_tolerance: float = 0.0
    """[1]"""
    drain: str = NEVER
    drain_step: float = 0.0
    """[L]"""
    floor: float = 0.0
    """Least volume afterwards, where anything is drained. [L]"""
    least_drain: float = 0.0
    """Has to go whatever the band says. [L]"""


@dataclass(frozen=True, slots=True)
class Choice:
    """What is drained and poured. [L]"""

    drain: float
    ways: tuple[Way, ...]
    """Of each batch."""
    batches: tuple[Batch, ...]

    @property
    def mix(self) -> Mix:
        """All batches together. [L]"""
        return Mix(
            sum(batch.count * batch.water for batch in self.batches),
            sum(batch.count * batch.concentrate for batch in self.batches),
        )


def out_of_drums(choice: Choice) -> float:
    """Concentrate that a choice takes out of drums. [L]"""
    chosen = zip(choice.ways, choice.batches, strict=True)
    return sum(b.count * b.concentrate for way, b in chosen if not way.takes_premix)


def out_of_premix(choice: Choice) -> dict[str, float]:
    """How much of each premix a choice takes. [L]"""
    taken: dict[str, float] = {}
    for way, batch in zip(choice.ways, choice.batches, strict=True):
        if way.takes_premix:
            premix = batch.count * ingredients(way, batch)[1]
            taken[way.supply] = taken.get(way.supply, 0.0) + premix
    return taken


def strengths_of(task: Task, way: Way) -> tuple[float, float]:
    """Weakest and strongest batch that may be made this way. [1]"""
    return way.limits or (task.weakest, task.strongest)


def ingredients(way: Way, batch: Batch) -> tuple[float, float]:
    """How much of the first and of the second of a way is in one batch. [L]"""
    total = batch.water + batch.concentrate
    first, second = way.strengths
    if second is None:
        return total, 0.0
    of_second = (batch.concentrate - first * total) / (second - first)
    return round(total - of_second, 9), round(of_second, 9)
