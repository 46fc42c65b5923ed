"""A small HTTP server of its own: ``/health``, ``/ready`` and ``/metrics``, and nothing else.

It reads the store through a connection of its own and never waits for the worker, so that it
answers while the worker is stuck, which is when it matters.
"""

import hmac
import json
import logging
import sqlite3
import threading
from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from typing import Any, TypeAlias

import uvicorn

from agent.errors import MillpondError
from agent.operation.exposition import CONTENT_TYPE, exposed
from agent.operation.health import Body, health, readiness
from agent.operation.live import Live
from agent.operation.metrics import families
from agent.plant.page_checks import is_loopback
from agent.plant.plant import OperationSettings, Plant
from agent.store.database import Database

LOG = logging.getLogger("millpond.operation")

START_WITHIN_S = 5.0
POLL_S = 0.01
STOP_WITHIN_S = 2.0
CONNECTIONS_MAX = 20

Message: TypeAlias = MutableMapping[str, Any]
Receive: TypeAlias = Callable[[], Awaitable[Message]]
Send: TypeAlias = Callable[[Message], Awaitable[None]]


class ListenerError(MillpondError):
    """Health and metrics cannot be served."""


class Listener:
    """Serves until stopped.

    Parameters
    ----------
    plant : Plant
        The plant file's content.
    settings : OperationSettings
        Where to listen.
    token : str, optional
        What a collector must show for the metrics; `None`: nothing.
    live : Live
        How the process is doing.
    """

    def __init__(
        self, plant: Plant, settings: OperationSettings, token: str | None, live: Live
    ) -> None:
        self._plant = plant
        self._token = token
        self._is_local = is_loopback(settings.host)
        self._live = live
        self._database = Database(plant.store)
        self.failure: BaseException | None = None
        """What ended the thread, if something did."""
        self._server = uvicorn.Server(
            uvicorn.Config(
                self._answer,
                host=settings.host,
                port=settings.port,
                interface="asgi3",
                log_config=None,
                access_log=False,
                server_header=False,
                date_header=False,
                proxy_headers=False,
                ws="none",
                lifespan="off",
                limit_concurrency=CONNECTIONS_MAX,
                timeout_keep_alive=5,
                timeout_graceful_shutdown=1,
                h11_max_incomplete_event_size=8_192,
            )
        )
        self.url = f"http://{settings.host}:{settings.port}/"
        self._thread = threading.Thread(target=self._run, name="millpond-operation", daemon=True)

    def start(self) -> None:
        """Start the thread; wait until it listens, or has failed."""
        self._thread.start()
        pause, waited = threading.Event(), 0.0
        while not self._server.started and self.failure is None and waited < START_WITHIN_S:
            waited += 0.0 if pause.wait(POLL_S) else POLL_S
        LOG.info("health, readiness and metrics are at %s", self.url)

    def check(self) -> None:
        """See that the thread is well.

        Raises
        ------
        ListenerError
            If it has ended.
        """
        if self.failure is not None:
            raise ListenerError(f"the listener at {self.url} ended: {self.failure}")

    def stop(self) -> None:
        """End the thread."""
        self._server.should_exit = True
        if self._thread.is_alive():
            self._thread.join(STOP_WITHIN_S)
        self._database.close()

    def _run(self) -> None:
        """Serve; a failure is left where the worker sees it."""
        try:
            self._server.run()
        except SystemExit:  # uvicorn's way to say that it cannot listen
            self.failure = OSError("it cannot listen there; is another program using the port?")
        except BaseException as error:  # noqa: BLE001  told to the worker, which ends the process
            self.failure = error

    async def _answer(self, scope: Mapping[str, Any], _receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            return
        status, kind, text = self._answer_to(scope)
        body = text.encode()
        head = [
            (b"content-type", kind.encode()),
            (b"content-length", b"%d" % len(body)),
            (b"cache-control", b"no-store"),
            (b"x-content-type-options", b"nosniff"),
        ]
        if status == 401:
            head.append((b"www-authenticate", b"Bearer"))
        await send({"type": "http.response.start", "status": status, "headers": head})
        await send(
            {"type": "http.response.body", "body": b"" if scope["method"] == "HEAD" else body}
        )

    def _answer_to(self, scope: Mapping[str, Any]) -> tuple[int, str, str]:
        """Status, kind and text of an answer."""
        if scope["method"] not in {"GET", "HEAD"}:
            return 405, "text/plain", "only GET\n"
        if self._is_local and not is_loopback(_host(scope["headers"])):
            return 421, "text/plain", "this is not known under that name\n"
        match scope["path"]:
            case "/health":
                return _judged(*health(self._live))
            case "/ready":
                return _judged(*readiness(self._live))
            case "/metrics":
                return self._metrics(scope["headers"])
        return 404, "text/plain", "there are /health, /ready and /metrics\n"

    def _metrics(self, headers: list[tuple[bytes, bytes]]) -> tuple[int, str, str]:
        """The metrics, for whoever may have them."""
        if self._token is not None:
            shown = next((value for name, value in headers if name == b"authorization"), b"")
            if not hmac.compare_digest(shown, f"Bearer {self._token}".encode()):
                return 401, "text/plain", "show the token of MILLPOND_METRICS_TOKEN\n"
        try:
            return 200, CONTENT_TYPE, exposed(families(self._live, self._plant, self._database))
        except (MillpondError, sqlite3.Error, OSError) as error:
            LOG.warning("the metrics cannot be read from the store: %s", error)
            return 503, "text/plain", "the store cannot be read\n"


def _host(headers: list[tuple[bytes, bytes]]) -> str:
    """Name by which a request reached us, without the port."""
    named = next((value for name, value in headers if name == b"host"), b"").decode("latin-1")
    host, colon, port = named.rpartition(":")
    return (host if colon and port.isdigit() else named).strip("[]")


def _judged(well: bool, body: Body) -> tuple[int, str, str]:  # noqa: FBT001  the answer itself
    """An answer of health or readiness."""
    return 200 if well else 503, "application/json", json.dumps(body) + "\n"
