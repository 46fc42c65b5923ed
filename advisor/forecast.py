"""What a sump will want, if its losses go on as they are.

The next top-up, the strength that holds, what a week takes and costs, a standstill, and topping up
little and often against once a week.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot

from advisor.drift import Rates, rates_of
from advisor.effects import After, NextTopUp
from advisor.lookahead import next_top_up
from advisor.mixing import holding_strength
from advisor.plan import SumpPlan, Supply
from advisor.rhythm import Rhythm, rhythm
from advisor.standstill import (
    Idle,
    Standstill,
    assumed_idle,
    creeps_out,
    dries_out,
    plan_standstill,
)
from advisor.words import Estimate, Instant, Losses

WEEK = 7.0
"""[d]"""

OFTEN, SELDOM = 1.0, WEEK
"""Little and often, and once a week. [d]"""

COMPARED = 4 * WEEK
"""For how long the two are compared. [d]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """What a week takes. [L]"""

    water: Estimate
    concentrate: Estimate
    cost: float | None
    """Of the concentrate, where its price is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlook:
    """What is to be expected of one sump."""

    at: Instant
    now: After
    losses: Losses
    """That are taken to go on. [L/d]"""
    rates: Rates | None
    next: NextTopUp | None
    holding: float | None
    """Strength of the top-up that holds the concentration. [1]"""
    use: Use | None
    idle: Idle | None
    is_idle_assumed: bool
    """Nothing has told yet what an idle sump loses."""
    dries_out: Instant | None
    """When it would leave its band, idle from now on and with nothing poured in."""
    creeps_out: Instant | None
    """... and filled up with the weak mix all the time."""
    standstill: Standstill | None
    rhythms: tuple[Rhythm, ...]


def look_ahead(
    now: After,
    losses: Losses,
    plan: SumpPlan,
    at: Instant,
    *,
    idle: Idle | None = None,
    standstill: tuple[Instant, Instant] | None = None,
) -> Outlook:
    """Say what is to be expected of a sump.

    Parameters
    ----------
    now : After
        What it holds. [L], [1]
    losses : Losses
        That go on. [L/d]
    plan : SumpPlan
        Levels [mm], fluid, vessels.
    at : Instant
        When `now` holds. [ms]
    idle : Idle, optional
        Losses with the pumps stopped; assumed where nothing tells. [L/d]
    standstill : tuple of Instant, optional
        Begin and end of a time without pumps. [ms]
    """
    volume, strength = now.volume.value, now.concentration.value
    rates = rates_of(losses, strength) if volume > 0.0 else None
    still = idle
    if still is None and rates is not None:
        still = assumed_idle(rates)
    times = None if standstill is None else (at, *standstill)
    stopped = None
    if still is not None and times is not None:
        stopped = plan_standstill(now, losses, still, plan, times)
    return Outlook(
        at=at,
        now=now,
        losses=losses,
        rates=rates,
        next=next_top_up(now, losses, plan, at),
        holding=_holding(losses),
        use=use_of(losses, plan.fluid.price),
        idle=still,
        is_idle_assumed=idle is None,
        dries_out=None if still is None else dries_out(now, still, plan, at),
        creeps_out=None if still is None else creeps_out(now, still, plan, at),
        standstill=stopped,
        rhythms=() if rates is None or rates.total <= 0.0 else _rhythms(now, rates, plan),
    )


def _rhythms(now: After, rates: Rates, plan: SumpPlan) -> tuple[Rhythm, ...]:
    """Compare little and often with once a week. Volume in [L]."""
    volume, strength = now.volume.value, now.concentration.value
    return tuple(
        rhythm(volume, strength, rates, plan, every, COMPARED) for every in (OFTEN, SELDOM)
    )


def _holding(losses: Losses) -> float | None:
    """Strength that holds the concentration. [1]"""
    if losses.water is None or losses.concentrate is None:
        return None
    water, concentrate = max(losses.water.value, 0.0), max(losses.concentrate.value, 0.0)
    return holding_strength(water, concentrate) if water + concentrate > 0.0 else None


def use_of(losses: Losses, price: float | None) -> Use | None:
    """What a week of these losses takes [L]; `None` where they are not known."""
    if losses.water is None or losses.concentrate is None:
        return None
    concentrate = _weekly(losses.concentrate)
    return Use(
        water=_weekly(losses.water),
        concentrate=concentrate,
        cost=None if price is None else price * concentrate.value,
    )


def _weekly(loss: Estimate) -> Estimate:
    """Loss of a week, not less than nothing. [L]"""
    return Estimate(max(loss.value, 0.0) * WEEK, loss.sd * WEEK)


def days_left(supply: Supply, stock: float, uses: Sequence[Use]) -> Estimate | None:
    """Time for which a supply lasts, if all that its sumps take comes out of it. [d]

    Parameters
    ----------
    supply : Supply
        A drum, or a stock of premix.
    stock : float
        What is left in it. [L]
    uses : sequence of Use
        Of each sump that takes from it.

    Returns
    -------
    days
        `None` where nothing is taken. Errors of different sumps are taken as independent.
    """
    strength = 1.0 if supply.strength is None else supply.strength
    daily = sum(use.concentrate.value for use in uses) / WEEK
    if daily <= 0.0:
        return None
    sd = hypot(*(use.concentrate.sd for use in uses)) / WEEK
    days = stock * strength / daily
    return Estimate(days, days * sd / daily)


def supply_days(
    supplies: Mapping[str, Supply],
    stock: Mapping[str, float],
    sumps: Mapping[str, SumpPlan],
    uses: Mapping[str, Use],
) -> dict[str, Estimate]:
    """Time for which each counted supply lasts, by its id. [d]"""
    found = {}
    for name, left in stock.items():
        taking = [
            uses[sump]
            for sump, plan in sumps.items()
            if sump in uses and any(supply.id == name for supply in plan.supplies)
        ]
        days = days_left(supplies[name], left, taking) if name in supplies else None
        if days is not None:
            found[name] = days
    return found
