"""Alarms as people see them: those that stand, the most urgent first, and what was before."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from advisor.key_figures import KeyFigures, Measure, key_figures, measures
from advisor.words import DAY, Instant
from agent.alarms.listing import transitions
from agent.instants import instant_of
from agent.messages.names import WHOLE_PLANT, about_supply
from agent.page.cards import OFF_DUTY, PRIORITIES
from agent.page.live import Body
from agent.page.office import Office
from agent.store.changes import AlarmChange, read_changes

SPANS: Mapping[str, Instant] = MappingProxyType(
    {"day": DAY, "week": 7 * DAY, "month": 31 * DAY, "quarter": 92 * DAY, "year": 366 * DAY}
)
"""How far back the history goes. [ms]"""
USUAL_SPAN = "month"
HISTORY_LENGTH = 200
BEFORE: Instant = 31 * DAY
"""So much of the journal before a span says how things stood at its beginning. [ms]"""
MEASURES = (
    "per_day",
    "per_period",
    "peak",
    "busy",
    "flood",
    "top",
    "chattering",
    "stale",
    "high",
    "medium",
)
"""Names of what `advisor.key_figures.measures` gives, in its order."""


@dataclass(frozen=True, slots=True)
class Standing:
    """One alarm that stands."""

    place: str
    """Levels of its topic between the prefix and ``alarm``."""
    about: str
    """What it is about, for people."""
    sump: str | None
    body: Body
    orders: tuple[str, ...]
    """What may be done with it."""

    @property
    def is_off_duty(self) -> bool:
        """Whether it was put aside."""
        return self.body["state"] in OFF_DUTY

    @property
    def raised_at(self) -> Instant | None:
        """When it was raised. [ms]"""
        raised = self.body["raised_at"]
        return None if raised is None else instant_of(raised)

    @property
    def until(self) -> Instant | None:
        """Until when it is put aside. [ms]"""
        until = self.body["until"]
        return None if until is None else instant_of(until)

    @property
    def order(self) -> tuple[Any, ...]:
        """Sort key: not acknowledged first, then by priority, then the newest."""
        return (
            self.is_off_duty,
            bool(self.body["acknowledged"]),
            PRIORITIES[self.body["priority"]],
            -(self.raised_at or 0),
            self.about,
        )


def standing(office: Office) -> list[Standing]:
    """All alarms that stand, the most urgent first."""
    found = [
        Standing(name, plan.name, name, body, orders_for(body))
        for name, plan in office.plant.sumps.items()
        for body in office.live.sump(name).alarms
    ]
    for body in office.live.plant_alarms():
        supply = body.get("supply")
        place = about_supply(supply) if supply else WHOLE_PLANT
        about = _supply_name(office, str(supply)) if supply else office.plant.name
        found.append(Standing(place, about, None, body, orders_for(body)))
    return sorted(found, key=lambda alarm: alarm.order)


def _supply_name(office: Office, name: str) -> str:
    """What people call a supply."""
    known = office.plant.supplies.get(name)
    return name if known is None else known.name or name


def orders_for(body: Body) -> tuple[str, ...]:
    """What may be done with an alarm in its state."""
    state = body["state"]
    if state == "shelved":
        return ("unshelve",)
    if state in {"suppressed", "out-of-service"}:
        return ("return-to-service",)
    orders = []
    if not body["acknowledged"]:
        orders.append("acknowledge")
    if state.startswith("latched"):
        orders.append("reset")
    return (*orders, "shelve", "suppress", "out-of-service")


@dataclass(frozen=True, slots=True)
class Past:
    """What the journal says of a span of time."""

    span: str
    about: str
    """Only this sump, supply or the plant; empty: all."""
    changes: tuple[AlarmChange, ...]
    """Newest first."""
    more: int
    """Older ones that are not shown. [1]"""
    figures: KeyFigures
    measures: tuple[tuple[str, Measure], ...]
    """Each with its name in the catalogue."""


def past(office: Office, now: Instant, span: str = "", about: str = "") -> Past:
    """History and key figures of a span that ends now. [ms]"""
    known = span if span in SPANS else USUAL_SPAN
    only = about if about in names_of(office) else ""
    begin = now - SPANS[known]
    changes = read_changes(office.database, begin - BEFORE, now, only or None)
    within = [change for change in reversed(changes) if change.at >= begin]
    figures = key_figures(
        transitions(changes), begin=begin, end=now + 1, sumps=1 if only else len(office.plant.sumps)
    )
    return Past(
        span=known,
        about=only,
        changes=tuple(within[:HISTORY_LENGTH]),
        more=max(len(within) - HISTORY_LENGTH, 0),
        figures=figures,
        measures=tuple(zip(MEASURES, measures(figures), strict=True)),
    )


def source_name(office: Office, key: str) -> tuple[str, str, str]:
    """Of an alarm's key: what it is about, for people, the alarm's name, its signal."""
    about, _, rest = key.partition("/")
    if about == "supply":
        name, _, rest = rest.partition("/")
        about = about_supply(name)
    alarm, _, signal = rest.partition("/")
    return names_of(office).get(about, about), alarm, signal


def names_of(office: Office) -> Mapping[str, str]:
    """What alarms are about, for people, by how the journal writes it."""
    sumps = {name: plan.name for name, plan in office.plant.sumps.items()}
    supplies = {about_supply(name): s.name or name for name, s in office.plant.supplies.items()}
    return {**sumps, **supplies, WHOLE_PLANT: office.plant.name}
