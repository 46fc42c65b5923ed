"""Little and often against once a week: what each rhythm of topping up does to a sump.

Between two rounds nothing is poured and losses go on as they are (`advisor.drift`); each round
fills up to the target level with the mix that is right then, between the weakest and the strongest
that the fluid takes. Marks of vessels are left out.
"""

from dataclasses import dataclass
from math import ceil, inf

from advisor.drift import Rates, left_alone
from advisor.effects import Mix
from advisor.geometry import volume_at
from advisor.plan import SumpPlan


@dataclass(frozen=True, slots=True, kw_only=True)
class Rhythm:
    """What comes of topping up every so often. Litres and fractions."""

    every: float
    """[d]"""
    rounds: int
    buckets: int | None
    """Carried, of the largest vessel; `None` where there is no vessel."""
    lowest: float
    highest: float
    """Of the concentration, after the first round. [1]"""
    least: float
    """Volume before a round. [L]"""
    is_too_low: bool
    """It falls under the lowest level to work at."""
    is_out_of_band: bool
    poured: Mix
    cost: float | None
    """Of its concentrate, where a price is known."""

    @property
    def excursion(self) -> float:
        """Between the lowest and the highest concentration. [1]"""
        return self.highest - self.lowest


def rhythm(
    volume: float, strength: float, rates: Rates, plan: SumpPlan, every: float, days: float
) -> Rhythm:
    """Top up every so often, now first and at the end once more, so that any two end alike.

    Parameters
    ----------
    volume, strength : float
        Of the sump now. [L], [1]
    rates : Rates
        How it loses. [L/d]
    plan : SumpPlan
        Levels [mm], strengths [1], vessels.
    every, days : float
        Time between rounds, and for how long. [d]
    """
    fluid = plan.fluid
    full, low = volume_at(plan.tank, plan.levels.target), volume_at(plan.tank, plan.levels.low)
    fill = max((vessel.fill for vessel in plan.vessels), default=0.0)
    lowest, highest, least = inf, 0.0, volume
    poured, buckets = Mix(0.0, 0.0), 0
    between = max(ceil(days / every - 1e-9), 1)
    for done in range(between + 1):
        mix = fitting(volume, strength, full, plan)
        pure = volume * strength + mix.concentrate
        volume += mix.volume
        strength = pure / volume
        poured = Mix(poured.water + mix.water, poured.concentrate + mix.concentrate)
        buckets += ceil(mix.volume / fill - 1e-9) if fill else 0
        lowest, highest = min(lowest, strength), max(highest, strength)
        if done == between:
            break
        volume, strength = left_alone(volume, strength, rates, every)
        lowest, highest = min(lowest, strength), max(highest, strength)
        least = min(least, volume)
    return Rhythm(
        every=every,
        rounds=between + 1,
        buckets=buckets if fill else None,
        lowest=lowest,
        highest=highest,
        least=least,
        is_too_low=least < low,
        is_out_of_band=lowest < fluid.band_low or highest > fluid.band_high,
        poured=poured,
        cost=None if fluid.price is None else poured.concentrate * fluid.price,
    )


def fitting(volume: float, strength: float, full: float, plan: SumpPlan) -> Mix:
    """Mix that fills a sump up to `full` [L] and brings it as near to the target as it may."""
    room = full - volume
    if room <= 0.0:
        return Mix(0.0, 0.0)
    fluid = plan.fluid
    ideal = fluid.target * full - strength * volume
    pure = min(max(ideal, fluid.weak_mix * room), fluid.premix_max * room)
    return Mix(room - pure, pure)
