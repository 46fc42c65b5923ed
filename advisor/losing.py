"""Whether a sump loses more than it may, or gains what nobody poured: a test on the posterior.

A mean loss over the last hours passes a bound when the bound lies `SURE` sds beyond it, and until
it lies fewer than `KEPT`: so a finding comes late rather than falsely, and does not flutter.
"""

from collections.abc import Iterator

from advisor.belief import Core, Told
from advisor.geometry import volume_at
from advisor.plan import SumpPlan
from advisor.seepage import is_called
from advisor.words import HOUR, MINUTE, Account, Estimate, Finding, Instant, days_between

SURE, KEPT = 3.0, 1.0
"""Sds beyond the bound at which a finding comes, and under which it goes. [1]"""
PERSISTS: Instant = 30 * MINUTE
"""For so long it must hold: what was poured in is found within that time. [ms]"""
LONG_ENOUGH = 12.0
"""Window from which on a loss is compared with what is usual in a day. [h]"""
USUAL_AFTER = 3.0
"""Age at which an account says what is usual. [d]"""
USUAL_TIMES = 2.0
MOST_A_DAY, LEAST_A_DAY = 0.10, 0.02
"""Bounds of a loss limit, per target volume or its concentrate, as for those advised. [1/d]"""
MOSTLY = 0.5
"""Carried-off mix per loss of water from which on the loss is called one of mix. [1]"""
LEAST_GAIN = 0.01
"""Ingress under this is no finding, per target volume. [1/d]"""
LEAKING: Instant = 8 * HOUR
"""A leak that has not been seen for so long has stopped or was mended. [ms]"""
WATER, CONCENTRATE, GAIN, MIX = (
    "water-loss-high",
    "concentrate-loss-high",
    "water-gain",
    "mix-loss-high",
)
Since = tuple[tuple[str, Instant], ...]
_DETAIL = {
    WATER: "more water leaves than is usual, and no concentrate with it",
    CONCENTRATE: "more concentrate leaves than is usual, and no water with it",
    MIX: "more mix leaves than is usual",
    GAIN: "water comes in that nobody poured",
}


def compare(core: Core, plan: SumpPlan, at: Instant) -> Since:
    """Give what holds at the end of a slot, each with the moment from which on it has."""
    if core.charging or core.since < 0:
        return ()
    before = dict(core.losing)
    return tuple([(name, before.get(name, at)) for name in _hold(core, plan, at, before)])


def _hold(core: Core, plan: SumpPlan, at: Instant, before: dict[str, Instant]) -> Iterator[str]:
    """Give the names of what holds; water that takes its concentrate along is mix."""
    told = core.told
    if _gains(told, plan, SURE if GAIN not in before else KEPT):
        yield GAIN
    mix = MIX in before
    strength = 0.0 if told.concentration is None else told.concentration.value
    concentrate = sum(told.rates[2:])
    if strength > 0.0 and is_called(
        core.seepage, before=mix, strength=strength, concentrate=concentrate
    ):
        yield MIX
        return
    water, solute = told.losses.water, told.losses.concentrate
    if water is None or told.losses.window_h < LONG_ENOUGH or told.lost is None:
        return
    scale = volume_at(plan.tank, plan.levels.target)
    days = days_between(told.lost.since, at)
    high = _passes(water, limit(told.lost, "water", scale, days), kept=mix or WATER in before)
    leaves = solute is not None and _passes(
        solute,
        limit(told.lost, "concentrate", scale * plan.fluid.target, days),
        kept=mix or CONCENTRATE in before,
    )
    mostly = (
        told.losses.carry_off is not None and told.losses.carry_off.value > MOSTLY * water.value
    )
    if high and (leaves or mostly):
        yield MIX
    elif high:
        yield WATER
    elif leaves:
        yield CONCENTRATE


def _gains(told: Told, plan: SumpPlan, sds: float) -> bool:
    """Whether the net loss of water is surely negative, over a day or over the last hours."""
    least = LEAST_GAIN * volume_at(plan.tank, plan.levels.target)
    return any(
        loss is not None and loss.value + sds * loss.sd < 0.0 and loss.value < -least
        for loss in (told.losses.water, told.recent)
    )


def _passes(loss: Estimate, bound: float, *, kept: bool) -> bool:
    """Whether a loss is surely above a bound. [L/d]"""
    return loss.value - (KEPT if kept else SURE) * loss.sd > bound


def limit(lost: Account, what: str, scale: float, days: float) -> float:
    """Give the loss that is too much: twice what is usual, within bounds. [L/d]

    Parameters
    ----------
    lost : Account
        Losses since the account began. [L]
    what : str
        ``water`` or ``concentrate``.
    scale : float
        Target volume, or the concentrate in it. [L]
    days : float
        Age of the account. [d]
    """
    if days < USUAL_AFTER:
        return MOST_A_DAY * scale
    total = lost.water if what == "water" else lost.concentrate
    usual = max(total.value, 0.0) / days
    return min(max(USUAL_TIMES * usual, LEAST_A_DAY * scale), max(MOST_A_DAY * scale, usual))


def losses_found(core: Core, at: Instant) -> Iterator[Finding]:
    """Give what has held for long enough, with the loss that shows it."""
    told, since = core.told, dict(core.losing)
    leaking = core.leaking >= 0 and at - core.leaking <= LEAKING
    if leaking:
        detail = "the level keeps falling faster than evaporation and carry-off explain"
        began = core.rushing_since if core.rushing > 0.0 else core.leaking
        yield Finding(name=MIX, signal=None, since=began, detail=detail)
    flooding = core.rushing < 0.0
    if flooding:
        since[GAIN] = core.rushing_since
    for name, began in since.items():
        lasted = at - began >= PERSISTS or (flooding and name == GAIN)
        if not lasted or (leaking and name != GAIN):
            continue
        loss = told.losses.concentrate if name == CONCENTRATE else told.losses.water
        if name == GAIN and told.recent is not None and (loss is None or loss.value >= 0.0):
            loss = told.recent
        value = None if loss is None else abs(loss.value)
        yield Finding(
            name=name, signal=None, since=began, detail=_DETAIL[name], value=value, unit="L/d"
        )
