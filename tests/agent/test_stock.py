"""What is left of a supply, as people report it, and what the agent then advises."""

import json

import pytest

from tests.agent.alarms.shop import Shop


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
