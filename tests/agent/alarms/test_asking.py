"""`millpond alarms` as typed: what is understood, what is refused, where things are away."""

import json
from pathlib import Path

import pytest

from agent.alarms.asking import OrderError, Typed, order_of, place_of
from agent.cli import main
from agent.embedded import free_port
from agent.instants import instant_of
from agent.store.batch import Batch
from agent.store.ledger import Ledger
from tests.agent.alarms.shop import a_shop
from tests.agent.alarms.test_listing import CHANGE
from tests.e2e.plant_north import write_plant

SHOP = a_shop(2)


def typed(about: str, alarm: str, **more: str) -> Typed:
    """An order to shelve, by Ann."""
    return Typed(**{"verb": "shelve", "about": about, "alarm": alarm, "by": "Ann"} | more)


@pytest.mark.parametrize(
    ("about", "alarm", "place"),
    [
        ("mill-0", "level-low", "mill-0"),
        ("supply/drum-1", "expired", "supply/drum-1"),
        ("-", "feed-lost", ""),
    ],
)
def test_an_order_is_about_a_sump_a_supply_or_the_plant(about, alarm, place):
    """Each has alarms of its own."""
    order = order_of(SHOP, typed(about, alarm))

    assert (order.about, order.body["alarm"], order.body["by"]) == (place, alarm, "Ann")


@pytest.mark.parametrize("until", ["8h", "480min", "0.3333d"])
def test_an_end_may_be_a_while_from_now(until):
    """Minutes, hours and days."""
    order = order_of(SHOP, typed("mill-0", "level-low", until=until))
    other = order_of(SHOP, typed("mill-0", "level-low", until="8 h"))

    assert abs(instant_of(order.body["until"]) - instant_of(other.body["until"])) < 30_000


def test_an_end_may_be_a_moment():
    """RFC 3339 with any offset, sent in UTC."""
    order = order_of(SHOP, typed("mill-0", "level-low", until="2026-03-02T15:00:00+01:00"))

    assert order.body["until"] == "2026-03-02T14:00:00Z"


@pytest.mark.parametrize(
    ("order", "said"),
    [
        (typed("mill-9", "level-low"), "did you mean mill-"),
        (typed("supply/drum-9", "expired"), "did you mean supply/drum-"),
        (typed("mill-0", "feed-lost"), "it is about something else"),
        (typed("-", "level-low"), "there are feed-lost, historian-behind"),
        (typed("mill-0", "level-lo"), "no alarm 'level-lo' here; there are level-low"),
        (typed("mill-0", "signal-stale", signal="smell"), "signal is 'smell'"),
        (typed("mill-0", "level-low", until="soon"), "or a while such as 90min, 8h, 2d"),
        (typed("mill-0", "level-low", by="A" * 65), "by is"),
    ],
)
def test_what_is_no_order_says_why_before_anything_is_sent(order, said):
    """The plant file knows sumps, supplies and alarms."""
    with pytest.raises(OrderError, match=said):
        order_of(SHOP, order)


def test_an_unknown_place_names_all_that_there_are():
    """Where nothing is near, everything is listed."""
    with pytest.raises(OrderError, match=r"mill-0, mill-1, supply/drum-1, supply/drum-2, and -"):
        place_of(SHOP, "zzzzzz")


@pytest.mark.parametrize("words", [[], ["acknowledge", "mill-07", "level-low", "--by", "Ann"]])
def test_a_broker_that_is_away_is_said_and_ends_with_one(words, tmp_path, capsys):
    """Listing and ordering alike, without a stack trace."""
    port = free_port()
    code = main(["alarms", str(write_plant(tmp_path, port)), *words])

    assert code == 1
    assert f"broker 127.0.0.1:{port} cannot be reached" in capsys.readouterr().err


def test_a_store_that_is_away_is_said(tmp_path, capsys):
    """History and figures ask the store, which the agent makes."""
    for what in ("--history", "--figures"):
        assert main(["alarms", str(write_plant(tmp_path, 1)), what]) == 1
        assert "has the agent of this plant run yet?" in capsys.readouterr().err


class TestFromTheStore:
    """History and figures of a store that an agent left."""

    @pytest.fixture
    def plant(self, tmp_path: Path) -> str:
        """A plant whose journal has one alarm."""
        path = write_plant(tmp_path, 1)
        ledger = Ledger.open(tmp_path / "north.db")
        ledger.commit(Batch(changes=[CHANGE], clock=CHANGE.at + 60_000))
        ledger.close()
        return str(path)

    def test_the_history_is_written_for_people_and_for_programs(self, plant, capsys):
        """The same lines in both forms."""
        assert main(["alarms", plant, "--history"]) == 0
        assert "mill-07  level-low  normal  ->  unacknowledged" in capsys.readouterr().out
        assert main(["alarms", plant, "--history", "--json"]) == 0
        (line,) = json.loads(capsys.readouterr().out)
        assert (line["about"], line["value"]) == ("mill-07", 171.6)

    def test_a_span_and_a_sump_pick_from_it(self, plant, capsys):
        """What is outside is left out."""
        for more in (["--from", "2026-03-03T00:00:00Z"], ["--sump", "-"]):
            assert main(["alarms", plant, "--history", *more]) == 0
            assert capsys.readouterr().out == "no alarm has changed\n"

    def test_the_figures_are_of_thirty_days_unless_somebody_says(self, plant, capsys):
        """One alarm in thirty days, beside the targets."""
        assert main(["alarms", plant, "--figures", "--json"]) == 0
        figures = json.loads(capsys.readouterr().out)

        assert figures["annunciated"] == 1
        assert figures["per_day"] == pytest.approx(1 / 30)
        assert figures["end"] == "2026-03-02T06:01:00.001Z"
        assert main(["alarms", plant, "--figures"]) == 0
        assert "alarms a day" in capsys.readouterr().out
