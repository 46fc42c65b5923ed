"""Alarms: what stands, what was, and what people order to be done with one."""

from typing import Any

from fastapi import APIRouter, HTTPException, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from advisor.words import HOUR, Signal
from agent.instants import text_of
from agent.page.alarm_view import SPANS, names_of, past, source_name, standing
from agent.page.office import Office
from agent.page.routes.common import TheForm, TheOffice, TheVisitor
from agent.page.sending import Sent
from agent.page.visitor import Visitor

router = APIRouter(default_response_class=HTMLResponse)

ENTERING = {"acknowledge", "reset"}
"""Orders that need the right to enter; the others need the right to change."""
ORDERS = ENTERING | {"shelve", "unshelve", "suppress", "out-of-service", "return-to-service"}
SHELVE_HOURS = (1, 8, 24)
FOLDED = ("shelve", "suppress", "out-of-service")
"""Orders that are folded away."""


@router.get("/alarms")
def alarms_page(
    office: TheOffice, visitor: TheVisitor, span: str = "", about: str = ""
) -> HTMLResponse:
    """All alarms that stand; the changes of a span of time, and how the alarms themselves do."""
    return office.page("alarms.html", visitor, **whole(office, span, about[:200]))


@router.post("/alarms", response_model=None)
async def order(
    request: Request, office: TheOffice, visitor: TheVisitor, form: TheForm
) -> Response:
    """Do something with an alarm."""
    verb, place = form.get("command", ""), form.get("place", "")
    known = any(
        (a.place, a.body["name"], a.body["signal"] or "")
        == (place, form.get("alarm", ""), form.get("signal", ""))
        for a in standing(office)
    )
    if verb not in ORDERS or not known:
        return _answer(request, office, visitor, Sent("refused", ""), gone=True)
    if verb not in ENTERING and not visitor.may_change:
        raise HTTPException(403, "role")
    sent = await office.mailbox.order(place, _body(form, visitor, office))
    return _answer(request, office, visitor, sent)


def _body(form: dict[str, str], visitor: Visitor, office: Office) -> dict[str, Any]:
    """Body of an order, as anybody on the broker would send it."""
    body: dict[str, Any] = {
        "at": text_of(office.now),
        "alarm": form["alarm"],
        "command": form["command"],
        "by": visitor.name,
    }
    if form.get("signal") in set(Signal):
        body["signal"] = form["signal"]
    hours = form.get("hours", "")
    if form["command"] == "shelve" and hours in {str(each) for each in SHELVE_HOURS}:
        body["until"] = text_of(office.now + int(hours) * HOUR)
    return body


def _answer(
    request: Request, office: Office, visitor: Visitor, sent: Sent, *, gone: bool = False
) -> Response:
    """The list with what became of the order."""
    trouble = "gone" if gone else sent.outcome if sent.outcome in {"refused", "away"} else ""
    if "x-piece" in request.headers:
        return office.page(
            "_alarm_list.html",
            visitor,
            **(shown(office) | {"trouble": trouble, "detail": sent.detail}),
        )
    if not trouble:
        return RedirectResponse("/alarms", 303)
    values = whole(office) | {"trouble": trouble, "detail": sent.detail}
    return office.page("alarms.html", visitor, **values)


def whole(office: Office, span: str = "", about: str = "") -> dict[str, Any]:
    """What the whole page shows."""
    return shown(office) | {
        "past": past(office, office.now, span, about),
        "names": names_of(office),
        "spans": SPANS,
        "source_name": lambda key: source_name(office, key),
    }


def shown(office: Office) -> dict[str, Any]:
    """What the list of alarms shows."""
    return {
        "live_version": office.live.version,
        "standing": standing(office),
        "entering": ENTERING,
        "shelve_hours": SHELVE_HOURS,
        "folded": FOLDED,
        "trouble": "",
        "detail": "",
    }
