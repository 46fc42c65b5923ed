"""The page as one ASGI application: gate, routes, errors, and what is sent as it is."""

import asyncio
import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import anyio.to_thread
from fastapi import FastAPI, Request
from starlette.exceptions import HTTPException
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

from agent.errors import StoreError
from agent.page.api.document import PATH as API_PATH
from agent.page.api.document import make_api
from agent.page.api.guard import ROOT as API_ROOT
from agent.page.api.problems import problem
from agent.page.gate import Gate
from agent.page.office import Office
from agent.page.routes import (
    alarms,
    charge,
    door,
    enter,
    plant,
    report,
    setup,
    setup_signals,
    sump,
    supplies,
    walk,
)
from agent.version import VERSION

LOG = logging.getLogger("millpond.page")

STATIC = Path(__file__).parent / "static"
THREADS = 4
"""That render pages; the worker shares the machine with them."""
COMPRESS_FROM = 1_000
"""Shorter answers are sent as they are. [bytes]"""


def make_app(office: Office) -> FastAPI:
    """Put the page together."""

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        """Make what belongs to the event loop of this run."""
        anyio.to_thread.current_default_thread_limiter().total_tokens = THREADS
        app.state.closing = asyncio.Event()
        app.state.pouring = asyncio.Lock()
        yield

    app = FastAPI(
        title="millpond",
        version=VERSION,
        docs_url=None,
        redoc_url=None,
        openapi_url=None,
        lifespan=lifespan,
    )
    app.state.office = office
    app.state.streams = set()
    for room in (
        plant,
        sump,
        enter,
        charge,
        walk,
        supplies,
        alarms,
        report,
        setup,
        setup_signals,
        door,
    ):
        app.include_router(room.router)
    app.mount(API_PATH, make_api(office))
    app.mount("/static", Unchanging(directory=STATIC))
    app.add_api_route("/healthy", lambda: PlainTextResponse("ok\n"), include_in_schema=False)
    app.add_exception_handler(HTTPException, _on_refusal)
    app.add_exception_handler(StoreError, _on_store_trouble)
    app.add_exception_handler(Exception, _on_mistake)
    app.add_middleware(GZipMiddleware, minimum_size=COMPRESS_FROM, compresslevel=4)
    app.add_middleware(
        Gate,
        visitor_of=office.visitor,
        hosts=_hosts(office),
        is_secure=office.settings.cert_file is not None,
    )
    return app


class Unchanging(StaticFiles):
    """Our own files, kept by browsers: each page asks for them with millpond's version."""

    def file_response(self, *args: object, **kwargs: object) -> Response:
        """Answer with a file, to be kept for a day."""
        response = super().file_response(*args, **kwargs)  # type: ignore[arg-type]  # handed on as they are
        response.headers["cache-control"] = "public, max-age=86400"
        return response

    async def get_response(self, path: str, scope: Scope) -> Response:
        """Answer with a file."""
        return await super().get_response(path, scope)


def _hosts(office: Office) -> set[str]:
    """Names by which the page may be reached."""
    here = {"127.0.0.1", "localhost", "::1"}
    settings = office.settings
    return here | {settings.host} | set(settings.hosts)


def _answer(request: Request, key: str, status: int) -> Response:
    """Page that says what went wrong and what to do, in the person's language."""
    office: Office = request.app.state.office
    visitor = request.state.visitor
    if "text/html" not in request.headers.get("accept", "text/html"):
        return PlainTextResponse(visitor.speech.text(f"error.{key}.what") + "\n", status)
    return office.page("error.html", visitor, status=status, key=key)


_KEYS = {400: "form", 403: "form", 404: "missing", 405: "missing", 422: "form", 503: "busy"}


async def _on_refusal(request: Request, error: Exception) -> Response:
    """Answer where a route refused; a program whose address fits no route gets a problem."""
    if request.url.path.startswith(API_ROOT):
        return problem("missing")
    status = error.status_code if isinstance(error, HTTPException) else 500
    return _answer(request, _KEYS.get(status, "mistake"), status)


async def _on_store_trouble(request: Request, error: Exception) -> Response:
    """Answer while the store cannot be read."""
    LOG.warning("the page cannot read the store: %s", error)
    return _answer(request, "store", 503)


async def _on_mistake(request: Request, error: Exception) -> Response:
    """Answer where the page itself is at fault; the traceback goes to the log, not to people."""
    LOG.error("mistake in the page at %s", request.url.path, exc_info=error)
    return HTMLResponse("<!doctype html><title>millpond</title><p>A mistake in millpond.", 500)
