"""Real brokers for tests: on a free port of loopback, in a folder of their own, ended by pid."""

import getpass
import re
import subprocess
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from agent.embedded import find_mosquitto, free_port, iotcore_broker, mosquitto_broker
from agent.plant.plant import BrokerSettings
from agent.resources import shipped


class Mosquitto:
    """A mosquitto with the limits and the persistence of `config/mosquitto.conf`.

    Parameters
    ----------
    folder : Path
        Takes configuration, log and what waits for clients that are away.
    extra : str
        Lines behind the shipped ones.
    """

    def __init__(self, folder: Path, extra: str = "") -> None:
        self.port = free_port()
        self.folder = folder
        self.extra = extra
        self._running = ExitStack()
        self.process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it, or start it again with what it kept."""
        program = find_mosquitto()
        assert program is not None, "mosquitto is not installed: make test installs it"
        text = shipped("mosquitto.conf").read_text("utf-8")
        text, count = re.subn(r"(?m)^listener 1883 ", f"listener {self.port} ", text)
        assert count == 1
        text, count = re.subn(
            r"(?m)^persistence_location .*$", f"persistence_location {self.folder}/", text
        )
        assert count == 1
        config = self.folder / "mosquitto.conf"
        # as root mosquitto would change to a user that may not write in the folder
        config.write_text(f"user {_me()}\n{text}\n{self.extra}\n", "utf-8")
        self.process = self._running.enter_context(mosquitto_broker(program, config, self.port))

    def stop(self) -> None:
        """End it as a service manager does; what waits for clients is kept."""
        self._running.close()

    def kill(self) -> None:
        """End it as a loss of power does."""
        assert self.process is not None
        self.process.kill()
        self._running.close()

    @property
    def settings(self) -> BrokerSettings:
        """How the agent reaches it."""
        return BrokerSettings(
            host="127.0.0.1", port=self.port, tls=False, client_id="millpond-test"
        )


def _me() -> str:
    """Name of the user who runs the tests."""
    return getpass.getuser()


@contextmanager
def a_mosquitto(folder: Path, extra: str = "") -> Iterator[Mosquitto]:
    """A running mosquitto, ended afterwards."""
    folder.mkdir(exist_ok=True)
    broker = Mosquitto(folder, extra)
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()


@contextmanager
def an_iotcore(folder: Path) -> Iterator[int]:
    """A running broker of the Python package iotcore; its port."""
    folder.mkdir(exist_ok=True)
    port = free_port()
    with iotcore_broker(folder, port):
        yield port
