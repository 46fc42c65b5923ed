"""What the gate asks of a program's request, and how it says no.

A program brings a bearer token. A script of the page's own may come with the session's cookie
instead; then whatever changes something carries the form token too, in a header that no other
site's form can set.
"""

from starlette.requests import Request
from starlette.responses import Response

from agent.page.api.problems import problem
from agent.page.people import Role
from agent.page.visitor import Visitor

ROOT = "/api/"
FORM_TOKEN_HEADER = "x-form-token"  # noqa: S105  a header's name, no secret
SAFE = {"GET", "HEAD"}
BODY_MAX = 200_000
"""Longer bodies are refused. [bytes]"""


def refusal(request: Request, visitor: Visitor, *, is_of_this_site: bool) -> Response | None:
    """Answer to a request that must not be handed on."""
    if visitor.wait:
        return problem("too-many", wait_s=max(visitor.wait // 1000, 1))
    if request.method not in SAFE:
        told = _of_its_form(request)
        if told is None and not visitor.is_program:
            told = _of_its_site(request, visitor, is_of_this_site=is_of_this_site)
        if told is not None:
            return told
    if visitor.role is None:
        return problem("sign-in", "expected a bearer token, or the cookie of a session")
    if request.method not in SAFE and visitor.role < Role.ENTER:
        return problem("role", "expected the right to enter")
    return None


def _of_its_form(request: Request) -> Response | None:
    """Answer to what wants to change something by another method, or too much."""
    if request.method != "POST":
        return problem("method")
    length = request.headers.get("content-length", "")
    if not (length.isascii() and length.isdigit()):
        return problem("length")
    if int(length) > BODY_MAX:
        return problem("too-large", f"{int(length)} bytes; expected at most {BODY_MAX}")
    return None


def _of_its_site(request: Request, visitor: Visitor, *, is_of_this_site: bool) -> Response | None:
    """Answer to what wants to change something and may have been sent by another site's page."""
    if not is_of_this_site:
        return problem("other-site")
    found = request.headers.get(FORM_TOKEN_HEADER, "")
    if visitor.asks and visitor.role is not None and found != visitor.form_token:
        return problem("form-token", "GET self tells it")
    return None


def is_json(request: Request) -> bool:
    """Whether the body says that it is JSON: no form of another site can say so."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    return kind == "application/json"
