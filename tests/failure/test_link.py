"""The link to a real broker: acknowledgements, callbacks that fail, subscriptions that change."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

import pytest

from agent.arrival import Arrival, Outgoing
from agent.broker import MISTAKES, BrokerLink
from agent.broker_client import Session
from agent.clock import ManualClock
from agent.errors import BrokerError
from agent.inbox import Inbox, Item, Token
from agent.plant.plant import BrokerSettings
from tests.brokers import Mosquitto
from tests.clients import a_gateway
from tests.waiting import wait_until

pytestmark = pytest.mark.broker


class FailingInbox(Inbox):
    """An inbox that fails at one payload: stands for any mistake in a callback."""

    def put(self, arrival: Arrival, token: Token | None) -> bool:
        """Fail at the payload `bad`."""
        if arrival.payload == b"bad":
            raise RuntimeError("a mistake")
        return super().put(arrival, token)


@dataclass
class Ends:
    """A link with its inbox, and what came out of it so far."""

    link: BrokerLink
    inbox: Inbox
    items: list[Item] = field(default_factory=list)

    def receive(self, count: int) -> list[Item]:
        """Wait for so many items in all."""

        def enough() -> bool:
            self.items += self.inbox.take(1000, 0.0)
            return len(self.items) >= count

        wait_until(enough, f"{count} messages")
        return self.items

    @property
    def payloads(self) -> list[bytes]:
        """What was received."""
        return [item.payload for item, _ in self.items if isinstance(item, Arrival)]

    def acknowledge(self) -> None:
        """Acknowledge all that was received."""
        self.link.acknowledge([token for _, token in self.items if token is not None])


def a_bare_link(
    port: int,
    filters: tuple[str, ...] = ("in/#",),
    former: frozenset[str] = frozenset(),
    inbox: Inbox | None = None,
) -> BrokerLink:
    """A link of the client id `test` that is not started."""
    return BrokerLink(
        BrokerSettings(host="127.0.0.1", port=port, tls=False),
        None,
        Session(
            client_id="test",
            filters=filters,
            former_filters=former,
            online=Outgoing("status", b"online", retain=True),
            offline=Outgoing("status", b"offline", retain=True),
        ),
        inbox or Inbox(ManualClock(1000)),
    )


@contextmanager
def a_link(
    broker: Mosquitto,
    *filters: str,
    former: frozenset[str] = frozenset(),
    make_inbox: Callable[[ManualClock], Inbox] = Inbox,
) -> Iterator[Ends]:
    """A connected link of the client id `test`."""
    inbox = make_inbox(ManualClock(1000))
    link = a_bare_link(broker.port, filters or ("in/#",), former, inbox)
    link.start()
    assert link.wait_until_connected(10.0)
    try:
        yield Ends(link, inbox)
    finally:
        inbox.close()
        link.stop(2.0)


def test_what_was_not_acknowledged_comes_again_and_what_was_does_not(mosquitto: Mosquitto) -> None:
    """An acknowledgement is the agent's alone: nothing is acknowledged by having been received."""
    with a_gateway(mosquitto.port) as gateway:
        with a_link(mosquitto) as ends:
            for payload in ("1", "2", "3"):
                gateway.send("in/a", payload)
            items = ends.receive(3)
            first = items[0][1]
            assert first is not None
            ends.link.acknowledge([first])
        with a_link(mosquitto) as ends:
            items = ends.receive(2)
            gateway.send("in/a", "4")
            ends.receive(3)

            assert ends.payloads == [b"2", b"3", b"4"]
            assert [item.redelivered for item, _ in items if isinstance(item, Arrival)] == [
                True,
                True,
                False,
            ]


def test_acknowledgements_of_an_earlier_connection_are_dropped(mosquitto: Mosquitto) -> None:
    """After a reconnect numbers mean other messages: old tokens must not acknowledge those."""
    with a_gateway(mosquitto.port) as gateway, a_link(mosquitto) as ends:
        gateway.send("in/a", "1")
        old = ends.receive(1)[0][1]
        assert old is not None
        mosquitto.stop()
        wait_until(lambda: not ends.link.connected, "the loss of the connection")
        mosquitto.start()
        assert ends.link.wait_until_connected(10.0)
        again = ends.receive(2)[1][1]
        assert again is not None
        assert again.mid == old.mid
        ends.link.acknowledge([old])
        ends.link.stop(2.0)
        with a_link(mosquitto) as later:
            later.receive(1)

            assert later.payloads == [b"1"]


def test_acknowledgements_of_this_connection_count(mosquitto: Mosquitto) -> None:
    """The same with the new token: nothing comes again."""
    with a_gateway(mosquitto.port) as gateway, a_link(mosquitto) as ends:
        gateway.send("in/a", "1")
        ends.receive(1)
        mosquitto.stop()
        wait_until(lambda: not ends.link.connected, "the loss of the connection")
        mosquitto.start()
        assert ends.link.wait_until_connected(10.0)
        ends.receive(2)
        ends.acknowledge()
        ends.link.stop(2.0)
        with a_link(mosquitto) as later:
            gateway.send("in/a", "2")
            later.receive(1)

            assert later.payloads == [b"2"]


def test_a_mistake_in_a_callback_does_not_end_the_network_thread(
    mosquitto: Mosquitto, caplog: pytest.LogCaptureFixture
) -> None:
    """What comes after it is received; the message itself is not acknowledged and comes again."""
    with a_gateway(mosquitto.port) as gateway:
        with a_link(mosquitto, make_inbox=FailingInbox) as ends:
            for payload in ("1", "bad", "2"):
                gateway.send("in/a", payload)
            ends.receive(2)
            ends.acknowledge()
            ends.link.check()
            assert ends.payloads == [b"1", b"2"]
        with a_link(mosquitto) as ends:
            ends.receive(1)

            assert ends.payloads == [b"bad"]
    assert "mistake in a callback" in caplog.text


CALLBACKS = (
    "on_pre_connect",
    "on_connect",
    "on_connect_fail",
    "on_subscribe",
    "on_publish",
    "on_disconnect",
)


@pytest.mark.parametrize("name", CALLBACKS)
def test_a_mistake_in_any_other_callback_is_told(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, name: str
) -> None:
    """Connected and deaf is worse than ended: `check` raises, and the process begins anew."""

    def mistake(*_: object) -> None:
        raise RuntimeError("a mistake")

    monkeypatch.setattr(BrokerLink, f"_{name}", mistake)
    link = a_bare_link(1)
    callback = getattr(link._client, name)
    callback(link._client)

    with pytest.raises(BrokerError, match="for a mistake in millpond"):
        link.check()
    assert "mistake in a callback" in caplog.text


def test_messages_that_fail_without_end_are_told() -> None:
    """What fails stays with the broker; a hundred of them would be all that it lets wait."""
    link = a_bare_link(1)
    for _ in range(MISTAKES - 1):
        link._client.on_message()
    link.check()
    link._client.on_message()

    with pytest.raises(BrokerError, match="in whose receipt millpond failed"):
        link.check()


def test_topics_that_are_no_longer_wanted_are_given_up(mosquitto: Mosquitto) -> None:
    """A session outlives a change of the plant file: what it was subscribed to is taken back."""
    with a_gateway(mosquitto.port) as gateway:
        with a_link(mosquitto, "old/#", "kept/#"):
            pass
        with a_link(mosquitto, "kept/#", "new/#", former=frozenset({"old/#", "kept/#"})) as ends:
            gateway.send("new/a", "ready")
            ends.receive(1)
            for topic in ("old/a", "kept/a", "new/a"):
                gateway.send(topic, topic)
            ends.receive(3)

            assert ends.payloads == [b"ready", b"kept/a", b"new/a"]


def test_a_retained_message_comes_with_a_new_subscription_only(mosquitto: Mosquitto) -> None:
    """A resumed session is not told again what stands retained: that is no news."""
    with a_gateway(mosquitto.port) as gateway:
        gateway.send("in/a", "1", retain=True)
        gateway.wait()
        with a_link(mosquitto) as ends:
            [(item, _)] = ends.receive(1)
            assert isinstance(item, Arrival)
            assert item.retain
            ends.acknowledge()
        with a_link(mosquitto) as ends:
            gateway.send("in/a", "2")
            ends.receive(1)

            assert ends.payloads == [b"2"]


def test_a_dead_network_thread_is_noticed(mosquitto: Mosquitto) -> None:
    """Whoever looks after the link is told when its thread has ended."""
    with a_link(mosquitto) as ends:
        ends.link.check()
        ends.link.stop(2.0)

        with pytest.raises(BrokerError, match="the network thread has ended"):
            ends.link.check()
