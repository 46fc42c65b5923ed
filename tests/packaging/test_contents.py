"""What is shipped is all that is needed, and nothing else."""

import email
import re
import tomllib
from pathlib import Path

import pytest

from agent.version import VERSION
from tests.packaging.wheels import ROOT, build, contents, unpacked

PACKAGES = ("advisor", "agent", "simulators")


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Source distribution and wheel."""
    return build(tmp_path_factory.mktemp("dist"))


@pytest.fixture(scope="module")
def wheel(built: tuple[Path, Path]) -> dict[str, bytes]:
    """Files in the wheel."""
    return contents(built[1])


def files(folder: Path) -> set[str]:
    """Files below a folder, relative to it, as git would have them."""
    return {
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


def test_every_module_template_text_and_style_is_in_the_wheel(wheel: dict[str, bytes]):
    """All that is in the packages: modules, and what the page is made of."""
    wanted = {f"{name}/{path}" for name in PACKAGES for path in files(ROOT / name)}

    assert wanted - wheel.keys() == set()
    assert {"agent/page/templates/base.html", "agent/page/static/page.css"} <= wanted


def test_all_of_config_comes_along(wheel: dict[str, bytes]):
    """Where the installed program looks for it."""
    shipped = {f"agent/shipped/{path}" for path in files(ROOT / "config")}

    assert shipped - wheel.keys() == set()
    assert "agent/shipped/demo.toml" in shipped


def test_there_is_nothing_else_in_the_wheel(wheel: dict[str, bytes]):
    """No tests, no caches, no databases, no files of developers."""
    tops = {name.split("/")[0] for name in wheel}
    odd = [n for n in wheel if re.search(r"test|__pycache__|\.pyc$|\.db|\.lock$|/\.", n)]

    assert tops == {*PACKAGES, f"millpond-{VERSION}.dist-info"}
    assert odd == []


def test_the_wheel_says_what_it_needs(wheel: dict[str, bytes]):
    """Name, version, Python, licence, commands, the documented extras; nothing of the tests."""
    said = email.message_from_bytes(wheel[f"millpond-{VERSION}.dist-info/METADATA"])
    commands = wheel[f"millpond-{VERSION}.dist-info/entry_points.txt"].decode()
    needs = said.get_all("Requires-Dist") or []
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]

    assert (said["Name"], said["Version"], said["Requires-Python"]) == (
        "millpond",
        VERSION,
        ">=3.11",
    )
    assert said["License-Expression"] == "Apache-2.0"
    assert set(said.get_all("Provides-Extra") or []) == set(project["optional-dependencies"])
    assert "millpond = agent.cli:main" in commands
    assert "millpond-sim = simulators.cli:main" in commands
    assert not [need for need in needs if need.startswith(("pytest", "hypothesis", "mypy"))]


def test_a_wheel_from_the_source_distribution_is_the_same(built: tuple[Path, Path], tmp_path: Path):
    """Byte by byte: what is in the source distribution is enough, and builds repeat."""
    sdist, wheel = built
    _, again = build(tmp_path / "dist", unpacked(sdist, tmp_path / "tree"))

    assert contents(again) == contents(wheel)
    assert again.read_bytes() == wheel.read_bytes()


def test_the_source_distribution_has_what_changing_it_needs(
    built: tuple[Path, Path], tmp_path: Path
):
    """Tests, documentation and its settings, locks, recipes; no caches and nothing built."""
    tree = unpacked(built[0], tmp_path)
    top = {path.name for path in tree.iterdir()}

    assert {"tests", "docs", "config", "mkdocs.yml", "Makefile", "LICENSE", "CHANGELOG.md"} <= top
    assert {"requirements.lock", "requirements-demo.lock", "requirements-dev.lock"} <= top
    assert not top & {".venv", "build", "dist", ".git"}
    assert not [path for path in tree.rglob("*") if path.suffix in {".pyc", ".db"}]


def test_locks_pin_every_package_with_hashes():
    """Each requirement of each lock has one version and at least one hash."""
    for name in ("requirements.lock", "requirements-demo.lock", "requirements-dev.lock"):
        text = (ROOT / name).read_text("utf-8")
        entries = re.findall(r"(?m)^[a-z0-9].*(?:\n    .*)*", text)
        assert entries, name
        assert [e for e in entries if not re.match(r"[\w.-]+==\S+", e) or "sha256:" not in e] == []


def test_what_is_needed_to_run_is_locked():
    """Each dependency of pyproject.toml stands in the lock from which it is installed."""
    data = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
    groups = data["dependency-groups"]
    development = [g for name in ("dev", "docs", "release", "embedded") for g in groups[name]]
    for name, wanted in (
        ("requirements.lock", data["project"]["dependencies"]),
        ("requirements-demo.lock", groups["embedded"]),
        ("requirements-dev.lock", development),
    ):
        text = (ROOT / name).read_text("utf-8").lower()
        asked = [re.split(r"[\s<>=;\[]", need)[0].lower().replace("_", "-") for need in wanted]
        assert [need for need in asked if f"\n{need}==" not in text] == [], name
