"""The sender: in order, at least once, bounded, and forgetting only what was confirmed."""

import threading
from collections.abc import Callable, Iterator

import pytest

import agent.outbox
from agent.arrival import Outgoing
from agent.outbox import INFLIGHT, Sender
from agent.store.batch import Batch
from agent.store.ledger import Ledger
from tests.waiting import wait_until


class Broker:
    """A link whose broker answers when the test says so."""

    def __init__(self) -> None:
        self.on_confirmed: Callable[[int, int], None] = lambda _mid, _reason: None
        self.on_ready: Callable[[], None] = lambda: None
        self.connected = True
        self.at_once: int | None = None
        """Reason with which every message is answered even before `publish` returns."""
        self.given: list[Outgoing] = []

    def publish(self, message: Outgoing) -> int:
        """Take a message; its number is its place, from 1."""
        if "#" in message.topic:
            raise ValueError("wildcard")
        self.given.append(message)
        if self.at_once is not None:
            self.on_confirmed(len(self.given), self.at_once)
        return len(self.given)

    def answer(self, *numbers: int, reason: int = 0) -> None:
        """Confirm messages, or refuse them."""
        for number in numbers:
            self.on_confirmed(number, reason)


def messages(*topics: str) -> Batch:
    """A batch of messages."""
    return Batch(outgoing=[Outgoing(topic, b"", retain=False) for topic in topics])


@pytest.fixture
def ledger(tmp_path: object) -> Iterator[Ledger]:
    """An empty one on disk: the sender has its own thread."""
    ledger = Ledger.open(tmp_path / "store.db")  # type: ignore[operator]  # a Path
    yield ledger
    ledger.close()


@pytest.fixture
def broker() -> Broker:
    """A connected one that does not answer yet."""
    return Broker()


@pytest.fixture
def sender(ledger: Ledger, broker: Broker) -> Iterator[Sender]:
    """One that runs."""
    sender = Sender(ledger, broker)
    sender.start()
    yield sender
    broker.connected = False
    sender.stop(5.0)


def topics(broker: Broker) -> list[str]:
    """What the broker was given."""
    return [message.topic for message in broker.given]


def test_a_message_is_forgotten_when_it_is_confirmed_and_not_before(
    ledger: Ledger, broker: Broker, sender: Sender
) -> None:
    """Published is not arrived."""
    ledger.commit(messages("a", "b"))
    sender.wake()
    wait_until(lambda: topics(broker) == ["a", "b"], "both messages")
    assert len(ledger.unsent(9)) == 2
    broker.answer(2)
    wait_until(lambda: len(ledger.unsent(9)) == 1, "the confirmed one to be forgotten")

    assert [message.topic for _, message in ledger.unsent(9)] == ["a"]


def test_what_was_not_confirmed_is_sent_again_by_the_next_run(
    ledger: Ledger, broker: Broker
) -> None:
    """At least once, in the order of deciding."""
    first = Sender(ledger, broker)
    first.start()
    ledger.commit(messages("a", "b", "c"))
    first.wake()
    wait_until(lambda: len(broker.given) == 3, "three messages")
    broker.answer(1)
    first.stop(0.2)
    again = Broker()
    second = Sender(ledger, again)
    second.start()
    wait_until(lambda: topics(again) == ["b", "c"], "the two that were not confirmed")
    again.answer(1, 2)
    second.stop(5.0)

    assert ledger.unsent(9) == []


def test_nothing_is_handed_over_while_the_broker_is_away(
    ledger: Ledger, broker: Broker, sender: Sender
) -> None:
    """It waits on disk; at the next connection it goes out."""
    broker.connected = False
    ledger.commit(messages("a"))
    sender.wake()
    broker.connected = True
    assert broker.given == []
    broker.on_ready()
    wait_until(lambda: topics(broker) == ["a"], "the message")


def test_no_more_than_so_many_are_on_their_way(
    ledger: Ledger, broker: Broker, sender: Sender
) -> None:
    """A long outage's messages do not fill the memory; all of them arrive once, in order."""
    names = [f"t{number}" for number in range(3 * INFLIGHT)]
    ledger.commit(messages(*names))
    sender.wake()
    wait_until(lambda: len(broker.given) == INFLIGHT, "the first ones")
    broker.answer(*range(1, INFLIGHT + 1))
    wait_until(lambda: len(broker.given) == 2 * INFLIGHT, "more of them")
    broker.answer(*range(INFLIGHT + 1, 2 * INFLIGHT + 1))
    wait_until(lambda: len(broker.given) == 3 * INFLIGHT, "the rest")
    broker.answer(*range(2 * INFLIGHT + 1, 3 * INFLIGHT + 1))
    wait_until(lambda: ledger.unsent(1) == [], "an empty outbox")

    assert topics(broker) == names


def test_an_answer_that_comes_before_publishing_returns_counts(
    ledger: Ledger, broker: Broker, sender: Sender
) -> None:
    """The network thread may be faster than this one."""
    broker.at_once = 0
    ledger.commit(messages("a", "b"))
    sender.wake()
    wait_until(lambda: ledger.unsent(1) == [], "an empty outbox")

    assert topics(broker) == ["a", "b"]


def test_a_lasting_refusal_gives_the_message_up_and_says_so(
    ledger: Ledger, broker: Broker, sender: Sender, caplog: pytest.LogCaptureFixture
) -> None:
    """Without the right to a topic, trying again would go on for ever; the others go through."""
    ledger.commit(messages("a", "b"))
    sender.wake()
    wait_until(lambda: len(broker.given) == 2, "both messages")
    broker.answer(1, reason=0x87)
    broker.answer(2, reason=0x10)  # no subscriber: arrived all the same
    wait_until(lambda: ledger.unsent(1) == [], "an empty outbox")

    assert "a: the broker refuses it (not authorised)" in caplog.text
    assert "b:" not in caplog.text


def test_a_passing_refusal_is_tried_again(
    ledger: Ledger, broker: Broker, sender: Sender, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Quota exceeded, server busy: later, and nothing that was confirmed twice."""
    monkeypatch.setattr(agent.outbox, "RETRY_S", 0.05)
    ledger.commit(messages("a", "b"))
    sender.wake()
    wait_until(lambda: len(broker.given) == 2, "both messages")
    broker.answer(1, reason=0x97)
    broker.answer(2)
    wait_until(lambda: topics(broker) == ["a", "b", "a"], "the refused one again")
    broker.answer(3)
    wait_until(lambda: ledger.unsent(1) == [], "an empty outbox")


def test_a_topic_that_no_broker_takes_is_given_up(
    ledger: Ledger, broker: Broker, sender: Sender, caplog: pytest.LogCaptureFixture
) -> None:
    """It does not stand in the way of the others."""
    broker.at_once = 0
    ledger.commit(messages("a/#", "b"))
    sender.wake()
    wait_until(lambda: ledger.unsent(1) == [], "an empty outbox")

    assert topics(broker) == ["b"]
    assert "a/#: cannot be published, given up" in caplog.text


def test_stopping_waits_for_what_is_on_its_way(ledger: Ledger, broker: Broker) -> None:
    """What was committed last is sent and confirmed before the process ends."""
    sender = Sender(ledger, broker)
    sender.start()
    ledger.commit(messages("a"))
    stopper = threading.Thread(target=sender.stop, args=(10.0,))
    stopper.start()
    wait_until(lambda: topics(broker) == ["a"], "the message")
    broker.answer(1)
    stopper.join(10.0)

    assert ledger.unsent(1) == []


def test_a_store_that_fails_is_left_for_the_worker_to_see(ledger: Ledger, sender: Sender) -> None:
    """The thread does not vanish silently."""
    ledger._database.transact(lambda connection: connection.execute("DROP TABLE outbox"))
    sender.wake()
    wait_until(lambda: sender.failure is not None, "the failure")
