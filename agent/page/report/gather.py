"""All that a report says of one sump and of all of them together."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from advisor.geometry import height, volume_at
from advisor.plan import Fluid, SumpPlan
from advisor.words import (
    DAY,
    Charge,
    Check,
    CheckKind,
    Drain,
    Estimate,
    Instant,
    SumpEvent,
)
from agent.page.office import Office
from agent.page.report.totals import Hours, Totals, hours_within, totals
from agent.store.changes import AlarmChange
from agent.store.logbook import Logged

ENTRIES_MAX = 5_000
CONDITION = (
    CheckKind.PH,
    CheckKind.CONDUCTIVITY,
    CheckKind.HARDNESS,
    CheckKind.CHLORIDE,
    CheckKind.NITRITE,
    CheckKind.DIP_SLIDE,
    CheckKind.TRAMP_OIL,
)
"""Checks that are told with their extremes, in this order."""

NOT_SAID = ""
"""Where waste went that nobody said."""
FOUND = "\0found"
"""Waste that nobody reported and the balance has found."""
CHANGED_OUT = "\0changed"
"""What stood in a sump when its fluid was changed."""


@dataclass(frozen=True, slots=True)
class Measured:
    """What checks of one kind have found, in the unit that they were entered in."""

    kind: CheckKind
    count: int
    last: float
    low: float
    high: float
    is_good: bool | None
    """Whether all were in the band; `None` where the plant file has none."""


@dataclass(frozen=True, slots=True)
class Consumption:
    """What was poured in: top-ups and charges. [L]"""

    water: float
    concentrate: float

    @property
    def mix(self) -> float:
        """Both. [L]"""
        return self.water + self.concentrate


@dataclass(frozen=True, slots=True)
class Cost:
    """In the plant's currency; `None` where a price is missing in the plant file."""

    concentrate: float | None
    disposal: float | None

    @property
    def known(self) -> float:
        """Sum of what is known."""
        return (self.concentrate or 0.0) + (self.disposal or 0.0)

    @property
    def is_known(self) -> bool:
        """Whether anything has a price."""
        return self.concentrate is not None or self.disposal is not None


@dataclass(frozen=True, slots=True)
class SumpMonth:
    """One sump in one stretch of time."""

    plan: SumpPlan
    totals: Totals | None
    charges: Consumption
    consumption: Consumption | None
    waste: Mapping[str, float]
    """Litres by where they went. [L]"""
    events: Mapping[str, int]
    """How many of each kind and source."""
    alarms: int
    level: Hours
    concentration: Hours
    measured: Sequence[Measured]
    age: Instant | None
    """Since the last charge; `None`: none is known. [ms]"""
    known_for: Instant | None
    """Since the first thing that was told. [ms]"""
    cost: Cost

    @property
    def wasted(self) -> float:
        """All waste. [L]"""
        return sum(self.waste.values())

    @property
    def cost_per_litre(self) -> float | None:
        """Cost of a litre of mix that was poured in."""
        if not self.cost.is_known or self.consumption is None or self.consumption.mix <= 0.0:
            return None
        return self.cost.known / self.consumption.mix


@dataclass(frozen=True, slots=True)
class Whole:
    """Sums over sumps of which something was told."""

    sumps: int
    consumption: Consumption
    lost_water: Estimate
    lost_concentrate: Estimate
    waste: Mapping[str, float]
    cost: Cost
    by_fluid: Sequence[tuple[Fluid, float]]
    """Concentrate used, by which it is. [L]"""
    events: Mapping[str, int] = field(default_factory=dict)
    alarms: int = 0

    @property
    def wasted(self) -> float:
        """All waste. [L]"""
        return sum(self.waste.values())

    @property
    def cost_per_litre(self) -> float | None:
        """Cost of a litre of mix that was poured in."""
        mix = self.consumption.mix
        return self.cost.known / mix if self.cost.is_known and mix > 0.0 else None


def gather(
    office: Office, plan: SumpPlan, begin: Instant, end: Instant, changes: Iterable[AlarmChange]
) -> SumpMonth:
    """All of one sump; `changes` are those of the alarms' journal in that time. [ms]"""
    told = totals(office.database, plan.id, begin, end)
    events = office.told.events(plan.id, begin, end - 1)
    logged = [
        each
        for each in office.logbook.entries(plan.id, begin, end - 1, ENTRIES_MAX)
        if not each.is_replaced and each.used
    ]
    charges = _charges(events)
    waste = _waste(office, plan, logged, events)
    consumption = None if told is None else _consumption(told, charges)
    return SumpMonth(
        plan=plan,
        totals=told,
        charges=charges,
        consumption=consumption,
        waste=waste,
        events=_counted(events),
        alarms=sum(c.about == plan.id and c.was == "normal" for c in changes),
        level=hours_within(office.database, plan.id, (begin, end), "volume", _level_band(plan)),
        concentration=hours_within(
            office.database,
            plan.id,
            (begin, end),
            "concentration",
            (plan.fluid.band_low, plan.fluid.band_high),
        ),
        measured=list(_measured(plan, logged)),
        age=_age(office, plan.id, end),
        known_for=_known_for(office, plan.id, end),
        cost=_cost(plan.fluid, consumption, sum(waste.values())),
    )


def together(months: Sequence[SumpMonth]) -> Whole:
    """Sums over several sumps."""
    told = [each for each in months if each.totals is not None]
    waste: dict[str, float] = {}
    events: dict[str, int] = {}
    for each in months:
        for place, volume in each.waste.items():
            waste[place] = waste.get(place, 0.0) + volume
        for name, count in each.events.items():
            events[name] = events.get(name, 0) + count
    fluids: dict[str, tuple[Fluid, float]] = {}
    for each in months:
        if each.consumption is not None:
            fluid = each.plan.fluid
            _, sofar = fluids.get(fluid.id, (fluid, 0.0))
            fluids[fluid.id] = (fluid, sofar + each.consumption.concentrate)
    return Whole(
        sumps=len(told),
        consumption=Consumption(
            sum(each.consumption.water for each in months if each.consumption),
            sum(each.consumption.concentrate for each in months if each.consumption),
        ),
        lost_water=_added_up([e.totals.lost_water for e in told if e.totals]),
        lost_concentrate=_added_up([e.totals.lost_concentrate for e in told if e.totals]),
        waste=waste,
        cost=Cost(
            _sum_known([each.cost.concentrate for each in months]),
            _sum_known([each.cost.disposal for each in months]),
        ),
        by_fluid=list(fluids.values()),
        events=events,
        alarms=sum(each.alarms for each in months),
    )


# --- pieces --------------------------------------------------------------------------------------


def _added_up(estimates: Sequence[Estimate]) -> Estimate:
    """Sum of estimates of different sumps, whose errors are independent."""
    return Estimate(
        sum(each.value for each in estimates), sum(each.sd**2 for each in estimates) ** 0.5
    )


def _sum_known(costs: Sequence[float | None]) -> float | None:
    """Sum of the costs that are known."""
    known = [cost for cost in costs if cost is not None]
    return sum(known) if known else None


def _level_band(plan: SumpPlan) -> tuple[float, float]:
    """Volume from the lowest depth to the brim; with the pumps stopped, so without holdup. [L]"""
    top = height(plan.tank)
    low, brim = (volume_at(plan.tank, min(d, top)) for d in (plan.levels.low, plan.levels.brim))
    held = plan.holdup or 0.0
    return low, brim + held


def _charges(events: Iterable[SumpEvent]) -> Consumption:
    """Fresh mix of the charges. [L]"""
    water = concentrate = 0.0
    for event in events:
        if event.kind == "charge" and event.volume is not None:
            share = 0.0 if event.strength is None else max(event.strength.value, 0.0)
            concentrate += event.volume.value * share
            water += event.volume.value * (1.0 - share)
    return Consumption(water, concentrate)


def _consumption(told: Totals, charges: Consumption) -> Consumption:
    """Top-ups and charges. [L]"""
    return Consumption(
        max(told.added_water.value, 0.0) + charges.water,
        max(told.added_concentrate.value, 0.0) + charges.concentrate,
    )


def _cost(fluid: Fluid, consumption: Consumption | None, wasted: float) -> Cost:
    """Concentrate and disposal at the plant file's prices."""
    used = None if consumption is None else consumption.concentrate
    return Cost(
        None if fluid.price is None or used is None else fluid.price * used,
        None if fluid.disposal is None else fluid.disposal * wasted,
    )


def _counted(events: Iterable[SumpEvent]) -> dict[str, int]:
    """How many events of each kind and source there are."""
    counts: dict[str, int] = {}
    for event in events:
        key = f"{event.kind}.{event.source}"
        counts[key] = counts.get(key, 0) + 1
    return counts


def _waste(
    office: Office, plan: SumpPlan, logged: Iterable[Logged], events: Sequence[SumpEvent]
) -> dict[str, float]:
    """Fluid that left the sump as waste, by where it went. [L]"""
    volumes = {e.id: e.volume.value for e in events if e.kind == "drain" and e.volume is not None}
    waste: dict[str, float] = {}
    reported: set[str] = set()
    for each in logged:
        entry = each.entry
        if isinstance(entry, Drain):
            reported.add(entry.id)
            volume = volumes.get(entry.id, entry.volume or 0.0)
            waste[entry.to] = waste.get(entry.to, 0.0) + volume
        elif isinstance(entry, Charge) and entry.stage == "begun":
            left = office.history.at(plan.id, entry.at)
            if left is not None and left.volume is not None and left.at > entry.at - DAY:
                volume = max(left.volume.value, 0.0)
                waste[CHANGED_OUT] = waste.get(CHANGED_OUT, 0.0) + volume
    found = sum(
        event.volume.value
        for event in events
        if event.kind == "drain"
        and event.volume is not None
        and event.id not in reported
        and event.source != "report"
    )
    return {place: v for place, v in (*waste.items(), (FOUND, found)) if v > 0.0}


def _measured(plan: SumpPlan, logged: Sequence[Logged]) -> Iterable[Measured]:
    """Checks of the fluid's condition, newest first."""
    checks = [each.entry for each in logged if isinstance(each.entry, Check)]
    for kind in CONDITION:
        per = 0.01 if kind is CheckKind.TRAMP_OIL else 1.0
        values = [check.value / per for check in checks if check.kind is kind]
        if values:
            low, high = min(values), max(values)
            yield Measured(kind, len(values), values[0], low, high, _good(plan, kind, low, high))


def _good(plan: SumpPlan, kind: CheckKind, low: float, high: float) -> bool | None:
    """Whether extremes are in the plant file's band."""
    fluid = plan.fluid
    least, most = {
        CheckKind.PH: (fluid.ph_low, fluid.ph_high),
        CheckKind.CONDUCTIVITY: (fluid.conductivity_low, fluid.conductivity_high),
        CheckKind.HARDNESS: (None, fluid.hardness_limit),
        CheckKind.CHLORIDE: (None, fluid.chloride_limit),
    }.get(kind, (None, None))
    if least is None and most is None:
        return None
    return (least is None or low >= least) and (most is None or high <= most)


def _age(office: Office, sump: str, end: Instant) -> Instant | None:
    """Time since the last charge. [ms]"""
    row = office.database.row(
        "SELECT max(at) FROM event WHERE sump = ? AND kind = 'charge' AND at < ?", sump, end
    )
    until = min(end, office.now)
    return None if row is None or row[0] is None else until - int(row[0])


def _known_for(office: Office, sump: str, end: Instant) -> Instant | None:
    """Time since the first thing that was told. [ms]"""
    span = office.history.span(sump)
    return None if span is None or span[0] >= end else min(end, office.now) - span[0]
