"""Why a dose is as it is, in sentences for the person who carries it out."""

from collections.abc import Callable

from advisor.effects import After, Batch, Mix
from advisor.errors import AdvisorError
from advisor.geometry import volume_at
from advisor.mixing import exchange_to, mix_of
from advisor.plan import SumpPlan
from advisor.pouring import Choice, Task, Way, ingredients
from advisor.vessels import finest, vessel_named
from advisor.wording import (
    NEGLIGIBLE,
    litres,
    litres_sd,
    measured,
    number,
    percent,
    percent_sd,
)


def for_plan(
    task: Task, choice: Choice, after: After, confidence: float, sump: SumpPlan
) -> tuple[str, ...]:
    """Say what is to be done, why, and how it will read. Volumes in [L]."""
    sentences = [how_to_pour(choice, sump)]
    if choice.drain > 0.0:
        sentences.insert(0, _draining(task, choice))
    sentences.append(_state(task))
    sentences.append(_reading(task, after, confidence, sump))
    sentences.append(_room(task, sump))
    sentences += shortfalls(task, after)
    sentences += _rounding(task, choice, after)
    return tuple(sentence for sentence in sentences if sentence)


def for_nothing(task: Task) -> tuple[str, ...]:
    """Say why nothing is to be poured. [L]"""
    after = After(volume=task.volume, concentration=task.concentration)
    return (_state(task), *shortfalls(task, after))


def how_to_pour(choice: Choice, sump: SumpPlan) -> str:
    """Say the batches in the order of pouring: water first. [L]"""
    said = [_batch(way, b, sump) for way, b in zip(choice.ways, choice.batches, strict=True)]
    return "; then ".join(said) + "." if said else ""


def shortfalls(task: Task, after: After, say: Callable[[float], str] = litres) -> list[str]:
    """Say what of the wishes is not reached, and what an exchange would take.

    `say` words a volume [L].
    """
    said = []
    volume, strength = after.volume.value, after.concentration.value
    if abs(volume - task.wanted) > task.volume_tolerance + 1e-6:
        short = volume < task.wanted
        said.append(
            f"{say(abs(volume - task.wanted))} {'under' if short else 'over'} the "
            f"{say(task.wanted)} wanted."
        )
    if abs(strength - task.target) > task.target_tolerance + 1e-9:
        said.append(_off_target(task, strength, say))
    return said


def _batch(way: Way, batch: Batch, sump: SumpPlan) -> str:
    """Say one kind of batch: water, then concentrate into it, how many times. [L]"""
    vessel, (first, second) = vessel_named(sump, way.name), ingredients(way, batch)
    parts = []
    if first > 0.0:
        parts.append(f"{measured(first, vessel)} of {_first_of(way)}")
    if second > 0.0:
        into = " into it" if parts else ""
        parts.append(f"{measured(second, finest(sump))} of {_second_of(way)}{into}")
    said = ", then ".join(parts)
    return f"{batch.count} times: {said}" if batch.count > 1 else said


def _first_of(way: Way) -> str:
    """Name what goes into the vessel first; strengths in [1]."""
    strength = way.strengths[0]
    return f"mix from {way.supply}, set to {percent(strength)}" if strength > 0.0 else "water"


def _second_of(way: Way) -> str:
    """Name what goes into the vessel then; strengths in [1]."""
    strength = way.strengths[1]
    whole = strength is None or strength == 1.0
    return "concentrate" if whole else f"premix from {way.supply} ({percent(strength or 0.0)})"


def _draining(task: Task, choice: Choice) -> str:
    """Say how much has to go, and why. [L]"""
    if task.least_drain > 0.0:
        return f"Drain {litres(choice.drain)}: the sump is over its brim once it has drained back."
    return f"Drain {litres(choice.drain)} first: without that the band cannot be reached."


def _state(task: Task) -> str:
    """Say what the sump holds, with the sds. [L]"""
    return (
        f"In it now: {litres_sd(task.volume)} at {percent_sd(task.concentration)}; "
        f"wanted: {litres(task.wanted)} at {percent(task.target)}."
    )


def _reading(task: Task, after: After, confidence: float, sump: SumpPlan) -> str:
    """Say what the sump will read afterwards, before and after the factor. [L]"""
    strength = after.concentration.value
    brix = number(100.0 * strength / sump.fluid.refractometer_factor)
    low, high = task.band
    return (
        f"Afterwards {litres(after.volume.value)} at {percent(strength)}, {brix} °Brix; in the "
        f"band of {percent(low)} to {percent(high)} with {number(100.0 * confidence, 0)} % "
        "confidence."
    )


def _room(task: Task, sump: SumpPlan) -> str:
    """Say how far it may be filled, and which margin is kept under the brim. [L]"""
    kept = sump.margin_sd * task.volume.sd
    under = volume_at(sump.tank, max(sump.levels.brim - sump.headroom, 0.0))
    margin = f"the brim less {number(sump.headroom, 0)} mm"
    if kept > NEGLIGIBLE:
        margin += f" and {number(sump.margin_sd)} times the sd of the volume"
    if task.cap > under - kept + 1e-6:
        return f"It is filled no farther: the most is {litres(max(under - kept, 0.0))}, {margin}."
    return f"Room for {litres(task.cap)} at most: {margin}."


def _off_target(task: Task, strength: float, say: Callable[[float], str]) -> str:
    """Say that the target is not reached, and what an exchange would take. [L]"""
    missing = _missing(task)
    if task.stock < missing and strength < task.target:
        return (
            f"Only {say(task.stock)} of concentrate are at hand, {say(missing)} would be needed: "
            f"the best is {percent(strength)}, too lean."
        )
    if _only_marks_forbid(task):
        return f"Measured in whole marks the closest to the target is {percent(strength)}."
    strong = strength > task.target
    said = (
        f"The target of {percent(task.target)} cannot be reached by adding: the best is "
        f"{percent(strength)}, too {'strong' if strong else 'lean'}."
    )
    fresh = task.weakest if strong else task.strongest
    if task.target < fresh if strong else task.target > fresh:
        return (
            f"{said} No mix {'weaker' if strong else 'stronger'} than {percent(fresh)} may be made."
        )
    exchange = exchange_for(task, strength)
    if exchange is None:
        return said
    drain, mix = exchange
    return (
        f"{said} An exchange would reach it: drain {say(drain)} of what is in it now, then add "
        f"{say(mix.volume)} at {percent(fresh)}."
    )


def exchange_for(task: Task, strength: float) -> tuple[float, Mix] | None:
    """What to drain, and to fill in, to reach a target that the best top-up misses. [L]

    `strength` [1] is what the best top-up leads to; `None` where no exchange leads there.
    """
    fresh = task.weakest if strength > task.target else task.strongest
    now, wanted = task.volume.value, min(task.wanted, task.cap)
    try:
        drain, add = exchange_to(now, task.concentration.value, wanted, task.target, fresh)
    except AdvisorError:
        return None
    mix = mix_of(add, fresh)
    return None if mix.concentrate > task.stock else (drain, mix)


def exchange_instead(task: Task, strength: float) -> tuple[float, Mix] | None:
    """What to drain, and to fill in, where adding cannot reach the target at all.

    `strength` [1] is what the best top-up leads to. `None` where that is good enough, where only
    marks or stock stand in the way, or where no exchange leads there.
    """
    if abs(strength - task.target) <= task.target_tolerance + 1e-9 or _only_marks_forbid(task):
        return None
    return exchange_for(task, strength)


def _only_marks_forbid(task: Task) -> bool:
    """Whether the volume wanted [L] could have the target, if any amount could be measured."""
    room = task.wanted - task.volume.value
    return room > 0.0 and task.weakest * room <= _missing(task) <= task.strongest * room


def _missing(task: Task) -> float:
    """Concentrate that the volume wanted has at the target, and the sump has not. [L]"""
    return task.target * task.wanted - task.concentration.value * task.volume.value


def _rounding(task: Task, choice: Choice, after: After) -> list[str]:
    """Say what measuring in whole marks does to the result. [L]"""
    off = after.concentration.value - task.target
    if (
        not choice.batches
        or abs(off) > task.target_tolerance
        or not any(way.marks[0] for way in choice.ways)
    ):
        return []
    return [
        f"Whole marks leave it {percent(abs(off))} {'above' if off > 0 else 'under'} the target."
        if abs(off) >= 5e-5
        else "Whole marks meet the target to 0.01 %."
    ]
