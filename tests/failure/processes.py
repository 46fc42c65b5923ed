"""An agent in a process of its own, that a test may kill."""

import os
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from pathlib import Path

from tests.clients import a_listener
from tests.failure.counting_agent import PREFIX
from tests.waiting import wait_until

ROOT = Path(__file__).parents[2]


class AgentProcess:
    """One agent, started any number of times on the same store.

    Parameters
    ----------
    folder : Path
        Takes store and log.
    port : int
        Of the broker.
    options : str
        Behind port and store on the command line.
    """

    def __init__(
        self,
        folder: Path,
        port: int,
        *options: str,
        environment: Mapping[str, str] | None = None,
    ) -> None:
        self.dies_at: tuple[str, ...] = ()
        """Point and count of `tests.failure.dying_agent`, for the next start only."""
        folder.mkdir(exist_ok=True)
        self.store = folder / "store.db"
        self.log = folder / "agent.log"
        self.port = port
        self._environment = {**os.environ, **(environment or {})}
        self._options = options
        self.process: subprocess.Popen[bytes] | None = None

    def start(self, *, online: bool = True) -> None:
        """Start it, and wait until it is connected unless told otherwise."""
        before = self.text().count("connected,")
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                [
                    sys.executable,
                    "-m",
                    *(("tests.failure.dying_agent", *self.dies_at) if self.dies_at else ()),
                    "tests.failure.counting_agent",
                    str(self.port),
                    str(self.store),
                    *self._options,
                ],
                cwd=ROOT,
                env=self._environment,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
        self.dies_at = ()
        if online:
            self.wait_for("connected,", before + 1)
            wait_until(
                lambda: self.text().rfind("what had waited") >= self.text().rfind("resumed"),
                "the end of the queue",
            )

    def wait_for(self, text: str, count: int = 1) -> None:
        """Wait until the log holds a text so many times."""
        wait_until(lambda: self.text().count(text) >= count, f"{text!r} in the agent's log")

    def text(self) -> str:
        """The log of all its runs."""
        return self.log.read_text() if self.log.exists() else ""

    def kill(self) -> None:
        """End it without a word, as a loss of power does."""
        assert self.process is not None
        self.process.kill()
        self.process.wait()

    def stop(self) -> int:
        """End it as a service manager does; its exit code."""
        assert self.process is not None
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(40.0)

    @property
    def code(self) -> int | None:
        """Its exit code; `None` while it runs."""
        assert self.process is not None
        return self.process.poll()

    def wait(self) -> int:
        """Wait until it ends by itself; its exit code."""
        assert self.process is not None
        return self.process.wait(40.0)

    def numbers(self) -> list[int]:
        """The stored readings' numbers, in the order of their times."""
        if not self.store.exists():
            return []
        with closing(sqlite3.connect(self.store)) as connection:
            rows = connection.execute("SELECT value FROM reading ORDER BY at").fetchall()
        return [int(value) for (value,) in rows]

    def wait_for_readings(self, count: int, timeout: float = 40.0) -> None:
        """Wait until so many readings are stored."""
        wait_until(lambda: len(self.numbers()) >= count, f"{count} stored readings", timeout)

    def unsent(self) -> int:
        """How many messages wait to be sent."""
        with closing(sqlite3.connect(self.store)) as connection:
            return int(connection.execute("SELECT count(*) FROM outbox").fetchone()[0])

    def refused(self) -> int:
        """How many messages were refused."""
        with closing(sqlite3.connect(self.store)) as connection:
            return int(connection.execute("SELECT sum(count) FROM refusal_count").fetchone()[0])


@contextmanager
def an_agent(
    folder: Path, port: int, *options: str, environment: Mapping[str, str] | None = None
) -> Iterator[AgentProcess]:
    """An agent that is not started yet; ended hard if the test leaves it running."""
    agent = AgentProcess(folder, port, *options, environment=environment)
    try:
        yield agent
    finally:
        if agent.process is not None and agent.process.poll() is None:
            agent.kill()


def status(port: int) -> bytes:
    """What stands on the agent's own topic."""
    with a_listener(port, f"{PREFIX}/agent") as listener:
        wait_until(lambda: listener.heard, "the agent's status")
        return listener.heard[-1][1]


def dated(count: int, start: int = 0) -> Iterator[tuple[str, str]]:
    """Numbered messages, each with a time of its own."""
    for number in range(start, start + count):
        yield "in/level", f"{number} {1_000_000 + number}"
