"""Real brokers for tests: on a free port of loopback, in a folder of their own, ended by pid.

Mosquitto runs with the files of `config/`, so that what is shipped is what is tested.
"""

import getpass
import re
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path

from agent.embedded import find_mosquitto, free_port, iotcore_broker, mosquitto_broker
from agent.resources import shipped


class Mosquitto:
    """A mosquitto with the limits and the persistence of `config/mosquitto.conf`.

    Parameters
    ----------
    folder : Path
        Takes configuration, log and what waits for clients that are away.
    logins : mapping of str to str
        Passwords by user; where there are some, the file's second listener is opened too: TLS,
        passwords, and the rights of `config/mosquitto.acl`.
    max_queued_messages : int, optional
        In place of the file's.
    """

    def __init__(
        self,
        folder: Path,
        logins: Mapping[str, str] | None = None,
        *,
        max_queued_messages: int | None = None,
    ) -> None:
        self._max_queued = max_queued_messages
        self.folder = folder
        self.port = free_port()
        self.tls_port = free_port()
        self.certificate = folder / "server.crt"
        self._logins = logins or {}
        self._running = ExitStack()
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it, or start it again with what it kept."""
        program = find_mosquitto()
        assert program is not None, "mosquitto is not installed: make test installs it"
        text = shipped("mosquitto.conf").read_text("utf-8")
        text = replaced(text, r"^listener 1883 ", f"listener {self.port} ")
        text = replaced(text, r"^persistence_location .*$", f"persistence_location {self.folder}/")
        if self._max_queued is not None:
            limit = f"max_queued_messages {self._max_queued}"
            text = replaced(text, r"^max_queued_messages .*$", limit)
        if self._logins:
            text = self._secured(text)
        config = self.folder / "mosquitto.conf"
        # as root mosquitto would change to a user that may not write in the folder
        config.write_text(f"user {getpass.getuser()}\n{text}", "utf-8")
        self.process = self._running.enter_context(mosquitto_broker(program, config, self.port))

    def stop(self) -> None:
        """End it as a service manager does; what waits for clients is kept."""
        self._running.close()

    def kill(self) -> None:
        """End it as a loss of power does."""
        assert self.process is not None
        self.process.kill()
        self._running.close()

    def _secured(self, text: str) -> str:
        """Open the second listener, with a certificate, users and rights of this test."""
        text = opened(text, ("password_file",))
        text = replaced(text, r"^listener 8883$", f"listener {self.tls_port} 127.0.0.1")
        text = text.replace("/etc/mosquitto/ca.crt", str(self.certificate))
        text = text.replace("/etc/mosquitto/", f"{self.folder}/")
        make_certificate(self.certificate, self.folder / "server.key")
        passwords = self.folder / "passwords"
        passwords.touch(mode=0o600)
        for user, password in self._logins.items():
            subprocess.run(["mosquitto_passwd", "-b", passwords, user, password], check=True)
        rights = shipped("mosquitto.acl").read_text("utf-8")
        (self.folder / "mosquitto.acl").write_text(rights, "utf-8")
        return text


def opened(text: str, who: Sequence[str]) -> str:
    """Take the # away before the second listener of the shipped file, with `who` is let in how."""
    always = ("listener 8883", "cafile", "certfile", "keyfile", "max_connections")
    for name in (*always, "allow_anonymous false", "acl_file", *who):
        text = replaced(text, rf"^#({name})", r"\1")
    return text


def make_certificate(certificate: Path, key: Path) -> None:
    """Make a certificate for this machine that is its own authority."""
    subprocess.run(
        [
            *("openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2"),
            *("-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1"),
            *("-keyout", key, "-out", certificate),
        ],
        check=True,
        capture_output=True,
    )


def replaced(text: str, pattern: str, by: str) -> str:
    """Replace what the shipped file must have exactly once."""
    text, count = re.subn(f"(?m){pattern}", by, text)
    assert count == 1, f"mosquitto.conf: {pattern} found {count} times"
    return text


@contextmanager
def a_mosquitto(
    folder: Path,
    logins: Mapping[str, str] | None = None,
    *,
    max_queued_messages: int | None = None,
) -> Iterator[Mosquitto]:
    """Run a mosquitto, end it afterwards."""
    folder.mkdir(exist_ok=True)
    broker = Mosquitto(folder, logins, max_queued_messages=max_queued_messages)
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()


@contextmanager
def an_iotcore(folder: Path) -> Iterator[int]:
    """Run a broker of the Python package iotcore; its port."""
    folder.mkdir(exist_ok=True)
    port = free_port()
    with iotcore_broker(folder, port):
        yield port
