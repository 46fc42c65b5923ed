"""Alarms of the whole plant and of its supplies, through the pipeline."""

from dataclasses import replace

import pytest

from advisor.words import DAY, HOUR, MINUTE, Signal
from agent.instants import text_of
from agent.messages.outgoing import PlantAlarmMessage, SupplyAlarmMessage
from agent.store.batch import Batch
from tests.agent.alarms.shop import PREFIX, START, Shop, a_shop

EVERY = range(4)


class TestFeed:
    """All sumps that fall silent together."""

    def test_one_cause_is_one_alarm_and_its_consequences_name_it(self):
        """After an outage of all sumps one alarm asks for action; the silent signals follow it."""
        shop = Shop()
        shop.minutes(30)
        shop.sleep(30)

        asking = [a for a, state in shop.standing().items() if state == "unacknowledged"]
        assert asking == ["alarm/feed-lost"]
        body = shop.bodies("", "feed-lost")[-1]
        assert body["cause"] == "shop: 4 of 4 sumps silent, for 11 min."
        followers = {t: s for t, s in shop.standing().items() if t != "alarm/feed-lost"}
        assert set(followers.values()) == {"suppressed"}
        assert {f"mill-{n}/alarm/signal-stale/level" for n in EVERY} <= set(followers)
        assert shop.bodies("mill-0", "signal-stale/level")[-1]["because_of"] == "feed-lost"

    def test_nothing_floods_when_the_feed_comes_back(self):
        """The alarm ends, the suppressed ones go without a word to anybody."""
        shop = Shop()
        shop.minutes(30)
        shop.sleep(60)
        before = len(shop.told)
        shop.minutes(30)

        assert shop.states("", "feed-lost")[-1] == "returned-unacknowledged"
        assert shop.standing() == {"alarm/feed-lost": "returned-unacknowledged"}
        loud = [m for _, m in shop.told[before:] if b'"state":"unacknowledged"' in m.payload]
        assert loud == []

    def test_it_is_withdrawn_once_somebody_has_seen_it(self):
        """Acknowledged after its end it is normal: told once, and the retained message is gone."""
        shop = Shop()
        shop.minutes(30)
        shop.sleep(30)
        shop.minutes(5)
        shop.say("alarm-command", alarm="feed-lost", command="acknowledge", by="ann", id="o-1")

        assert shop.states("", "feed-lost")[-1] == "normal"
        assert "alarm/feed-lost" not in shop.standing()
        assert shop.answers() == [
            {
                "schema": 1,
                "id": "o-1",
                "sump": None,
                "supply": None,
                "alarm": "feed-lost",
                "signal": None,
                "command": "acknowledge",
                "by": "ann",
                "accepted": True,
                "reason": None,
            }
        ]

    def test_a_sump_that_stays_silent_is_told_ten_minutes_after_the_others_are_back(self):
        """What the outage covered up is an alarm of its own then."""
        shop = Shop()
        shop.minutes(30)
        shop.sleep(30)
        shop.minutes(5, silent=[2])
        assert shop.standing()["mill-2/alarm/signal-stale/level"] == "suppressed"

        shop.minutes(10, silent=[2])
        assert shop.standing()["mill-2/alarm/signal-stale/level"] == "unacknowledged"
        assert shop.standing()["mill-2/alarm/signal-stale/brix"] == "suppressed"
        assert "mill-1/alarm/signal-stale/level" not in shop.standing()

    def test_one_silent_sump_of_four_is_no_lost_feed(self):
        """Fewer than half of the sumps: an alarm of the sump."""
        shop = Shop()
        shop.minutes(30)
        shop.minutes(30, silent=[1])

        assert shop.bodies("", "feed-lost") == []
        assert shop.standing()["mill-1/alarm/signal-stale/level"] == "unacknowledged"

    def test_without_a_broker_the_feed_is_lost_after_a_minute(self):
        """The agent knows by itself that nothing can come, however few sumps there are."""
        shop = Shop(a_shop(1))
        shop.minutes(30)
        shop.pipeline.around.link(shop.now, connected=False)
        shop.sleep(3)
        assert shop.states("", "feed-lost") == ["unacknowledged"]
        assert shop.bodies("", "feed-lost")[0]["cause"] == "shop: no broker for 2 min."

        shop.pipeline.around.link(shop.now, connected=True)
        shop.minutes(5)
        assert shop.states("", "feed-lost")[-1] == "returned-unacknowledged"

    def test_what_stands_survives_a_restart(self):
        """Acknowledged before the process ended, acknowledged after it began again."""
        shop = Shop()
        shop.minutes(30)
        shop.sleep(30)
        shop.say("alarm-command", alarm="feed-lost", command="shelve", by="ann")
        shop.restart()
        shop.sleep(5)
        shop.say("alarm-command", alarm="feed-lost", command="unshelve", by="ben", id="o")

        assert shop.answers()[-1]["accepted"] is True
        changes = shop.ledger.changes(0, shop.now)
        lines = [(c.was.value, c.state.value, c.by) for c in changes if c.name == "feed-lost"]
        assert lines[:2] == [
            ("normal", "unacknowledged", None),
            ("unacknowledged", "shelved", "ann"),
        ]
        assert ("shelved", "unacknowledged", "ben") in lines or lines[-1][0] == "shelved"

    def test_it_can_be_switched_off(self):
        """A plant that does not want it has the silent signals as they are."""
        shop = Shop(a_shop(more="[alarms.feed-lost]\nenabled = false\n"))
        shop.minutes(30)
        shop.sleep(30)

        assert shop.bodies("", "feed-lost") == []


class TestHistorian:
    """What waits for the plant's database."""

    def test_it_is_told_once_the_oldest_has_waited_for_long_and_when_that_is_over(self):
        """Half an hour and ten minutes; an outage of a quarter of an hour is nobody's business."""
        shop = Shop(a_shop(1))
        shop.minutes(2)
        since = shop.now
        shop.pipeline.around.waiting = lambda: (500, since)
        shop.minutes(15)
        assert shop.bodies("", "historian-behind") == []

        shop.minutes(30)
        shop.pipeline.around.waiting = lambda: (0, None)
        shop.minutes(10)
        bodies = shop.bodies("", "historian-behind")
        assert [body["state"] for body in bodies] == ["unacknowledged", "returned-unacknowledged"]
        assert "500 records wait for the historian" in str(bodies[0]["cause"])


class TestSupplies:
    """Stock that runs out or grows old."""

    def test_stock_below_the_reorder_volume_is_told_at_once(self):
        """The plant file says 50 L; 49 L ask for an order, 200 L end it a minute later."""
        shop = Shop()
        shop.minutes(2)
        shop.say("supply/drum-1/stock", volume_l=51.0)
        assert shop.bodies("supply/drum-1", "stock-low") == []

        shop.say("supply/drum-1/stock", volume_l=49.0, by="ann")
        shop.minutes(1)
        shop.say("supply/drum-1/stock", volume_l=200.0)
        shop.minutes(3)

        assert shop.states("supply/drum-1", "stock-low") == [
            "unacknowledged",
            "returned-unacknowledged",
        ]
        body = shop.bodies("supply/drum-1", "stock-low")[0]
        assert body["cause"] == "Drum 1: 49 L are left, it is to be ordered at 50 L."
        SupplyAlarmMessage.model_validate(
            body | {"raised_at": "2026-03-02T06:02:00Z"}, strict=False
        )

    def test_a_lot_expires_on_the_day_that_its_label_says(self):
        """The end of the day in the report, by the clock, though nothing is said then."""
        shop = Shop()
        shop.minutes(2)
        shop.say("supply/drum-1/stock", volume_l=150.0, lot="L7", expires="2026-03-02")
        shop.now = START + 18 * HOUR - 2 * MINUTE
        shop.sleep(1)
        assert shop.bodies("supply/drum-1", "expired") == []

        shop.sleep(1)
        assert shop.states("supply/drum-1", "expired") == ["unacknowledged"]
        assert "lot L7 expired" in str(shop.bodies("supply/drum-1", "expired")[0]["cause"])

    def test_a_new_lot_ends_it(self):
        """The newest report counts, by the time at which somebody looked."""
        shop = Shop()
        shop.minutes(2)
        shop.say("supply/drum-1/stock", volume_l=150.0, expires=text_of(START - DAY))
        shop.minutes(2)
        shop.say("supply/drum-1/stock", volume_l=200.0, expires=text_of(START + 90 * DAY))
        shop.minutes(3)
        shop.say(
            "supply/drum-1/stock", volume_l=1.0, at=text_of(START - HOUR), id="old", expires=None
        )
        shop.minutes(3)

        assert shop.states("supply/drum-1", "expired") == [
            "unacknowledged",
            "returned-unacknowledged",
        ]
        assert shop.bodies("supply/drum-1", "stock-low") == []

    def test_an_empty_drum_cannot_be_too_old(self):
        """Nothing is left that anybody could pour."""
        shop = Shop()
        shop.minutes(2)
        shop.say("supply/drum-1/stock", volume_l=0.0, expires=text_of(START - DAY))
        shop.minutes(3)

        assert shop.states("supply/drum-1", "stock-low") == ["unacknowledged"]
        assert shop.bodies("supply/drum-1", "expired") == []

    def test_what_is_known_of_a_supply_survives_a_restart(self):
        """The alarm stands, and the lot still expires, though nobody says it again."""
        shop = Shop()
        shop.minutes(2)
        shop.say("supply/drum-1/stock", volume_l=40.0, expires=text_of(START + HOUR))
        shop.say("supply/drum-1/alarm-command", alarm="stock-low", command="acknowledge", by="ann")
        shop.restart()
        shop.minutes(70)

        assert shop.standing()["supply/drum-1/alarm/stock-low"] == "acknowledged"
        assert shop.standing()["supply/drum-1/alarm/expired"] == "unacknowledged"


class TestOrders:
    """Orders and their answers."""

    @pytest.mark.parametrize(
        ("topic", "alarm"),
        [
            ("alarm-command", "feed-lost"),
            ("supply/drum-1/alarm-command", "stock-low"),
            ("mill-0/alarm-command", "level-low"),
        ],
    )
    def test_an_order_that_does_not_apply_is_answered_with_the_reason(self, topic, alarm):
        """Nothing stands: the answer says so, and the refusal is kept."""
        shop = Shop()
        shop.minutes(2)
        shop.say(topic, alarm=alarm, command="acknowledge", by="ann", id="o-7")

        (answer,) = shop.answers()
        assert (answer["id"], answer["accepted"]) == ("o-7", False)
        assert f"{alarm} has nothing to acknowledge" in str(answer["reason"])
        assert len(shop.ledger.refusals(10)) == 1

    def test_an_order_without_an_id_is_not_answered(self):
        """Nobody waits for it."""
        shop = Shop()
        shop.minutes(2)
        shop.say("mill-0/alarm-command", alarm="level-low", command="shelve", by="ann")

        assert shop.answers() == []
        assert shop.standing()["mill-0/alarm/level-low"] == "shelved"

    def test_an_order_of_long_ago_is_answered_too(self):
        """Its time is refused; whoever waits hears why."""
        shop = Shop()
        shop.minutes(2)
        old = text_of(START - 30 * DAY)
        shop.say("mill-0/alarm-command", alarm="level-low", command="shelve", id="o", at=old)

        assert "allowed are 7" in str(shop.answers()[0]["reason"])

    def test_an_order_is_stored_with_its_message(self):
        """A process that ends right after the answer has carried it out."""
        shop = Shop()
        shop.minutes(2)
        shop.say("mill-0/alarm-command", alarm="level-low", command="out-of-service", by="ann")
        shop.restart()
        shop.say("mill-0/alarm-command", alarm="level-low", command="return-to-service", id="o")

        assert shop.answers()[0]["accepted"] is True


class TestJournal:
    """Every change that people see is a line in the store."""

    def test_lines_say_what_was_what_is_and_who_did_it(self):
        """Raised with value and limit, acknowledged by a person, returned by itself."""
        shop = Shop()
        shop.minutes(2)
        shop.say("mill-1/check", kind="nitrite", value=30.0)
        shop.say("mill-1/alarm-command", alarm="nitrite-high", command="acknowledge", by="ann")
        shop.minutes(1)
        shop.say("mill-1/check", kind="nitrite", value=3.0)
        shop.minutes(4)
        lines = shop.ledger.changes(START, shop.now, "mill-1")

        assert [(c.was.value, c.state.value, c.by) for c in lines] == [
            ("normal", "unacknowledged", None),
            ("unacknowledged", "acknowledged", "ann"),
            ("acknowledged", "normal", None),
        ]
        assert (lines[0].value, lines[0].limit, lines[0].unit) == (30.0, 20.0, "mg/L")
        assert lines[0].at == START + 2 * MINUTE

    def test_what_stood_before_a_restart_is_what_it_was(self):
        """The first line after a restart begins where the last one before ended."""
        shop = Shop()
        shop.minutes(2)
        shop.say("mill-1/check", kind="nitrite", value=30.0)
        shop.restart()
        shop.say("mill-1/alarm-command", alarm="nitrite-high", command="acknowledge", by="ann")

        assert [c.was.value for c in shop.ledger.changes(START, shop.now)] == [
            "normal",
            "unacknowledged",
        ]

    def test_lines_are_forgotten_after_five_years(self):
        """What is older is not kept, what is younger is."""
        shop = Shop()
        shop.minutes(2)
        shop.say("mill-1/check", kind="nitrite", value=30.0)
        (line,) = shop.ledger.changes(START, shop.now)
        for years in (4, 6):
            at = line.at + years * 365 * DAY
            shop.ledger.commit(Batch(changes=[replace(line, at=at)]))

        assert [c.at - line.at for c in shop.ledger.changes(0, 2 * START)] == [
            4 * 365 * DAY,
            6 * 365 * DAY,
        ]


def test_a_plant_of_us_units_reads_its_alarms_in_them():
    """Inches and gallons in the sentences; value, limit and unit stay metric."""
    shop = Shop(a_shop(1, plant='units = "us"'))
    shop.minutes(30)
    shop.drift("level", 110.0, 300)
    shop.minutes(60)
    body = shop.bodies("mill-0", "level-low")[0]

    assert " in (sd " in str(body["cause"])
    assert "the low limit is 7.09 in" in str(body["cause"])
    assert (body["limit"], body["unit"]) == (180.0, "mm")


def test_the_same_recording_gives_the_same_alarms():
    """Ids, times and sentences: byte for byte."""

    def run() -> list[object]:
        shop = Shop()
        shop.minutes(20)
        shop.sleep(20)
        shop.say("supply/drum-1/stock", volume_l=4.0)
        shop.minutes(10, silent=[1])
        return shop.told

    assert run() == run()


def test_bodies_are_as_their_models_say():
    """What goes out for the plant fits the published schema."""
    shop = Shop()
    shop.minutes(30)
    shop.sleep(30)
    payloads = [m.payload for _, m in shop.told if m.topic == f"{PREFIX}/alarm/feed-lost"]

    for payload in payloads:
        PlantAlarmMessage.model_validate_json(payload)
    assert payloads
    assert Signal.LEVEL in shop.plant.sumps["mill-0"].signals
