"""`millpond` in a process of its own, whose every word a test reads."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from tests.waiting import wait_until

ROOT = Path(__file__).parents[2]


class Run:
    """One command with its output.

    Parameters
    ----------
    log : Path
        Takes what it writes.
    arguments : str
        Of `millpond`.
    environment : mapping of str to str, optional
        On top of this process's.
    """

    def __init__(
        self, log: Path, *arguments: str, environment: Mapping[str, str] | None = None
    ) -> None:
        self.log = log
        with log.open("ab") as output:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "agent", *arguments],
                cwd=ROOT,
                env={**os.environ, **(environment or {})},
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=output,
            )

    def text(self) -> str:
        """All that it has written."""
        return self.log.read_text("utf-8", "replace")

    def wait_for(self, words: str) -> None:
        """Wait until it has written something; an end before that fails the test."""

        def said() -> bool:
            assert self.process.poll() is None or words in self.text(), self.text()
            return words in self.text()

        wait_until(said, f"{words!r} in the log")

    def stop(self) -> int:
        """End it as a service manager does; its exit code."""
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(40.0)


@contextmanager
def a_run(
    log: Path, *arguments: str, environment: Mapping[str, str] | None = None
) -> Iterator[Run]:
    """A running command; ended hard if the test leaves it running."""
    run = Run(log, *arguments, environment=environment)
    try:
        yield run
    finally:
        if run.process.poll() is None:
            run.process.kill()
            run.process.wait()
