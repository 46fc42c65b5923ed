"""Entering what was measured, poured, drained and done; correcting it, and taking it back."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, HTTPException
from starlette.responses import HTMLResponse, RedirectResponse, Response

from advisor.words import CheckKind
from agent.page.entering import (
    KINDS,
    SAMPLES,
    SERVICES,
    Typed,
    decoded,
    fields_of,
    may_correct,
    preview,
    read_form,
    undoing,
)
from agent.page.entries import entry_kind
from agent.page.office import Office
from agent.page.routes.common import TheForm, TheOffice, TheSump, TheVisitor
from agent.page.sending import Sent, new_id
from agent.page.visitor import Visitor
from agent.store.logbook import Logged

router = APIRouter(default_response_class=HTMLResponse)


def known_kind(kind: str) -> str:
    """Name of a form.

    Raises
    ------
    HTTPException
        If there is no such form.
    """
    if kind not in KINDS:
        raise HTTPException(404, "kind")
    return kind


TheKind = Annotated[str, Depends(known_kind)]


@router.get("/sumps/{sump}/enter/{kind}")
def form_page(
    sump: TheSump, kind: TheKind, office: TheOffice, visitor: TheVisitor, corrects: str = ""
) -> HTMLResponse:
    """An empty form, or one that holds the entry to be corrected."""
    if not visitor.may_enter:
        raise HTTPException(403, "role")
    fields = {"when": "now", "by": visitor.name}
    if corrects:
        fields = fields_of(_to_correct(office, visitor, sump, kind, corrects).entry, visitor.speech)
        fields["corrects"] = corrects
    return _form(office, visitor, sump, Typed(kind, fields))


@router.post("/sumps/{sump}/enter/{kind}", response_model=None)
async def take(
    sump: TheSump, kind: TheKind, office: TheOffice, visitor: TheVisitor, form: TheForm
) -> Response:
    """Look at an entry before it is saved, save it, go back to it, or take an earlier one back."""
    if form.get("corrects"):
        earlier = _to_correct(office, visitor, sump, kind, form["corrects"])
        if form.get("action") == "undo":
            return await _undo(office, visitor, sump, earlier)
    typed = read_form(kind, form, office.plant.sumps[sump], visitor, office.now)
    if typed.errors:
        return _form(office, visitor, sump, typed, status=422)
    if form.get("action") == "edit":
        return _form(office, visitor, sump, typed)
    if form.get("action") != "save":
        return _review(office, visitor, sump, typed)
    return await _save(office, visitor, sump, typed)


async def _save(office: Office, visitor: Visitor, sump: str, typed: Typed) -> Response:
    """Send an entry; pressing twice sends the same one twice, which counts once."""
    name = typed.fields.get("entry", "")
    if not name.startswith("page-") or len(name) > 40:
        name = new_id()
    if office.logbook.entry(sump, name) is not None:
        return _said(sump, "stored")
    sent = await office.mailbox.send(sump, typed.kind, typed.body, name=name)
    if sent.outcome in {"stored", "sent"}:
        return _said(sump, sent.outcome)
    return _review(office, visitor, sump, typed, sent=sent)


async def _undo(office: Office, visitor: Visitor, sump: str, earlier: Logged) -> Response:
    """Take an entry back; it stays in the records, with what stands in its place."""
    note = visitor.speech.text("enter.mistake")
    undo = undoing(earlier.entry, visitor.name, note)
    if undo is None:
        raise HTTPException(400, "undo")
    sent = await office.mailbox.send(sump, *undo)
    return _said(sump, sent.outcome)


def _said(sump: str, outcome: str) -> Response:
    """Go back to the sump, which says what became of the entry."""
    return RedirectResponse(f"/sumps/{sump}?said={outcome}", 303)


def _to_correct(office: Office, visitor: Visitor, sump: str, kind: str, name: str) -> Logged:
    """The entry that is to be corrected.

    Raises
    ------
    HTTPException
        If there is none that this person may correct here.
    """
    logged = office.logbook.entry(sump, name[:128])
    if logged is None or logged.is_replaced or entry_kind(logged.entry) != kind:
        raise HTTPException(404, "entry")
    if not may_correct(visitor, logged.entry):
        raise HTTPException(403, "role")
    return logged


def _form(
    office: Office, visitor: Visitor, sump: str, typed: Typed, *, status: int = 200
) -> HTMLResponse:
    """The form, with what was typed and what is wrong with it."""
    say = visitor.speech
    return office.page(
        "enter.html",
        visitor,
        status=status,
        card=office.card(sump),
        typed=typed,
        fields={"at": say.input_value(office.now), **typed.fields},
        errors=typed.errors,
        check_kinds=list(CheckKind),
        samples=SAMPLES,
        services=SERVICES,
    )


def _review(
    office: Office, visitor: Visitor, sump: str, typed: Typed, *, sent: Sent | None = None
) -> HTMLResponse:
    """What is about to be saved, and what it would change."""
    plan = office.plant.sumps[sump]
    entry = decoded(typed, plan, office.now)
    if isinstance(entry, str):
        raise HTTPException(422, "entry")
    changed = None
    if typed.kind != "service":
        changed = preview(office.beliefs.get(sump), entry, plan)
    values: dict[str, Any] = {"trouble": "" if sent is None else sent.outcome}
    return office.page(
        "review.html",
        visitor,
        status=200 if sent is None else 503,
        card=office.card(sump),
        typed=typed,
        entry=entry,
        entry_name=new_id() if sent is None else sent.id,
        preview=changed,
        detail="" if sent is None else sent.detail,
        **values,
    )
