"""Supplies as people see them: what is left, of which lot, until when it keeps, how long it lasts.

A count is what somebody saw; since then the sumps have gone on, so what is left now is that count
less what they are expected to have taken.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Literal, TypeAlias

from advisor.forecast import WEEK, Use, days_left, use_of
from advisor.plan import SumpPlan, Supply
from advisor.plant_findings import LOW_SHARE
from advisor.words import DAY, Estimate, Instant, days_between
from agent.messages.names import about_supply
from agent.outlook.gather import FOREVER, weekly_losses
from agent.page.cards import Gauge
from agent.page.live import Body
from agent.page.office import Office

Verdict: TypeAlias = Literal["expired", "out", "low", "expires", "count", "good", "line"]

WORST_FIRST: tuple[Verdict, ...] = ("expired", "out", "low", "expires", "count", "good", "line")

EXPIRES_SOON: Instant = 30 * DAY
"""So long before its end a lot is told as one that must be used up, *common practice*. [ms]"""
COUNTED = ("drum", "premix")
"""Kinds of supply that have a stock; the others come from a line."""
COUNTS_SHOWN = 8


@dataclass(frozen=True, slots=True)
class Count:
    """What somebody saw in a drum or a tote."""

    at: Instant
    volume: float
    """[L]"""
    lot: str
    expires: Instant | None
    by: str


@dataclass(frozen=True, slots=True)
class Shelf:
    """One supply, ready to be shown."""

    supply: Supply
    fluid: str
    """Name of what is in it."""
    sumps: tuple[SumpPlan, ...]
    """That take from it."""
    counts: tuple[Count, ...]
    """Newest first."""
    left: Estimate | None
    """By now, as far as it can be told. [L]"""
    weekly: Estimate | None
    """What a week takes, if all its sumps take from it alone. [L]"""
    days: Estimate | None
    """For how long it lasts. [d]"""
    untold: int
    """Sumps of which it is not known what they take. [1]"""
    verdict: Verdict
    alarms: tuple[Body, ...]
    cost: float | None
    """Of a week's use, in the plant's currency."""

    @property
    def newest(self) -> Count | None:
        """Last count."""
        return self.counts[0] if self.counts else None

    @property
    def gauge(self) -> Gauge | None:
        """What is left against a full one; nothing where nobody said how much that is. [L]"""
        full = self.supply.volume
        if full is None or self.supply.kind not in COUNTED:
            return None
        return Gauge(self.left, reorder_at(self.supply), full, full, full)

    @property
    def order(self) -> tuple[object, ...]:
        """Sort key: what must be seen to comes first."""
        days = 1e9 if self.days is None else self.days.value
        return WORST_FIRST.index(self.verdict), days, self.supply.name or self.supply.id


def shelves(office: Office) -> list[Shelf]:
    """All supplies of the plant, worst first."""
    uses = uses_of(office, list(office.plant.sumps))
    return sorted(
        (_shelf(office, supply, uses) for supply in office.plant.supplies.values()),
        key=lambda shelf: shelf.order,
    )


def shelf(office: Office, name: str) -> Shelf:
    """One supply.

    Raises
    ------
    KeyError
        If the plant has none of that name.
    """
    supply = office.plant.supplies[name]
    taking = [plan.id for plan in taking_from(office, supply)]
    return _shelf(office, supply, uses_of(office, taking))


def taking_from(office: Office, supply: Supply) -> tuple[SumpPlan, ...]:
    """Sumps that take from a supply."""
    return tuple(
        plan
        for plan in office.plant.sumps.values()
        if any(each.id == supply.id for each in plan.supplies)
    )


def uses_of(office: Office, names: Sequence[str]) -> dict[str, Use]:
    """What a week takes of each of some sumps, as far as it is known, by the last week's losses."""
    found = {}
    for name in names:
        now = office.history.at(name, FOREVER)
        if now is None:
            continue
        before = office.history.at(name, now.at - round(WEEK) * DAY)
        _, losses = weekly_losses(now, before)
        use = use_of(losses, office.plant.sumps[name].fluid.price)
        if use is not None:
            found[name] = use
    return found


def reorder_at(supply: Supply) -> float:
    """Under this somebody should order. [L]"""
    if supply.reorder is not None:
        return supply.reorder
    return 0.0 if supply.volume is None else LOW_SHARE * supply.volume


def _shelf(office: Office, supply: Supply, uses: Mapping[str, Use]) -> Shelf:
    """Put together what is known of a supply."""
    sumps = taking_from(office, supply)
    known = [uses[plan.id] for plan in sumps if plan.id in uses]
    counts = _counts(office, supply.id)
    strength = 1.0 if supply.strength is None else supply.strength
    is_counted = supply.kind in COUNTED
    weekly = _weekly(known, strength) if known and is_counted else None
    left = _left(counts[0], weekly, office.now) if counts and is_counted else None
    days = None if left is None else days_left(supply, left.value, known)
    costs = [use.cost for use in known if use.cost is not None]
    return Shelf(
        supply=supply,
        fluid=_fluid_name(office, supply),
        sumps=sumps,
        counts=counts,
        left=left,
        weekly=weekly,
        days=days,
        untold=len(sumps) - len(known),
        verdict=_verdict(supply, counts, left, office.now) if is_counted else "line",
        alarms=tuple(
            body
            for body in office.live.plant_alarms()
            if body.get("supply") and about_supply(str(body["supply"])) == about_supply(supply.id)
        ),
        cost=sum(costs) if costs and is_counted else None,
    )


def _weekly(uses: Sequence[Use], strength: float) -> Estimate:
    """What sumps take of a supply in a week; their errors are taken as independent. [L]"""
    return Estimate(
        sum(use.concentrate.value for use in uses) / strength,
        hypot(*(use.concentrate.sd for use in uses)) / strength,
    )


def _left(count: Count, weekly: Estimate | None, now: Instant) -> Estimate:
    """What is left by now of what was counted. [L]"""
    if weekly is None:
        return Estimate(count.volume, 0.0)
    weeks = max(days_between(count.at, now), 0.0) / WEEK
    return Estimate(max(count.volume - weeks * weekly.value, 0.0), weeks * weekly.sd)


def _verdict(
    supply: Supply, counts: Sequence[Count], left: Estimate | None, now: Instant
) -> Verdict:
    """What is to be done about a supply. Volumes in [L]."""
    if left is None:
        return "count"
    expires = counts[0].expires
    if expires is not None and expires <= now:
        return "expired"
    if left.value <= 0.0:
        return "out"
    if left.value < reorder_at(supply):
        return "low"
    if expires is not None and expires - now < EXPIRES_SOON:
        return "expires"
    return "good"


def _counts(office: Office, name: str) -> tuple[Count, ...]:
    """Newest counts of a supply, by when they were made."""
    rows = office.database.rows(
        """SELECT at, volume, lot, expires, by FROM stock WHERE supply = ?
        ORDER BY at DESC, rowid DESC LIMIT ?""",
        name,
        COUNTS_SHOWN,
    )
    return tuple(Count(*row) for row in rows)


def _fluid_name(office: Office, supply: Supply) -> str:
    """What people call the fluid in a supply."""
    if supply.fluid is None:
        return ""
    fluids = (plan.fluid for plan in office.plant.sumps.values())
    return next((f.name or f.id for f in fluids if f.id == supply.fluid), supply.fluid)
