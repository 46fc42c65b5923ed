"""What every request passes first: which host it names, who sends it, and what may be done.

Whatever is not let through here reaches no route: a new route is guarded before it is written.
"""

from collections.abc import Callable, Iterable
from http import HTTPStatus
from urllib.parse import quote, urlsplit

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from agent.page.api import guard
from agent.page.api.problems import problem
from agent.page.people import Role
from agent.page.visitor import BROWSER_COOKIE, Visitor

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
        "connect-src 'self'; font-src 'self'; form-action 'self'; frame-ancestors 'none'; "
        "base-uri 'none'; manifest-src 'self'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
}
"""Sent with everything: nothing from elsewhere runs here, and nobody frames the page."""

SAFE = {"GET", "HEAD"}
OPEN_TO_ALL = {"/sign-in", "/wishes", "/healthy"}
"""Paths that need no sign-in; so do those under `/static/`."""
BODY_MAX = 200_000
"""Longer bodies are refused. [bytes]"""


class Gate:
    """ASGI middleware in front of all routes.

    Parameters
    ----------
    app : ASGIApp
        What is behind it.
    visitor_of : callable
        Tells who sends a request.
    hosts : iterable of str
        Names by which this page may be reached: a name that somebody else's server resolves to
        this machine is none of them.
    is_secure : bool
        Whether the page is served by TLS.
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        visitor_of: Callable[[Request], Visitor],
        hosts: Iterable[str],
        is_secure: bool,
    ) -> None:
        self._app = app
        self._visitor_of = visitor_of
        self._hosts = {host.lower() for host in hosts}
        self._is_secure = is_secure

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or hand it on."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return
        request = Request(scope)
        visitor = self._visitor_of(request)
        scope["state"] = {"visitor": visitor}
        refusal = self._refusal(request, visitor)

        async def send_on(message: Message) -> None:
            if message["type"] == "http.response.start":
                self._add_headers(request, visitor, MutableHeaders(scope=message))
            await send(message)

        await (refusal or self._app)(scope, receive, send_on)

    def _refusal(self, request: Request, visitor: Visitor) -> Response | None:
        """Answer to a request that must not be handed on."""
        is_api = request.url.path.startswith(guard.ROOT)
        if _host(request.headers.get("host", "")) not in self._hosts:
            unknown = "this page is not known under that name\n"
            return problem("host") if is_api else _plain(HTTPStatus.MISDIRECTED_REQUEST, unknown)
        return (_api_refusal if is_api else self._page_refusal)(request, visitor)

    def _page_refusal(self, request: Request, visitor: Visitor) -> Response | None:
        """Answer to a person's request that must not be handed on."""
        path = request.url.path
        refusal = None if request.method in SAFE else _post_refusal(request)
        if refusal is not None:
            return refusal
        if path in OPEN_TO_ALL or path.startswith("/static/"):
            return None
        if visitor.role is None:
            return self._ask_to_sign_in(request)
        if request.method not in SAFE and path != "/sign-out" and visitor.role < Role.ENTER:
            return _plain(HTTPStatus.FORBIDDEN, "this sign-in may only look\n")
        return None

    def _ask_to_sign_in(self, request: Request) -> Response:
        """Lead a person to the sign-in, and tell a program."""
        if request.method in SAFE and "text/html" in request.headers.get("accept", ""):
            wanted = request.url.path + (f"?{request.url.query}" if request.url.query else "")
            return RedirectResponse(f"/sign-in?next={quote(wanted, safe='')}", 303)
        return _plain(HTTPStatus.UNAUTHORIZED, "sign in first\n")

    def _add_headers(self, request: Request, visitor: Visitor, headers: MutableHeaders) -> None:
        """Put the guards on an answer, and the token on a browser that has none."""
        for name, value in HEADERS.items():
            headers.setdefault(name, value)
        if self._is_secure:
            headers["strict-transport-security"] = "max-age=31536000"
        if not request.url.path.startswith("/static/"):
            headers.setdefault("cache-control", "no-store")
            is_api = request.url.path.startswith(guard.ROOT)
            if (
                not is_api
                and request.cookies.get(BROWSER_COOKIE) != visitor.token
                and (
                    "set-cookie" not in headers or f"{BROWSER_COOKIE}=" not in headers["set-cookie"]
                )
            ):
                secure = "; Secure" if self._is_secure else ""
                headers.append(
                    "set-cookie",
                    f"{BROWSER_COOKIE}={visitor.token}; Path=/; HttpOnly; SameSite=Lax{secure}",
                )


def _api_refusal(request: Request, visitor: Visitor) -> Response | None:
    """Answer to a program's request that must not be handed on."""
    return guard.refusal(request, visitor, is_of_this_site=_is_of_this_site(request))


def _post_refusal(request: Request) -> Response | None:
    """Answer to a request that wants to change something and must not."""
    if request.method != "POST":
        return _plain(HTTPStatus.METHOD_NOT_ALLOWED, "only GET and POST\n")
    if not _is_of_this_site(request):
        return _plain(HTTPStatus.FORBIDDEN, "sent by another site\n")
    length = request.headers.get("content-length", "")
    if not length.isdigit() or int(length) > BODY_MAX:
        return _plain(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, f"at most {BODY_MAX} bytes\n")
    return None


def _is_of_this_site(request: Request) -> bool:
    """Whether the browser says that the request comes from this page.

    Browsers say so in one of two headers; a program that says nothing still lacks the token that
    every form carries.
    """
    if request.headers.get("sec-fetch-site", "same-origin") not in {"same-origin", "none"}:
        return False
    origin = request.headers.get("origin")
    return origin is None or urlsplit(origin).netloc == request.headers.get("host", "")


def _host(header: str) -> str:
    """Name in a Host header, without the port."""
    if header.startswith("["):
        return header.partition("]")[0].removeprefix("[").lower()
    return header.partition(":")[0].lower()


def _plain(status: HTTPStatus, text: str) -> Response:
    """A short answer."""
    return PlainTextResponse(text, status_code=status)
