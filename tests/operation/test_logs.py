"""The log: lines for people, objects for programs, no forged line and no secret in either."""

import json
import logging
import sys
from types import TracebackType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.logs import Lines, Objects, facts

SECRET = "hunter2-hunter2"  # noqa: S105  of this test alone
LINES = Lines((SECRET,), journal=False)
OBJECTS = Objects((SECRET,))


def fail(words: object) -> None:
    """Fail with these words."""
    raise ValueError(words)


def a_record(
    words: str, *values: object, trouble: bool = False, **known: object
) -> logging.LogRecord:
    """A record of a warning; with trouble, of an exception whose words are the first value."""
    caught: tuple[type[BaseException], BaseException, TracebackType | None] | None = None
    if trouble:
        try:
            fail(values[0])
        except ValueError as error:
            caught = (type(error), error, error.__traceback__)
    record = logging.LogRecord("millpond.x", logging.WARNING, __file__, 1, words, values, caught)
    record.created = 1_772_431_200.25
    record.__dict__.update(facts(**known))
    return record


def test_a_line_has_time_level_and_place() -> None:
    """RFC 3339 in UTC first, so that lines sort."""
    assert LINES.format(a_record("%s: gone", "n/level")) == (
        "2026-03-02T06:00:00.250Z WARNING millpond.x: n/level: gone"
    )


def test_an_object_has_what_is_known_by_name() -> None:
    """Its keys are `at`, `level`, `from`, `said`, and the facts."""
    found = json.loads(OBJECTS.format(a_record("%s did it", "ann", by="ann", sump="mill-07")))

    assert found == {
        "at": "2026-03-02T06:00:00.250Z",
        "level": "warning",
        "from": "millpond.x",
        "said": "ann did it",
        "by": "ann",
        "sump": "mill-07",
    }


@given(st.text(max_size=80))
def test_no_text_makes_two_records_of_one(text: str) -> None:
    """Whatever a topic or a name holds: further lines are indented, controls are escaped."""
    first, *rest = LINES.format(a_record("%s", text)).split("\n")

    assert first.startswith("2026-03-02T06:00:00.250Z WARNING millpond.x: ")
    assert all(line.startswith("    ") for line in rest)
    for line in (first, *rest):
        assert len(line.splitlines()) <= 1
        assert not set(line) & {"\x1b", "\r", "\x00", "\x9b", "\u202e", "\u2066"}
    (only,) = OBJECTS.format(a_record("%s", text)).splitlines()
    assert json.loads(only)["said"] == text.replace(SECRET, "***")
    assert only.isascii()


@pytest.mark.parametrize("trouble", [False, True])
@pytest.mark.parametrize("formatter", [LINES, OBJECTS], ids=["lines", "objects"])
def test_no_secret_is_in_a_record(formatter: logging.Formatter, *, trouble: bool) -> None:
    """Neither in words nor in a traceback nor in a fact."""
    text = formatter.format(a_record("%s", f"login {SECRET}!", trouble=trouble, word=SECRET))

    assert SECRET not in text
    assert "login ***!" in text
    assert ("ValueError" in text) == trouble


def test_a_journal_gets_severities_in_place_of_times() -> None:
    """sd-daemon(3): <4> is a warning of RFC 5424."""
    told = Lines((), journal=True).format(a_record("x"))

    assert told == "<4>WARNING millpond.x: x"


def test_a_traceback_stays_with_its_record() -> None:
    """In an object under its own key, in lines indented."""
    record = a_record("%s", "broken", trouble=True)

    assert "ValueError: broken" in json.loads(OBJECTS.format(record))["traceback"]
    assert all(line.startswith("    ") for line in LINES.format(record).split("\n")[1:])
    assert sys.exc_info() == (None, None, None)
