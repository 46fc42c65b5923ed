"""The round: one card for the whole walk, to be ticked off or printed."""

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from advisor.cautions import BRIM, NEVER_NEAT, SKIN, WATER_FIRST
from agent.page.pours import Channel, Pour, pour_of, report, reported, ticked
from agent.page.round_view import walk
from agent.page.routes.common import TheForm, TheOffice, TheSump, TheVisitor

CAUTIONS = f"{WATER_FIRST} {NEVER_NEAT} {BRIM} {SKIN}"

router = APIRouter(default_response_class=HTMLResponse)


@router.get("/round")
def round_page(office: TheOffice, visitor: TheVisitor, said: str = "") -> HTMLResponse:
    """What to take along, and what to do at each sump on the way."""
    known = said if said in {"stored", "sent", "away", "refused", "changed"} else ""
    return office.page("round.html", visitor, walk=walk(office), said=known, cautions=CAUTIONS)


@router.post("/round/{sump}", response_model=None)
async def poured_all(
    request: Request, sump: TheSump, office: TheOffice, visitor: TheVisitor, form: TheForm
) -> Response:
    """Everything that one sump wanted has been poured: tick all of its steps at once."""
    async with request.app.state.pouring:
        pour = office.pours.get(sump, office.now) or pour_of(office.live.sump(sump).advice)
        if pour is None or pour.advice != form.get("advice"):
            return _said("changed")
        for number in range(len(pour.steps)):
            pour = ticked(pour, number, done=True, now=office.now, by=visitor.name)
        outcome = "stored"
        for channel in _channels(pour):
            sent = await office.mailbox.send(sump, channel, report(pour, channel))
            if sent.outcome not in {"stored", "sent"}:
                return _said(sent.outcome)
            pour = reported(pour, channel, sent.id)
            office.pours.put(sump, pour)
            office.live.nudge(sump)
            outcome = sent.outcome if sent.outcome == "sent" else outcome
    return _said(outcome)


def _channels(pour: Pour) -> list[Channel]:
    """Channels of a list's steps, in their order."""
    return list(dict.fromkeys(step.channel for step in pour.steps))


def _said(outcome: str) -> Response:
    """Back to the round, which says what became of it."""
    return RedirectResponse(f"/round?said={outcome}", 303)
