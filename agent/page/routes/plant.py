"""The plant at a glance, and the stream that keeps an open page up to date."""

import asyncio
import json
from collections.abc import AsyncIterator, Iterator, Sequence

from fastapi import APIRouter, HTTPException, Request
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, StreamingResponse

from agent.page.cards import Card, Urgency
from agent.page.office import Office
from agent.page.routes.alarms import shown as alarms_shown
from agent.page.routes.common import TheOffice, TheVisitor
from agent.page.visitor import Visitor
from agent.page.work_view import judged

router = APIRouter(default_response_class=HTMLResponse)

STREAMS_MAX = 100
"""Open pages that are kept up to date; further ones are asked to come again."""
PAUSE_S = 0.25
"""Between two pushes to one page: many changes at once travel together."""
ROWS_AT_ONCE = 50
"""In one event: the first of many rows are on the screen while the others are still drawn."""
HEARTBEAT_S = 10.0
"""A page that hears nothing for longer knows that the link is gone."""


@router.get("/")
def plant(office: TheOffice, visitor: TheVisitor, q: str = "", show: str = "") -> HTMLResponse:
    """All sumps, worst first; `q` looks in their names, `show` picks one urgency."""
    version = office.live.version
    cards = office.cards()
    counts = {urgency: sum(c.urgency is urgency for c in cards) for urgency in Urgency}
    chosen = [card for card in cards if fits(card, q[:100], show)]
    return office.page(
        "plant.html",
        visitor,
        groups=[(u, [c for c in chosen if c.urgency is u]) for u in Urgency],
        counts=counts,
        total=len(cards),
        found=len(chosen),
        query=q[:100],
        show=show if show in {u.name.lower() for u in Urgency} else "",
        alarms=office.live.plant_alarms(),
        rows=lambda card: Markup(office.row(card, visitor)),  # noqa: S704  our own template's
        live_version=version,
    )


def fits(card: Card, query: str, show: str) -> bool:
    """Whether a sump is looked for."""
    if show and show != card.urgency.name.lower():
        return False
    names = f"{card.plan.name} {card.plan.id} {card.plan.fluid.name} {card.plan.fluid.id}"
    return all(word in names.casefold() for word in query.casefold().split())


@router.get("/live")
async def live(
    request: Request,
    office: TheOffice,
    visitor: TheVisitor,
    what: str = "rows",
    sump: str = "",
    seen: int = 0,
) -> StreamingResponse:
    """Server-sent events: the pieces of an open page that have changed since version `seen`.

    `what` is the page: ``rows`` of the plant, ``alarms``, or the one of a `sump`; ``work`` is the
    one of its charge.
    """
    if sump and sump not in office.plant.sumps:
        raise HTTPException(404, "sump")
    streams: set[object] = request.app.state.streams
    if len(streams) >= STREAMS_MAX:
        raise HTTPException(503, "busy")
    page = f"{'work' if what == 'work' else ''}/{sump}" if sump else what
    events = _events(request, office, visitor, page, seen)
    return StreamingResponse(events, media_type="text/event-stream")


async def _events(
    request: Request, office: Office, visitor: Visitor, what: str, seen: int
) -> AsyncIterator[str]:
    """Changes as they come, until the page is closed or the agent ends."""
    loop, news = asyncio.get_running_loop(), asyncio.Event()

    def wake() -> None:
        """Tell this stream, from the worker's thread, that there is news."""
        loop.call_soon_threadsafe(news.set)

    stop_listening = office.live.listen(wake)
    streams: set[object] = request.app.state.streams
    streams.add(news)
    try:
        yield "retry: 3000\n\n"
        while not request.app.state.closing.is_set():
            news.clear()
            seen, changed = office.live.changed_since(seen)
            for some in _shares(office, changed, what):
                parts = await run_in_threadpool(_parts, office, visitor, some, what)
                yield f"event: parts\nid: {seen}\ndata: {json.dumps(parts | {'version': seen})}\n\n"
            await asyncio.sleep(PAUSE_S)
            try:
                await asyncio.wait_for(news.wait(), HEARTBEAT_S)
            except TimeoutError:
                continue
    finally:
        streams.discard(news)
        stop_listening()


def _shares(office: Office, changed: list[str], what: str) -> Iterator[Sequence[str]]:
    """What changed in events of a bearable size; rows worst first, as they stand on the page."""
    if what != "rows" or len(changed) <= ROWS_AT_ONCE:
        yield changed
        return
    worst = sorted(changed, key=lambda name: office.card(name).order)
    for begin in range(0, len(worst), ROWS_AT_ONCE):
        yield worst[begin : begin + ROWS_AT_ONCE]


def _parts(
    office: Office, visitor: Visitor, changed: Sequence[str], what: str
) -> dict[str, object]:
    """HTML of what changed, by the id of the element that it replaces, and the time."""
    parts = {}
    if what == "alarms" and changed:
        parts["alarm-list"] = office.part("_alarm_list.html", visitor, **alarms_shown(office))
    elif "/" in what:
        page, _, sump = what.partition("/")
        if sump in changed:
            parts |= (_work_part if page else _sump_parts)(office, visitor, sump)
    elif what == "rows":
        for name in changed:
            parts[f"row-{name}"] = office.row(office.card(name), visitor)
    clock = office.live.clock
    said = "" if clock is None else visitor.speech.moment(clock, None)
    return {"parts": parts, "clock": said, "at": clock}


def _sump_parts(office: Office, visitor: Visitor, sump: str) -> dict[str, str]:
    """Pieces of a sump's page."""
    card = office.card(sump)
    pour = office.pours.get(sump, office.now)
    values = {"card": card, "pour": pour, "trouble": "", "detail": ""}
    return {
        "now": office.part("_now.html", visitor, card=card),
        "todo": office.part("_todo.html", visitor, **values),
    }


def _work_part(office: Office, visitor: Visitor, sump: str) -> dict[str, str]:
    """The list of a charge, as somebody at another device may have ticked it."""
    work = office.pours.work(sump, office.now)
    if work is None:
        return {}
    told = {"trouble": "", "detail": "", "problem": ""}
    verdict = judged(work, visitor.speech)
    return {
        "work": office.part(
            "_work.html", visitor, card=office.card(sump), work=work, verdict=verdict, **told
        )
    }
