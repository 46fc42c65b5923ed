"""The texts: every one in every language, with the same places; numbers as people read them."""

import re
from pathlib import Path
from typing import get_args

import pytest

import agent.page
from advisor.words import DAY, HOUR, CheckKind, Estimate, Quality, Signal
from agent.instants import instant_of
from agent.messages.names import PlantAlarmName, SumpAlarmName, SupplyAlarmName
from agent.page.catalogue import LANGUAGES, catalogue, places, preferred
from agent.page.visitor import speech_for

FOLDER = Path(agent.page.__file__).parent
NOW = instant_of("2026-03-02T06:00:00Z")


@pytest.mark.parametrize("language", [name for name in LANGUAGES if name != "en"])
def test_every_language_has_the_same_texts_with_the_same_places(language: str):
    """Nothing is left in English, nothing is asked for that is not there."""
    native, other = catalogue("en").texts, catalogue(language).texts

    assert other.keys() == native.keys()
    for key, text in native.items():
        assert places(other[key]) == places(text), key


def keys_in_use() -> set[str]:
    """Keys that stand in templates and code, those that are put together left out."""
    found = set()
    for path in (*FOLDER.glob("templates/*.html"), *FOLDER.rglob("*.py")):
        text = path.read_text("utf-8")
        found |= set(re.findall(r'\b(?:t|text)\(\s*"([a-z_.\-]+[a-z])"', text))
    return found


def test_every_text_that_is_asked_for_is_there():
    """A key that was mistyped is found before anybody opens the page."""
    texts = catalogue("en").texts
    used = keys_in_use()

    assert len(used) > 100
    for key in used:
        assert key in texts or f"{key}.one" in texts, key


def test_whatever_the_agent_may_say_has_a_text():
    """Alarms, signals, qualities and kinds of check: a new one needs its words."""
    texts = catalogue("en").texts
    for names in (SumpAlarmName, PlantAlarmName, SupplyAlarmName):
        for name in get_args(names):
            assert f"alarm.{name}" in texts
    for prefix, values in (
        ("signal", Signal),
        ("quality", Quality),
        ("check", CheckKind),
        ("enter.value_hint", CheckKind),
    ):
        for value in values:
            assert f"{prefix}.{value}" in texts


@pytest.mark.parametrize(
    ("accept", "language"),
    [
        ("de-DE,de;q=0.9,en;q=0.8", "de"),
        ("en-US,en;q=0.9", "en"),
        ("fr,de;q=0.5", "de"),
        ("fr", "en"),
        ("", "en"),
        (";;q=,,de;q=x", "en"),
    ],
)
def test_the_browser_says_which_language(accept: str, language: str):
    """The first of ours that it asks for; nonsense is passed over."""
    assert preferred(accept, "en") == language


def plain(text: str) -> str:
    """With usual spaces."""
    return text.replace("\u202f", " ")


@pytest.mark.parametrize(
    ("value", "sd", "metric", "us"),
    [
        (312.43, 1.94, "312 ± 4 L", "83 ± 1 gal"),
        (312.43, 0.21, "312.4 ± 0.4 L", "82.5 ± 0.1 gal"),
        (0.041, 0.16, "0.0 ± 0.3 L", "0.01 ± 0.08 gal"),
        (-0.004, 0.001, "0.00 ± 0.00 L", "0.00 ± 0.00 gal"),
        (-8.2, 2.0, "−8 ± 4 L", "−2 ± 1 gal"),
    ],
)
def test_a_number_has_the_digits_that_its_span_leaves_meaning_in(
    value: float, sd: float, metric: str, us: str
):
    """Two sds, rounded; no negative zero; a real minus sign."""
    estimate = Estimate(value, sd)
    assert plain(speech_for("en", "metric", "UTC").volume_sure(estimate)) == metric
    assert plain(speech_for("en", "us", "UTC").volume_sure(estimate)) == us
    assert plain(speech_for("de", "metric", "UTC").volume_sure(estimate)) == metric.replace(
        ".", ","
    )


@pytest.mark.parametrize(
    ("ahead", "said"),
    [
        (0, "06:00"),
        (5 * HOUR, "11:00"),
        (18 * HOUR, "tomorrow 00:00"),
        (-7 * HOUR, "yesterday 23:00"),
        (3 * DAY, "Thu 06:00"),
        (-3 * DAY, "27 Feb 06:00"),
        (100 * DAY, "10 Jun"),
        (400 * DAY, "6 Apr 2027"),
    ],
)
def test_a_moment_is_said_as_briefly_as_one_says_it_that_day(ahead: int, said: str):
    """Time alone today, the day's name this week, the date beyond."""
    assert speech_for("en", "metric", "UTC").moment(NOW + ahead, NOW) == said


def test_days_are_the_plants_own():
    """On the day on which clocks go forward a day has 23 hours."""
    say = speech_for("en", "metric", "Europe/Dublin")
    noon = instant_of("2026-03-29T12:00:00Z")

    assert say.midnight(noon, 1) - say.midnight(noon) == 23 * HOUR
    assert say.instant("2026-07-01T08:30") == instant_of("2026-07-01T07:30:00Z")
    assert say.input_value(instant_of("2026-07-01T07:30:00Z")) == "2026-07-01T08:30"
