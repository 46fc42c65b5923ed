"""Defaults of the alarms, what a plant may say otherwise, and what each alarm says to people."""

import re
from pathlib import Path
from string import Formatter
from typing import get_args

import pytest

from advisor.alarm_causes import CAUSES
from advisor.alarm_definitions import DEFINITIONS, default, definition
from advisor.alarm_texts import TEXTS, Facts, amount, text_for
from advisor.errors import AdvisorError
from advisor.plan import AlarmPlan
from advisor.words import HOUR, MINUTE, Estimate, Signal
from agent.messages.names import PlantAlarmName, SumpAlarmName, SupplyAlarmName
from tests.alarm_watch import Watch

DOCUMENT = Path(__file__).parents[2] / "docs" / "alarms.md"


def test_the_alarms_are_those_that_can_be_published():
    """Every name of the messages has a definition, and every definition a name."""
    published = {
        *get_args(SumpAlarmName),
        *get_args(PlantAlarmName),
        *get_args(SupplyAlarmName),
    }

    assert set(DEFINITIONS) == published


def test_level_delays_are_longer_than_the_drain_back():
    """Fluid comes back within half an hour of a pump stop: no level alarm is raised sooner."""
    assert DEFINITIONS["level-low"].on_delay > 30 * MINUTE
    assert DEFINITIONS["level-high"].on_delay > 30 * MINUTE


def test_few_alarms_are_of_high_priority():
    """High is what cannot wait for the morning: fewer than a quarter of the kinds."""
    high = [d.name for d in DEFINITIONS.values() if d.priority == "high"]

    assert len(high) <= len(DEFINITIONS) / 4


def test_a_plant_changes_what_it_names_and_nothing_else():
    """Each override takes the place of its default; times come in seconds."""
    rule = definition({"water-gain": AlarmPlan(on_delay=90.0)}, "water-gain")

    assert rule.on_delay == 90_000
    assert rule.off_delay == default("water-gain").off_delay
    assert rule.priority == default("water-gain").priority
    assert definition({"water-gain": AlarmPlan(on_delay=90.0)}, "level-low") is default("level-low")


def test_every_override_reaches_the_definition():
    """No field of the plan is forgotten on the way."""
    plan = AlarmPlan(
        enabled=False,
        priority="high",
        limit=1.0,
        deadband=2.0,
        on_delay=3.0,
        off_delay=4.0,
        latching=True,
        re_alarm=3600.0,
        shelve_max=7200.0,
        confidence=0.75,
    )
    rule = definition({"water-gain": plan}, "water-gain")

    assert (rule.enabled, rule.priority, rule.limit, rule.deadband) == (False, "high", 1.0, 2.0)
    assert (rule.on_delay, rule.off_delay, rule.latching) == (3000, 4000, True)
    assert (rule.re_alarm, rule.shelve_max, rule.confidence) == (HOUR, 2 * HOUR, 0.75)
    assert rule.limit_from == "the plant file"


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("on_delay", -1.0),
        ("off_delay", float("nan")),
        ("deadband", -0.1),
        ("re_alarm", float("inf")),
        ("shelve_max", -5.0),
        ("limit", float("nan")),
        ("confidence", 0.49),
        ("confidence", 1.0),
    ],
)
def test_an_override_that_makes_no_sense_is_an_error(field, value):
    """The error names the field, the value and what was expected."""
    with pytest.raises(AdvisorError) as caught:
        AlarmPlan(**{field: value})
    assert caught.value.quantity == field
    assert caught.value.expected


@pytest.mark.parametrize("name", [*DEFINITIONS, "never-heard-of"])
def test_every_alarm_says_who_should_do_what(name):
    """Three sentences or more; the cause names the sump and the number, the action a person."""
    facts = Facts("Mill 7", Signal.BRIX, 12.3, 10.0, "L/d", "lost 12.3 L/d, the limit is 10 L/d")
    text = text_for(name, facts)

    assert text.cause.startswith("Mill 7")
    assert "12.3" in text.cause
    assert re.match(r"(Operator|Maintenance|Fluid keeper): ", text.action)
    for sentence in (text.cause, text.consequence, text.action):
        assert not re.search(r"[{}]|  ", sentence)
    for sentence in (text.consequence, text.action):
        assert sentence.endswith(".")


@pytest.mark.parametrize("name", TEXTS)
def test_sentences_ask_only_for_what_there_is(name):
    """No sentence names a fact that nobody fills in."""
    known = {"subject", "signal", "value", "limit", "detail", "unjudged"}
    for sentence in TEXTS[name][:3]:
        assert {field for _, field, _, _ in Formatter().parse(sentence) if field} <= known


@pytest.mark.parametrize("name", ["level-low", "concentration-low", "advice-open"])
def test_whoever_is_sent_to_pour_is_told_the_order(name):
    """Water first, never concentrate straight into the sump, gloves."""
    action = text_for(name, Facts("Mill 7", None, 1.0, 1.0, "mm", "")).action

    for caution in ("Water first", "Never pour concentrate straight", "gloves"):
        assert caution in action


@pytest.mark.parametrize("name", ["level-low", "level-high", "mix-loss-high"])
def test_whoever_is_sent_to_a_wet_floor_is_warned(name):
    """A leak and an overflow make the floor slippery."""
    assert "slippery" in text_for(name, Facts("Mill 7", None, 1.0, 1.0, "mm", "")).action


def test_a_finding_without_words_says_its_numbers():
    """Where nobody wrote a detail, value and limit stand in the cause."""
    text = text_for("water-gain", Facts("Mill 7", None, 14.25, 5.0, "L/d", ""))

    assert text.cause == "Mill 7: 14.2 L/d, the limit is 5 L/d."


def test_text_from_outside_cannot_be_taken_for_a_place_to_fill():
    """A name or detail with braces is said as it is."""
    text = text_for("water-gain", Facts("{limit}", None, 1.0, 2.0, "L", "{0.__class__}"))

    assert text.cause == "{limit}: {0.__class__}"


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (12_345.6, "CFU/mL", "12346 CFU/mL"),
        (0.05, "L/d", "0.05 L/d"),
        (-3.2, "mm", "-3 mm"),
        (7.0, "", "7"),
    ],
)
def test_numbers_are_said_in_digits_that_mean_something(value, unit, said):
    """No powers of ten, no more digits than people read."""
    assert amount(value, unit) == said


def test_causes_name_alarms_that_exist():
    """No alarm follows from one that cannot be raised."""
    for name, causes in CAUSES.items():
        assert name in DEFINITIONS
        for cause in causes:
            assert cause.name in DEFINITIONS
            about_signal = cause.same_signal or cause.signal is not None
            assert about_signal == DEFINITIONS[cause.name].of_signal


def test_the_document_lists_the_defaults():
    """The table in docs/alarms.md has each alarm's priority and delays as they are in the code."""
    rows = re.findall(
        r"^\| `([a-z-]+)` \| ([a-z]+) \| ([^|]+) \| ([^|]+) \|",
        DOCUMENT.read_text(encoding="utf-8"),
        re.MULTILINE,
    )

    assert {name: (priority, on, off) for name, priority, on, off in rows} == {
        d.name: (d.priority, _said(d.on_delay), _said(d.off_delay)) for d in DEFINITIONS.values()
    }


def _said(delay: int) -> str:
    """A delay as the document says it."""
    return "none" if delay == 0 else f"{delay // MINUTE} min"


def test_a_report_gives_percent_to_people():
    """Concentrations are published in % of the mix, as they are read off an instrument."""
    watch = Watch()
    watch.minutes(31, concentration=Estimate(0.055, 0.001))

    assert "5.5 % (sd 0.1 %), the band begins at 6 %" in watch.last("concentration-low").cause
