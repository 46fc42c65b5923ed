"""From what the agent knows to the bodies that the API answers with: plain dictionaries."""

from collections.abc import Mapping, Sequence
from typing import Any, Literal, cast

from advisor.geometry import height, volume_at
from advisor.plan import Fluid, SumpPlan, Supply
from advisor.words import (
    Addition,
    Charge,
    Check,
    CheckKind,
    Delivery,
    Drain,
    Entry,
    Estimate,
    Instant,
    Service,
    SumpState,
)
from agent.instants import text_of
from agent.messages.names import sump_in, supply_in
from agent.page.api.models import Channel
from agent.page.cards import Card
from agent.page.entries import UNITS
from agent.page.live import Body
from agent.plant.plant import Plant
from agent.store.batch import entry_id
from agent.store.changes import AlarmChange
from agent.store.history import Snapshot
from agent.store.logbook import Logged
from agent.store.series import Point

HOUR_MS = 3_600_000.0


def moment(at: Instant | None) -> str | None:
    """A moment as it stands on the wire."""
    return None if at is None else text_of(at)


def estimated(estimate: Estimate | None, per: float = 1.0) -> Body | None:
    """An estimate in a unit of which one is so much. [-]"""
    if estimate is None:
        return None
    return {"value": _trim(estimate.value / per), "sd": _trim(estimate.sd / per)}


def _trim(value: float) -> float:
    """Without the dust that a division leaves."""
    return float(f"{value:.10g}")


# --- plant ---------------------------------------------------------------------------------------


def concentrate_body(fluid: Fluid) -> Body:
    """A concentrate."""
    return {
        "id": fluid.id,
        "name": fluid.name,
        "refractometer_factor": fluid.refractometer_factor,
        "low_pct": _trim(100.0 * fluid.band_low),
        "high_pct": _trim(100.0 * fluid.band_high),
        "target_pct": _trim(100.0 * fluid.target),
        "price_per_l": fluid.price,
        "disposal_per_l": fluid.disposal,
    }


def plan_body(plan: SumpPlan) -> Body:
    """What the plant file says of a sump."""
    levels, top = plan.levels, height(plan.tank)
    volumes = {
        f"{name}_l": _trim(volume_at(plan.tank, min(depth, top)))
        for name, depth in (("low", levels.low), ("target", levels.target), ("brim", levels.brim))
    }
    return {
        "id": plan.id,
        "name": plan.name,
        "concentrate": plan.fluid.id,
        "low_mm": levels.low,
        "top_up_mm": levels.top_up,
        "target_mm": levels.target,
        "brim_mm": levels.brim,
        **volumes,
        "holdup_l": plan.holdup,
        "signals": list(plan.signals),
        "station": plan.station is not None,
    }


def supply_body(supply: Supply, row: Sequence[Any] | None) -> Body:
    """A supply, with the newest report on it: time, volume, lot and end of shelf life."""
    at, volume, lot, expires = (None, None, "", None) if row is None else row
    return {
        "id": supply.id,
        "name": supply.name or supply.id,
        "kind": supply.kind,
        "concentrate": supply.fluid,
        "full_l": supply.volume,
        "left_l": volume,
        "at": moment(at),
        "lot": lot,
        "expires": moment(expires),
    }


def overview_body(card: Card) -> Body:
    """One sump at a glance."""
    due = card.due
    return {
        "id": card.plan.id,
        "name": card.plan.name,
        "urgency": card.urgency.name.lower(),
        "advice": card.kind,
        "due": None
        if due is None
        else {"at": text_of(due.at), "give_or_take_h": round(due.span / HOUR_MS, 2)},
        "alarms": len(card.alarms),
        "state": card.now.state,
    }


# --- over time -----------------------------------------------------------------------------------


def point_body(told: Snapshot) -> Body:
    """One point of a sump's chart."""
    share = told.concentration_range
    return {
        "at": text_of(told.at),
        "volume_l": estimated(told.volume),
        "volume_range_l": None if told.volume_range is None else list(told.volume_range),
        "concentration_pct": estimated(told.concentration, 0.01),
        "concentration_range_pct": None if share is None else [_trim(100.0 * end) for end in share],
        "water_l_per_day": estimated(told.water_loss),
        "concentrate_l_per_day": estimated(told.concentrate_loss),
    }


def reading_body(point: Point, per_unit: float, offset: float) -> Body:
    """One point of a signal's chart, in the unit of the plant file."""
    ends = [(value - offset) / per_unit for value in (point.low, point.high)]
    return {
        "at": text_of(point.at),
        "readings": point.readings,
        "low": _trim(min(ends)),
        "high": _trim(max(ends)),
        "mean": _trim((point.mean - offset) / per_unit),
    }


def change_body(change: AlarmChange) -> Body:
    """One line of the alarms' journal."""
    return {
        "at": text_of(change.at),
        "sump": sump_in(change.about),
        "supply": supply_in(change.about),
        "name": change.name,
        "signal": change.signal,
        "was": change.was,
        "state": change.state,
        "priority": change.priority,
        "by": change.by,
    }


# --- entries -------------------------------------------------------------------------------------


def entry_body(logged: Logged) -> Body:
    """An entry as it stands in the records."""
    channel, body = said(logged.entry)
    return {
        "id": entry_id(logged.entry),
        "channel": channel,
        "received_at": text_of(logged.received),
        "replaced": logged.is_replaced,
        "used": logged.used,
        "body": body,
    }


def channel_of(entry: Entry) -> Channel:
    """Name of the message that such an entry is made with."""
    return said(entry)[0]


def said(entry: Entry) -> tuple[Channel, Body]:
    """Channel and body of the message that would say an entry."""
    channel, body = _said(entry)
    return channel, {"at": text_of(entry.at), **_about(entry), **body}


def _said(entry: Entry) -> tuple[Channel, Mapping[str, Any]]:
    """Channel, and what only its message has."""
    match entry:
        case Check():
            return "check", _check(entry)
        case Addition():
            named = {"advice": entry.advice, "supply": entry.supply, "concentrate": entry.fluid}
            poured = {"water_l": entry.water, "concentrate_l": entry.concentrate}
            return "addition", {**poured, **{k: v for k, v in named.items() if v is not None}}
        case Drain():
            return "drain", {**_drained(entry), "to": entry.to}
        case Charge():
            amounts = {"water_l": entry.water, "concentrate_l": entry.concentrate}
            return "charge", {"stage": entry.stage, **amounts}
        case Service():
            return "service", {"kind": entry.kind, "note": entry.note}
        case Delivery():
            return "delivered", {
                "setpoint": entry.setpoint,
                "water_l": entry.water,
                "concentrate_l": entry.concentrate,
                "finished": entry.finished,
                "fault": entry.fault,
            }


def _about(entry: Entry) -> Body:
    """Who entered it under which id, in place of what; a station's report has none of these."""
    if isinstance(entry, Delivery):
        return {}
    found: dict[str, Any] = {"id": entry.id, "by": entry.by}
    return found if entry.replaces is None else {**found, "replaces": entry.replaces}


def _check(check: Check) -> Body:
    """A measurement in the unit that people are told."""
    value, unit = check.value, UNITS.get(check.kind, "")
    match check.kind:
        case CheckKind.REFRACTOMETER:
            unit = "degBrix"
        case CheckKind.TITRATION | CheckKind.TRAMP_OIL:
            value, unit = 100.0 * value, "%"
        case CheckKind.DIPSTICK:
            unit = "mm"
        case _:
            pass
    return {"kind": check.kind, "value": _trim(value), "unit": unit, "sample": check.sample}


def _drained(drain: Drain) -> Body:
    """How much was taken out, in one of its three forms."""
    if drain.everything:
        return {"all": True}
    if drain.to_level is not None:
        return {"to_level_mm": drain.to_level}
    return {"volume_l": drain.volume or 0.0}


def effect_body(state: SumpState) -> Body:
    """What is known of a sump at a moment."""
    return {
        "volume_l": estimated(state.volume),
        "concentration_pct": estimated(state.concentration, 0.01),
    }


def units_of(plant: Plant) -> Literal["metric", "us"]:
    """Units that people of the plant read."""
    return cast(Literal["metric", "us"], plant.units)
