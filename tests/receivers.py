"""Receivers of notifications on loopback: a mail server, and a server for webhooks."""

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes
from email.message import Message
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from agent.embedded import free_port


class Mailroom:
    """Takes mail, or refuses it while it is told to."""

    def __init__(self) -> None:
        self.mails: list[Message] = []
        self.refuses = False

    async def handle_DATA(  # noqa: N802  the name under which the server calls it
        self, _server: SMTP, _session: Session, envelope: Envelope
    ) -> str:
        """One mail."""
        if self.refuses:
            return "451 try again later"
        assert isinstance(envelope.content, bytes)
        self.mails.append(message_from_bytes(envelope.content))
        return "250 taken"

    def texts(self) -> list[tuple[str, str]]:
        """Subject and plain text of each mail."""
        found = []
        for mail in self.mails:
            part = next(p for p in mail.walk() if p.get_content_type() == "text/plain")
            payload = part.get_payload(decode=True)
            assert isinstance(payload, bytes)
            found.append((str(mail["Subject"]), payload.decode("utf-8")))
        return found


@contextmanager
def a_mail_server() -> Iterator[tuple[Mailroom, int]]:
    """A mail server and its port."""
    room, port = Mailroom(), free_port()
    controller = Controller(room, hostname="127.0.0.1", port=port)
    controller.start()
    try:
        yield room, port
    finally:
        controller.stop()


class Hooks:
    """Takes webhooks' JSON, or answers with an error while it is told to."""

    def __init__(self) -> None:
        self.bodies: list[dict[str, Any]] = []
        self.refuses = False
        self.release = threading.Event()
        self.release.set()
        """Cleared: whoever calls waits for its answer."""


@contextmanager
def a_hook_server() -> Iterator[tuple[Hooks, int]]:
    """A server for webhooks and its port."""
    hooks = Hooks()

    class Handler(BaseHTTPRequestHandler):
        """One request."""

        def do_POST(self) -> None:
            """Take a body."""
            body = self.rfile.read(int(self.headers["Content-Length"]))
            hooks.release.wait(20.0)
            if hooks.refuses:
                self.send_response(503)
            else:
                hooks.bodies.append(json.loads(body))
                self.send_response(200)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield hooks, server.server_address[1]
    finally:
        hooks.release.set()
        server.shutdown()
        thread.join()
        server.server_close()
