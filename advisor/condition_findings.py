"""What the memory of a fluid's condition says is wrong, and when time alone will say more."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TypeAlias

from advisor.alarm_definitions import definition
from advisor.condition import (
    EMPTY,
    Condition,
    Noted,
    mean,
    newest,
    note,
    run,
    standstills,
    withdrawn,
)
from advisor.plan import SumpPlan
from advisor.sump_findings import (
    BACTERIA_TO_ADJUST,
    GRACE,
    NITRITE_LIMIT,
    STILL_AFTER,
    TRAMP_OIL_LIMIT,
    bacteria_high,
    check_overdue,
    chloride_high,
    conductivity_out_of_band,
    hardness_high,
    nitrite_high,
    ph_out_of_band,
    stagnant,
    tramp_oil_high,
)
from advisor.words import DAY, HOUR, CheckKind, Estimate, Evidence, Finding, Instant, Signal

PH_CHECK_SD = 0.1
"""Of strips in steps of 0.2 to 0.3 (DGUV Regel 109-003, 7.1): a third of a step. [pH]"""

PH_SENSOR_SD = 0.1
"""Of an inline sensor that nobody describes, *common practice*. [pH]"""

CONDUCTIVITY_SHARE = 0.02
"""Sd of a conductivity, as a share of it, *common practice*. [1]"""

TEST_SHARE = 0.05
"""Sd of a test of hardness or chloride, as a share of what it finds, *common practice*. [1]"""

NITRITE_LOW, NITRITE_RUN = 10.0, 3
"""Three readings in a row below 10 mg/L allow four weeks between checks (TRGS 611, 5.3).
[mg/L], [1]"""

NITRITE_SELDOM: Instant = 28 * DAY

HALF_SHIFT: Instant = 4 * HOUR

LONG_STANDSTILL: Instant = 4 * HOUR
"""Pumps that stood for so long: nobody was there to check, *common practice*. [ms]"""


NEVER: Instant = 1 << 62
"""Later than anything. [ms]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Care:
    """A fluid's condition and what it says: found once, and again when something may change it."""

    condition: Condition = EMPTY
    found: tuple[Finding, ...] = ()
    look: Instant | None = None
    """Clock up to which `found` holds; `None`: it has not been looked at yet. [ms]"""


def noted(care: Care, evidence: Evidence) -> Care:
    """Take in one piece of evidence, whenever it comes."""
    condition = note(care.condition, evidence)
    return care if condition is care.condition else Care(condition=condition, found=care.found)


def corrected(care: Care, entry: str) -> Care:
    """Forget a check that a later entry replaces."""
    condition = withdrawn(care.condition, entry)
    return care if condition is care.condition else Care(condition=condition, found=care.found)


def looked_at(care: Care, plan: SumpPlan, *, at: Instant, now: Instant) -> Care:
    """Find what is wrong now, where that may have changed.

    Parameters
    ----------
    care : Care
        What is remembered, and what was found last.
    plan : SumpPlan
        Bands and limits of the fluid, how often checks are due.
    at : Instant
        Data time: a sump of which nothing was known is watched from here on. [ms]
    now : Instant
        The clock. [ms]
    """
    if care.look is not None and now < care.look:
        return care
    condition = care.condition
    if condition.since is None:
        condition = replace(condition, since=at)
    changes = [change for change in _changes(condition, plan) if change > now]
    return Care(
        condition=condition,
        found=condition_findings(condition, plan, now),
        look=min(changes, default=NEVER),
    )


def condition_findings(condition: Condition, plan: SumpPlan, now: Instant) -> tuple[Finding, ...]:
    """Find what is wrong with a fluid and its care.

    Parameters
    ----------
    condition : Condition
        What is remembered of it.
    plan : SumpPlan
        Bands and limits of the fluid, how often checks are due.
    now : Instant
        The clock. [ms]
    """
    last = newest(condition)
    found = [*_measured(condition, last, plan), *_counted(condition, last, plan)]
    if condition.pumps:
        found.append(_still(condition, plan, now))
    if plan.checks:
        found.append(_overdue(condition, plan, now))
    return tuple([finding for finding in found if finding is not None])


def _changes(condition: Condition, plan: SumpPlan) -> Iterator[Instant]:
    """Moments from which time alone finds something, past ones included. [ms]"""
    since = _standing_since(condition)
    if since is not None:
        yield since + _still_limit(plan) + 1
    if plan.checks:
        last, intervals = schedule(condition, plan)
        for kind, at in last.items():
            yield at + intervals[kind] + GRACE + 1


# --- quantities with a band -----------------------------------------------------------------------


Last: TypeAlias = Mapping[CheckKind, Noted]
"""Newest check of each kind."""


def _measured(condition: Condition, last: Last, plan: SumpPlan) -> Iterator[Finding | None]:
    """PH and conductivity, by whatever told of them last."""
    fluid, rules = plan.fluid, plan.alarms
    acid, salty = _ph(condition, last, plan), _conductivity(condition, last, plan)
    if acid is not None:
        at, ph, first = acid
        low = definition(rules, "ph-out-of-band").limit or fluid.ph_low
        yield ph_out_of_band(ph, at, low=low, high=fluid.ph_high, first=first)
    if salty is not None:
        at, known = salty
        high = definition(rules, "conductivity-out-of-band").limit or fluid.conductivity_high
        yield conductivity_out_of_band(known, at, low=fluid.conductivity_low, high=high)


def _ph(
    condition: Condition, last: Last, plan: SumpPlan
) -> tuple[Instant, Estimate, float | None] | None:
    """Newest pH, when it held, and that of the first fill by the same means where there is one."""
    check, inline = last.get(CheckKind.PH), mean(condition.ph)
    by_check = None if condition.first_ph is None else condition.first_ph.value
    by_sensor = None if condition.first_inline is None else condition.first_inline.mean
    if inline is not None and (check is None or inline[0] > check.at):
        told = plan.signals.get(Signal.PH)
        sd = PH_SENSOR_SD if told is None or told.sd is None else told.sd
        return inline[0], Estimate(inline[1], sd), by_check if by_sensor is None else by_sensor
    if check is None:
        return None
    return check.at, Estimate(check.value, PH_CHECK_SD), by_sensor if by_check is None else by_check


def _conductivity(
    condition: Condition, last: Last, plan: SumpPlan
) -> tuple[Instant, Estimate] | None:
    """Newest conductivity, and when it held."""
    check, inline = last.get(CheckKind.CONDUCTIVITY), mean(condition.conductivity)
    if inline is not None and (check is None or inline[0] > check.at):
        told = plan.signals.get(Signal.CONDUCTIVITY)
        share = CONDUCTIVITY_SHARE * inline[1]
        sd = share if told is None or told.sd is None else told.sd
        return inline[0], Estimate(inline[1], sd)
    if check is None:
        return None
    return check.at, Estimate(check.value, CONDUCTIVITY_SHARE * check.value)


# --- quantities that people count -----------------------------------------------------------------


def _counted(condition: Condition, last: Last, plan: SumpPlan) -> Iterator[Finding | None]:
    """Hardness, chloride, nitrite, bacteria and tramp oil, by the last check of each."""
    if not last:
        return
    fluid, rules = plan.fluid, plan.alarms
    hard, salty = last.get(CheckKind.HARDNESS), last.get(CheckKind.CHLORIDE)
    if hard is not None:
        limit = definition(rules, "hardness-high").limit or fluid.hardness_limit
        yield hardness_high(Estimate(hard.value, TEST_SHARE * hard.value), hard.at, limit)
    if salty is not None:
        limit = definition(rules, "chloride-high").limit or fluid.chloride_limit
        yield chloride_high(Estimate(salty.value, TEST_SHARE * salty.value), salty.at, limit)
    nitrite, slide = last.get(CheckKind.NITRITE), last.get(CheckKind.DIP_SLIDE)
    if nitrite is not None:
        most = definition(rules, "nitrite-high").limit or NITRITE_LIMIT
        yield nitrite_high(nitrite.value, nitrite.at, most)
    if slide is not None:
        most = definition(rules, "bacteria-high").limit or BACTERIA_TO_ADJUST
        yield bacteria_high(slide.value, slide.at, most)
    oil, skimmed = last.get(CheckKind.TRAMP_OIL), condition.skimmed_at
    if oil is not None and (skimmed is None or skimmed < oil.at):
        most = definition(rules, "tramp-oil-high").limit or TRAMP_OIL_LIMIT
        yield tramp_oil_high(oil.value, oil.at, most)


# --- what is late ---------------------------------------------------------------------------------


def _standing_since(condition: Condition) -> Instant | None:
    """When the pumps stopped, if they stand. [ms]"""
    stands = standstills(condition)
    return stands[-1][0] if stands and stands[-1][1] is None else None


def missed_from(condition: Condition, due: Instant) -> Instant:
    """From when on something that was due at a moment is missed. [ms]

    What fell due in a long standstill of the pumps is missed half a shift after its end: nobody
    was there before.
    """
    for stopped, ended in standstills(condition):
        if ended is not None and ended - stopped >= LONG_STANDSTILL and stopped < due <= ended:
            return ended + HALF_SHIFT
    return due


def _still_limit(plan: SumpPlan) -> Instant:
    """How long the fluid may stand still. [ms]"""
    days = definition(plan.alarms, "stagnant").limit
    return STILL_AFTER if days is None else round(days * DAY)


def _still(condition: Condition, plan: SumpPlan, now: Instant) -> Finding | None:
    """Fluid that has not moved for too long."""
    return stagnant(_standing_since(condition), now, limit=_still_limit(plan))


def _intervals(condition: Condition, plan: SumpPlan) -> dict[CheckKind, Instant]:
    """How often each check is due now. [ms]"""
    intervals = {kind: round(days * DAY) for kind, days in plan.checks.items()}
    if CheckKind.NITRITE in intervals:
        row = run(condition, CheckKind.NITRITE)
        if len(row) >= NITRITE_RUN and all(noted.value < NITRITE_LOW for noted in row):
            intervals[CheckKind.NITRITE] = max(intervals[CheckKind.NITRITE], NITRITE_SELDOM)
    return intervals


def schedule(
    condition: Condition, plan: SumpPlan
) -> tuple[dict[CheckKind, Instant], dict[CheckKind, Instant]]:
    """When each check was last made, or from when on it counts, and after how long it is due.

    One that would have become overdue in a long standstill of the pumps is due when they run
    again: nobody was there. Times in ms.
    """
    begin = condition.since if condition.filled_at is None else condition.filled_at
    last: dict[CheckKind, Instant] = {} if begin is None else dict.fromkeys(plan.checks, begin)
    last |= {kind: noted.at for kind, noted in newest(condition).items() if kind in plan.checks}
    intervals = _intervals(condition, plan)
    for stopped, ended in standstills(condition):
        if ended is None or ended - stopped < LONG_STANDSTILL:
            continue
        for kind, at in last.items():
            if stopped < at + intervals[kind] + GRACE <= ended:
                intervals[kind] = ended - at
    return last, intervals


def _overdue(condition: Condition, plan: SumpPlan, now: Instant) -> Finding | None:
    """Checks that are late; while the pumps stand nothing becomes so."""
    stopped = _standing_since(condition)
    last, intervals = schedule(condition, plan)
    return check_overdue(last, now if stopped is None else stopped, intervals)
