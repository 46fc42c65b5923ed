"""What to pour: from a sump's state and rules to litres, batches, and how it will read afterwards.

The choice itself is one mixed-integer program, `advisor.optimum`; here its task is written from a
sump's plan, and its answer is turned into a plan that people can carry out. The solver is loaded
when the first dose is computed, so that importing this module costs nothing.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import erf, inf, sqrt
from types import MappingProxyType

from advisor import cautions, reasons
from advisor.cautions import USUAL_MIN
from advisor.effects import AdviceKind, After, Batch, Mix
from advisor.errors import AdvisorError
from advisor.geometry import volume_at
from advisor.optimum import best, ends_in_band, may_reach_band
from advisor.plan import SumpPlan
from advisor.pouring import FOR_BAND, NEVER, Choice, Task
from advisor.program import SolverError
from advisor.vessels import (
    concentrate_left,
    least_dose,
    marks,
    minutes_to_mix,
    ways_to_charge,
    ways_to_dose,
    ways_to_pour,
)
from advisor.words import Estimate

EVERYTHING: Mapping[str, float] = MappingProxyType({})
"""Stock of a plant whose supplies nobody counts."""

TELLABLE_BRIX = 0.1
"""What a handheld refractometer tells apart. [°Brix]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class DosePlan:
    """What to drain and to pour, what comes of it, and why."""

    kind: AdviceKind
    mix: Mix | None
    batches: tuple[Batch, ...]
    drain: float
    """Before pouring. [L]"""
    after: After
    why: tuple[str, ...]
    cautions: tuple[str, ...]
    how: str = ""
    """The batches in words, in the order of pouring."""
    exchange: tuple[float, Mix] | None = None
    """What would have to be drained [L] and added to reach a target that this misses."""
    circulate: float = USUAL_MIN
    """For how long the pumps run then. [min]"""


def plan_top_up(
    volume: Estimate,
    concentration: Estimate,
    correlation: float,
    sump: SumpPlan,
    *,
    stock: Mapping[str, float] = EVERYTHING,
) -> DosePlan:
    """Plan the top-up of a sump, or the exchange where no top-up leads into the band.

    Parameters
    ----------
    volume : Estimate
        All the fluid, holdup included. [L]
    concentration : Estimate
        Before the dose. [1]
    correlation : float
        Of the errors of the two, -1 to 1.
    sump : SumpPlan
        Tank, levels, fluid, vessels.
    stock : mapping
        What is left of each supply, by its id; one that is not named has no end. [L]

    Raises
    ------
    AdvisorError
        If volume or concentration is none that a sump can have.
    """
    _require_state(volume, concentration)
    task = task_for(volume, concentration, correlation, sump, stock=stock)
    try:
        choice = _chosen(task, sump, stock)
    except SolverError as trouble:
        return _nothing(task, (f"No mix could be computed: {trouble}.",))
    return _circulated(_plan(task, choice, sump), sump)


def plan_charge(sump: SumpPlan, *, stock: Mapping[str, float] = EVERYTHING) -> DosePlan:
    """Plan the filling of an empty sump up to its target level at its target concentration.

    Parameters
    ----------
    sump : SumpPlan
        Tank, levels, fluid, vessels.
    stock : mapping
        What is left of each supply, by its id; one that is not named has no end. [L]
    """
    empty = Estimate(0.0, 0.0)
    task = task_for(empty, empty, 0.0, sump, stock=stock)
    task = replace(task, ways=ways_to_charge(sump, task.wanted, stock))
    try:
        choice = best(task)
    except SolverError as trouble:
        return _nothing(task, (f"No mix could be computed: {trouble}.",))
    plan = _plan(task, choice, sump)
    return _circulated(replace(plan, kind="charge", cautions=cautions.CHARGE), sump)


def task_for(
    volume: Estimate,
    concentration: Estimate,
    correlation: float,
    sump: SumpPlan,
    *,
    stock: Mapping[str, float] = EVERYTHING,
) -> Task:
    """Write the task of a sump. Volumes in [L], concentrations in [1]."""
    fluid, levels = sump.fluid, sump.levels
    full = volume_at(sump.tank, levels.brim)
    room_to = volume_at(sump.tank, max(levels.brim - sump.headroom, 0.0))
    safe = max(room_to - sump.margin_sd * volume.sd, 0.0)
    spilling = volume.value > full
    cap = safe if spilling else max(safe, volume.value)
    wanted = min(volume_at(sump.tank, levels.target), room_to)
    return Task(
        volume=volume,
        concentration=concentration,
        correlation=correlation,
        wanted=wanted,
        cap=cap,
        target=fluid.target,
        band=(fluid.band_low, fluid.band_high),
        weakest=fluid.weak_mix,
        strongest=fluid.premix_max,
        stock=concentrate_left(sump, stock),
        ways=ways_to_pour(
            sump,
            cap - min(volume.value, cap),
            _ideal_strength(volume.value, concentration.value, wanted, sump),
            stock,
        ),
        volume_tolerance=volume_tolerance(sump),
        target_tolerance=target_tolerance(sump),
        drain=FOR_BAND if spilling else NEVER,
        drain_step=1.0,
        floor=min(volume_at(sump.tank, levels.low), cap),
        least_drain=max(volume.value - safe, 0.0) if spilling else 0.0,
    )


def _ideal_strength(volume: float, concentration: float, wanted: float, sump: SumpPlan) -> float:
    """Strength that leads to volume [L] and target, as near as the fluid's limits allow. [1]"""
    fluid = sump.fluid
    room = wanted - volume
    if room <= 0.0:
        return fluid.weak_mix if concentration > fluid.target else fluid.premix_max
    ideal = (fluid.target * wanted - concentration * volume) / room
    return min(max(ideal, fluid.weak_mix), fluid.premix_max)


def target_tolerance(sump: SumpPlan) -> float:
    """Distance from the target that is as good as none. [1]

    What a handheld refractometer tells apart, at most a fortieth of the band's width.
    """
    fluid = sump.fluid
    tellable = TELLABLE_BRIX * fluid.refractometer_factor / 100.0
    return min(tellable, (fluid.band_high - fluid.band_low) / 40.0)


def volume_tolerance(sump: SumpPlan) -> float:
    """Distance from the volume wanted that is as good as none. [L]

    A hundredth of it, at least one mark of a vessel.
    """
    wanted: float = volume_at(sump.tank, sump.levels.target)
    return max(0.01 * wanted, marks(sump)[0])


def after_pouring(task: Task, choice: Choice) -> After:
    """Volume [L] and concentration [1] once the choice has been carried out.

    The sds are the state's own, and those of reading the marks: an amount between two marks is
    anywhere within half a mark (uniform, sd = mark / sqrt 12).
    """
    mix = choice.mix
    kept = task.volume.value - choice.drain
    volume = kept + mix.volume
    if volume <= 0.0:
        return After(volume=Estimate(0.0, task.volume.sd), concentration=Estimate(0.0, 0.0))
    strength = (kept * task.concentration.value + mix.concentrate) / volume
    water_sd, concentrate_sd = _reading_sds(choice)
    slope = (task.concentration.value - strength) * task.volume.sd
    across = kept * task.concentration.sd
    variance = slope**2 + across**2 + 2.0 * task.correlation * slope * across
    variance += (strength * water_sd) ** 2 + ((1.0 - strength) * concentrate_sd) ** 2
    poured = water_sd**2 + concentrate_sd**2
    return After(
        volume=Estimate(volume, sqrt(task.volume.sd**2 + poured)),
        concentration=Estimate(strength, sqrt(max(variance, 0.0)) / volume),
    )


def confidence_in_band(after: After, band: tuple[float, float]) -> float:
    """Probability that the concentration afterwards is in the band. [1]"""
    mean, sd = after.concentration.value, after.concentration.sd
    if sd <= 0.0:
        return 1.0 if band[0] <= mean <= band[1] else 0.0
    low, high = (erf((edge - mean) / (sd * sqrt(2.0))) for edge in band)
    return (high - low) / 2.0


def _reading_sds(choice: Choice) -> tuple[float, float]:
    """Sds of all water and of all concentrate poured, from reading marks. [L]"""
    counted = list(zip(choice.ways, choice.batches, strict=True))
    return (
        sqrt(sum(batch.count * way.marks[0] ** 2 for way, batch in counted) / 12.0),
        sqrt(sum(batch.count * way.marks[1] ** 2 for way, batch in counted) / 12.0),
    )


def _require_state(volume: Estimate, concentration: Estimate) -> None:
    """Refuse a volume [L] or a concentration [1] that no sump can have."""
    if not 0.0 <= volume.value < inf or not 0.0 <= volume.sd < inf:
        raise AdvisorError("volume", volume, "0 L or more, with an sd of 0 L or more")
    if not 0.0 <= concentration.value < 1.0 or not 0.0 <= concentration.sd < inf:
        raise AdvisorError("concentration", concentration, "0 up to 1, with an sd of 0 or more")


def _chosen(task: Task, sump: SumpPlan, stock: Mapping[str, float]) -> Choice:
    """Choose, draining where the band [1] can be reached with it and not without."""
    own, choice = _by_station(task, sump), None
    if may_reach_band(task):
        choice = best(own)
        if own is not task or ends_in_band(task, choice):
            return choice
    drained = _with_draining(task, sump, stock)
    if may_reach_band(drained):
        other = best(drained)
        if ends_in_band(drained, other):
            return other
    return best(own) if choice is None else choice


def _by_station(task: Task, sump: SumpPlan) -> Task:
    """Let a station do it where it doses by itself; it drains nothing. [L]"""
    if least_dose(sump) is None or task.drain != NEVER:
        return task
    return replace(task, ways=ways_to_dose(sump))


def _with_draining(task: Task, sump: SumpPlan, stock: Mapping[str, float]) -> Task:
    """Allow draining, with ways that can fill what an exchange drains. [L]"""
    strength, target = task.concentration.value, task.target
    fresh = task.weakest if strength > target else task.strongest
    share = min((strength - target) / (strength - fresh) * 1.2, 1.0) if strength != fresh else 1.0
    room = task.cap - min(task.volume.value, task.cap) + share * task.volume.value
    return replace(task, drain=FOR_BAND, ways=ways_to_pour(sump, room, fresh, stock))


def _plan(task: Task, choice: Choice, sump: SumpPlan) -> DosePlan:
    """Turn a choice into a plan. [L]"""
    after = after_pouring(task, choice)
    if choice.drain <= 0.0 and not choice.batches:
        return _nothing(task, reasons.for_nothing(task))
    kind: AdviceKind = "exchange" if choice.drain > 0.0 else "top-up"
    confidence = confidence_in_band(after, task.band)
    return DosePlan(
        kind=kind,
        mix=choice.mix,
        batches=choice.batches,
        drain=choice.drain,
        after=after,
        why=reasons.for_plan(task, choice, after, confidence, sump),
        cautions=cautions.EXCHANGE if kind == "exchange" else cautions.TOP_UP,
        how=reasons.how_to_pour(choice, sump),
        exchange=reasons.exchange_instead(task, after.concentration.value)
        if kind == "top-up"
        else None,
    )


def _circulated(plan: DosePlan, sump: SumpPlan) -> DosePlan:
    """Say for how long the pumps run until it is mixed. [min]"""
    minutes = minutes_to_mix(sump, plan.after.volume.value)
    return replace(plan, circulate=minutes, cautions=cautions.lasting(plan.cautions, minutes))


def _nothing(task: Task, why: tuple[str, ...]) -> DosePlan:
    """Leave the sump as it is. [L]"""
    after = After(volume=task.volume, concentration=task.concentration)
    return DosePlan(
        kind="none",
        mix=None,
        batches=(),
        drain=0.0,
        after=after,
        why=why,
        cautions=(),
        exchange=reasons.exchange_instead(task, after.concentration.value),
    )
