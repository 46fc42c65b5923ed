"""Supplies: what is left in drums and totes, and what somebody counted or brought."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, HTTPException
from starlette.responses import HTMLResponse, RedirectResponse, Response

from agent.instants import text_of
from agent.page.office import Office
from agent.page.routes.common import TheForm, TheOffice, TheVisitor
from agent.page.sending import Sent, new_id
from agent.page.stocking import FORMS, Stocking, first_fields, read_stocking
from agent.page.supplies_view import COUNTED, Shelf, shelf, shelves
from agent.page.visitor import Visitor

router = APIRouter(default_response_class=HTMLResponse)


def known_supply(supply: str, office: TheOffice) -> Shelf:
    """A supply of this plant that has a stock.

    Raises
    ------
    HTTPException
        If there is none of that name.
    """
    if supply not in office.plant.supplies or office.plant.supplies[supply].kind not in COUNTED:
        raise HTTPException(404, "supply")
    return shelf(office, supply)


TheShelf = Annotated[Shelf, Depends(known_supply)]


@router.get("/supplies")
def supplies_page(office: TheOffice, visitor: TheVisitor, said: str = "") -> HTMLResponse:
    """All supplies, worst first."""
    known = said if said in {"stored", "sent"} else ""
    return office.page("supplies.html", visitor, shelves=shelves(office), said=known)


@router.get("/supplies/{supply}")
def stock_form(supply: TheShelf, office: TheOffice, visitor: TheVisitor) -> HTMLResponse:
    """The form on one supply, with its last counts."""
    if not visitor.may_enter:
        raise HTTPException(403, "role")
    return _form(office, visitor, supply, Stocking(first_fields(supply, visitor)))


@router.post("/supplies/{supply}", response_model=None)
async def take_stock(
    office: TheOffice, visitor: TheVisitor, form: TheForm, supply: TheShelf
) -> Response:
    """Look at what was typed, save it, or go back to it."""
    typed = read_stocking(form, supply, visitor, office.now)
    if typed.errors:
        return _form(office, visitor, supply, typed, status=422)
    if form.get("action") == "edit":
        return _form(office, visitor, supply, typed)
    name = form.get("entry", "")
    if form.get("action") != "save" or not name.startswith("page-") or len(name) > 40:
        return _form(office, visitor, supply, typed, review=Sent("stored", new_id()))
    body: dict[str, Any] = {"at": text_of(office.now), **typed.body}
    sent = await office.mailbox.send(f"supply/{supply.supply.id}", "stock", body, name=name)
    if sent.outcome in {"stored", "sent"}:
        return RedirectResponse(f"/supplies?said={sent.outcome}", 303)
    return _form(office, visitor, supply, typed, status=503, review=sent)


def _form(
    office: Office,
    visitor: Visitor,
    stock: Shelf,
    typed: Stocking,
    *,
    status: int = 200,
    review: Sent | None = None,
) -> HTMLResponse:
    """The form; with `review` what is about to be saved, and what became of it."""
    return office.page(
        "stock.html",
        visitor,
        status=status,
        shelf=stock,
        typed=typed,
        fields=first_fields(stock, visitor) | dict(typed.fields),
        errors=typed.errors,
        forms=FORMS,
        entry="" if review is None else review.id,
        trouble="" if status == 200 or review is None else review.outcome,
        detail="" if review is None else review.detail,
    )
