"""`config/millpond.service` by systemd's own tools, and `config/Containerfile` by a linter."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from agent.resources import shipped

ANALYZE = shutil.which("systemd-analyze")
LINTER = shutil.which("hadolint", path=f"{Path(sys.executable).parent}:{os.environ['PATH']}")
EXPOSED_AT_MOST = 1.2
"""Of systemd-analyze security, from 0 to 10; measured 1.2 with systemd 252."""


@pytest.fixture
def unit(tmp_path: Path) -> Path:
    """The unit with a program that is there."""
    path = tmp_path / "millpond.service"
    text = shipped("millpond.service").read_text("utf-8")
    assert text.count("/opt/millpond/bin/millpond") == 1
    path.write_text(text.replace("/opt/millpond/bin/millpond", "/bin/true"), "utf-8")
    return path


@pytest.mark.skipif(ANALYZE is None, reason="systemd-analyze is not installed")
def test_systemd_understands_every_line(unit: Path) -> None:
    """Nothing unknown, nothing misspelt."""
    done = subprocess.run(
        [str(ANALYZE), "verify", unit], capture_output=True, text=True, check=False
    )

    assert (done.returncode, done.stdout + done.stderr) == (0, "")


@pytest.mark.skipif(ANALYZE is None, reason="systemd-analyze is not installed")
def test_the_service_is_little_exposed(unit: Path) -> None:
    """What is left is the network it works on and the file system that it only reads."""
    done = subprocess.run(
        [str(ANALYZE), "security", "--offline=true", "--no-pager", unit],
        capture_output=True,
        text=True,
        check=False,
    )
    if "exposure level" not in done.stdout:
        pytest.skip("this systemd-analyze cannot look at a file offline")
    found = re.search(r"exposure level for millpond\.service: ([\d.]+)", done.stdout)
    assert found is not None
    assert float(found[1]) <= EXPOSED_AT_MOST


def test_the_watchdog_leaves_room_for_the_worker() -> None:
    """Health calls a worker dead before the watchdog does; the stop's own limits fit in."""
    from agent import run
    from agent.operation import listener
    from agent.operation.pulse import DEAD_AFTER_S

    text = shipped("millpond.service").read_text("utf-8")
    assert "WatchdogSec=3min" in text
    assert DEAD_AFTER_S < 180.0
    longest = run.STOP_WORKER_S + run.STOP_SENDER_S + run.STOP_LINK_S + listener.STOP_WITHIN_S
    assert longest + run.STOP_POST_S + run.STOP_SINK_S < 30.0
    assert "TimeoutStopSec=30" in text


@pytest.mark.skipif(LINTER is None, reason="hadolint is not installed")
def test_the_linter_finds_nothing_in_the_container_file() -> None:
    """hadolint, which knows the usual mistakes."""
    done = subprocess.run(
        [str(LINTER), shipped("Containerfile")], capture_output=True, text=True, check=False
    )

    assert (done.returncode, done.stdout + done.stderr) == (0, "")


def test_the_container_runs_as_nobody_in_particular() -> None:
    """A user of its own by number, the store in a volume, no shell between signals and agent."""
    text = shipped("Containerfile").read_text("utf-8")

    assert re.search(r"^USER \d+:\d+$", text, re.MULTILINE)
    assert "--require-hashes" in text
    assert re.search(r'^ENTRYPOINT \["', text, re.MULTILINE)
    assert re.search(r"^VOLUME", text, re.MULTILINE)
    assert "HEALTHCHECK" in text
