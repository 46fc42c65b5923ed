r"""When the next top-up will be due, and how strong it should be, if losses go on as they are.

Losses are taken as constant, so volume and concentrate fall along straight lines and

.. math:: c(t) = (C - l_c t) / (V - (l_w + l_c) t)

reaches an edge :math:`h` of the inner band after :math:`(C - h V) / (l_c - h (l_w + l_c))`.
"""

from math import hypot, inf

from advisor.effects import After, NextTopUp
from advisor.mixing import holding_strength
from advisor.plan import SumpPlan
from advisor.vessels import low_volume
from advisor.words import DAY, Estimate, Instant, Losses

FARTHEST = 365.0
"""A need farther away than this is none. [d]"""


def next_top_up(
    after: After, losses: Losses, plan: SumpPlan, at: Instant, *, correlation: float = 0.0
) -> NextTopUp | None:
    """Foresee the next top-up of a sump that holds `after` at `at`.

    Parameters
    ----------
    after : After
        Volume [L] and concentration [1] from which it goes on.
    losses : Losses
        Water and concentrate. [L/d]
    plan : SumpPlan
        Level that asks for a top-up [mm], band [1].
    at : Instant
        When `after` holds. [ms]
    correlation : float
        Of the errors of volume and concentration. [1]

    Returns
    -------
    next
        `None` where the losses are not known, or nothing will be needed within a year.
    """
    if losses.water is None or losses.concentrate is None:
        return None
    water, concentrate = max(losses.water.value, 0.0), max(losses.concentrate.value, 0.0)
    if water + concentrate <= 0.0:
        return None
    low = _until_low(after.volume, losses.water, losses.concentrate, plan)
    off = _until_off(after, losses.water, losses.concentrate, plan, correlation)
    due = min((low, off), key=lambda need: need.value)
    if due.value > FARTHEST:
        return None
    return NextTopUp(
        at=at + round(due.value * DAY),
        sd_h=24.0 * due.sd,
        strength=holding_strength(water, concentrate),
    )


def inner_band(plan: SumpPlan) -> tuple[float, float]:
    """Inner half of the band: from the target halfway to either edge. [1]

    For a target in the middle this is the middle half of the band.
    """
    fluid = plan.fluid
    return (fluid.band_low + fluid.target) / 2.0, (fluid.band_high + fluid.target) / 2.0


def _until_low(
    volume: Estimate, water: Estimate, concentrate: Estimate, plan: SumpPlan
) -> Estimate:
    """Time until the level asks for a top-up. [d]"""
    rate = max(water.value, 0.0) + max(concentrate.value, 0.0)
    room = volume.value - low_volume(plan)
    days = max(room / rate, 0.0)
    return Estimate(days, hypot(volume.sd, days * hypot(water.sd, concentrate.sd)) / rate)


def _until_off(
    after: After, water: Estimate, concentrate: Estimate, plan: SumpPlan, correlation: float
) -> Estimate:
    """Time until the concentration leaves the inner half of its band, if it is in there. [d]"""
    volume, strength = after.volume, after.concentration
    low, high = inner_band(plan)
    lost = max(concentrate.value, 0.0)
    rate = max(water.value, 0.0) + lost
    edge = high if lost < strength.value * rate else low
    speed = lost - edge * rate
    days = volume.value * (strength.value - edge) / speed if speed != 0.0 else inf
    if not low <= strength.value <= high or not 0.0 <= days * rate < volume.value:
        return Estimate(inf, 0.0)
    slope, across = (strength.value - edge) * volume.sd, volume.value * strength.sd
    start = max(slope**2 + across**2 + 2.0 * correlation * slope * across, 0.0) ** 0.5
    change = days * hypot((1.0 - edge) * concentrate.sd, edge * water.sd)
    return Estimate(days, hypot(start, change) / abs(speed))
