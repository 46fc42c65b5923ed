"""A folder in which a page's commands are run, with a broker of their own where they need one."""

import os
import re
import shlex
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, redirect_stderr, redirect_stdout, suppress
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from types import TracebackType
from typing import Self
from unittest.mock import patch

from advisor.words import Instant
from agent.cli import main as millpond
from agent.clock import WallClock
from agent.resources import shipped
from simulators.cli import main as millpond_sim
from tests.brokers import a_mosquitto
from tests.docs.blocks import ROOT, Block
from tests.waiting import wait_until

MONDAY: Instant = 1_772_431_200_000
"""2026-03-02T06:00:00Z: what the clock says to commands that need no plant. [ms]"""

PATIENCE_S = 30.0
PROGRAMS = {"millpond": millpond, "millpond-sim": millpond_sim}
_SHELL = frozenset("|<>&;$`*(){}~")


@dataclass(frozen=True, slots=True)
class Command:
    """What is typed, and what is shown to come of it; `None`: nothing is said of that."""

    typed: str
    printed: str | None


def commands(block: Block) -> Iterator[Command]:
    """Commands of a block: each `$` of a console with its output, each line of a script.

    A script that is more than lines of words goes to the shell as a whole.
    """
    if block.language == "console":
        for part in re.split(r"(?m)^\$ ", block.text)[1:]:
            typed, _, printed = re.sub(r"\\\n\s*", "", part).partition("\n")
            yield Command(typed, printed if printed.strip() else None)
        return
    whole = re.sub(r"\\\n\s*", "", block.text)
    lines = [line for line in whole.splitlines() if shlex.split(line, comments=True)]
    if re.search(r"(?m)^\s*(while|for|if|case) ", whole):
        yield Command(whole, None)
    else:
        yield from (Command(line, None) for line in lines)


def like(printed: str) -> "re.Pattern[str]":
    """What output must look like.

    A line of three dots stands for any lines that are left out, three dots within a line for
    anything in it.
    """
    pattern = ""
    for line in printed.splitlines():
        if line.strip() == "...":
            pattern += "(?:.*\n)*?"
        else:
            pattern += ".*?".join(re.escape(part.rstrip()) for part in line.split("..."))
            pattern += "[ ]*\n"
    return re.compile(pattern)


class Sandbox:
    """Runs the commands of one page, in a folder of its own.

    Parameters
    ----------
    folder : Path
        Empty; takes what the page writes. `north.toml`, the example of a plant file, is in it.
    alive : bool
        Whether something on the page goes on: then there is a broker, and the clock is the true
        one. Otherwise commands of ours run within this process, on a Monday morning.
    """

    def __init__(self, folder: Path, *, alive: bool) -> None:
        self._folder = folder
        self._alive = alive
        self._stack = ExitStack()
        self._port = 1883
        self._running: list[subprocess.Popen[bytes]] = []

    def __enter__(self) -> Self:
        """Make ready."""
        if self._alive:
            broker = self._stack.enter_context(a_mosquitto(self._folder / ".broker"))
            self._port = broker.port
        self.write("north.toml", shipped("plant.example.toml").read_text("utf-8"))
        self._wrap()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End what still runs, as Ctrl-C does; each must end well."""
        codes = []
        for process in self._running:
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGINT)
            try:
                codes.append(process.wait(PATIENCE_S))
            except subprocess.TimeoutExpired:
                process.kill()
                codes.append(process.wait())
        self._stack.close()
        if error is None:
            assert codes == [0] * len(codes), f"what went on ended with {codes}"

    def write(self, name: str, text: str) -> None:
        """Write a file of the page; a broker at the usual port is that of the sandbox."""
        path = self._folder / name
        assert path.resolve().is_relative_to(self._folder.resolve()), name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text.replace("127.0.0.1:1883", f"127.0.0.1:{self._port}"), "utf-8")

    def run(self, command: Command, code: int = 0) -> None:
        """Run a command to its end, and hold what comes of it against what is shown.

        Where something goes on beside it, what is shown may take a moment to be so.
        """
        if self._alive and command.printed is not None:
            with suppress(AssertionError):
                wait_until(lambda: self._fails(command, code) is None, command.typed, PATIENCE_S)
        failed = self._fails(command, code)
        assert failed is None, failed

    def _fails(self, command: Command, code: int) -> str | None:
        """Run it; what is wrong with what came of it."""
        exited, out = self._within(command) if self._simple(command) else self._shell(command)
        if exited != code:
            return f"$ {command.typed}\nexit code {exited}, not {code}\n{out}"
        if command.printed is not None and like(command.printed).fullmatch(out) is None:
            return f"$ {command.typed}\nshown:\n{command.printed}\nsaid:\n{out}"
        return None

    def start(self, command: Command) -> None:
        """Start what goes on, and wait until it has said what is shown."""
        log = self._folder / f".log-{len(self._running)}"
        with log.open("wb") as output:
            process = subprocess.Popen(
                ["bash", "-c", f"exec {command.typed}"],
                cwd=self._folder,
                env=self._environment(),
                stdin=subprocess.DEVNULL,
                stdout=output,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
        self._running.append(process)
        wanted = like((command.printed or "") + "...\n")

        def said() -> bool:
            out = log.read_text("utf-8", "replace")
            assert process.poll() is None, f"$ {command.typed}\nended by itself\n{out}"
            return bool(out) and wanted.fullmatch(out) is not None

        wait_until(said, f"{command.typed} to say what is shown", PATIENCE_S)

    def _simple(self, command: Command) -> bool:
        """Whether it is a command of ours alone, and nothing needs the true clock."""
        words = command.typed.split()
        return not self._alive and words[0] in PROGRAMS and not _SHELL & set(command.typed)

    def _within(self, command: Command) -> tuple[int, str]:
        """Run a command of ours in this process: exit code and output."""
        words = shlex.split(command.typed, comments=True)
        out = StringIO()
        before = Path.cwd()
        os.chdir(self._folder)
        try:
            with (
                patch.object(WallClock, "now", lambda _: MONDAY),
                redirect_stdout(out),
                redirect_stderr(out),
            ):
                try:
                    code = PROGRAMS[words[0]](words[1:])
                except SystemExit as leaving:
                    code = leaving.code if isinstance(leaving.code, int) else 1
        finally:
            os.chdir(before)
        return code, out.getvalue()

    def _shell(self, command: Command) -> tuple[int, str]:
        """Run a command in a shell: exit code and output."""
        done = subprocess.run(
            ["bash", "-euo", "pipefail", "-c", command.typed],
            cwd=self._folder,
            env=self._environment(),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            timeout=PATIENCE_S,
            check=False,
        )
        return done.returncode, done.stdout.decode("utf-8", "replace")

    def _environment(self) -> dict[str, str]:
        """Where programs are, and a terminal as wide as the pages."""
        path = f"{self._folder / '.bin'}{os.pathsep}{os.environ['PATH']}"
        packages = os.pathsep.join(filter(None, [str(ROOT), os.environ.get("PYTHONPATH")]))
        return {**os.environ, "PATH": path, "COLUMNS": "100", "PYTHONPATH": packages}

    def _wrap(self) -> None:
        """Have the pages' commands mean this checkout and this broker."""
        folder = self._folder / ".bin"
        folder.mkdir()
        python, path = shlex.quote(sys.executable), shlex.quote(os.environ["PATH"])
        wrapped = {
            "millpond": f"exec {python} -m agent",
            "millpond-sim": f"exec {python} -m simulators",
            "mosquitto_pub": f"PATH={path} exec mosquitto_pub -p {self._port}",
            "mosquitto_sub": f"PATH={path} exec mosquitto_sub -p {self._port}",
        }
        for name, line in wrapped.items():
            script = folder / name
            script.write_text(f'#!/bin/sh\n{line} "$@"\n', "utf-8")
            script.chmod(0o755)
