"""`docs/security.md` and `docs/operation.md` name tests, settings and numbers that exist."""

import re
from pathlib import Path

import pytest

from agent.decode.decoder import BIRTH_MAX, PAYLOAD_MAX
from agent.store.writing import REFUSALS_KEPT
from agent.throttle import NODE, PERSON, SENSOR, SPEAKER, STRANGER
from tests.security.authority import USERS

ROOT = Path(__file__).parents[2]
SECURITY = (ROOT / "docs" / "security.md").read_text("utf-8")
OPERATION = (ROOT / "docs" / "operation.md").read_text("utf-8")


@pytest.mark.parametrize("name", sorted(set(re.findall(r"`([\w/]+\.py)`", SECURITY + OPERATION))))
def test_every_test_that_is_named_is_there(name: str) -> None:
    """A row without its test would be a wish."""
    assert (ROOT / "tests" / name.removeprefix("tests/")).is_file()


def test_every_role_has_its_row() -> None:
    """A user that joins the shipped rights joins the table."""
    rows = re.findall(r"^\| [^|]*\(`([\w-]+)`\) \|", SECURITY, re.MULTILINE)

    assert sorted(rows) == sorted(USERS)


def test_limits_are_those_of_the_code() -> None:
    """Numbers of the table of limits."""
    limits = SECURITY.split("## Limits")[1].split("## Fuzzing")[0]

    assert (PAYLOAD_MAX, BIRTH_MAX) == (64 * 1024, 256 * 1024)
    assert "64 KiB; Sparkplug 256 KiB" in limits
    for pace in (SENSOR, NODE, SPEAKER, STRANGER, PERSON):
        assert f"{pace.burst:,.0f}" in limits
    assert "one each 10 s" in limits
    assert PERSON.per_second == 0.1
    assert f"newest {REFUSALS_KEPT:,}" in limits


def test_every_metric_that_is_named_is_measured() -> None:
    """And every option of the section is told."""
    source = (ROOT / "agent" / "operation" / "metrics.py").read_text("utf-8")
    for name in re.findall(r"`millpond_(\w+)`", OPERATION):
        stem = name.removeprefix("sump_").removesuffix("_total")
        assert stem in source, name
    assert 'log = "json"' in OPERATION
    assert "listen = " in OPERATION
