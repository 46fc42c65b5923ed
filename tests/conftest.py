"""Fixtures that more than one test file uses."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.brokers import Mosquitto, a_mosquitto, an_iotcore


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
