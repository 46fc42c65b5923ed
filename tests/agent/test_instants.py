"""Moments as text: read what RFC 3339 allows, refuse the rest, write one form only."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.instants import instant_of, text_of

FIRST = -62_135_596_800_000
"""0001-01-01T00:00:00Z. [ms]"""
LAST = 253_402_300_799_999
"""9999-12-31T23:59:59.999Z. [ms]"""

MOMENTS = st.integers(FIRST, LAST)


@given(MOMENTS)
def test_what_is_written_is_read_back(at):
    """Every millisecond of the years 1 to 9999 survives being written."""
    assert instant_of(text_of(at)) == at


@given(MOMENTS)
def test_it_is_written_as_the_calendar_says(at):
    """The same text as from the standard library's own calendar."""
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=at)
    precision = "milliseconds" if at % 1000 else "seconds"
    assert text_of(at) == moment.isoformat(timespec=precision).replace("+00:00", "Z")


@given(
    st.datetimes(datetime(2, 1, 1), datetime(9998, 12, 31)),  # noqa: DTZ001  the offset is drawn
    st.integers(-1439, 1439),
)
def test_an_offset_is_taken_off(moment, minutes):
    """Local time less its offset is UTC, whatever the offset."""
    sign, minutes_only = "-" if minutes < 0 else "+", abs(minutes)
    offset = f"{sign}{minutes_only // 60:02d}:{minutes_only % 60:02d}"
    whole = moment.replace(microsecond=0)

    at = instant_of(f"{whole.isoformat()}{offset}")

    assert at == instant_of(f"{whole.isoformat()}Z") - minutes * 60_000


@pytest.mark.parametrize(
    ("text", "written"),
    [
        # RFC 3339, section 5.8 (from memory).
        ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.520Z"),
        ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z"),
        ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.870Z"),
        # The leap second of 1990, in UTC and in Pacific time: in Unix time the new year's first.
        ("1990-12-31T23:59:60Z", "1991-01-01T00:00:00Z"),
        ("1990-12-31T15:59:60-08:00", "1991-01-01T00:00:00Z"),
        ("1990-12-31T23:59:60.5Z", "1991-01-01T00:00:00.500Z"),
        ("2015-06-30T23:59:60Z", "2015-07-01T00:00:00Z"),
        # What section 5.6 also allows; -00:00 says that the place is not known (section 4.3).
        ("2026-03-02t06:00:00z", "2026-03-02T06:00:00Z"),
        ("2026-03-02 06:00:00Z", "2026-03-02T06:00:00Z"),
        ("2026-03-02T06:00:00-00:00", "2026-03-02T06:00:00Z"),
    ],
)
def test_the_standards_own_examples(text, written):
    """Each is read as the standard says what it means."""
    assert text_of(instant_of(text)) == written


@pytest.mark.parametrize(
    ("decimals", "milliseconds"),
    [
        ("0", 0),
        ("5", 500),
        ("0004", 0),
        ("0006", 1),
        ("1229999065", 123),  # how some write 0.123
        ("9996", 1000),
        ("12345678901234567890", 123),
    ],
)
def test_decimals_of_any_number_come_to_the_nearest_millisecond(decimals, milliseconds):
    """Neither one digit nor twenty are too few or too many."""
    assert instant_of(f"1970-01-01T00:00:00.{decimals}Z") == milliseconds


@pytest.mark.parametrize(
    "text",
    [
        "",
        "now",
        "2026-03-02",
        "2026-03-02T06:00:00",
        "2026-03-02T06:00Z",
        "2026-03-02T06Z",
        "20260302T060000Z",
        "2026-W10-1T06:00:00Z",
        "2026-061T06:00:00Z",
        "2026-3-2T06:00:00Z",
        "26-03-02T06:00:00Z",
        "2026-03-02T06:00:00,5Z",
        "2026-03-02T06:00:00.Z",
        "2026-03-02_06:00:00Z",
        "2026-03-02T06:00:00 Z",
        " 2026-03-02T06:00:00Z",
        "2026-03-02T06:00:00Z\n",
        "2026-03-02T06:00:00+0100",
        "2026-03-02T06:00:00+01:00:30",
        "2026-03-02T06:00:00+24:00",
        "2026-03-02T06:00:00+23:60",
        "2026-03-02T24:00:00Z",
        "2026-03-02T06:60:00Z",
        "2026-03-02T06:00:61Z",
        "2026-02-30T06:00:00Z",
        "2025-02-29T06:00:00Z",
        "2026-13-01T06:00:00Z",
        "0000-01-01T00:00:00Z",
        "٢026-03-02T06:00:00Z",
        "2026-03-02T12:00:60Z",  # no leap second is at noon,
        "2026-03-02T23:59:60Z",  # nor within a month,
        "2026-03-31T23:59:60-08:00",  # nor at midnight of anywhere but UTC,
        "2026-02-30T23:59:60Z",  # nor on no day,
        "9999-12-31T23:59:60Z",  # nor after the last year
        "9999-12-31T23:59:59-23:00",
        "0001-01-01T00:00:00+23:00",
    ],
)
def test_what_is_no_time_is_refused(text):
    """No part is guessed, no calendar stretched, nothing read that could not be written."""
    with pytest.raises(ValueError, match=r"RFC 3339|month|years"):
        instant_of(text)


@given(st.text(max_size=40) | st.text(alphabet="0123456789-:.TZ+ ", max_size=30))
def test_any_text_is_a_moment_or_a_refusal(text):
    """Whatever stands there: a moment that can be written, or a ValueError."""
    try:
        at = instant_of(text)
    except ValueError:
        return
    assert FIRST <= at <= LAST


@pytest.mark.parametrize("at", [FIRST, LAST])
def test_the_first_and_the_last_moment_can_be_written(at):
    """Both ends of the calendar belong to it."""
    assert instant_of(text_of(at)) == at


@pytest.mark.parametrize("at", [FIRST - 1, LAST + 1, 10**18])
def test_a_moment_off_the_calendar_is_refused(at):
    """One millisecond beyond is an error, not a wrong text."""
    with pytest.raises(ValueError, match="years 1 to 9999"):
        text_of(at)
