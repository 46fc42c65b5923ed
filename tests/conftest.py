"""Fixtures that more than one test file uses."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from tests.brokers import Mosquitto, a_mosquitto, an_iotcore

# The same examples on every run, and no failure because a machine was busy; a fresh seed is drawn
# with --hypothesis-profile=fresh.
settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.register_profile("fresh", deadline=None, print_blob=True)
settings.load_profile("repeatable")


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    """A running mosquitto with the limits that are shipped."""
    with a_mosquitto(tmp_path / "broker") as broker:
        yield broker


@pytest.fixture
def iotcore(tmp_path: Path) -> Iterator[int]:
    """The port of a running broker of the Python package."""
    with an_iotcore(tmp_path / "broker") as port:
        yield port
