"""What a month is held against: another month of the same sumps, day by day, and nothing else."""

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from advisor.words import DAY
from agent.page.office import Office
from agent.page.report.gather import SumpMonth, gather
from agent.page.report.months import Month, month_of

LEAST_DAYS = 7.0
"""A sump of which less was told in either month is left out of the comparison. [d]"""


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two months of the same sumps. Savings are positive where less was used than before."""

    against: Month
    sumps: int
    days: float
    """Told in the mean of these sumps, in this month. [d]"""
    days_before: float
    concentrate_a_day: float
    concentrate_a_day_before: float
    """Of all these sumps. [L/d]"""
    waste_a_day: float
    waste_a_day_before: float
    concentrate_saved: float
    """Over the days of this month. [L]"""
    waste_saved: float
    money_saved: float | None
    """At the plant file's prices; `None` where it has none."""


def usual_baseline(office: Office, month: Month) -> Month | None:
    """First whole month that was stored, if it is before this one."""
    zone = ZoneInfo(office.plant.timezone)
    spans = [span for name in office.plant.sumps if (span := office.history.span(name))]
    if not spans:
        return None
    first = min(begin for begin, _ in spans)
    found = month_of(first, zone)
    if first > found.begin(zone) + 2 * DAY:
        found = found.moved(1)
    return found if found < month else None


def compare(office: Office, months: Sequence[SumpMonth], against: Month) -> Comparison | None:
    """Hold a month's sumps against another month; `None` where none was told of in both."""
    zone = ZoneInfo(office.plant.timezone)
    begin, end = against.begin(zone), against.end(zone)
    pairs = [
        (now, before)
        for now in months
        if now.totals is not None and now.totals.days >= LEAST_DAYS
        and (before := gather(office, now.plan, begin, end, ())).totals is not None
        and before.totals.days >= LEAST_DAYS
    ]  # fmt: skip
    if not pairs:
        return None
    now_rate = before_rate = now_waste = before_waste = saved = waste_saved = 0.0
    money: float | None = None
    for now, before in pairs:
        used, used_before = _rates(now), _rates(before)
        days = now.totals.days if now.totals else 0.0
        now_rate, before_rate = now_rate + used[0], before_rate + used_before[0]
        now_waste, before_waste = now_waste + used[1], before_waste + used_before[1]
        concentrate = (used_before[0] - used[0]) * days
        waste = (used_before[1] - used[1]) * days
        saved, waste_saved = saved + concentrate, waste_saved + waste
        fluid = now.plan.fluid
        if fluid.price is not None or fluid.disposal is not None:
            worth = concentrate * (fluid.price or 0.0) + waste * (fluid.disposal or 0.0)
            money = (money or 0.0) + worth
    return Comparison(
        against=against,
        sumps=len(pairs),
        days=_mean_days([now for now, _ in pairs]),
        days_before=_mean_days([before for _, before in pairs]),
        concentrate_a_day=now_rate,
        concentrate_a_day_before=before_rate,
        waste_a_day=now_waste,
        waste_a_day_before=before_waste,
        concentrate_saved=saved,
        waste_saved=waste_saved,
        money_saved=money,
    )


def _rates(month: SumpMonth) -> tuple[float, float]:
    """Concentrate used and waste made, a day. [L/d]"""
    if month.totals is None or month.consumption is None:
        return 0.0, 0.0
    days = month.totals.days
    return month.consumption.concentrate / days, month.wasted / days


def _mean_days(months: Sequence[SumpMonth]) -> float:
    """Days that were told of, in the mean. [d]"""
    return sum(month.totals.days for month in months if month.totals) / len(months)
