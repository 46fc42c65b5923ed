"""What pages name is there: files, commands, targets, variables, tests."""

import re
import tomllib

import pytest

from agent.cli import main as millpond
from agent.cli import parser
from simulators.cli import main as millpond_sim
from tests.docs.blocks import ROOT, blocks, pages

TEXTS = {page.relative_to(ROOT).as_posix(): page.read_text("utf-8") for page in pages()}
OUTSIDE = [name for name in TEXTS if not name.startswith("docs/")]


def targets() -> set[str]:
    """Targets of the Makefile."""
    text = (ROOT / "Makefile").read_text("utf-8")
    return set(re.findall(r"^([a-z-]+):", text, re.MULTILINE))


@pytest.mark.parametrize("name", OUTSIDE)
def test_every_file_that_a_page_links_to_is_there(name: str):
    """Links into the tree lead somewhere; those of `docs/` are looked at by the site's build."""
    here = (ROOT / name).parent
    links = [link for link in re.findall(r"\]\(([^)#]+)", TEXTS[name]) if "://" not in link]

    assert [link for link in links if not (here / link).exists()] == []


def test_every_make_target_that_is_named_exists():
    """In a line of a script, or in running text."""
    named = {
        target
        for text in TEXTS.values()
        for target in re.findall(r"(?:^|`)make ([a-z][a-z-]*)", text, re.MULTILINE)
    }

    assert {"demo", "test"} <= named
    assert named <= targets()


def typed(program: str) -> set[str]:
    """Commands of a program that pages name: between backquotes, or in what is typed."""
    scripts = [block.text for page in pages() for block in blocks(page) if block.language != "text"]
    spoken = re.compile(rf"`{program} ([a-z][a-z-]*)")
    lines = re.compile(rf"^(?:\$ |venv/bin/)?{program} ([a-z][a-z-]*)", re.MULTILINE)
    return {
        *(word for text in TEXTS.values() for word in spoken.findall(text)),
        *(word for script in scripts for word in lines.findall(script)),
    }


def test_every_command_that_is_named_exists():
    """No page names a command that millpond does not have."""
    known = re.findall(r"^    ([a-z-]+)", parser().format_help(), re.MULTILINE)
    named = typed("millpond")

    assert {"charge", "validate", "run", "doctor"} <= named
    assert named <= set(known)


def test_every_command_of_the_simulator_that_is_named_exists(capsys: pytest.CaptureFixture[str]):
    """The same of `millpond-sim`."""
    with pytest.raises(SystemExit):
        millpond_sim(["--help"])
    known = re.findall(r"^    ([a-z]+)", capsys.readouterr().out, re.MULTILINE)

    assert typed("millpond-sim") <= set(known)


def test_every_option_that_is_named_exists(capsys: pytest.CaptureFixture[str]):
    """In running text too: `millpond alarms north.toml --figures` is something to type."""
    asked: dict[str, set[str]] = {}
    for text in TEXTS.values():
        for command, rest in re.findall(
            r"(?:`|^\$ |^)millpond ([a-z][a-z-]*)([^`\n]*)", text, re.MULTILINE
        ):
            asked.setdefault(command, set()).update(re.findall(r"(?<=\s)--[a-z-]+", rest))
    assert sum(map(len, asked.values())) > 20
    for command, options in sorted(asked.items()):
        if not options:
            continue
        with pytest.raises(SystemExit):
            millpond([command, "--help"])
        known = set(re.findall(r"--[a-z-]+", capsys.readouterr().out))
        if command in {"alarms", "user"}:  # orders and actions have options of their own
            known |= {"--by", "--until", "--signal", "--role"}
        assert options <= known, command


def test_every_extra_that_is_named_exists():
    """What pip is told to install."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    named = {name for text in TEXTS.values() for name in re.findall(r"millpond\[(\w+)\]", text)}

    assert {"demo", "notify"} <= named
    assert named <= set(project["optional-dependencies"])


def test_every_test_that_a_page_names_exists():
    """What shows that something is so can be looked at."""
    said = [*TEXTS.values(), *(block.said for page in pages() for block in blocks(page))]
    named = {path for text in said for path in re.findall(r"tests/[a-z_/]+\.py", text)}

    assert named
    assert sorted(path for path in named if not (ROOT / path).exists()) == []


def test_every_variable_that_a_page_names_is_read_somewhere():
    """Environment variables, as they stand in the code."""
    code = "".join(
        path.read_text("utf-8")
        for package in ("agent", "simulators", "tests")
        for path in (ROOT / package).rglob("*.py")
    )
    of_targets = {"MILLPOND_NOTIFY_ID", "MILLPOND_NOTIFY_MAINTENANCE"}
    named = {
        name.removesuffix("_FILE").rstrip("_")
        for text in TEXTS.values()
        for name in re.findall(r"MILLPOND_[A-Z_]+", text)
    }

    assert sorted(name for name in named - of_targets if name not in code) == []


def test_every_room_that_the_page_on_the_dose_names_is_there():
    """Modules of its first table exist."""
    named = re.findall(r"`([a-z]+)`", TEXTS["docs/dose.md"].split("## 1.")[0])
    folder = ROOT / "advisor"

    assert [name for name in named if not (folder / f"{name}.py").exists()] == []
