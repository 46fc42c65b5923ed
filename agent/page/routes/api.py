"""The API's answers to programs that look: plant, sumps, series, events, alarms, supplies."""

import json
from typing import Annotated, Any

from fastapi import APIRouter, Query
from starlette.responses import JSONResponse

from advisor.words import Signal
from agent.instants import text_of
from agent.messages.bodies import event_body
from agent.messages.outgoing import AdviceMessage, StateMessage
from agent.page.alarm_view import standing
from agent.page.api import models, telling
from agent.page.api.asking import Stretch, Sump
from agent.page.api.problems import ProblemError
from agent.page.live import Body
from agent.page.people import Role
from agent.page.routes.common import TheOffice, TheVisitor
from agent.plant.plant import Plant
from agent.store.changes import read_changes
from agent.store.database import Database
from agent.store.rows import refusal_from
from agent.store.series import Series
from agent.version import VERSION

router = APIRouter()

POINTS = 2_000
"""Points of a series at most."""
ENTRIES_MAX = 500
CHANGES_MAX = 1_000
REFUSALS_MAX = 500

Points = Annotated[int, Query(ge=2, le=POINTS, description="points at most")]


@router.get("/self", response_model=models.SelfBody, tags=["plant"])
def who(visitor: TheVisitor) -> JSONResponse:
    """Who asks, and what they may do."""
    needed = visitor.asks and not visitor.is_program
    return JSONResponse(
        {
            "name": visitor.name,
            "role": (visitor.role or Role.LOOK).word,
            "program": visitor.is_program,
            "form_token": visitor.form_token if needed else None,
        }
    )


@router.get("/plant", response_model=models.PlantBody, tags=["plant"])
def plant(office: TheOffice) -> JSONResponse:
    """The plant as a whole, as its file describes it."""
    found = office.plant
    fluids = {sump.fluid.id: sump.fluid for sump in found.sumps.values()}
    return JSONResponse(
        {
            "id": found.id,
            "name": found.name,
            "units": telling.units_of(found),
            "timezone": found.timezone,
            "version": VERSION,
            "now": telling.moment(office.live.clock),
            "broker_connected": office.mailbox.is_open,
            "concentrates": [telling.concentrate_body(fluid) for fluid in fluids.values()],
            "sumps": [telling.plan_body(plan) for plan in found.sumps.values()],
        }
    )


@router.get("/sumps", response_model=models.OverviewsBody, tags=["sumps"])
def sumps(office: TheOffice) -> JSONResponse:
    """All sumps at a glance, the most urgent first, each with its state."""
    return JSONResponse({"sumps": [telling.overview_body(card) for card in office.cards()]})


@router.get("/sumps/{sump}", response_model=models.OverviewBody, tags=["sumps"])
def one(sump: Sump, office: TheOffice) -> JSONResponse:
    """One sump at a glance."""
    return JSONResponse(telling.overview_body(office.card(sump)))


@router.get("/sumps/{sump}/state", response_model=StateMessage, tags=["sumps"])
def state(sump: Sump, office: TheOffice) -> JSONResponse:
    """What is known of a sump: the message as it was last told."""
    return _told(office.live.sump(sump).state)


@router.get("/sumps/{sump}/advice", response_model=AdviceMessage, tags=["sumps"])
def advice(sump: Sump, office: TheOffice) -> JSONResponse:
    """What is advised: the message as it was last told."""
    return _told(office.live.sump(sump).advice)


@router.get("/advice", response_model=models.AdvicesBody, tags=["sumps"])
def advices(office: TheOffice) -> JSONResponse:
    """What is advised at every sump of which something has been told."""
    found = [office.live.sump(name).advice for name in office.plant.sumps]
    return JSONResponse({"advice": [body for body in found if body is not None]})


def _told(body: Body | None) -> JSONResponse:
    """A message as it stands."""
    if body is None:
        raise ProblemError("nothing-told")
    return JSONResponse(body)


# --- over time -----------------------------------------------------------------------------------


@router.get("/sumps/{sump}/series", response_model=models.SeriesBody, tags=["over time"])
def series(
    sump: Sump, stretch: Stretch, office: TheOffice, points: Points = POINTS
) -> JSONResponse:
    """What was told of a sump over time; where points are merged, the extremes are kept."""
    begin, end = stretch
    told = office.history.series(sump, begin, end, points=points)
    return JSONResponse(
        {
            "sump": sump,
            "begin": text_of(begin),
            "end": text_of(end),
            "points": [telling.point_body(each) for each in told],
        }
    )


@router.get(
    "/sumps/{sump}/signals/{signal}/series", response_model=models.ReadingsBody, tags=["over time"]
)
def readings(
    sump: Sump, signal: Signal, stretch: Stretch, office: TheOffice, points: Points = POINTS
) -> JSONResponse:
    """A signal's own readings over time, in the unit of the plant file."""
    plan = office.plant.sumps[sump].signals.get(signal)
    if plan is None:
        raise ProblemError("missing", f"{sump} has no signal {signal}")
    found = Series(office.database).points(sump, signal, *stretch, points=points)
    return JSONResponse(
        {
            "sump": sump,
            "signal": signal,
            "unit": plan.unit,
            "points": [telling.reading_body(each, plan.per_unit, plan.offset) for each in found],
        }
    )


@router.get("/sumps/{sump}/events", response_model=models.EventsBody, tags=["over time"])
def events(sump: Sump, stretch: Stretch, office: TheOffice) -> JSONResponse:
    """Additions, drains and charges: metered, reported or found by the balance."""
    found = office.told.events(sump, *stretch)
    return JSONResponse({"events": [json.loads(event_body(sump, event)) for event in found]})


@router.get("/sumps/{sump}/entries", response_model=models.EntriesBody, tags=["over time"])
def entries(sump: Sump, stretch: Stretch, office: TheOffice) -> JSONResponse:
    """What people and stations have entered, with what was corrected since; at most 500."""
    found = office.logbook.entries(sump, *stretch, ENTRIES_MAX)
    return JSONResponse({"entries": [telling.entry_body(logged) for logged in found]})


# --- alarms, supplies, refusals ------------------------------------------------------------------


@router.get("/alarms", response_model=models.AlarmsBody, tags=["alarms"])
def alarms(office: TheOffice) -> JSONResponse:
    """Alarms that stand, of sumps, supplies and the whole plant, the most urgent first."""
    found = [{"commands": list(each.orders), "alarm": dict(each.body)} for each in standing(office)]
    return JSONResponse({"alarms": found})


@router.get("/alarms/changes", response_model=models.AlarmChangesBody, tags=["alarms"])
def changes(stretch: Stretch, office: TheOffice) -> JSONResponse:
    """The alarms' journal: every change that people saw."""
    found = reversed(read_changes(office.database, *stretch)[-CHANGES_MAX:])
    return JSONResponse({"changes": [telling.change_body(change) for change in found]})


@router.get("/supplies", response_model=models.SuppliesBody, tags=["supplies"])
def supplies(office: TheOffice) -> JSONResponse:
    """Where water, concentrate and mixes come from, and what is left."""
    stock = newest_stock(office.database, office.plant)
    return JSONResponse(
        {
            "supplies": [
                telling.supply_body(supply, stock.get(name))
                for name, supply in office.plant.supplies.items()
            ]
        }
    )


@router.get("/refusals", response_model=models.RefusalsBody, tags=["plant"])
def refusals(
    office: TheOffice,
    limit: Annotated[int, Query(ge=1, le=REFUSALS_MAX, description="so many at most")] = 50,
) -> JSONResponse:
    """What arrived and could not be used, each with its reason."""
    found = [
        refusal_from((at, sump, topic, reason, detail, excerpt))
        for at, sump, topic, reason, detail, excerpt in office.database.rows(
            """SELECT at, sump, topic, reason, detail, excerpt FROM refusal
            ORDER BY number DESC LIMIT ?""",
            limit,
        )
    ]
    counts: dict[str, int] = dict(office.database.rows("SELECT reason, count FROM refusal_count"))
    told = [
        {
            "at": text_of(at),
            "topic": each.topic,
            "reason": each.reason,
            "detail": each.detail,
            "excerpt": each.excerpt,
            "sump": each.sump,
        }
        for at, each in found
    ]
    return JSONResponse({"refusals": told, "counts": counts})


def newest_stock(database: Database, plant: Plant) -> dict[str, tuple[Any, ...]]:
    """By supply, the newest report on it: time [ms], volume [L], lot, end of shelf life [ms]."""
    found = {}
    for name in plant.supplies:
        row = database.row(
            """SELECT at, volume, lot, expires FROM stock WHERE supply = ?
            ORDER BY at DESC, rowid DESC LIMIT 1""",
            name,
        )
        if row is not None:
            found[name] = row
    return found
