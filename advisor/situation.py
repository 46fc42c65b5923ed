"""What a sump asks for at the moment, told from its state by comparisons alone.

Cheap on purpose: it is asked every minute of every sump, the solver only where it says *pour*.
Every edge has a hysteresis, so that a noisy estimate does not make an advice come and go.
"""

from enum import StrEnum

from advisor.geometry import volume_at
from advisor.lookahead import inner_band
from advisor.plan import SumpPlan
from advisor.vessels import least_dose, smallest_fill
from advisor.words import Estimate, SumpState


class Situation(StrEnum):
    """What the sump asks for."""

    CHARGING = "charging"
    VOLUME_UNKNOWN = "volume-unknown"
    CONCENTRATION_UNKNOWN = "concentration-unknown"
    VOLUME_UNSURE = "volume-unsure"
    CONCENTRATION_UNSURE = "concentration-unsure"
    EMPTY = "empty"
    POUR = "pour"
    NO_ROOM = "no-room"
    WELL = "well"


CHECKS = frozenset(
    {
        Situation.VOLUME_UNKNOWN,
        Situation.CONCENTRATION_UNKNOWN,
        Situation.VOLUME_UNSURE,
        Situation.CONCENTRATION_UNSURE,
    }
)
"""Those in which somebody has to measure first."""

UNSURE_VOLUME = 0.075
"""Sd at which the volume is too uncertain to dose by, as part of the target volume. [1]"""

UNSURE_BAND = 0.25
"""Sd at which the concentration is, as part of the band's width: two sds cover half of it. [1]"""

EMPTY_SHARE = 0.05
"""A sump with less than this of its target volume is empty. [1]"""

AGAIN_SURE = 0.8
"""Part of an unsure sd at which it is sure again. [1]"""

STAY = 0.25
"""Part of the way to the target that an open top-up has to be outlived by, to be withdrawn. [1]"""


def situation_of(state: SumpState, plan: SumpPlan, before: Situation | None) -> Situation:
    """Tell what the sump asks for.

    Parameters
    ----------
    state : SumpState
        Volume [L], concentration [1], rest depth [mm].
    plan : SumpPlan
        Levels [mm], band [1], vessels.
    before : Situation, optional
        What it asked for when it was looked at last: the hysteresis.
    """
    if state.charging:
        return Situation.CHARGING
    volume, strength = state.volume, state.concentration
    unsure = _volume_trouble(volume, plan, before)
    if volume is None or unsure is not None:
        return unsure or Situation.VOLUME_UNKNOWN
    if strength is None:
        return Situation.CONCENTRATION_UNKNOWN
    width = UNSURE_BAND * (plan.fluid.band_high - plan.fluid.band_low)
    if strength.sd > _edge(width, before is Situation.CONCENTRATION_UNSURE):
        return Situation.CONCENTRATION_UNSURE
    return _need(volume, strength, plan, before)


def _volume_trouble(
    volume: Estimate | None, plan: SumpPlan, before: Situation | None
) -> Situation | None:
    """Tell whether the volume [L] alone forbids a top-up; `None` where it does not."""
    if volume is None:
        return Situation.VOLUME_UNKNOWN
    wanted = volume_at(plan.tank, plan.levels.target)
    if volume.sd > _edge(UNSURE_VOLUME * wanted, before is Situation.VOLUME_UNSURE):
        return Situation.VOLUME_UNSURE
    return Situation.EMPTY if volume.value < EMPTY_SHARE * wanted else None


def is_low(volume: Estimate, plan: SumpPlan, *, stay: bool) -> bool:
    """Whether the level asks for a top-up; the volume is in [L]."""
    levels, least = plan.levels, least_dose(plan)
    depth = levels.top_up + (STAY * (levels.target - levels.top_up) if stay else 0.0)
    edge = volume_at(plan.tank, depth)
    if least is not None:
        fits = (1.0 - STAY) * least if stay else least
        edge = max(edge, volume_at(plan.tank, levels.target) - fits)
    return bool(volume.value < edge)


def is_off(strength: Estimate, plan: SumpPlan, *, stay: bool) -> bool:
    """Whether the concentration [1] has left the inner half of its band."""
    low, high = inner_band(plan)
    if stay:
        low += STAY * (plan.fluid.target - low)
        high -= STAY * (high - plan.fluid.target)
    return not low <= strength.value <= high


def _need(
    volume: Estimate, strength: Estimate, plan: SumpPlan, before: Situation | None
) -> Situation:
    """Whether to pour, where volume [L] and concentration [1] are known well enough."""
    stay = before in (Situation.POUR, Situation.NO_ROOM)
    if not is_low(volume, plan, stay=stay) and not is_off(strength, plan, stay=stay):
        full = volume.value > volume_at(plan.tank, plan.levels.brim)
        return Situation.POUR if full else Situation.WELL
    fluid = plan.fluid
    in_band = fluid.band_low <= strength.value <= fluid.band_high
    wanted = volume_at(plan.tank, plan.levels.target)
    room = wanted - volume.value
    fits = room >= smallest_fill(plan) * (1.0 - (STAY if before is Situation.POUR else 0.0))
    return Situation.POUR if fits or not in_band else Situation.NO_ROOM


def _edge(limit: float, beyond: bool) -> float:  # noqa: FBT001  a private pair of words
    """Limit of an sd, lower once it has been exceeded; in the sd's unit, such as [L]."""
    return AGAIN_SURE * limit if beyond else limit
