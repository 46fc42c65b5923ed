"""Alarms as people see them: those that stand, the most urgent first, and what was before."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from advisor.words import DAY, Instant
from agent.instants import instant_of
from agent.messages.names import WHOLE_PLANT, about_supply
from agent.page.cards import OFF_DUTY, PRIORITIES
from agent.page.live import Body
from agent.page.office import Office
from agent.store.changes import AlarmChange, read_changes

HISTORY: Instant = 14 * DAY
HISTORY_LENGTH = 200


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
        about = str(supply) if supply else office.plant.name
        found.append(Standing(place, about, None, body, orders_for(body)))
    return sorted(found, key=lambda alarm: alarm.order)


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
    return (*orders, "shelve")


def history(office: Office, now: Instant) -> list[AlarmChange]:
    """Changes of the last days, newest first."""
    changes = read_changes(office.database, now - HISTORY, now)
    return list(reversed(changes))[:HISTORY_LENGTH]


def names_of(office: Office) -> Mapping[str, str]:
    """What alarms are about, for people, by how the journal writes it."""
    sumps = {name: plan.name for name, plan in office.plant.sumps.items()}
    return {**sumps, WHOLE_PLANT: office.plant.name}
