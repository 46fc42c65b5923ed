"""Advice carried out to the letter on the true sump: does it end in the band, does it run over?"""

from collections.abc import Sequence
from dataclasses import dataclass

from simulators.score.published import AdviceWord
from simulators.score.told import Witness


@dataclass(frozen=True, slots=True)
class Poured:
    """What one advice would have come to at the moment when it was given."""

    clock: int
    """[ms]"""
    kind: str
    in_band: bool
    was_in_band: bool
    off_target: float
    """Concentration afterwards less the target. [1]"""
    fill: float
    """Fluid and oil afterwards, everything drained back, over what the tank holds. [1]"""

    @property
    def overfills(self) -> bool:
        """Whether it runs over the brim."""
        return self.fill > 1.0


def pour_all(witness: Witness, advice: Sequence[AdviceWord]) -> list[Poured]:
    """Carry out each advice once, when it was first given."""
    first: dict[str, AdviceWord] = {}
    for word in advice:
        first.setdefault(word.id, word)
    return [_pour(witness, word) for word in first.values()]


def _pour(witness: Witness, advice: AdviceWord) -> Poured:
    """Drain, then pour."""
    volume = max(witness.true("volume", advice.clock), 1e-9)
    before = witness.true("concentrate", advice.clock) / volume
    left = max(volume - advice.drain, 0.0)
    after = left + advice.water + advice.concentrate
    strength = (left * before + advice.concentrate) / max(after, 1e-9)
    fluid = witness.scenario.fluid(witness.spec.concentrate)
    low, high = (limit / 100.0 for limit in fluid.band_pct)
    return Poured(
        clock=advice.clock,
        kind=advice.kind,
        in_band=low <= strength <= high,
        was_in_band=low <= before <= high,
        off_target=strength - fluid.target_pct / 100.0,
        fill=(after + witness.true("oil", advice.clock)) / witness.brim,
    )
