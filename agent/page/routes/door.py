"""Signing in and out, and how a person wants the page: language, units, light or dark."""

from collections.abc import Collection

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, RedirectResponse, Response

from agent.page.catalogue import LANGUAGES
from agent.page.office import Office
from agent.page.routes.common import TheForm, TheOffice, TheVisitor, back_to, inside
from agent.page.sessions import Refused
from agent.page.visitor import (
    BROWSER_COOKIE,
    THEMES,
    UNITS,
    WISHES_COOKIE,
    Visitor,
    clean_name,
    wishes_text,
)

router = APIRouter(default_response_class=HTMLResponse)

WISHES_KEPT_S = 400 * 86_400


@router.get("/sign-in", response_model=None)
def sign_in_page(office: TheOffice, visitor: TheVisitor, next: str = "/") -> Response:  # noqa: A002  as in the address
    """The form; who is in already goes on."""
    if visitor.role is not None:
        return back_to(next)
    return _form(office, visitor, inside(next))


@router.post("/sign-in", response_model=None)
async def sign_in(
    request: Request, office: TheOffice, visitor: TheVisitor, form: TheForm
) -> Response:
    """Let somebody in, or say why not."""
    if not office.door.asks:
        return back_to("/")
    address = request.client.host if request.client else ""
    name, password = form.get("name", "")[:64], form.get("password", "")
    found = await run_in_threadpool(office.door.sign_in, name, password, address, office.wall_now)
    goal = inside(form.get("next", "/"))
    if isinstance(found, Refused):
        return _form(office, visitor, goal, refused=found, name=name)
    office.door.sign_out(visitor.token)
    response = back_to(goal)
    response.set_cookie(
        BROWSER_COOKIE,
        found,
        httponly=True,
        samesite="lax",
        secure=office.settings.cert_file is not None,
    )
    return response


@router.post("/sign-out", response_model=None)
def sign_out(office: TheOffice, visitor: TheVisitor, form: TheForm) -> Response:
    """End the session, and forget the browser."""
    del form  # its token has been looked at
    office.door.sign_out(visitor.token)
    response = RedirectResponse("/sign-in" if office.door.asks else "/", 303)
    response.set_cookie(
        BROWSER_COOKIE, office.door.new_token(), httponly=True, samesite="lax",
        secure=office.settings.cert_file is not None,
    )  # fmt: skip
    return response


@router.get("/wishes")
def wishes_page(office: TheOffice, visitor: TheVisitor, next: str = "/") -> HTMLResponse:  # noqa: A002  as in the address
    """How the page is shown to this browser."""
    return office.page("wishes.html", visitor, goal=inside(next))


@router.post("/wishes", response_model=None)
def wish(office: TheOffice, visitor: TheVisitor, form: TheForm) -> Response:
    """Keep what somebody wants, in this browser."""
    chosen = {
        "lang": _one_of(form.get("lang"), LANGUAGES, visitor.language),
        "units": _one_of(form.get("units"), UNITS, visitor.speech.units),
        "theme": _one_of(form.get("theme"), THEMES, visitor.theme),
        "by": clean_name(form.get("by", "")) if not office.door.asks else "",
    }
    response = back_to(form.get("next", "/"))
    response.set_cookie(
        WISHES_COOKIE,
        wishes_text(chosen),
        max_age=WISHES_KEPT_S,
        httponly=True,
        samesite="lax",
        secure=office.settings.cert_file is not None,
    )
    return response


def _one_of(value: str | None, known: Collection[str], otherwise: str) -> str:
    """A value if it is known, else another."""
    return value if value is not None and value in known else otherwise


def _form(
    office: Office,
    visitor: Visitor,
    goal: str,
    *,
    refused: Refused | None = None,
    name: str = "",
) -> HTMLResponse:
    """The sign-in form, and why the last try was not let through."""
    return office.page(
        "sign_in.html",
        visitor,
        status=200 if refused is None else 429 if refused.wait else 403,
        goal=goal,
        refused=refused,
        name=name,
    )
