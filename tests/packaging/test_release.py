"""A release is built by one command, and says what is in it."""

import hashlib
import json
import re
import subprocess
import sys
import tarfile
from pathlib import Path

import pytest

from agent.version import VERSION
from tests.packaging.wheels import ROOT

NAMES = {
    f"millpond-{VERSION}-py3-none-any.whl",
    f"millpond-{VERSION}.tar.gz",
    f"millpond-{VERSION}.cdx.json",
    f"millpond-{VERSION}-docs.tar.gz",
}


@pytest.fixture(scope="module")
def dist(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of a release."""
    folder = tmp_path_factory.mktemp("dist")
    done = subprocess.run(
        ["bash", "tests/packaging/release.sh", sys.executable, str(folder)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return folder


def test_every_file_has_its_checksum(dist: Path):
    """Source distribution, wheel, list of contents, documentation; SHA-256 of each."""
    lines = [line.split() for line in (dist / "SHA256SUMS").read_text("utf-8").splitlines()]

    assert {name for _, name in lines} == NAMES
    for checksum, name in lines:
        assert hashlib.sha256((dist / name).read_bytes()).hexdigest() == checksum


def test_the_list_of_contents_has_what_is_locked(dist: Path):
    """CycloneDX: each locked package in its version with its hashes, and millpond itself."""
    bom = json.loads((dist / f"millpond-{VERSION}.cdx.json").read_text("utf-8"))
    lock = (ROOT / "requirements.lock").read_text("utf-8")
    locked = set(re.findall(r"(?m)^([a-z0-9][\w.-]*)==([^\s;\\]+)", lock))
    listed = {(part["name"], part["version"]) for part in bom["components"]}
    hashes = [
        one["hashes"]
        for part in bom["components"]
        for one in part["externalReferences"]
        if "hashes" in one
    ]

    assert bom["bomFormat"] == "CycloneDX"
    assert bom["metadata"]["component"]["name"] == "millpond"
    assert listed == locked
    assert len(hashes) >= len(locked)


def test_the_documentation_comes_along(dist: Path):
    """A folder that reads from a disk, with the version in its name."""
    with tarfile.open(dist / f"millpond-{VERSION}-docs.tar.gz") as archive:
        names = archive.getnames()

    assert f"millpond-{VERSION}-docs/index.html" in names


def test_it_does_not_write_over_what_is_there(dist: Path):
    """A folder with something in it is left alone."""
    done = subprocess.run(
        ["bash", "tests/packaging/release.sh", sys.executable, str(dist)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )

    assert done.returncode == 1
    assert "is not empty" in done.stdout
