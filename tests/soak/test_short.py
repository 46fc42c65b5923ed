"""A short soak: a day and a half of three sumps with every trouble once."""

from pathlib import Path

import pytest

from advisor.words import MINUTE
from tests.soak.soaking import Soak
from tests.soak.stream import Plan
from tests.soak.trouble import TROUBLES

pytestmark = [pytest.mark.broker, pytest.mark.slow]


def test_the_books_close_whatever_happens(tmp_path: Path) -> None:
    """Each message is stored or refused once, the state is that of a run without troubles, and
    historian and memory are in order."""
    plan = Plan(sumps=3, days=1.5, interval=MINUTE, seed=7)
    outcome = Soak(tmp_path, plan, troubles=len(TROUBLES)).run()

    assert outcome.failures == []
    assert outcome.sent["reading"] == 3 * 2 * 2160
    assert min(outcome.sent[kind] for kind in ("refused", "repeat")) > 30
    assert outcome.sent["report"] >= 3
    assert set(outcome.troubles) == set(TROUBLES)
    assert max(outcome.memory_mb) < 250.0
