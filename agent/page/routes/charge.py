"""Charge and change-out: worked out, printed, then carried out step by step."""

import re
from base64 import b64encode
from hashlib import sha256
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, HTTPException, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, RedirectResponse, Response

from agent.instants import text_of
from agent.page.charging import (
    ChargeReport,
    Work,
    begin,
    body,
    circulated,
    moment,
    read_at,
    report_of,
    reported,
    ticked,
)
from agent.page.entering import FieldError, plain_number
from agent.page.gate import HEADERS
from agent.page.office import Office
from agent.page.recipe_form import FIELDS, Asked, asked
from agent.page.routes.common import TheForm, TheOffice, TheSump, TheVisitor
from agent.page.sending import Sent
from agent.page.visitor import Visitor, clean_name
from agent.page.work_view import judged
from agent.printing import as_page

router = APIRouter(default_response_class=HTMLResponse)

GOOD = {"stored", "sent"}


@router.get("/sumps/{sump}/charge")
def charge_page(
    request: Request, sump: TheSump, office: TheOffice, visitor: TheVisitor
) -> HTMLResponse:
    """The charge that is being carried out; where there is none, the calculation."""
    work = office.pours.work(sump, office.now)
    if work is not None:
        return _work_page(office, visitor, sump, work)
    return _form(office, visitor, sump, _asked(request, office, visitor, sump))


@router.get("/sumps/{sump}/charge/sheet")
def sheet(request: Request, sump: TheSump, office: TheOffice, visitor: TheVisitor) -> HTMLResponse:
    """The calculation as one page for the printer."""
    found = _asked(request, office, visitor, sump)
    if found.recipe is None:
        return _form(office, visitor, sump, found, status=422)
    html = as_page(found.recipe)
    return HTMLResponse(html, headers={"content-security-policy": _policy(html)})


@router.post("/sumps/{sump}/charge", response_model=None)
async def begin_charge(
    request: Request, sump: TheSump, office: TheOffice, visitor: TheVisitor, form: TheForm
) -> Response:
    """Begin what was worked out: from now on the sump counts as emptied."""
    async with request.app.state.pouring:
        if office.pours.work(sump, office.now) is not None:
            return _to_work(sump)
        found = await run_in_threadpool(asked, office.card(sump), form, visitor.speech)
        if found.recipe is None or not found.recipe.portions:
            return _form(office, visitor, sump, found, status=422)
        work = begin(found.recipe, office.now, visitor.name)
        work, sent = await _report(office, sump, work, "begun")
        if sent.outcome not in GOOD:
            return _form(office, visitor, sump, found, status=503, sent=sent)
        _keep(office, sump, work)
    return _to_work(sump)


@router.post("/sumps/{sump}/charge/step", response_model=None)
async def step(
    request: Request, sump: TheSump, office: TheOffice, visitor: TheVisitor, form: TheForm
) -> Response:
    """Tick an item, take a tick back, start the time of the pumps, or note the reading."""
    async with request.app.state.pouring:
        work = office.pours.work(sump, office.now)
        if work is None:
            return _to_work(sump)
        number = form.get("number", "")
        if not (number.isascii() and number.isdigit() and int(number) < len(work.items)):
            raise HTTPException(400, "step")
        if form.get("action") == "time":
            _keep(office, sump, circulated(work, office.now))
            return _answer(request, office, visitor, sump)
        reading = _reading(work, form)
        if isinstance(reading, str):
            problem = visitor.speech.text(reading)
            return _answer(request, office, visitor, sump, problem=problem)
        if reading is not None:
            work = read_at(work, reading, office.now)
        sent = await _tick(office, visitor, sump, work, form)
    return _answer(request, office, visitor, sump, sent=None if sent.outcome in GOOD else sent)


async def _tick(
    office: Office, visitor: Visitor, sump: str, work: Work, form: dict[str, str]
) -> Sent:
    """Tick an item or take a tick back, and tell what that means."""
    number, done = int(form["number"]), form.get("done") == "1"
    item, sent = work.items[number], Sent("stored", "")
    changed = ticked(work, number, done=done, now=office.now, by=visitor.name)
    told = report_of(item)
    if told is not None and (done or told == "filled"):
        to = clean_name(form.get("to", ""))
        changed, sent = await _report(office, sump, changed, told, to=to)
        if sent.outcome in GOOD and told == "done" and changed.reading is not None:
            _keep(office, sump, changed)
            changed, sent = await _report(office, sump, changed, "check")
    if sent.outcome in GOOD:
        _keep(office, sump, changed)
    return sent


def _reading(work: Work, form: dict[str, str]) -> float | str | None:
    """What was read of the charge [°Brix]; the key of what is wrong with it; nothing."""
    is_check = work.items[int(form["number"])].kind == "check"
    if not (is_check and form.get("done") == "1" and form.get("reading")):
        return None
    try:
        reading = plain_number(form["reading"])
    except FieldError as error:
        return str(error)
    return reading if 0.0 < reading < 95.0 else "charge.error.reading"


@router.post("/sumps/{sump}/charge/end", response_model=None)
async def end(
    request: Request, sump: TheSump, office: TheOffice, visitor: TheVisitor, form: TheForm
) -> Response:
    """Put the list away: all of it is done, or none of it was."""
    async with request.app.state.pouring:
        work = office.pours.work(sump, office.now)
        if work is not None and form.get("action") == "withdraw":
            for report, name in work.reports.items():
                sent = await office.mailbox.send(
                    sump, "service", _withdrawn(work, report, name, visitor)
                )
                if sent.outcome not in GOOD:
                    return _answer(request, office, visitor, sump, sent=sent)
        office.pours.drop_work(sump)
        office.live.nudge(sump)
    return RedirectResponse(f"/sumps/{sump}", 303)


def _withdrawn(work: Work, report: str, name: str, visitor: Visitor) -> dict[str, Any]:
    """Body of the note that takes a report's place."""
    return {
        "at": text_of(work.times[report]),
        "replaces": name,
        "kind": "other",
        "note": visitor.speech.text("enter.mistake"),
        "by": visitor.name,
    }


async def _report(
    office: Office, sump: str, work: Work, report: ChargeReport, *, to: str = ""
) -> tuple[Work, Sent]:
    """Tell how far a charge is; what is not on its way is not noted."""
    at = moment(work, report, office.now)
    channel, said = body(work, report, at, to)
    sent = await office.mailbox.send(sump, channel, said)
    return (reported(work, report, sent.id, at) if sent.outcome in GOOD else work), sent


def _keep(office: Office, sump: str, work: Work) -> None:
    """Keep a charge, and have other open pages look."""
    office.pours.keep_work(sump, work)
    office.live.nudge(sump)


def _asked(request: Request, office: Office, visitor: Visitor, sump: str) -> Asked:
    """What the address of a request asks for."""
    typed = {key: request.query_params.get(key, "") for key in FIELDS}
    given = typed if "volume" in request.query_params else {}
    return asked(office.card(sump), given, visitor.speech)


def _form(
    office: Office,
    visitor: Visitor,
    sump: str,
    found: Asked,
    *,
    status: int = 200,
    sent: Sent | None = None,
) -> HTMLResponse:
    """The calculation, with what comes of it."""
    return office.page(
        "charge.html",
        visitor,
        status=status,
        card=office.card(sump),
        asked=found,
        query=urlencode(dict(found.fields)),
        trouble="" if sent is None else sent.outcome,
        detail="" if sent is None else sent.detail,
    )


def _work_page(
    office: Office, visitor: Visitor, sump: str, work: Work, **told: str
) -> HTMLResponse:
    """The page of a charge that is being carried out."""
    values: dict[str, Any] = {"trouble": "", "detail": "", "problem": "", **told}
    return office.page(
        "work.html",
        visitor,
        card=office.card(sump),
        work=work,
        verdict=judged(work, visitor.speech),
        live_version=office.live.version,
        **values,
    )


def _answer(
    request: Request,
    office: Office,
    visitor: Visitor,
    sump: str,
    *,
    sent: Sent | None = None,
    problem: str = "",
) -> Response:
    """Answer to a tick: the list alone where a script asked, else the page again."""
    told: dict[str, Any] = {
        "trouble": "" if sent is None else sent.outcome,
        "detail": "" if sent is None else sent.detail,
        "problem": problem,
    }
    work = office.pours.work(sump, office.now)
    if work is None:
        return _to_work(sump)
    if "x-piece" in request.headers:
        return office.page(
            "_work.html",
            visitor,
            card=office.card(sump),
            work=work,
            verdict=judged(work, visitor.speech),
            **told,
        )
    return _work_page(office, visitor, sump, work, **told) if any(told.values()) else _to_work(sump)


def _to_work(sump: str) -> RedirectResponse:
    """Go on and look."""
    return RedirectResponse(f"/sumps/{sump}/charge", 303)


def _policy(html: str) -> str:
    """Policy that lets the one style of a printed page through, and nothing else."""
    style = re.search(r"<style>(.*?)</style>", html, re.DOTALL)
    content = "" if style is None else style.group(1)
    digest = b64encode(sha256(content.encode()).digest()).decode()
    return HEADERS["content-security-policy"].replace(
        "style-src 'self'", f"style-src 'self' 'sha256-{digest}'"
    )
