"""Alert thresholds in the sensors' own units and sense, for a controller beside the sump.

Chosen, and why:

- level, pumps stopped: `low` is the plant file's; `high` is the brim less the headroom, which no
  advised dose ever uses;
- level, pumps running: the same fluid stands lower by the holdup. Where the holdup is not known it
  may be anything up to 15 % of the volume at the brim, and each end takes the safe side: `high` as
  if all of that were up in the machine and came back, `low` as if nothing were. What the pumps need
  (`low_running`) is never undercut;
- Brix: the band by the refractometer factor, of a reading referred to 20 °C;
- losses: twice what is usual and at least three sds above it, within bounds; usual is the mean
  since the account began, once it is three days long. Before that, the upper end of what
  stand-alone sumps lose: a tenth of the volume a day (handbooks, from memory), all of it water, or
  all of it mix at the target. The mean over the whole account, not over the last day, because a
  threshold that follows a leak would never see it.
"""

from advisor.effects import Limits, Range
from advisor.geometry import depth_at, volume_at
from advisor.level import as_plant_reads, reading_at_depth
from advisor.plan import SignalPlan, SumpPlan
from advisor.words import Account, Estimate, Signal, SumpState, days_between

UNKNOWN_HOLDUP = 0.15
"""Most of the volume at the brim that is up in a machine whose holdup is not known. [1]"""

USUAL_AFTER = 3.0
"""Age at which an account says what is usual. [d]"""

USUAL_TIMES, USUAL_SDS = 2.0, 3.0
MOST_A_DAY, LEAST_A_DAY = 0.10, 0.02
"""Bounds of a loss limit, as part of the target volume (water) or of its concentrate. [1/d]"""


def limits_for(plan: SumpPlan, state: SumpState) -> Limits:
    """Thresholds of a sump, from its plan and what has been learned about it.

    Parameters
    ----------
    plan : SumpPlan
        Levels [mm], band [1], signals as bound.
    state : SumpState
        Its holdup [L] and accounts [L], where known.

    Returns
    -------
    limits
        Level and Brix in the units of the bound signals; losses in [L/d].
    """
    level, brix = plan.signals.get(Signal.LEVEL), plan.signals.get(Signal.BRIX)
    stopped, running = rest_range(plan), running_range(plan, state.holdup)
    return Limits(
        level_running=None if level is None else _as_read(level, plan, running),
        level_stopped=None if level is None else _as_read(level, plan, stopped),
        level_unit="" if level is None else level.unit or "mm",
        brix=None if brix is None else _band_as_read(brix, plan),
        brix_unit="" if brix is None else brix.unit or "degBrix",
        water_loss_high=water_loss_high(plan, state),
        concentrate_loss_high=concentrate_loss_high(plan, state),
    )


def rest_range(plan: SumpPlan) -> tuple[float, float]:
    """Lowest and highest depth with the pumps stopped and everything drained back. [mm]"""
    return plan.levels.low, plan.levels.brim - plan.headroom


def running_range(plan: SumpPlan, learned: Estimate | None) -> tuple[float, float]:
    """Lowest and highest depth while the pumps run; the holdup learned is in [L]. [mm]"""
    low, high = rest_range(plan)
    least, most = holdup_range(plan, learned)
    lowest = _lowered(plan, low, least)
    if plan.levels.low_running is not None:
        lowest = max(lowest, plan.levels.low_running)
    return lowest, max(_lowered(plan, high, most), lowest)


def holdup_range(plan: SumpPlan, learned: Estimate | None) -> tuple[float, float]:
    """Least and most that may be up in the machine while the pumps run. [L]"""
    full = UNKNOWN_HOLDUP * volume_at(plan.tank, plan.levels.brim)
    if learned is not None:
        least, most = learned.value - learned.sd, learned.value + learned.sd
        return max(min(least, full), 0.0), max(most, 0.0)
    if plan.holdup is not None:
        return plan.holdup, plan.holdup
    return 0.0, full


def water_loss_high(plan: SumpPlan, state: SumpState) -> float:
    """Threshold for the loss of water. [L/d]"""
    scale = volume_at(plan.tank, plan.levels.target)
    window = state.losses.water
    return _loss_high(scale, _usual(state, "water"), window.sd if window else 0.0)


def concentrate_loss_high(plan: SumpPlan, state: SumpState) -> float:
    """Threshold for the loss of concentrate. [L/d]"""
    scale = volume_at(plan.tank, plan.levels.target) * plan.fluid.target
    window = state.losses.concentrate
    return _loss_high(scale, _usual(state, "concentrate"), window.sd if window else 0.0)


def _loss_high(scale: float, usual: float | None, sd: float) -> float:
    """Threshold from what is usual and from the sd of what it is compared with. [L/d]"""
    if usual is None:
        return MOST_A_DAY * scale
    high = max(USUAL_TIMES * usual, usual + USUAL_SDS * sd)
    return min(max(high, LEAST_A_DAY * scale), max(MOST_A_DAY * scale, usual + USUAL_SDS * sd))


def _usual(state: SumpState, what: str) -> float | None:
    """Mean loss since the account began, once that says something. [L/d]"""
    account: Account | None = state.lost
    if account is None:
        return None
    days = days_between(account.since, state.at)
    if days < USUAL_AFTER:
        return None
    total = account.water if what == "water" else account.concentrate
    return max(total.value, 0.0) / days


def _lowered(plan: SumpPlan, depth: float, holdup: float) -> float:
    """Depth once `holdup` [L] of what stood at `depth` has gone up into the machine. [mm]"""
    return depth_at(plan.tank, max(volume_at(plan.tank, depth) - holdup, volume_at(plan.tank, 0.0)))


def _as_read(level: SignalPlan, plan: SumpPlan, depths: tuple[float, float]) -> Range:
    """Depths [mm] as the level sensor shows them: an air gap is small where the fluid is high."""
    ends = [as_plant_reads(level, reading_at_depth(plan, depth)) for depth in depths]
    return Range(min(ends), max(ends))


def _band_as_read(brix: SignalPlan, plan: SumpPlan) -> Range:
    """Band as the refractometer shows it, in its own unit [°Brix where that is its unit]."""
    fluid = plan.fluid
    ends = [
        as_plant_reads(brix, 100.0 * edge / fluid.refractometer_factor)
        for edge in (fluid.band_low, fluid.band_high)
    ]
    return Range(min(ends), max(ends))
