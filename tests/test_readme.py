"""What README.md promises on the command line works as it stands there."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text("utf-8")
COMMANDS = [
    line.split("#")[0].strip()
    for block in re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    for line in block.splitlines()
    if line.strip()
]


@pytest.mark.parametrize(
    "command", [c for c in COMMANDS if c.startswith(("millpond charge", "millpond top-up"))]
)
def test_the_calculations_of_the_readme_run(command: str):
    """Copied from the page, they give a sheet and exit 0."""
    done = subprocess.run(
        [sys.executable, "-m", "agent", *shlex.split(command)[1:]],
        cwd=ROOT,
        capture_output=True,
        check=False,
    )

    assert done.returncode == 0, done.stderr.decode()
    assert b"Steps" in done.stdout


def test_every_make_target_of_the_readme_exists():
    """The two commands, and whatever else the pages name."""
    targets = set(re.findall(r"^([a-z-]+):", (ROOT / "Makefile").read_text("utf-8"), re.MULTILINE))
    pages = [README, (ROOT / "DEVELOPERS.md").read_text("utf-8")]
    named = {name for page in pages for name in re.findall(r"^make ([a-z-]+)", page, re.MULTILINE)}

    assert {"demo", "test"} <= named
    assert named <= targets


def test_every_command_of_the_readme_exists():
    """No page names a command that millpond does not have."""
    from agent.cli import parser

    known = parser().format_help()
    spoken = re.findall(r"`millpond ([a-z-]+)[^`]*`", README)
    named = {*spoken, *(c.split()[1] for c in COMMANDS if c.startswith("millpond "))}

    assert named
    assert all(re.search(rf"^    {name}\b", known, re.MULTILINE) for name in named), named


def test_every_file_that_the_readme_links_to_is_there():
    """Links into the tree lead somewhere."""
    links = [link for link in re.findall(r"\]\(([^)#]+)\)", README) if "://" not in link]

    assert links
    assert [link for link in links if not (ROOT / link).exists()] == []
