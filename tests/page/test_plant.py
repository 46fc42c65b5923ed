"""The plant at a glance: worst first, said in words, and up to date."""

from pathlib import Path

import pytest

from advisor.effects import PublishAdvice, PublishAlarm, PublishState
from advisor.words import DAY, HOUR, Quality, Signal
from tests.page.shop import NOW, Shop, a_plant, a_state, an_advice, an_alarm, words_of


def page(shop: Shop, path: str = "/", language: str = "en") -> str:
    """What a page says."""
    with shop.client() as client:
        answer = client.get(path, headers={"accept-language": language})
    assert answer.status_code == 200, answer.text
    return words_of(answer.text)


@pytest.fixture
def three(tmp_path: Path):
    """Three sumps."""
    shop = Shop(tmp_path, a_plant(tmp_path, sumps=3))
    yield shop
    shop.close()


def test_before_anything_is_told_the_page_says_so(shop: Shop):
    """A new plant has a page that waits, without a number on it."""
    said = page(shop)

    assert "Waiting for the first readings." in said
    assert "not known" in said


def test_the_first_sentence_says_how_many_sumps_need_something(three: Shop):
    """Who has ten seconds reads one line."""
    for name in three.plant.sumps:
        three.tell(PublishState(a_state(three.plant, sump=name)), sump=name)
    three.tell(PublishAdvice(an_advice("none")), sump="mill-07")
    assert "Nothing to do at the moment." in page(three)

    three.tell(PublishAdvice(an_advice(sump="mill-08")), sump="mill-08")
    assert "1 of 3 sumps needs something now." in page(three)


def test_what_to_pour_is_said_as_it_is_poured(shop: Shop):
    """Buckets, water first, in the order of pouring."""
    shop.tell(PublishState(a_state(shop.plant)), PublishAdvice(an_advice()))
    said = page(shop)

    assert "Pour 30 L" in said
    assert "3 buckets, each 8 L water, then 2 L concentrate" in said


def test_worst_comes_first(three: Shop):
    """To pour before to measure before what is well; an urgent alarm before a top-up."""
    for name in three.plant.sumps:
        three.tell(PublishState(a_state(three.plant, sump=name)), sump=name)
    three.tell(PublishAdvice(an_advice("none", next=None)), sump="mill-07")
    three.tell(PublishAdvice(an_advice(sump="mill-08")), sump="mill-08")
    three.tell(PublishAdvice(an_advice("check", sump="mill-09")), sump="mill-09")
    assert order(three) == ["mill-08", "mill-09", "mill-07"]

    three.tell(PublishAlarm(an_alarm()), sump="mill-07")
    assert order(three) == ["mill-07", "mill-08", "mill-09"]


def order(shop: Shop) -> list[str]:
    """Sumps in the order of the page."""
    return [card.plan.id for card in shop.office.cards()]


def test_an_alarm_that_was_put_aside_does_not_press(shop: Shop):
    """Shelved is shelved: it is not shown as something to do."""
    shop.tell(PublishState(a_state(shop.plant)), PublishAdvice(an_advice("none")))
    shop.tell(PublishAlarm(an_alarm(state="shelved")))

    assert "Nothing to do at the moment." in page(shop)


def test_level_and_concentration_are_told_with_their_span(shop: Shop):
    """Twice the sd, rounded to what it leaves meaning in."""
    shop.tell(PublishState(a_state(shop.plant)))
    said = page(shop)

    assert "312 ± 4 L" in said
    assert "7.6 ± 0.2 %" in said


@pytest.mark.parametrize(
    ("concentration", "word"),
    [(0.0762, "good"), (0.05, "too lean"), (0.061, "perhaps too lean"), (0.12, "too rich")],
)
def test_a_verdict_is_a_word(shop: Shop, concentration: float, word: str):
    """Colour is never the only sign, and what is not sure is said to be perhaps."""
    shop.tell(PublishState(a_state(shop.plant, 312.4, concentration)))

    assert f"% {word}" in page(shop) or f"▼ {word}" in page(shop) or f"▲ {word}" in page(shop)


def test_what_is_not_known_is_not_a_number(shop: Shop):
    """A sump whose concentration nothing tells says so."""
    shop.tell(PublishState(a_state(shop.plant, 312.4, None)))

    assert "Concentration not known" in page(shop)


def test_signals_that_cannot_be_trusted_are_named(shop: Shop):
    """Behind a number from a doubtful sensor stands a word of warning."""
    doubtful = {Signal.LEVEL: Quality.STALE, Signal.BRIX: Quality.SUSPECT}
    shop.tell(PublishState(a_state(shop.plant, qualities=doubtful)))
    said = page(shop)

    assert "level sensor silent" in said
    assert "refractometer doubtful" in said


@pytest.mark.parametrize(
    ("hours", "sd_h", "words"),
    [
        (5, 1.5, "Nothing until 11:00 give or take 3 hours"),
        (30, 1.5, "Nothing until tomorrow 12:00"),
        (-1, 2.0, "Nothing yet, a top-up is near"),
        (5, 400.0, "Nothing to do"),
    ],
)
def test_the_next_top_up_is_told_as_surely_as_it_is_known(
    shop: Shop, hours: int, sd_h: float, words: str
):
    """A time that nobody can plan by is not told."""
    coming = an_advice("none").next
    assert coming is not None
    due = type(coming)(at=NOW + hours * HOUR, sd_h=sd_h, strength=0.02)
    shop.tell(PublishState(a_state(shop.plant)), PublishAdvice(an_advice("none", next=due)))

    assert words in page(shop)


def test_the_same_in_german_and_in_gallons(shop: Shop):
    """Language from the browser, units from the settings; decimals as the language has them."""
    shop.tell(PublishState(a_state(shop.plant)), PublishAdvice(an_advice()))
    assert "30 L nachfüllen" in page(shop, language="de-AT,de;q=0.9,en;q=0.5")
    assert "7,6 ± 0,2 %" in page(shop, language="de")

    with shop.client() as client:
        client.cookies.set("millpond-wishes", "units=us&lang=en")
        said = words_of(client.get("/").text)
    assert "Pour 7 gal 118 fl oz" in said
    assert "82.5 ± 1.1 gal" in said or "83 ± 1 gal" in said


def test_finding_by_name_and_by_urgency(three: Shop):
    """Words of a name, in any order, and the groups of urgency."""
    for name in three.plant.sumps:
        three.tell(PublishState(a_state(three.plant, sump=name)), sump=name)
    three.tell(PublishAdvice(an_advice(sump="mill-08")), sump="mill-08")

    def found(query: str) -> set[str]:
        with three.client() as client:
            text = client.get(f"/?{query}").text
        return {name for name in three.plant.sumps if f'id="row-{name}"' in text}

    assert found("q=08") == {"mill-08"}
    assert found("q=MILL+semi") == {"mill-07", "mill-08", "mill-09"}
    assert found("q=nothing") == set()
    assert found("show=now") == {"mill-08"}
    assert found("show=nonsense") == set()


def test_a_restart_shows_what_stood_before_it(shop: Shop, tmp_path: Path):
    """What was told is read from the store; nobody waits for the next minute."""
    shop.tell(PublishState(a_state(shop.plant, at=NOW - DAY)), PublishAdvice(an_advice()))
    shop.close()
    again = Shop(tmp_path, shop.plant)

    assert "Pour 30 L" in page(again)
    assert len(again.office.live.sump("mill-07").trend) == 1
    again.close()
