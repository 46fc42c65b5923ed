"""One sump: how it stands, what to pour, its charts; and the steps that one ticks off."""

from typing import Any

from fastapi import APIRouter, HTTPException, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from agent.page.charts import SPANS
from agent.page.office import Office
from agent.page.pours import Pour, pour_of, report, reported, ticked
from agent.page.routes.common import TheForm, TheOffice, TheSump, TheVisitor
from agent.page.sending import Sent
from agent.page.sump_view import Stretch, context, panels, stretch
from agent.page.visitor import Visitor

router = APIRouter(default_response_class=HTMLResponse)


@router.get("/sumps/{sump}")
def sump_page(
    sump: TheSump,
    office: TheOffice,
    visitor: TheVisitor,
    span: str = "day",
    until: str = "",
    said: str = "",
) -> HTMLResponse:
    """Everything about one sump; `span` and `until` [ms] pick what the charts show.

    `said` is the outcome of an entry that was just made.
    """
    shown = stretch(span, until, office.now)
    values = context(office, visitor, sump, shown)
    return office.page(
        "sump.html", visitor, **values, said=said if said in {"stored", "sent", "away"} else ""
    )


@router.get("/sumps/{sump}/charts")
def charts(
    sump: TheSump, office: TheOffice, visitor: TheVisitor, begin: int, end: int
) -> HTMLResponse:
    """The charts alone, over any stretch of time. [ms]"""
    length = end - begin
    if not (0 <= begin < end <= 2**52 and SPANS["hour"] // 12 <= length <= 3 * SPANS["year"]):
        raise HTTPException(422, "range")
    shown = Stretch("", begin, end, is_now=False)
    return office.page(
        "_charts.html", visitor, card=office.card(sump), panels=panels(office, visitor, sump, shown)
    )


# --- steps ---------------------------------------------------------------------------------------


@router.post("/sumps/{sump}/steps", response_model=None)
async def tick(
    request: Request, sump: TheSump, office: TheOffice, visitor: TheVisitor, form: TheForm
) -> Response:
    """Put a tick at a step, or take it away; what was poured so far is reported at once."""
    async with request.app.state.pouring:
        pour = office.pours.get(sump, office.now) or pour_of(office.live.sump(sump).advice)
        if pour is None or pour.advice != form.get("advice"):
            return _todo(request, office, visitor, sump, trouble="changed")
        number = form.get("number", "")
        if not (number.isascii() and number.isdigit() and int(number) < len(pour.steps)):
            raise HTTPException(400, "step")
        changed = ticked(
            pour,
            int(number),
            done=form.get("done") == "1",
            now=office.now,
            by=visitor.name,
        )
        sent = await _report(office, sump, changed, int(number))
    return _todo(request, office, visitor, sump, sent=sent)


@router.post("/sumps/{sump}/steps/end", response_model=None)
async def put_away(
    request: Request, sump: TheSump, office: TheOffice, visitor: TheVisitor, form: TheForm
) -> Response:
    """Put the list away: all of it is done, or no more of it will be."""
    del form  # its token has been looked at
    office.pours.drop(sump)
    office.live.nudge(sump)
    return _todo(request, office, visitor, sump)


async def _report(office: Office, sump: str, pour: Pour, number: int) -> Sent:
    """Tell what was ticked so far; only what is on its way is shown as ticked."""
    channel = pour.steps[number].channel
    sent = await office.mailbox.send(sump, channel, report(pour, channel))
    if sent.outcome in {"stored", "sent"}:
        office.pours.put(sump, reported(pour, channel, sent.id))
        office.live.nudge(sump)
    return sent


def _todo(
    request: Request,
    office: Office,
    visitor: Visitor,
    sump: str,
    *,
    sent: Sent | None = None,
    trouble: str = "",
) -> Response:
    """Answer to a tick: the list alone where a script asked, else the page again."""
    if "x-piece" not in request.headers and not trouble and (sent is None or _went_well(sent)):
        return RedirectResponse(f"/sumps/{sump}#todo", 303)
    if sent is not None and not _went_well(sent):
        trouble = sent.outcome
    values: dict[str, Any] = {
        "trouble": trouble,
        "detail": "" if sent is None else sent.detail,
    }
    if "x-piece" in request.headers:
        return office.page(
            "_todo.html",
            visitor,
            card=office.card(sump),
            pour=office.pours.get(sump, office.now),
            **values,
        )
    shown = stretch("day", "", office.now)
    whole = context(office, visitor, sump, shown) | values
    return office.page("sump.html", visitor, **whole, said="")


def _went_well(sent: Sent) -> bool:
    """Whether an entry is stored, or on its way."""
    return sent.outcome in {"stored", "sent"}
