"""The round: in walking order, added up, ticked off."""

import json
from pathlib import Path

import pytest

from advisor.effects import Batch as Portion
from advisor.effects import PublishAdvice, PublishState
from tests.page.shop import Shop, a_plant, a_state, an_advice, token_of, words_of


@pytest.fixture
def three(tmp_path: Path):
    """Three sumps: the last wants most, the first a little, the one between nothing."""
    shop = Shop(tmp_path, a_plant(tmp_path, sumps=3))
    wants = {"mill-07": (Portion(1, 5.0, 0.5),), "mill-09": (Portion(3, 8.0, 2.0),)}
    for name in shop.plant.sumps:
        shop.tell(PublishState(a_state(shop.plant, sump=name)), sump=name)
        advice = an_advice("top-up" if name in wants else "none", sump=name)
        if name in wants:
            advice = an_advice(sump=name, batches=wants[name])
        shop.tell(PublishAdvice(advice), sump=name)
    yield shop
    shop.close()


def test_nothing_to_do_is_said(shop: Shop):
    """A round without a stop is none."""
    shop.tell(PublishState(a_state(shop.plant)), PublishAdvice(an_advice("none")))
    with shop.client() as client:
        assert "Nothing to do on a round." in words_of(client.get("/round").text)


def test_stops_are_in_walking_order_and_the_load_is_added_up(three: Shop):
    """The order of the plant file; concentrate fetched once for all of them."""
    with three.client() as client:
        said = words_of(client.get("/round").text)
    assert "2 stops on this round." in said
    assert "6.5 L semi-a from drum-1 · 29 L water · 4 buckets" in said
    assert said.index("mill-07") < said.index("mill-09")
    assert "mill-08" not in said
    assert "Water first, then the concentrate into the water" in said


def test_one_tick_reports_all_that_a_sump_wanted(three: Shop):
    """With gloves on: one button a sump; what is done is taken off the load."""
    with three.client() as client:
        token = token_of(client.get("/round").text)
        answer = client.post("/round/mill-09", data={"token": token, "advice": "a-000001"})
        said = words_of(answer.text)
    (message,) = three.sent
    body = json.loads(message.payload)
    assert message.topic.endswith("/mill-09/addition")
    assert (body["water_l"], body["concentrate_l"]) == (24.0, 6.0)
    assert "Reported." in said
    assert "500 mL semi-a from drum-1 · 5 L water · 1 bucket" in said
    assert "✓ done" in said


@pytest.mark.parametrize(
    ("connected", "advice", "words"),
    [(False, "a-000001", "Nothing was reported."), (True, "a-9", "nothing was reported.")],
)
def test_what_could_not_be_reported_is_not_ticked(
    three: Shop, connected: bool, advice: str, words: str
):
    """Without a broker, or on yesterday's card."""
    three.is_connected = connected
    with three.client() as client:
        token = token_of(client.get("/round").text)
        said = words_of(client.post("/round/mill-09", data={"token": token, "advice": advice}).text)
    assert words in said
    assert three.sent == []
    assert "✓" not in said
