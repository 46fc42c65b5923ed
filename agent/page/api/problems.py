"""What goes wrong, told to programs as problem documents.

References
----------
.. [1] M. Nottingham, E. Wilde and S. Dalal, "Problem Details for HTTP APIs", RFC 9457, 2023.
"""

import logging
from collections.abc import Mapping
from typing import Any, Literal, TypeAlias

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from pydantic import BaseModel, ConfigDict, Field
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse

from agent.errors import StoreError

LOG = logging.getLogger("millpond.page")

MEDIA_TYPE = "application/problem+json"
AGAIN_AFTER_S = 5
"""A program that meets a broker or a store that is away is asked to wait so long. [s]"""

Kind: TypeAlias = Literal[
    "sign-in",
    "role",
    "other-site",
    "form-token",
    "host",
    "missing",
    "nothing-told",
    "method",
    "conflict",
    "too-large",
    "length",
    "media-type",
    "body",
    "parameter",
    "refused",
    "too-many",
    "broker-away",
    "store-away",
    "mistake",
]

TITLES: Mapping[Kind, tuple[int, str]] = {
    "sign-in": (401, "Sign in first"),
    "role": (403, "This sign-in may not do that"),
    "other-site": (403, "Sent by another site"),
    "form-token": (403, "The form token is missing or not this session's"),
    "host": (421, "The page is not known under that name"),
    "missing": (404, "There is no such thing"),
    "nothing-told": (404, "Nothing has been told yet"),
    "method": (405, "Only GET and POST, each where it is documented"),
    "conflict": (409, "It contradicts what is there"),
    "too-large": (413, "The body is too large"),
    "length": (411, "The length of the body is not stated"),
    "media-type": (415, "The body is not application/json"),
    "body": (422, "The body is not as expected"),
    "parameter": (422, "A parameter is not as expected"),
    "refused": (422, "The agent has refused it"),
    "too-many": (429, "Too many wrong tries"),
    "broker-away": (503, "The broker cannot be reached"),
    "store-away": (503, "The store cannot be read"),
    "mistake": (500, "A mistake in millpond"),
}
"""Status and title of each kind."""


class ProblemBody(BaseModel):
    """What went wrong, in the form of RFC 9457."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    type: str = Field(
        description="what kind of problem, `urn:millpond:problem:KIND`; to be told apart by"
    )
    title: str = Field(description="the kind in words; the same for all of a kind")
    status: int = Field(description="the status of the answer")
    detail: str = Field(description="where, what was found, what was expected; may be empty")


class ProblemError(Exception):
    """Ends a request with a problem document.

    Parameters
    ----------
    kind : Kind
        What went wrong.
    detail : str
        Where, what was found, what was expected.
    wait_s : int, optional
        When another try may help. [s]
    """

    def __init__(self, kind: Kind, detail: str = "", *, wait_s: int | None = None) -> None:
        super().__init__(detail)
        self.kind = kind
        self.detail = detail
        self.wait_s = wait_s


def problem(kind: Kind, detail: str = "", *, wait_s: int | None = None) -> JSONResponse:
    """Answer with a problem document."""
    status, title = TITLES[kind]
    headers = {} if wait_s is None else {"retry-after": str(wait_s)}
    if kind == "sign-in":
        headers["www-authenticate"] = 'Bearer realm="millpond"'
    if kind == "method":
        headers["allow"] = "GET, POST"
    body = ProblemBody(
        type=f"urn:millpond:problem:{kind}", title=title, status=status, detail=detail
    )
    return JSONResponse(body.model_dump(), status, headers, MEDIA_TYPE)


def answer_with_problems(api: FastAPI) -> None:
    """Have everything that goes wrong in an application told as a problem document."""
    api.add_exception_handler(ProblemError, _on_problem)
    api.add_exception_handler(HTTPException, _on_http)
    api.add_exception_handler(RequestValidationError, _on_parameter)
    api.add_exception_handler(StoreError, _on_store)
    api.add_exception_handler(Exception, _on_mistake)


async def _on_problem(_request: Request, error: Exception) -> JSONResponse:
    """Answer where a route has ended with a problem."""
    if not isinstance(error, ProblemError):
        raise error
    return problem(error.kind, error.detail, wait_s=error.wait_s)


async def _on_http(_request: Request, error: Exception) -> JSONResponse:
    """Answer where there is no route, or not for that method."""
    status = error.status_code if isinstance(error, HTTPException) else 500
    kinds: Mapping[int, Kind] = {404: "missing", 405: "method", 403: "role", 503: "store-away"}
    return problem(kinds.get(status, "body" if status < 500 else "mistake"))


async def _on_parameter(_request: Request, error: Exception) -> JSONResponse:
    """Answer where a parameter of the address is wrong."""
    found: list[Any] = list(error.errors()) if isinstance(error, RequestValidationError) else []
    told = [f"{'.'.join(str(part) for part in each['loc'])}: {each['msg']}" for each in found[:5]]
    return problem("parameter", "; ".join(told))


async def _on_store(_request: Request, error: Exception) -> JSONResponse:
    """Answer while the store cannot be read."""
    LOG.warning("the API cannot read the store: %s", error)
    return problem("store-away", wait_s=AGAIN_AFTER_S)


async def _on_mistake(request: Request, error: Exception) -> JSONResponse:
    """Answer where millpond itself is at fault; the traceback goes to the log alone."""
    LOG.error("mistake in the API at %s", request.url.path, exc_info=error)
    return problem("mistake", "it has been written to the log")
