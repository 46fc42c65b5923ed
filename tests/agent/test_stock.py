"""What is left of a supply, and the plant's units, in what the agent advises."""

import json
import re

import pytest

from advisor.effects import Advice, Limits, PublishAdvice
from agent.messages.us_units import read_in_us_units
from tests.agent.alarms.shop import Shop, a_shop


def advices(shop: Shop) -> list[dict[str, object]]:
    """What was advised for the first sump, oldest first."""
    topic = "millpond/shop/mill-0/advice"
    return [json.loads(m.payload) for _, m in shop.told if m.topic == topic and m.payload]


def lean_shop() -> Shop:
    """A shop whose sumps are low and lean: some litres of concentrate are wanted."""
    shop = Shop()
    shop.minutes(40, level=230.0, brix=5.6)
    return shop


def test_no_more_concentrate_is_advised_than_the_drum_holds():
    """Nobody counted: what is wanted. A report of 2 L: those, at once and with the reason."""
    shop = lean_shop()
    before = advices(shop)[-1]
    shop.say("supply/drum-1/stock", volume_l=2.0)
    shop.minutes(2)

    after = advices(shop)[-1]
    assert before["mix"]["concentrate_l"] > 8.0
    assert after["mix"]["concentrate_l"] == pytest.approx(2.0)
    assert any("Only 2 L of concentrate are at hand" in why for why in after["why"])
    assert after["id"] != before["id"]


def test_another_concentrates_drum_changes_nothing():
    """The stock of what is not poured into this sump is no reason for a new advice."""
    shop = lean_shop()
    told = len(advices(shop))
    shop.say("supply/drum-2/stock", volume_l=0.0)
    shop.minutes(2)

    assert len(advices(shop)) == told


def test_what_is_left_is_known_after_a_restart():
    """The report stands in the store: the advice goes on within it."""
    shop = lean_shop()
    shop.say("supply/drum-1/stock", volume_l=2.0)
    shop.minutes(2)
    told = len(advices(shop))
    shop.restart()
    shop.minutes(5)

    assert len(advices(shop)) == told


def test_a_plant_of_us_units_reads_the_reasons_in_them():
    """Gallons and inches in the sentences; the numbers beside them stay in litres."""
    shop = Shop(a_shop(1, plant='units = "us"'))
    shop.minutes(40, level=230.0, brix=5.6)

    advice = advices(shop)[-1]
    why = " ".join(advice["why"])
    assert " gal" in why
    assert " in" in advice["why"][0]
    assert not re.search(r"\d (?:L|mm)\b", why)
    assert advice["mix"]["water_l"] > 100.0


def test_litres_beside_a_vessels_marks_are_left_out():
    """What is read off in gallons is not said in gallons twice."""
    advice = Advice(
        id="a-000001",
        sump="mill-0",
        issued_at=0,
        valid_until=1,
        kind="none",
        mix=None,
        batches=None,
        drain=0.0,
        after=None,
        limits=Limits(
            level_running=None,
            level_stopped=None,
            level_unit="",
            brix=None,
            water_loss_high=None,
            concentrate_loss_high=None,
        ),
        next=None,
        why=("2 gal 120 fl oz (11.12 L) of water, then 7 fl oz (0.207 L) of concentrate: 300 L.",),
        cautions=(),
    )
    (told,) = [read_in_us_units(PublishAdvice(advice))]

    assert isinstance(told, PublishAdvice)
    assert told.advice.why == ("2 gal 120 fl oz of water, then 7 fl oz of concentrate: 79.3 gal.",)
