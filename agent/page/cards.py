"""One sump as the overview shows it: how it stands, what to do, when, and how urgent that is.

Nothing is computed here that `advisor` computes: what was told is set against the plant file's
bands, and put in an order.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum
from functools import lru_cache
from math import hypot
from typing import Any, Literal, TypeAlias

from advisor.geometry import Tank, capacity, height, volume_at
from advisor.plan import SumpPlan
from advisor.words import DAY, HOUR, Estimate, Instant
from agent.instants import instant_of
from agent.page.live import Body, SumpNow
from agent.store.history import Trace

Verdict: TypeAlias = Literal["low", "maybe-low", "good", "maybe-high", "high", "unknown"]

Surety: TypeAlias = Literal["well", "roughly", "hardly", "unknown"]

SURETIES: tuple[tuple[Surety, float], ...] = (("well", 0.15), ("roughly", 0.4))
"""Half the span in which it almost surely is, at most so much of the band's width. [1]"""

VAGUE_H = 48.0
"""With a larger sd [h] nobody can plan by the next top-up's time."""
PRIORITIES = {"high": 0, "medium": 1, "low": 2}
OFF_DUTY = {"shelved", "suppressed", "out-of-service"}


class Urgency(IntEnum):
    """Worst first."""

    NOW = 0
    """Something is to be poured or drained, or a high alarm stands."""
    LOOK = 1
    """Something is to be measured or looked at."""
    UNKNOWN = 2
    """Nothing tells how the sump stands."""
    SOON = 3
    """A top-up is due within a day."""
    LATER = 4


@dataclass(frozen=True, slots=True)
class Gauge:
    """A quantity against its band, all in its own unit, [L] or [1]."""

    estimate: Estimate | None
    low: float
    high: float
    target: float
    top: float
    """End of the scale; it begins at 0."""
    due: float | None = None
    """Under this a top-up is due."""

    @property
    def verdict(self) -> Verdict:
        """Where it stands, and whether that is sure."""
        if self.estimate is None:
            return "unknown"
        value, span = self.estimate.value, 2.0 * self.estimate.sd
        if value < self.low:
            return "low"
        if value > self.high:
            return "high"
        if value - span < self.low and value - self.low < self.high - value:
            return "maybe-low"
        return "maybe-high" if value + span > self.high else "good"

    @property
    def surety(self) -> Surety:
        """How well it is known, beside the width of its band."""
        if self.estimate is None:
            return "unknown"
        part = 2.0 * self.estimate.sd / (self.high - self.low)
        return next((word for word, most in SURETIES if part <= most), "hardly")

    def share(self, value: float) -> float:
        """Place of a value on the scale, 0..1; beyond its ends, the ends. [1]"""
        return min(max(value / self.top, 0.0), 1.0)

    @property
    def distance(self) -> float:
        """How far outside the band, in widths of the band; 0 inside, or where it is unknown. [1]"""
        if self.estimate is None:
            return 0.0
        beyond = max(self.low - self.estimate.value, self.estimate.value - self.high, 0.0)
        return beyond / (self.high - self.low)


@dataclass(frozen=True, slots=True)
class Due:
    """When the next top-up is due, and give or take how long. [ms]"""

    at: Instant
    span: Instant


@dataclass(frozen=True, slots=True)
class Card:
    """One sump, ready to be shown."""

    plan: SumpPlan
    now: SumpNow
    urgency: Urgency
    level: Gauge
    concentration: Gauge
    due: Due | None
    alarms: tuple[Body, ...]
    """That stand and are not off duty, the most urgent first."""
    doubtful: tuple[tuple[str, str], ...]
    """Signals that are bound but cannot be trusted, each with its quality."""

    @property
    def kind(self) -> str:
        """What the advice says to do; `unknown` where there is none."""
        return "unknown" if self.now.advice is None else str(self.now.advice["kind"])

    @property
    def net_loss(self) -> Estimate | None:
        """Water and concentrate lost a day, in the mean of the last hours. [L/d]

        The two errors are taken as independent: their correlation is not told.
        """
        losses = None if self.now.state is None else self.now.state["losses"]
        if losses is None or losses["water_l_per_day"] is None:
            return None
        water = Estimate(**losses["water_l_per_day"])
        concentrate = losses["concentrate_l_per_day"] or {"value": 0.0, "sd": 0.0}
        return Estimate(water.value + concentrate["value"], hypot(water.sd, concentrate["sd"]))

    @property
    def order(self) -> tuple[Any, ...]:
        """Sort key: worst first, then by name."""
        priority = PRIORITIES[str(self.alarms[0]["priority"])] if self.alarms else len(PRIORITIES)
        beyond = self.level.distance + self.concentration.distance
        due = self.due.at if self.due is not None else 2**62
        return (self.urgency, priority, -round(beyond, 2), due, self.plan.name.casefold())

    @property
    def trend(self) -> tuple[Trace, ...]:
        """The last day, hour by hour."""
        points = self.now.trend
        return tuple(p for p in points if p.at > points[-1].at - DAY) if points else ()


def make_card(plan: SumpPlan, now: SumpNow, clock: Instant | None) -> Card:
    """Set what was told about a sump against its plan."""
    alarms = tuple(
        sorted(
            (a for a in now.alarms if a["active"] and a["state"] not in OFF_DUTY),
            key=lambda alarm: (PRIORITIES[alarm["priority"]], alarm["name"]),
        )
    )
    due = next_due(now.advice)
    doubtful = tuple(
        (signal, quality)
        for signal, quality in (now.state or {"signals": {}})["signals"].items()
        if quality not in {"good", "absent"}
    )
    level = level_gauge(plan, estimate(now.state, "volume_l"))
    concentration = concentration_gauge(plan, estimate(now.state, "concentration_pct", 0.01))
    return Card(
        plan=plan,
        now=now,
        urgency=_urgency(now, alarms, due, clock),
        level=level,
        concentration=concentration,
        due=due,
        alarms=alarms,
        doubtful=doubtful,
    )


def estimate(body: Body | None, key: str, per: float = 1.0) -> Estimate | None:
    """Estimate that a message tells under a key, in units of `per`. [its own unit]"""
    found: Mapping[str, float] | None = None if body is None else body[key]
    return None if found is None else Estimate(found["value"] * per, found["sd"] * per)


def next_due(advice: Body | None) -> Due | None:
    """When the next top-up is due, where that is known well enough to plan by. [ms]"""
    if advice is None or advice["next"] is None:
        return None
    at = advice["next"]["at"]
    if at["sd_h"] > VAGUE_H:
        return None
    return Due(instant_of(at["value"]), round(2.0 * at["sd_h"] * HOUR))


@lru_cache(maxsize=4096)
def _marks(tank: Tank, depths: tuple[float, ...]) -> tuple[float, ...]:
    """Volumes at some depths. [mm] to [L]"""
    return tuple(volume_at(tank, min(depth, height(tank))) for depth in depths)


def level_gauge(plan: SumpPlan, volume: Estimate | None) -> Gauge:
    """All the fluid against the volumes at low, target and brim. [L]"""
    levels = plan.levels
    low, due, target, brim, full = _marks(
        plan.tank,
        (
            levels.low,
            levels.top_up,
            levels.target,
            max(levels.brim - plan.headroom, 0.0),
            levels.brim,
        ),
    )
    top = full if full > 0.0 else capacity(plan.tank)
    return Gauge(volume, low, max(brim, target), target, top, due)


def concentration_gauge(plan: SumpPlan, share: Estimate | None) -> Gauge:
    """Concentration against the fluid's band. [1]"""
    fluid = plan.fluid
    top = fluid.band_high + 0.75 * (fluid.band_high - fluid.band_low)
    return Gauge(share, fluid.band_low, fluid.band_high, fluid.target, top)


def _urgency(
    now: SumpNow, alarms: tuple[Body, ...], due: Due | None, clock: Instant | None
) -> Urgency:
    """How soon somebody must do something. [ms]"""
    kind = None if now.advice is None else now.advice["kind"]
    if kind in {"top-up", "charge", "exchange"}:
        return Urgency.NOW
    if any(a["priority"] == "high" for a in alarms):
        return Urgency.NOW
    if kind == "check" or alarms:
        return Urgency.LOOK
    state = now.state
    if state is None or (state["volume_l"] is None and state["concentration_pct"] is None):
        return Urgency.UNKNOWN
    if due is not None and clock is not None and due.at <= clock + DAY:
        return Urgency.SOON
    return Urgency.LATER
