"""Times in payloads: the examples of RFC 3339, section 5.8, and numbers of seconds since 1970."""

from datetime import UTC, datetime

import pytest

from agent.decode.problem import PayloadError
from agent.decode.results import Reason
from agent.decode.times import instant_in


def unix(*fields: int) -> int:
    """Milliseconds since 1970 by the standard library."""
    return round(datetime(*fields, tzinfo=UTC).timestamp() * 1000)


# RFC 3339, section 5.8, with what the section says each means.
EXAMPLES = [
    ("1985-04-12T23:20:50.52Z", unix(1985, 4, 12, 23, 20, 50) + 520),
    ("1996-12-19T16:39:57-08:00", unix(1996, 12, 20, 0, 39, 57)),
    ("1990-12-31T23:59:60Z", unix(1991, 1, 1)),
    ("1990-12-31T15:59:60-08:00", unix(1991, 1, 1)),
    ("1937-01-01T12:00:27.87+00:20", unix(1937, 1, 1, 11, 40, 27) + 870),
]


@pytest.mark.parametrize(("text", "instant"), EXAMPLES)
def test_the_published_examples(text, instant):
    """Each is the moment that the standard says; a leap second is the first of the next day."""
    assert instant_in(text) == instant


@pytest.mark.parametrize("text", ["1985-04-12t23:20:50.52z", "1985-04-12T23:20:50.52-00:00"])
def test_other_spellings_of_one_moment(text):
    """RFC 3339, 5.6 and 4.3: t and z may be lower case; -00:00 says UTC, the place unknown."""
    assert instant_in(text) == EXAMPLES[0][1]


@pytest.mark.parametrize(
    "found",
    [
        "2026-03-02T06:00:00",  # no offset
        "2026-03-02",
        "06:00",
        "2026-02-30T06:00:00Z",
        "2026-03-02T24:00:00Z",
        "2026-03-02T06:00:61Z",
        "2026-03-02T06:00:60Z",  # leap seconds are at the end of a UTC day
        "2026-03-02T06:00:00+25:00",
        "02.03.2026 06:00:00",
        "٢026-03-02T06:00:00Z",
        "now",
        "",
        True,
        ["2026-03-02T06:00:00Z"],
        -1.0,
        float("inf"),
        1.7724312e15,  # microseconds
        "1772431200000000000",  # nanoseconds
    ],
)
def test_what_is_no_time_is_refused(found):
    """What does not name one moment is refused with the reason that says so."""
    with pytest.raises(PayloadError) as caught:
        instant_in(found)

    assert caught.value.reason is Reason.TIME
    assert "RFC 3339" in caught.value.detail


@pytest.mark.parametrize(
    "found", [1772431200.0, 1772431200000.0, "1772431200", "1772431200000", "1772431200.0"]
)
def test_seconds_and_milliseconds_are_told_apart_by_size(found):
    """Numbers under 1e11 are seconds, from it on milliseconds: the same moment either way."""
    assert instant_in(found) == unix(2026, 3, 2, 6)


def test_the_sizes_at_which_the_reading_changes():
    """1e11 s would be the year 5138, 1e11 ms are in 1973: nothing in a plant lies between."""
    assert instant_in(99_999_999_999.0) == 99_999_999_999_000
    assert instant_in(100_000_000_000.0) == 100_000_000_000


def test_nothing_is_no_time():
    """A time of null is the same as none."""
    assert instant_in(None) is None
