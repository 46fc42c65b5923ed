"""The page's thread: uvicorn around the application, beside the worker and never in its way."""

import logging
import socket
import ssl
import threading
from collections.abc import Callable
from pathlib import Path

import uvicorn
from fastapi import FastAPI

from advisor.estimate import Belief
from agent.arrival import Outgoing
from agent.errors import MillpondError
from agent.page.app import make_app
from agent.page.office import Office, reading_database
from agent.page.sending import Mailbox
from agent.page.setup.desk import SetupDesk
from agent.plant.plant import PageSettings, Plant
from agent.store.batch import Batch

LOG = logging.getLogger("millpond.page")

START_WITHIN_S = 10.0
STOP_WITHIN_S = 3.0
CONNECTIONS_MAX = 200


class PageError(MillpondError):
    """The page cannot be served."""


class PageServer:
    """Serves the page until stopped.

    Parameters
    ----------
    plant : Plant
        The plant file's content.
    settings : PageSettings
        Its section on the page.
    publish : callable
        Hands a message to the broker's link.
    is_connected : callable
        Whether the broker can be reached.
    belief_of : callable
        Gives what is believed of a sump; called on the worker's thread only.
    """

    def __init__(
        self,
        plant: Plant,
        settings: PageSettings,
        *,
        publish: Callable[[Outgoing], object],
        is_connected: Callable[[], bool],
        belief_of: Callable[[str], Belief | None] = lambda _sump: None,
    ) -> None:
        self._settings = settings
        self.office = Office(
            plant=plant,
            settings=settings,
            database=reading_database(plant),
            mailbox=Mailbox(plant, publish, is_connected),
            belief_of=belief_of,
        )
        self._server = _Server(make_app(self.office), settings)
        self.failure: BaseException | None = None
        """What ended the thread, if something did."""
        self._thread = threading.Thread(target=self._run, name="millpond-page", daemon=True)

    @property
    def url(self) -> str:
        """Where the page is."""
        scheme = "http" if self._settings.cert_file is None else "https"
        host = self._settings.host
        return f"{scheme}://{f'[{host}]' if ':' in host else host}:{self._settings.port}/"

    def take(self, batch: Batch) -> None:
        """Note what a transaction brought; called by the worker."""
        self.office.take(batch)

    def set_up(self, path: Path, ask: Callable[[], None]) -> None:
        """Let people change a plant file; `ask` has the agent read it again."""
        self.office.setup = SetupDesk(path, self.office.plant, ask)

    def succeed(self, former: "PageServer") -> None:
        """Take over who is signed in from the page before."""
        self.office.door.succeed(former.office.door)

    def start(self) -> None:
        """Start the thread."""
        self._thread.start()
        LOG.info("the page is at %s", self.url)

    def check(self) -> None:
        """See that the thread is well.

        Raises
        ------
        PageError
            If it has ended.
        """
        if self.failure is not None:
            raise PageError(f"the page at {self.url} ended: {self.failure}") from self.failure

    def stop(self) -> None:
        """End the thread; open pages are told at once."""
        self._server.should_exit = True
        if self._thread.is_alive():
            self._thread.join(STOP_WITHIN_S)
        if self.office.setup is not None:
            self.office.setup.ear.close()
        self.office.database.close()

    def _run(self) -> None:
        """Serve; a failure is left where the worker sees it."""
        try:
            self._server.run()
        except SystemExit:  # uvicorn's way to say that it cannot listen
            self.failure = OSError("it cannot listen there; is another program using the port?")
        except BaseException as error:  # noqa: BLE001  told to the worker, which ends the process
            self.failure = error


class _Server(uvicorn.Server):
    """Tells open streams to end before it waits for them."""

    def __init__(self, app: FastAPI, settings: PageSettings) -> None:
        super().__init__(_config(app, settings))
        self._streams = app.state

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End the streams, then the rest."""
        self._streams.closing.set()
        for news in self._streams.streams:
            news.set()
        await super().shutdown(sockets)


def _config(app: FastAPI, settings: PageSettings) -> uvicorn.Config:
    """How uvicorn serves."""
    return uvicorn.Config(
        app,
        host=settings.host,
        port=settings.port,
        log_config=None,
        access_log=False,
        server_header=False,
        date_header=False,
        proxy_headers=False,
        ws="none",
        lifespan="on",
        limit_concurrency=CONNECTIONS_MAX,
        timeout_keep_alive=15,
        timeout_graceful_shutdown=1,
        h11_max_incomplete_event_size=32_768,
        ssl_certfile=settings.cert_file,
        ssl_keyfile=settings.key_file,
        ssl_version=ssl.PROTOCOL_TLS_SERVER,
    )
