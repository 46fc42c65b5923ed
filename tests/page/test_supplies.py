"""Supplies: what is left, for how long; a count, a new drum, a delivery; what must be seen to."""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from advisor.effects import PublishState
from advisor.plan import Supply
from advisor.words import DAY, HOUR, Account, Estimate, Instant
from agent.arrival import Arrival
from agent.decode.people import decode_stock
from agent.page.supplies_view import shelf, shelves
from agent.store.batch import Batch
from tests.page.shop import NOW, Shop, a_plant, a_state, token_of, words_of

DRUM = "drum-1"


class Store(Shop):
    """A shop whose broker also takes stock."""

    def store_sent(self, message) -> None:
        """Take in a count, or an entry."""
        if not message.topic.endswith("/stock"):
            super().store_sent(message)
            return
        supply = message.topic.split("/")[-2]
        found = decode_stock(Arrival(NOW, message.topic, message.payload), supply)
        self.commit(Batch(stock=[found]))

    def count(self, volume: float, at: Instant = NOW, **more: object) -> None:
        """Somebody has looked into the drum."""
        body = {"volume_l": volume, **more}
        found = decode_stock(Arrival(at, "x/stock", json.dumps(body).encode()), DRUM)
        self.commit(Batch(stock=[found]))

    def lose(self, water: float, concentrate: float, sd: float = 0.0) -> None:
        """A week in which the sump has lost so much a day. [L/d]"""
        for days in (7, 0):
            lost = Account(
                since=NOW - 20 * DAY,
                water=Estimate(water * (20 - days), 0.0),
                concentrate=Estimate(concentrate * (20 - days), sd * (1.0 if days == 0 else 0.0)),
            )
            state = a_state(self.plant, at=NOW - days * DAY, lost=lost)
            self.tell(PublishState(state))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """The example's plant: one drum of 200 L that is ordered at 40 L."""
    store = Store(tmp_path, a_plant(tmp_path))
    yield store
    store.close()


def test_a_drum_lasts_for_its_stock_over_what_its_sumps_take(store: Store):
    """60 L at 2 L/d last for 30 days, 14 L a week; by hand."""
    store.lose(20.0, 2.0)
    store.count(60.0)

    found = shelf(store.office, DRUM)
    assert found.weekly is not None
    assert found.weekly.value == pytest.approx(14.0)
    assert found.days is not None
    assert found.days.value == pytest.approx(30.0)
    assert found.verdict == "good"


def test_what_was_counted_goes_on_being_used(store: Store):
    """60 L five days ago, 2 L/d since: 50 L now, and less sure than it was."""
    store.lose(20.0, 2.0, sd=0.7)
    store.count(60.0, at=NOW - 5 * DAY)

    left = shelf(store.office, DRUM).left
    assert left is not None
    assert left.value == pytest.approx(50.0)
    assert left.sd > 0.0


@pytest.mark.parametrize(
    ("count", "verdict"),
    [
        ({"volume": 35.0}, "low"),
        ({"volume": 0.0}, "out"),
        ({"volume": 150.0}, "good"),
        ({"volume": 150.0, "expires": "2026-03-01"}, "expired"),
        ({"volume": 150.0, "expires": "2026-03-20"}, "expires"),
    ],
)
def test_what_must_be_seen_to_is_said(store: Store, count: dict[str, object], verdict: str):
    """Past its date, empty, to be ordered, near its date, enough."""
    store.count(**count)  # type: ignore[arg-type]  # a volume and a date
    assert shelf(store.office, DRUM).verdict == verdict


def test_the_worst_comes_first(tmp_path: Path):
    """A drum past its date, then one to be counted, then what comes from a line."""
    plant = a_plant(tmp_path)
    more = {
        "town": Supply(id="town", kind="water", hardness=180.0),
        "drum-2": Supply(id="drum-2", kind="drum", fluid="semi-a", volume=60.0),
    }
    store = Store(tmp_path, replace(plant, supplies={**more, **plant.supplies}))
    store.count(100.0, expires="2025-12-01")

    assert [each.supply.id for each in shelves(store.office)] == [DRUM, "drum-2", "town"]
    with store.client() as client:
        page = words_of(client.get("/supplies").text)
    store.close()
    assert "Do not use: past its date" in page
    assert "hardness 180 mg/L" in page


@pytest.mark.parametrize(
    ("fields", "volume"),
    [
        ({"form": "left", "volume": "63,5"}, 63.5),
        ({"form": "opened", "full": "200"}, 200.0),
        ({"form": "added", "volume": "25"}, 75.0),
        ({"form": "left", "volume": "10 gal"}, 37.854118),
    ],
)
def test_a_count_is_looked_at_and_saved(store: Store, fields: dict[str, str], volume: float):
    """What is left, a new one, what came on top; the message is anybody's, with lot and date."""
    store.count(50.0)
    with store.client() as client:
        page = client.get(f"/supplies/{DRUM}").text
        form = {**fields, "lot": "L-77", "expires": "2027-01-31", "token": token_of(page)}
        review = client.post(f"/supplies/{DRUM}", data=form).text
        assert not store.sent
        entry = review.partition('name="entry" value="')[2].partition('"')[0]
        client.post(f"/supplies/{DRUM}", data={**form, "entry": entry, "action": "save"})
        after = words_of(client.get("/supplies").text)

    [message] = store.sent
    body = json.loads(message.payload)
    assert message.topic == f"millpond/north/supply/{DRUM}/stock"
    assert body["volume_l"] == pytest.approx(volume)
    assert (body["lot"], body["expires"]) == ("L-77", "2027-01-31")
    assert "L-77" in after


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"form": "left", "volume": "plenty"}, "Enter an amount"),
        ({"form": "opened", "full": "-3"}, "Enter a number"),
        ({"form": "left", "volume": "5", "expires": "soon"}, "Enter a date"),
        ({"form": "left", "volume": "1e30"}, "It would be refused"),
    ],
)
def test_what_makes_no_sense_is_said_beside_its_field(
    store: Store, fields: dict[str, str], said: str
):
    """Nothing is sent."""
    with store.client() as client:
        token = token_of(client.get(f"/supplies/{DRUM}").text)
        answer = client.post(f"/supplies/{DRUM}", data={**fields, "token": token})
    assert answer.status_code == 422
    assert said in words_of(answer.text)
    assert not store.sent


def test_while_the_broker_is_away_nothing_is_said_to_be_saved(store: Store):
    """The form comes back, with what was typed."""
    store.is_connected = False
    with store.client() as client:
        token = token_of(client.get(f"/supplies/{DRUM}").text)
        form = {"form": "left", "volume": "5", "token": token, "entry": "page-1", "action": "save"}
        answer = client.post(f"/supplies/{DRUM}", data=form)
    assert answer.status_code == 503
    assert "Nothing was saved" in words_of(answer.text)


def test_what_nobody_knows_is_said_to_be_unknown(store: Store):
    """Never counted, no losses known: no days, no invented number."""
    with store.client() as client:
        page = words_of(client.get("/supplies").text)
        missing = client.get("/supplies/nowhere").status_code
    assert "Nobody has said how much is in it." in page
    assert "A week takes not known" in page
    assert missing == 404


def test_a_line_has_no_stock_to_enter(tmp_path: Path):
    """A water line is shown, and not counted."""
    plant = a_plant(tmp_path)
    lines = {"town": Supply(id="town", kind="water")}
    store = Store(tmp_path, replace(plant, supplies=lines))
    with store.client() as client:
        assert client.get("/supplies/town").status_code == 404
        assert "Comes from a line" in words_of(client.get("/supplies").text)
    store.close()


def test_hours_since_the_count_are_counted_too(store: Store):
    """12 hours at 2 L/d are one litre."""
    store.lose(20.0, 2.0)
    store.count(60.0, at=NOW - 12 * HOUR)
    left = shelf(store.office, DRUM).left
    assert left is not None
    assert left.value == pytest.approx(59.0)
