"""The wheel starts in a bare virtual environment, with nothing but the documented extra."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from agent.version import VERSION
from tests.packaging.wheels import build

pytestmark = pytest.mark.slow

PROBE = "jsonpointer"
"""A small package that millpond needs anyway: whoever cannot give it is no index."""


def run(*arguments: str, folder: Path, seconds: float) -> "subprocess.CompletedProcess[str]":
    """Run a program outside the checkout, without this environment's packages."""
    clean = {k: v for k, v in os.environ.items() if k not in {"PYTHONPATH", "VIRTUAL_ENV"}}
    return subprocess.run(
        arguments,
        cwd=folder,
        env={**clean, "TMPDIR": str(folder), "COLUMNS": "150", "LINES": "60"},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=seconds,
        check=False,
    )


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of the programs, after `pip install "millpond[demo]"` from the wheel."""
    folder = tmp_path_factory.mktemp("bare")
    _, wheel = build(folder / "dist")
    subprocess.run([sys.executable, "-m", "venv", folder / "venv"], check=True)
    programs = folder / "venv" / ("Scripts" if sys.platform == "win32" else "bin")
    pip = (str(programs / "python"), "-m", "pip", "--disable-pip-version-check", "--quiet")
    probe = run(*pip, "install", "--no-deps", "--retries=1", PROBE, folder=folder, seconds=60)
    if probe.returncode != 0:
        pytest.skip(f"no package index can be reached: {probe.stderr.strip().splitlines()[-1]}")
    done = run(
        *(*pip, "install", "--only-binary=:all:", f"millpond[demo] @ {wheel.as_uri()}"),
        folder=folder,
        seconds=300,
    )
    assert done.returncode == 0, done.stderr
    return programs


def test_the_demo_starts_from_the_wheel(installed: Path, tmp_path: Path):
    """Broker, agent, simulated plant and table, all out of the installed packages."""
    shown = run(str(installed / "millpond"), "demo", "--seconds", "10", folder=tmp_path, seconds=90)

    assert shown.returncode == 0, shown.stderr
    for name in ("Lathe A1", "Mill B4", "Mill C2", "Grinder D3"):
        assert name in shown.stdout
    assert "agent online" in shown.stdout
    assert "±" in shown.stdout


def test_it_is_the_installed_one_and_nothing_of_the_tests_came_along(
    installed: Path, tmp_path: Path
):
    """Not the checkout beside it; no package that only tests need."""
    code = (
        "import agent, importlib.util as u; print(agent.__file__);"
        "print([n for n in ('pytest', 'hypothesis', 'mypy', 'mkdocs', 'apprise', 'pyarrow')"
        " if u.find_spec(n)])"
    )
    said = run(str(installed / "python"), "-c", code, folder=tmp_path, seconds=30)

    assert said.stdout.splitlines()[0].startswith(str(installed.parent))
    assert said.stdout.splitlines()[1] == "[]"


def test_commands_and_what_is_shipped_work_without_the_checkout(installed: Path, tmp_path: Path):
    """Version, a sum, the schemas' example, a scenario."""
    version = run(str(installed / "millpond"), "--version", folder=tmp_path, seconds=30)
    sheet = run(
        *(str(installed / "millpond"), "charge", "--volume", "420 L", "--target", "7"),
        folder=tmp_path,
        seconds=30,
    )
    scenarios = run(str(installed / "millpond-sim"), "list", folder=tmp_path, seconds=30)

    assert VERSION in version.stdout
    assert "Steps" in sheet.stdout
    assert "unreported" in scenarios.stdout


def test_an_extra_that_is_missing_is_named(installed: Path, tmp_path: Path):
    """Whoever needs one is told which to install, not shown a traceback."""
    code = (
        "from agent.resources import shipped; from pathlib import Path;"
        "Path('north.toml').write_text(shipped('plant.example.toml').read_text('utf-8'), 'utf-8')"
    )
    run(str(installed / "python"), "-c", code, folder=tmp_path, seconds=30)
    done = run(
        *(str(installed / "millpond"), "export", "north.toml", "--format", "parquet"),
        *("--out", "all.parquet"),
        folder=tmp_path,
        seconds=30,
    )

    assert done.returncode != 0
    assert "Traceback" not in done.stderr
