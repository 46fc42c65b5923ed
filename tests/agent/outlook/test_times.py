"""Moments as they are typed and said, on the plant's clocks."""

from datetime import time

import pytest

from agent.instants import instant_of
from agent.outlook.times import moment_of, said, standstill_of
from agent.typed import ImpossibleInputError

DUBLIN = "Europe/Dublin"


def at(text: str) -> int:
    """A moment, as RFC 3339. [ms]"""
    return instant_of(text)


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2026-03-06", "2026-03-06T18:00:00Z"),
        ("2026-07-03", "2026-07-03T17:00:00Z"),  # Irish summer time
        ("2026-03-06T14:30", "2026-03-06T14:30:00Z"),
        ("2026-03-06T14:30:00+01:00", "2026-03-06T13:30:00Z"),
        ("2026-03-06T14:30:00Z", "2026-03-06T14:30:00Z"),
    ],
)
def test_days_and_times_are_read_on_the_plants_clocks(text, moment):
    """A day alone is taken at the hour that goes with the option."""
    assert moment_of("--from", text, DUBLIN, time(18)) == at(moment)


@pytest.mark.parametrize("text", ["", "friday", "2026-02-30", "06.03.2026", "2026-03-06T25:00"])
def test_what_is_no_time_is_refused(text):
    """The message names the option and shows what would do."""
    with pytest.raises(ImpossibleInputError, match=r"--from.*2026-03-06T18:00"):
        moment_of("--from", text, DUBLIN, time(18))


@pytest.mark.parametrize(
    ("now", "begin", "end"),
    [
        ("2026-03-02T06:00:00Z", "2026-03-06T18:00:00Z", "2026-03-09T06:00:00Z"),
        ("2026-03-06T18:00:00Z", "2026-03-06T18:00:00Z", "2026-03-09T06:00:00Z"),
        ("2026-03-07T12:00:00Z", "2026-03-07T12:00:00Z", "2026-03-09T06:00:00Z"),
        ("2026-03-09T06:00:00Z", "2026-03-13T18:00:00Z", "2026-03-16T06:00:00Z"),
        # Clocks go forward in the night to Sunday, 29 March.
        ("2026-03-27T12:00:00Z", "2026-03-27T18:00:00Z", "2026-03-30T05:00:00Z"),
    ],
)
def test_the_next_weekend_is_from_friday_to_monday(now, begin, end):
    """Within a weekend it is what is left of it."""
    assert standstill_of("", "", at(now), DUBLIN) == (at(begin), at(end))


def test_one_end_typed_gives_the_other():
    """Until a day: from now. From a day: to the Monday after."""
    now = at("2026-03-02T06:00:00Z")

    assert standstill_of("", "2026-03-04", now, DUBLIN) == (now, at("2026-03-04T06:00:00Z"))
    assert standstill_of("2026-03-03", "", now, DUBLIN) == (
        at("2026-03-03T18:00:00Z"),
        at("2026-03-09T06:00:00Z"),
    )


def test_an_end_before_its_begin_is_refused():
    """It names the begin."""
    with pytest.raises(ImpossibleInputError, match="a time after Wed 2026-03-04 18:00"):
        standstill_of("2026-03-04", "2026-03-03", at("2026-03-02T06:00:00Z"), DUBLIN)


def test_utc_is_said_to_be_utc():
    """Any other zone is the plant's own, and goes without saying."""
    assert said(0, "UTC") == "Thu 1970-01-01 00:00 UTC"
    assert said(0, DUBLIN) == "Thu 1970-01-01 01:00"  # Irish standard time all of 1970
