"""What the routes share: who asks, the office, and the fields of a form that was really ours."""

from typing import Annotated
from urllib.parse import parse_qsl, urlsplit

from fastapi import Depends, HTTPException, Request
from starlette.responses import RedirectResponse

from agent.page.office import Office
from agent.page.visitor import Visitor

FIELDS_MAX = 100


def office_of(request: Request) -> Office:
    """The office behind this page."""
    office: Office = request.app.state.office
    return office


def visitor_of(request: Request) -> Visitor:
    """Who sends this request; the gate has asked already."""
    visitor: Visitor = request.state.visitor
    return visitor


TheOffice = Annotated[Office, Depends(office_of)]
TheVisitor = Annotated[Visitor, Depends(visitor_of)]


async def form_of(request: Request, office: TheOffice, visitor: TheVisitor) -> dict[str, str]:
    """Fields of a form that this page made for this browser; of a field sent twice, the last.

    Raises
    ------
    HTTPException
        If it is no form, or not ours.
    """
    body = await request.body()
    try:
        pairs = parse_qsl(
            body.decode("ascii"), keep_blank_values=True, max_num_fields=FIELDS_MAX, errors="strict"
        )
    except ValueError:
        raise HTTPException(400, "no form") from None
    fields = dict(pairs)
    if not office.door.is_form_token(visitor.token, fields.pop("token", "")):
        raise HTTPException(403, "form")
    return {key: value.strip() for key, value in fields.items()}


TheForm = Annotated[dict[str, str], Depends(form_of)]


def known_sump(sump: str, office: TheOffice) -> str:
    """Id of a sump of this plant.

    Raises
    ------
    HTTPException
        If there is none of that name.
    """
    if sump not in office.plant.sumps:
        raise HTTPException(404, "sump")
    return sump


TheSump = Annotated[str, Depends(known_sump)]


def inside(path: str) -> str:
    """A path of this page to go on to; anything else leads to the overview.

    Examples
    --------
    >>> inside("/sumps/mill-07"), inside("//elsewhere/x"), inside("https://elsewhere")
    ('/sumps/mill-07', '/', '/')
    """
    parts = urlsplit(path)
    bad = parts.scheme or parts.netloc or not path.startswith("/") or path.startswith(("//", "/\\"))
    return "/" if bad or not path.isprintable() or "\\" in path else path


def back_to(path: str) -> RedirectResponse:
    """Answer to a form: go on and look."""
    return RedirectResponse(inside(path), 303)
