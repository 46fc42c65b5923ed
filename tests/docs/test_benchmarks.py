"""The page on measurements is what `python -m tests.bench --markdown` writes."""

import re

from tests.bench.__main__ import MEASUREMENTS, here
from tests.bench.report import PAGE, page


def test_the_page_says_what_was_measured_where_and_how():
    """Machine, day, load, a table for each measurement, and the command that made it."""
    machine = here()
    text = page(machine, {"starting": ("How long a start takes", [("a | b", "0.4 s")])})

    assert "python -m tests.bench --markdown" in text
    assert f"Python {machine.python}, {machine.day}" in text
    assert "## How long a start takes\n\n`python -m tests.bench starting`" in text
    assert "| a \\| b | 0.4 s |" in text


def test_the_page_that_is_there_came_from_it():
    """Everything that is said to be measured is a measurement, and nothing else stands there."""
    text = PAGE.read_text("utf-8")
    named = set(re.findall(r"`python -m tests\.bench (\w+)`\n\n\| what", text))
    first, last = text.split("## ", 1)[0], text.rsplit("## ", 1)[1]

    assert named <= set(MEASUREMENTS)
    assert "which writes this page anew" in first
    assert last == page(here(), {}).rsplit("## ", 1)[1]
