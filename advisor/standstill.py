r"""A weekend or a shutdown: what to pour before it, how the sump comes through, how to start again.

With the pumps stopped a sump goes on losing water, and hardly any concentrate. So that neither
level nor band is left before the start, it is filled before: as high as the losses ask for, and so
lean that

.. math:: c' V' = h (V' - w) + k

at the end it is no stronger than the inner end :math:`h` of its band, but never under the other.
"""

from dataclasses import dataclass, replace
from math import hypot, inf

from advisor.dose import DosePlan, plan_top_up
from advisor.drift import Rates, days_kept_full, days_left_alone
from advisor.effects import After
from advisor.geometry import depth_at, volume_at
from advisor.lookahead import inner_band, next_top_up
from advisor.plan import SumpPlan
from advisor.rhythm import fitting
from advisor.words import DAY, Estimate, Instant, Losses, days_between

IDLE_SHARE, IDLE_SHARE_SD = 0.5, 0.3
"""Part of the evaporation that goes on with the pumps stopped, where nothing tells, and its sd:
open surface without spray and hot chips, *common practice*. [1]"""

SURE_SDS = 1.645
"""Sds for 95 % on one side (normal distribution)."""

MOST_ROUNDS = 400
"""Top-ups before a standstill that are foreseen. [1]"""

FARTHEST = 365.0
"""What would happen later is told as never. [d]"""


@dataclass(frozen=True, slots=True)
class Idle:
    """Losses with the pumps stopped. [L/d]"""

    water: Estimate
    concentrate: Estimate

    @property
    def rates(self) -> Rates:
        """As evaporation alone; what little concentrate is lost is left out. [L/d]"""
        return Rates(max(self.water.value, 0.0), 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Standstill:
    """A time without pumps, from the end of work to the start after it."""

    begin: Instant
    end: Instant
    idle: Idle
    expected: After
    """At its begin, topped up whenever that is due, before anything is poured for it."""
    before: DosePlan
    """To be poured before the pumps stop, so that it mixes."""
    after: After
    """At its end."""
    leaves_band: Instant | None
    """When the concentration leaves its band, if it does before the end, with `before` poured."""
    falls_low: Instant | None
    """When the level falls under the lowest to work at, likewise."""
    restart: DosePlan
    """Top-up at the start."""


def assumed_idle(rates: Rates) -> Idle:
    """Losses of an idle sump where only those of a working one are known. [L/d]"""
    evaporation = max(rates.evaporation, 0.0)
    return Idle(Estimate(IDLE_SHARE * evaporation, IDLE_SHARE_SD * evaporation), Estimate(0.0, 0.0))


def plan_standstill(
    now: After, losses: Losses, idle: Idle, plan: SumpPlan, times: tuple[Instant, Instant, Instant]
) -> Standstill:
    """Plan a standstill.

    Parameters
    ----------
    now : After
        Volume [L] and concentration [1] at the first of `times`.
    losses : Losses
        Of the working sump, until the standstill begins. [L/d]
    idle : Idle
        With the pumps stopped. [L/d]
    plan : SumpPlan
        Levels [mm], band [1], vessels.
    times : tuple of Instant
        Now, the begin and the end of the standstill. [ms]
    """
    at, begin, end = times
    expected = _by(begin, now, losses, plan, at)
    days = max(days_between(begin, end), 0.0)
    aim = _aim(expected, idle, plan, days)
    before = plan_top_up(expected.volume, expected.concentration, 0.0, aim)
    after = moved(before.after, idle.water, idle.concentrate, days)
    restart = plan_top_up(after.volume, after.concentration, 0.0, plan)
    return Standstill(
        begin=begin,
        end=end,
        idle=idle,
        expected=expected,
        before=before,
        after=after,
        leaves_band=_leaves_band(before.after, idle, plan, (begin, end)),
        falls_low=_falls_low(before.after, idle, plan, (begin, end)),
        restart=restart,
    )


def _by(begin: Instant, now: After, losses: Losses, plan: SumpPlan, at: Instant) -> After:
    """What is expected once the standstill begins, topped up whenever that is due. [L], [1]"""
    if losses.water is None or losses.concentrate is None:
        return now
    full = volume_at(plan.tank, plan.levels.target)
    for _ in range(MOST_ROUNDS):
        due = next_top_up(now, losses, plan, at)
        if due is None or due.at >= begin:
            break
        # The errors stay: what is poured is known far better than what is there.
        now = moved(now, losses.water, losses.concentrate, days_between(at, due.at))
        volume, strength = now.volume, now.concentration
        mix = fitting(volume.value, strength.value, full, plan)
        filled = volume.value + mix.volume
        pure = strength.value * volume.value + mix.concentrate
        now = After(
            volume=Estimate(filled, volume.sd),
            concentration=Estimate(pure / filled, strength.sd * volume.value / filled),
        )
        at = max(due.at, at + 1)
    return moved(now, losses.water, losses.concentrate, max(days_between(at, begin), 0.0))


def moved(before: After, water: Estimate, concentrate: Estimate, days: float) -> After:
    """Volume [L] and concentration [1] after so many days of losses [L/d], with their sds."""
    volume, strength = before.volume, before.concentration
    lost, pure = max(water.value, 0.0) * days, max(concentrate.value, 0.0) * days
    left = max(volume.value - lost - pure, 1e-3)
    end = min(max((strength.value * volume.value - pure) / left, 0.0), 0.999)
    spread = hypot(
        strength.sd * volume.value / left,
        (end - strength.value) * volume.sd / left,
        end * water.sd * days / left,
        (1.0 - end) * concentrate.sd * days / left,
    )
    sd = hypot(volume.sd, water.sd * days, concentrate.sd * days)
    return After(volume=Estimate(left, sd), concentration=Estimate(end, spread))


def creeps_out(now: After, idle: Idle, plan: SumpPlan, at: Instant) -> Instant | None:
    """Moment at which the weak mix alone has crept an idle sump out of its band.

    `None` where plain water may be added, so that the concentration stands still, or where it takes
    more than a year. Volume in [L].
    """
    fluid = plan.fluid
    strength = now.concentration.value
    if fluid.weak_mix <= 0.0 or not 0.0 < strength < fluid.band_high:
        return None
    volume = max(now.volume.value, 1e-3)
    days = days_kept_full(volume, strength, fluid.band_high, fluid.weak_mix, idle.rates)
    return _moment(at, days)


def dries_out(now: After, idle: Idle, plan: SumpPlan, at: Instant) -> Instant | None:
    """Moment at which an idle sump into which nothing is poured leaves its band. Volume in [L]."""
    strength, high = now.concentration.value, plan.fluid.band_high
    if not 0.0 < strength < high or now.volume.value <= 0.0:
        return None
    return _moment(at, days_left_alone(now.volume.value, strength, high, idle.rates))


def _moment(at: Instant, days: float) -> Instant | None:
    """Moment so many days later [d], where that is not too far away."""
    return at + round(days * DAY) if days <= FARTHEST else None


def _aim(expected: After, idle: Idle, plan: SumpPlan, days: float) -> SumpPlan:
    """Level [mm] and concentration to fill to before the standstill."""
    tank, levels, fluid = plan.tank, plan.levels, plan.fluid
    lost = idle.water.value * days
    sure = lost + SURE_SDS * hypot(idle.water.sd * days, expected.volume.sd)
    room = volume_at(tank, max(levels.brim - plan.headroom, 0.0))
    wanted = min(max(volume_at(tank, levels.target), volume_at(tank, levels.low) + sure), room)
    target = _lean_enough(wanted, lost, idle.concentrate.value * days, plan)
    diluted = _volume_diluted(expected, target, fluid.weak_mix)
    if diluted > wanted:  # so full that only more fluid than usual makes it lean enough
        wanted = min(diluted, room)
        target = _lean_enough(wanted, lost, idle.concentrate.value * days, plan)
    return replace(
        plan,
        fluid=replace(fluid, target=target),
        levels=replace(levels, target=depth_at(tank, wanted)),
    )


def _lean_enough(volume: float, water: float, concentrate: float, plan: SumpPlan) -> float:
    """Concentration from which a sump ends within the inner half of its band. Losses in [L]."""
    low, high = inner_band(plan)
    kept = max(volume - water - max(concentrate, 0.0), 0.0)
    return max(min(plan.fluid.target, (high * kept + max(concentrate, 0.0)) / volume), low)


def _volume_diluted(expected: After, target: float, weakest: float) -> float:
    """Volume at which the weakest mix alone has thinned a sump to the target [1]. [L]"""
    volume, strength = expected.volume.value, expected.concentration.value
    if strength <= target or target <= weakest:
        return volume
    return volume * (strength - weakest) / (target - weakest)


def _leaves_band(
    start: After, idle: Idle, plan: SumpPlan, times: tuple[Instant, Instant]
) -> Instant | None:
    """When the band is left during the standstill; its begin where it is left already. [1]"""
    begin, end = times
    low, high = plan.fluid.band_low, plan.fluid.band_high
    if not low <= start.concentration.value <= high:
        return begin
    out = dries_out(start, idle, plan, begin)
    return out if out is not None and out < end else None


def _falls_low(
    start: After, idle: Idle, plan: SumpPlan, times: tuple[Instant, Instant]
) -> Instant | None:
    """When the level [mm] falls under the lowest to work at during the standstill."""
    begin, end = times
    above = start.volume.value - volume_at(plan.tank, plan.levels.low)
    rate = idle.rates.total
    if above <= 0.0:
        return begin
    days = above / rate if rate > 0.0 else inf
    low = _moment(begin, days)
    return low if low is not None and low < end else None
