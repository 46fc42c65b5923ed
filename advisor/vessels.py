"""What people pour from, as ways of making a mix."""

from math import ceil, inf

from advisor.plan import SumpPlan, Vessel
from advisor.pouring import Way
from advisor.wording import count_unit

DEFAULT_MARK = 0.1
"""Graduation where a plant names no vessel. [L]"""

REST = "rest"
"""Name of the way that fills up a charge."""

MANY = 24
"""More batches than this nobody carries: the amounts are then measured by meter or in a tank."""


def marks(sump: SumpPlan) -> tuple[float, float]:
    """Coarsest mark for water and finest for concentrate among the vessels. [L]

    Concentrate is measured in the vessel that measures finest.
    """
    steps = [vessel.graduation for vessel in sump.vessels] or [DEFAULT_MARK]
    return max(steps), min(steps)


def smallest_fill(sump: SumpPlan) -> float:
    """Say what the smallest vessel carries; without vessels one mark. [L]"""
    return min((vessel.fill for vessel in sump.vessels), default=DEFAULT_MARK)


def ways_to_pour(sump: SumpPlan, room: float) -> tuple[Way, ...]:
    """Ways of making a mix that fills at most `room` [L]."""
    ways = tuple(
        way for vessel in sump.vessels for way in [_by_hand(sump, vessel, room)] if way.most <= MANY
    )
    return ways or (_measured(sump),)


def ways_to_charge(sump: SumpPlan, volume: float) -> tuple[Way, ...]:
    """Ways of filling an empty sump with `volume` [L]: strong mix in batches, then the rest.

    The rest is water straight from the line, or weak mix for a fluid that needs it.
    """
    fluid = sump.fluid
    coarse, fine = marks(sump)
    share = (fluid.target - fluid.weak_mix) / max(fluid.premix_max - fluid.weak_mix, 1e-9)
    strong = ways_to_pour(sump, min(share * 1.2, 1.0) * volume)
    weak = (fluid.weak_mix, min(1.5 * fluid.weak_mix, fluid.premix_max))
    second = 1.0 if fluid.weak_mix > 0.0 else None
    rest = Way(
        name=REST,
        fill=inf,
        marks=(coarse, fine),
        strengths=(0.0, second),
        unit=1.0,
        limits=weak,
        part=1,
    )
    return (*strong, rest)


def vessel_named(sump: SumpPlan, name: str) -> Vessel | None:
    """Find the vessel of a way; `None` where nothing is carried. Its marks are in [L]."""
    return next((vessel for vessel in sump.vessels if vessel.id == name), None)


def finest(sump: SumpPlan) -> Vessel | None:
    """Find the vessel that measures the concentrate: the one with the finest marks. [L]"""
    return min(sump.vessels, key=lambda vessel: vessel.graduation, default=None)


def _by_hand(sump: SumpPlan, vessel: Vessel, room: float) -> Way:
    """Mix in the vessel itself. [L]"""
    return Way(
        name=vessel.id,
        fill=vessel.fill,
        marks=(vessel.graduation, marks(sump)[1]),
        unit=count_unit(vessel),
        most=max(ceil(room / vessel.fill), 1),
    )


def _measured(sump: SumpPlan) -> Way:
    """Mix everything in one, measured by meter or in a tank. [L]"""
    return Way(name="", fill=inf, marks=marks(sump))
