"""The demonstration starts with nothing set up, shows four sumps, and leaves nothing behind."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.e2e.plant_north import ROOT
from tests.waiting import wait_until

pytestmark = pytest.mark.broker


def started(folder: Path, *options: str) -> "subprocess.Popen[bytes]":
    """`millpond demo` in a process of its own, with its temporary files below `folder`."""
    with (folder / "shown").open("wb") as output:
        return subprocess.Popen(
            [sys.executable, "-m", "agent", "demo", *options],
            cwd=ROOT,
            env={**os.environ, "TMPDIR": str(folder), "COLUMNS": "150", "LINES": "60"},
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
        )


def children(folder: Path) -> list[str]:
    """Command lines of processes that work below `folder`."""
    lines = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                line = (entry / "cmdline").read_bytes().replace(b"\0", b" ").decode()
            except OSError:
                continue
            if str(folder) in line:
                lines.append(line)
    return lines


def test_the_demo_shows_every_sump_with_an_estimate_and_ends_by_itself(tmp_path: Path):
    """Broker, agent and plant as processes, and the table at the end of the given time."""
    demo = started(tmp_path, "--seconds", "15")
    assert demo.wait(60) == 0
    shown = (tmp_path / "shown").read_text("utf-8")

    for name in ("Lathe A1", "Mill B4", "Mill C2", "Grinder D3"):
        assert name in shown
    assert "agent online" in shown
    assert shown.count("±") >= 8
    assert "waiting for readings" not in shown
    assert children(tmp_path) == []


def test_an_interrupt_ends_all_of_it_and_leaves_nothing(tmp_path: Path):
    """Ctrl-C at any moment: exit code 0, no process, no file."""
    demo = started(tmp_path)
    wait_until(lambda: len(children(tmp_path)) >= 1, "the demo's processes", 30)
    demo.send_signal(signal.SIGINT)

    assert demo.wait(30) == 0
    assert children(tmp_path) == []
    assert not list(tmp_path.glob("millpond-demo-*"))


def test_a_machine_without_any_broker_is_told_what_to_install(tmp_path: Path):
    """Neither the wheel nor mosquitto: one line that says what to do, exit code 1."""
    code = (
        "import sys; sys.modules['iotcore'] = None\n"
        "import agent.embedded as e; e.find_mosquitto = lambda: None\n"
        "from agent.cli import main; sys.exit(main(['demo']))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env={**os.environ, "TMPDIR": str(tmp_path)},
        capture_output=True,
        check=False,
    )

    assert done.returncode == 1
    assert b"apt-get install mosquitto" in done.stderr
    assert b"Traceback" not in done.stderr
