"""Sentences of the computation in German: none is left in English, numbers stay what they were."""

import re
from dataclasses import replace

import pytest

import advisor.cautions
from advisor.alarm_texts import TEXTS, UNJUDGED, Facts, text_for
from advisor.changeout import ChangeOut, change_out
from advisor.words import Signal
from agent.calculators import charge
from agent.page.retelling import retold, wordings
from agent.page.visitor import speech_for
from agent.sheets import all_cautions, said_of_check, stages
from agent.typed import ChargeInput

DE = speech_for("de", "metric", "UTC")
EN = speech_for("en", "metric", "UTC")
ENGLISH = '<span lang="en">'


def german(sentence: str) -> str:
    """A sentence in German; it fails where there is none."""
    own = str(retold(sentence, DE))
    assert ENGLISH not in own, sentence
    return own


def cautions() -> list[str]:
    """Everything that one is to beware of."""
    values = vars(advisor.cautions).values()
    return [value for value in values if isinstance(value, str) and value.endswith(".")][1:]


@pytest.mark.parametrize("caution", cautions())
def test_every_caution_has_its_german(caution: str):
    """Cautions hurt who cannot read them."""
    assert german(caution) != caution


def test_a_change_out_is_german_from_the_first_stage_to_the_last():
    """Every stage and what to beware of, with its litres."""
    work = ChangeOut(
        volume=420.0, concentrate=33.6, pouring=(), reading="6.4 °Brix, which times the factor 1.25 is 8 % of the mix"  # noqa: E501  one sentence
    )  # fmt: skip
    said = [german(text) for stage in change_out(work) for text in (stage.text, *stage.cautions)]
    assert any("33,6 L Konzentrat" in text for text in said)


@pytest.mark.parametrize("name", sorted(TEXTS))
def test_what_an_alarm_says_has_its_german(name: str):
    """Consequence and action with its cautions; the cause where it has a wording of its own."""
    facts = Facts("Mill 7", Signal.LEVEL, 171.0, 180.0, "mm", "")
    text = text_for(name, facts)
    german(text.consequence)
    german(text.action)
    if "detail" not in TEXTS[name].cause.partition("(")[0]:
        german(text.cause)


@pytest.mark.parametrize("sentence", UNJUDGED.values())
def test_what_a_silent_signal_leaves_unjudged_is_said(sentence: str):
    """It is the consequence of an alarm."""
    german(sentence)


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"convention": "per-water", "target": "7", "premix": "5:1"},
        {"residue": "30 L", "weak_mix": "1", "change_out": True},
        {"factor": "1.25", "check": "6.1 degBrix", "price": "4.8"},
        {"factor": "1.25", "check": "5 degBrix"},
        {"factor": "1.25", "check": "6.4 degBrix", "hardness": "180 mg/L"},
        {"check": "6.4 degBrix", "hardness": "20 mg/L"},
        {"hardness": "500 mg/L", "bucket": "20 L", "graduation": "0.5 L"},
    ],
)
def test_a_charge_is_told_in_german(changes: dict[str, object]):
    """Steps, reasons, cautions and what a reading says."""
    typed = ChargeInput(volume="420 L", target="8")
    recipe = charge(replace(typed, **changes))  # type: ignore[arg-type]  # its own fields
    told = [stage.text for stage in stages(recipe) if not stage.name.startswith(("pour", "charge"))]
    for sentence in (*told, *recipe.why, *said_of_check(recipe), *all_cautions(recipe)):
        german(sentence)


@pytest.mark.parametrize(
    ("english", "own"),
    [
        (
            "3 times: 8 L of water, then 2 L of concentrate into it; then 1.5 L of water.",
            "3-mal: 8 L Wasser, dann 2 L Konzentrat hinein; dann 1,5 L Wasser.",
        ),
        (
            "In it now: 312.4 L (sd 1.9 L) at 7.62 % (sd 0.08 %); wanted: 399 L at 8 %.",
            "Jetzt darin: 312,4 ± 3,8 L mit 7,62 ± 0,16 %; gewünscht: 399 L mit 8 %.",
        ),
        (
            "Concentration 5.2 %: under the inner half of the band, 7 % to 9 %.",
            "Konzentration 5,2 %: unter die innere Hälfte des Bandes, 7 % bis 9 %.",
        ),
        ("The brix signal is suspect.", "Das Signal Refraktometer ist zweifelhaft."),
    ],
)
def test_numbers_stay_and_spans_stand_for_sds(english: str, own: str):
    """Twice the sd to either side, as everywhere on the page; a comma before decimals."""
    assert str(retold(english, DE)) == own


def test_english_stays_with_spans_for_sds():
    """Nobody at a sump knows what an sd is."""
    assert str(retold("312.4 L (sd 1.9 L) at 8 %", EN)) == "312.4 ± 3.8 L at 8 %"


def test_what_has_no_wording_is_marked_as_english_and_escaped():
    """A reader that speaks aloud changes its voice; nothing of it becomes markup."""
    said = str(retold("<b>Nobody knows.</b>", DE))
    assert said == '<span lang="en">&lt;b&gt;Nobody knows.&lt;/b&gt;</span>'
    hostile = "<i>x</i>: the pumps have stood still for 8 h."
    assert "<i>" not in german(hostile)


def test_a_long_text_without_end_costs_little():
    """What comes from the network is not taken apart without bound."""
    assert ENGLISH in str(retold("Water first. " * 5000, DE))


def test_every_place_of_a_wording_is_one_of_its_sentence():
    """A wording that asks for more than its sentence has would fail in front of people."""
    known = wordings("de")
    assert known is not None
    assert len(known.open) + len(known.fixed) > 150
    for wording in known.open:
        places = set(re.findall(r"\{(\w+)\}", wording.said))
        assert places <= set(wording.known.groupindex), wording.said


def test_who_reads_english_is_not_asked_twice():
    """English has no wordings of its own."""
    assert wordings("en") is None
