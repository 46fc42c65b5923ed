"""From an alarm in the pipeline to a message that waits in the store."""

from advisor.words import HOUR
from agent.instants import text_of
from agent.pipeline import Pipeline
from agent.store.notices import Notice
from tests.agent.alarms.shop import START, Shop, a_shop

TARGET = """
[[notify]]
id = "maintenance"
low = "hours"
"""


def a_notified_shop(more: str = TARGET) -> Shop:
    """A shop whose people are notified."""
    shop = Shop(a_shop(more=more))
    shop.pipeline.around.notifies = True
    return shop


def notices(shop: Shop, target: str = "maintenance") -> list[Notice]:
    """What waits for a target."""
    return [notice for _, notice in shop.ledger.notices.waiting(target)]


def test_an_alarm_becomes_a_message_within_the_minute():
    """Decided at the next whole minute, in the words of the alarm."""
    shop = a_notified_shop()
    shop.minutes(2)
    shop.say("mill-1/check", kind="nitrite", value=30.0)
    shop.minutes(3)

    (notice,) = notices(shop)
    assert notice.title == "medium: mill-1 nitrite-high"
    assert notice.at == START + 3 * 60_000
    assert "nitrite 30 mg/L" in notice.body


def test_an_outage_of_all_sumps_is_one_message():
    """The feed is lost: one alarm, its consequences counted, nothing when it comes back."""
    shop = a_notified_shop()
    shop.minutes(30)
    shop.sleep(40)
    shop.minutes(30)

    (notice,) = notices(shop)
    assert notice.title == "high: plant feed-lost"


def test_a_restart_tells_nothing_twice():
    """What was told is stored with the message that told it."""
    shop = a_notified_shop()
    shop.minutes(2)
    shop.say("mill-1/check", kind="nitrite", value=30.0)
    shop.minutes(2)
    shop.restart()
    shop.pipeline.around.notifies = True
    shop.minutes(5)

    assert len(notices(shop)) == 1


def test_what_was_decided_and_not_stored_is_decided_again():
    """A process that ends before its transaction has told nobody: the next one does."""
    shop = a_notified_shop()
    shop.minutes(2)
    shop.say("mill-1/check", kind="nitrite", value=30.0)
    lost = Pipeline(shop.plant, shop.ledger)
    lost.around.notifies = True
    shop.pipeline = lost
    shop.minutes(2)

    assert len(notices(shop)) == 1


def test_a_replay_notifies_nobody():
    """Nobody is sent what happened in a recording."""
    shop = Shop(a_shop(more=TARGET))
    shop.minutes(2)
    shop.say("mill-1/check", kind="nitrite", value=30.0)
    shop.minutes(5)

    assert notices(shop) == []


def test_quiet_hours_are_those_of_the_plant():
    """Medium at eight in the evening of a target of mornings waits for the next morning."""
    shop = a_notified_shop('[[notify]]\nid = "maintenance"\nhours = "05:00-12:00"\n')
    shop.minutes(2)
    shop.now = START + 14 * HOUR
    shop.say("mill-1/check", kind="nitrite", value=30.0, at=text_of(shop.now))
    shop.sleep(30)
    assert all(notice.priority == "high" for notice in notices(shop))

    shop.now = START + 22 * HOUR + 58 * 60_000
    shop.sleep(3)
    assert any("nitrite-high" in notice.body for notice in notices(shop))
