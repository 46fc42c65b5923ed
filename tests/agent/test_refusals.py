"""Refusals are short and print, whatever came."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.refusals import EXCERPT_CHARACTERS, SHOWN_CHARACTERS, excerpt, shown


@pytest.mark.parametrize(
    ("payload", "expected"),
    [
        (b"", ""),
        (b"412.5", "412.5"),
        ("25 °C".encode(), "25 °C"),
        (b"a\tb\n", r"a\tb\n"),
        (b"\xff\xfe4\x00", r"\xff\xfe4\x00"),
        (b"x" * 120, "x" * 120),
        (b"x" * 121, "x" * 119 + "…"),
        ("°".encode() * 200, "°" * 119 + "…"),
    ],
)
def test_an_excerpt_is_the_beginning_as_it_prints(payload, expected):
    """Text stays as it is, anything else is escaped, a cut is marked."""
    assert excerpt(payload) == expected


@given(st.binary(max_size=700))
def test_any_excerpt_is_short_printable_and_storable(payload):
    """Whatever bytes come, the excerpt is one line of at most 120 characters of UTF-8."""
    text = excerpt(payload)

    assert len(text) <= EXCERPT_CHARACTERS
    assert text.isprintable()
    text.encode("utf-8")


@given(st.text(max_size=99) | st.text(st.characters(categories=["Cs", "Cc"]), max_size=9))
def test_any_text_is_shown_short_printable_and_storable(text):
    """Text out of a payload does not break the detail in which it stands."""
    told = shown(text)

    assert len(told) <= SHOWN_CHARACTERS + 2
    assert told.isprintable()
    told.encode("utf-8")


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (None, "null"),
        (True, "true"),
        (False, "false"),
        (7.0, "7"),
        (7.25, "7.25"),
        ("on", "'on'"),
        ([1], "an array"),
        ({"v": 1}, "an object"),
    ],
)
def test_values_are_told_in_the_words_of_json(found, told):
    """A person sees what stood in the payload, not what Python made of it."""
    assert shown(found) == told
