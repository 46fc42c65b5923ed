"""A shop with a page, its store in a folder that is gone afterwards."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.page.shop import Shop


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """A plant of one sump that has told nothing yet."""
    shop = Shop(tmp_path)
    yield shop
    shop.close()
