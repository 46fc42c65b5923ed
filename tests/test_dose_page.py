"""The page on the dose does what it says: its commands are run, its code too."""

import doctest
import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest

from advisor.words import Instant
from agent.cli import main
from agent.clock import WallClock

PAGE = Path(__file__).parent.parent / "docs" / "dose.md"

MONDAY: Instant = 1_772_431_200_000
"""2026-03-02T06:00:00Z, when the page was written for. [ms]"""


def blocks(language: str) -> list[str]:
    """Blocks of the page in one language."""
    fenced = re.compile(rf"^```{language}\n(.*?)^```", re.MULTILINE | re.DOTALL)
    return fenced.findall(PAGE.read_text(encoding="utf-8"))


def commands() -> Iterator[tuple[str, str]]:
    """Commands of the page, each with what it prints."""
    for block in blocks("console"):
        typed, _, printed = block.partition("\n")
        yield typed.removeprefix("$ millpond "), printed


@pytest.mark.parametrize(("typed", "printed"), list(commands()))
def test_commands_print_what_the_page_shows(typed, printed, capsys, monkeypatch):
    """Line by line; a line of three dots stands for any that are left out."""
    monkeypatch.setattr(WallClock, "now", lambda _: MONDAY)

    assert main(shlex.split(typed)) == 0
    out = capsys.readouterr().out
    parts = [re.escape(part) for part in re.split(r"(?m)^\.\.\.\n", printed)]
    assert re.fullmatch("(?:.*\n)*?".join(parts), out), out


def test_code_answers_what_the_page_shows():
    """All the blocks, one after another, as if typed by one person."""
    text = "\n".join(blocks("python"))
    test = doctest.DocTestParser().get_doctest(text, {}, "dose.md", str(PAGE), 0)
    said: list[str] = []
    runner = doctest.DocTestRunner(optionflags=doctest.NORMALIZE_WHITESPACE)
    runner.run(test, out=said.append)

    assert runner.tries > 10
    assert not runner.failures, "".join(said)


def test_every_room_that_the_page_names_is_there():
    """Modules of its table exist."""
    named = re.findall(r"`([a-z]+)`", PAGE.read_text(encoding="utf-8").split("## 1.")[0])
    folder = PAGE.parent.parent / "advisor"

    missing = [name for name in named if not (folder / f"{name}.py").exists()]
    assert missing == []
