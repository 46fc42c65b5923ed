"""The API's way in: entries, corrections, orders on alarms, stock; what the broker would carry."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Annotated, Any, Literal, TypeAlias

from fastapi import APIRouter, Path
from pydantic import BaseModel, ValidationError
from starlette.responses import JSONResponse

from advisor.words import Addition, Charge, Check, Drain, Entry, Service
from agent.decode.people import (
    decode_plant_order,
    decode_stock,
    decode_sump_message,
    decode_supply_order,
)
from agent.decode.results import AlarmOrder, Report
from agent.messages.incoming import (
    AdditionMessage,
    AlarmCommandMessage,
    ChargeMessage,
    CheckMessage,
    DrainMessage,
    PlantAlarmCommandMessage,
    ServiceMessage,
    StockMessage,
    SupplyAlarmCommandMessage,
)
from agent.messages.names import WHOLE_PLANT, about_supply
from agent.page.api import models, telling
from agent.page.api.asking import Sump, Supply, TheBody, decoded, members, signed
from agent.page.api.problems import AGAIN_AFTER_S, ProblemError
from agent.page.entering import Preview, may_correct, preview, undoing
from agent.page.office import Office
from agent.page.routes.alarms import ENTERING
from agent.page.routes.common import TheOffice, TheVisitor
from agent.page.sending import Sent, new_id
from agent.page.visitor import Visitor
from agent.store.logbook import Logged

router = APIRouter()

Channel: TypeAlias = Literal["check", "addition", "drain", "charge", "service"]
ENTRIES: Mapping[Channel, type[BaseModel]] = {
    "check": CheckMessage,
    "addition": AdditionMessage,
    "drain": DrainMessage,
    "charge": ChargeMessage,
    "service": ServiceMessage,
}
Answers: TypeAlias = dict[int | str, dict[str, Any]]
SENT: Answers = {202: {"model": models.SentBody, "description": "On its way, not confirmed yet"}}


def takes(*bodies: type[BaseModel]) -> dict[str, Any]:
    """Say in the document which body a route takes: it is read by the agent's own decoder."""
    references = [{"$ref": f"#/components/schemas/{body.__name__}"} for body in bodies]
    schema = references[0] if len(references) == 1 else {"anyOf": references}
    return {"requestBody": {"required": True, "content": {"application/json": {"schema": schema}}}}


# --- entries -------------------------------------------------------------------------------------


@router.post(
    "/sumps/{sump}/check",
    response_model=models.SentBody,
    responses=SENT,
    openapi_extra=takes(CheckMessage),
    tags=["entering"],
)
async def check(sump: Sump, body: TheBody, office: TheOffice, visitor: TheVisitor) -> JSONResponse:
    """Enter a person's measurement; with `replaces`, correct an earlier one."""
    return await _enter(office, visitor, sump, "check", body)


@router.post(
    "/sumps/{sump}/addition",
    response_model=models.SentBody,
    responses=SENT,
    openapi_extra=takes(AdditionMessage),
    tags=["entering"],
)
async def addition(
    sump: Sump, body: TheBody, office: TheOffice, visitor: TheVisitor
) -> JSONResponse:
    """Enter what was poured in; with `replaces`, correct an earlier entry."""
    return await _enter(office, visitor, sump, "addition", body)


@router.post(
    "/sumps/{sump}/drain",
    response_model=models.SentBody,
    responses=SENT,
    openapi_extra=takes(DrainMessage),
    tags=["entering"],
)
async def drain(sump: Sump, body: TheBody, office: TheOffice, visitor: TheVisitor) -> JSONResponse:
    """Enter what was taken out; with `replaces`, correct an earlier entry."""
    return await _enter(office, visitor, sump, "drain", body)


@router.post(
    "/sumps/{sump}/charge",
    response_model=models.SentBody,
    responses=SENT,
    openapi_extra=takes(ChargeMessage),
    tags=["entering"],
)
async def charge(sump: Sump, body: TheBody, office: TheOffice, visitor: TheVisitor) -> JSONResponse:
    """Enter a stage of filling an emptied sump with fresh mix."""
    return await _enter(office, visitor, sump, "charge", body)


@router.post(
    "/sumps/{sump}/service",
    response_model=models.SentBody,
    responses=SENT,
    openapi_extra=takes(ServiceMessage),
    tags=["entering"],
)
async def service(
    sump: Sump, body: TheBody, office: TheOffice, visitor: TheVisitor
) -> JSONResponse:
    """Enter what was done to the sump or its sensors; with `replaces`, correct an earlier entry."""
    return await _enter(office, visitor, sump, "service", body)


async def _enter(
    office: Office, visitor: Visitor, sump: str, channel: Channel, body: bytes
) -> JSONResponse:
    """Send an entry; the same one twice counts once."""
    entry = _entry(office, sump, channel, body)
    said = signed(members(body), visitor)
    name = str(said.pop("id", "") or "")
    known = office.logbook.entry(sump, name) if name else None
    if known is not None:
        return _again(known, replace(entry, by=str(said["by"])), name, is_dated="at" in said)
    if entry.replaces is not None:
        _to_correct(office, visitor, sump, entry.replaces, channel)
    return _answer(await office.mailbox.send(sump, channel, said, name=name))


Entered: TypeAlias = Check | Addition | Drain | Charge | Service


def _entry(office: Office, sump: str, channel: Channel, body: bytes) -> Entered:
    """The entry as the agent will read it."""
    plan = office.plant.sumps[sump]
    found = decoded(office, body, lambda arrival: decode_sump_message(arrival, channel, plan))
    if not isinstance(found, Report) or not isinstance(found.entry, Entered):
        raise ProblemError("body", "it is no entry")
    return found.entry


def _again(known: Logged, entry: Entry, name: str, *, is_dated: bool) -> JSONResponse:
    """Answer to an entry whose id is taken: by itself, or by another."""
    same = entry if is_dated else replace(entry, at=known.entry.at)
    if same != known.entry:
        raise ProblemError("conflict", "another entry has this id; correct it by replaces")
    return JSONResponse({"id": name, "outcome": "stored"})


def _to_correct(
    office: Office, visitor: Visitor, sump: str, name: str, channel: str | None
) -> Logged:
    """The entry that is to be corrected or taken back."""
    logged = office.logbook.entry(sump, name)
    if logged is None:
        raise ProblemError("missing", "there is no entry of that id to be replaced")
    if not may_correct(visitor, logged.entry):
        raise ProblemError("role", "it is another's entry; expected the right to change")
    if logged.is_replaced:
        raise ProblemError("conflict", "it has been replaced already; replace the newest entry")
    if channel not in {None, telling.channel_of(logged.entry)}:
        raise ProblemError("conflict", "it was another kind of entry; undo it, and enter anew")
    return logged


@router.post(
    "/sumps/{sump}/undo",
    response_model=models.SentBody,
    responses=SENT,
    openapi_extra=takes(models.UndoBody),
    tags=["entering"],
)
async def undo(sump: Sump, body: TheBody, office: TheOffice, visitor: TheVisitor) -> JSONResponse:
    """Take an entry back; it stays in the records, with what stands in its place."""
    try:
        wanted = models.UndoBody.model_validate_json(body)
    except ValidationError:
        raise ProblemError("body", "expected entry, the id of an entry") from None
    logged = _to_correct(office, visitor, sump, wanted.entry, None)
    taken_back = undoing(logged.entry, visitor.name, visitor.speech.text("enter.mistake"))
    if taken_back is None:
        raise ProblemError("conflict", "an entry of that kind cannot be taken back")
    return _answer(await office.mailbox.send(sump, *taken_back))


@router.post(
    "/sumps/{sump}/preview/{channel}",
    response_model=models.PreviewBody,
    openapi_extra=takes(*ENTRIES.values()),
    tags=["entering"],
)
async def look_ahead(
    sump: Sump,
    channel: Annotated[Channel, Path(description="which message it would be")],
    body: TheBody,
    office: TheOffice,
) -> JSONResponse:
    """What an entry would change, before it is sent; nothing is stored."""
    entry = _entry(office, sump, channel, body)
    plan = office.plant.sumps[sump]
    found: Preview | None = preview(office.beliefs.get(sump), entry, plan)
    return JSONResponse(
        {
            "before": None if found is None else telling.effect_body(found.before),
            "after": None if found is None else telling.effect_body(found.after),
            "far": found is not None and found.is_far(entry, plan),
        }
    )


# --- alarms and supplies -------------------------------------------------------------------------


@router.post(
    "/sumps/{sump}/alarm-command",
    response_model=models.SentBody,
    responses=SENT,
    openapi_extra=takes(AlarmCommandMessage),
    tags=["alarms"],
)
async def order(sump: Sump, body: TheBody, office: TheOffice, visitor: TheVisitor) -> JSONResponse:
    """Order something to be done with an alarm of a sump."""
    plan = office.plant.sumps[sump]
    found = decoded(office, body, lambda a: decode_sump_message(a, "alarm-command", plan))
    return await _order(office, visitor, sump, found, body)


@router.post(
    "/supplies/{supply}/alarm-command",
    response_model=models.SentBody,
    responses=SENT,
    openapi_extra=takes(SupplyAlarmCommandMessage),
    tags=["alarms"],
)
async def supply_order(
    supply: Supply, body: TheBody, office: TheOffice, visitor: TheVisitor
) -> JSONResponse:
    """Order something to be done with an alarm of a supply."""
    found = decoded(office, body, lambda arrival: decode_supply_order(arrival, supply))
    return await _order(office, visitor, about_supply(supply), found, body)


@router.post(
    "/alarm-command",
    response_model=models.SentBody,
    responses=SENT,
    openapi_extra=takes(PlantAlarmCommandMessage),
    tags=["alarms"],
)
async def plant_order(body: TheBody, office: TheOffice, visitor: TheVisitor) -> JSONResponse:
    """Order something to be done with an alarm of the whole plant."""
    found = decoded(office, body, decode_plant_order)
    return await _order(office, visitor, WHOLE_PLANT, found, body)


async def _order(
    office: Office, visitor: Visitor, place: str, found: object, body: bytes
) -> JSONResponse:
    """Send an order on an alarm, and wait for its answer."""
    if not isinstance(found, AlarmOrder):
        raise ProblemError("body", "it is no order")
    if found.verb not in ENTERING and not visitor.may_change:
        raise ProblemError("role", f"{found.verb} needs the right to change")
    said = signed(members(body), visitor)
    name = str(said.pop("id", "") or "")
    return _answer(await office.mailbox.send(place, "alarm-command", said, name=name))


@router.post(
    "/supplies/{supply}/stock",
    response_model=models.SentBody,
    responses=SENT,
    openapi_extra=takes(StockMessage),
    tags=["supplies"],
)
async def stock(
    supply: Supply, body: TheBody, office: TheOffice, visitor: TheVisitor
) -> JSONResponse:
    """Enter what is left of a supply."""
    decoded(office, body, lambda arrival: decode_stock(arrival, supply))
    said = signed(members(body), visitor)
    name = str(said.pop("id", "") or "") or new_id()
    return _answer(await office.mailbox.send(f"supply/{supply}", "stock", said, name=name))


def _answer(sent: Sent) -> JSONResponse:
    """What became of what was sent."""
    match sent.outcome:
        case "refused":
            raise ProblemError("refused", sent.detail)
        case "away":
            raise ProblemError("broker-away", "nothing was sent", wait_s=AGAIN_AFTER_S)
        case outcome:
            return JSONResponse(
                {"id": sent.id, "outcome": outcome}, 200 if outcome == "stored" else 202
            )
