"""The queue between the broker's thread and the worker: stamps, bounds, waiting."""

import threading

import pytest

from agent.arrival import Arrival, Tick
from agent.clock import ManualClock, TopicClock
from agent.inbox import HELD_MAX, Inbox, Item, Token
from tests.waiting import wait_until


def a_message(number: int) -> Arrival:
    """A message that has not been stamped yet."""
    return Arrival(0, "t", b"%d" % number)


def stamped(items: list[Item]) -> list[tuple[int, bytes | None]]:
    """Stamps and payloads; of a tick no payload."""
    return [(i.at, i.payload if isinstance(i, Arrival) else None) for i, _ in items]


def test_messages_get_the_clocks_time_and_keep_the_rest() -> None:
    """Everything else is handed through as it came."""
    inbox = Inbox(ManualClock(1000))
    token = Token(1, 7)

    assert inbox.put(Arrival(0, "t", b"1", retain=True, redelivered=True), token)
    assert inbox.take(10, 0.0) == [(Arrival(1000, "t", b"1", True, True), token)]


def test_stamps_never_fall_though_the_clock_is_set_back() -> None:
    """What arrives later is not earlier, whatever the machine's clock is told."""
    clock = ManualClock(2000)
    inbox = Inbox(clock, floor=1500)
    inbox.put(a_message(1), None)
    clock.set(1000)
    inbox.put(a_message(2), None)
    inbox.tick()
    clock.set(3000)
    inbox.put(a_message(3), None)

    assert stamped(inbox.take(10, 0.0)) == [(2000, b"1"), (2000, b"2"), (2000, None), (3000, b"3")]


def test_no_stamp_is_earlier_than_the_store() -> None:
    """A restarted agent goes on with the newest stamp that it had stored."""
    inbox = Inbox(ManualClock(1000), floor=5000)
    inbox.put(a_message(1), None)

    assert stamped(inbox.take(10, 0.0)) == [(5000, b"1")]


def test_before_the_topics_first_tick_messages_are_held_and_not_queued() -> None:
    """They get the first time that is known, in their order, before its tick."""
    inbox = Inbox(TopicClock())
    assert not inbox.put(a_message(1), Token(1, 1))
    assert not inbox.put(a_message(2), Token(1, 2))
    assert inbox.take(10, 0.0) == []
    inbox.tick_to(9000, Token(1, 3))
    assert inbox.put(a_message(4), Token(1, 4))

    items = inbox.take(10, 0.0)
    assert stamped(items) == [(9000, b"1"), (9000, b"2"), (9000, None), (9000, b"4")]
    assert [token for _, token in items] == [None, None, Token(1, 3), Token(1, 4)]


def test_of_too_many_held_messages_the_oldest_are_given_up_and_counted(
    caplog: pytest.LogCaptureFixture,
) -> None:
    """A clock that never ticks does not fill the memory."""
    inbox = Inbox(TopicClock())
    for number in range(HELD_MAX + 3):
        inbox.put(a_message(number), None)
    inbox.tick_to(9000, None)

    items = inbox.take(2 * HELD_MAX, 0.0)
    assert len(items) == HELD_MAX + 1
    assert stamped(items)[0] == (9000, b"3")
    assert "3 messages came before the clock's first tick" in caplog.text


def test_a_tick_that_goes_back_stands_still() -> None:
    """Its token is handed on all the same, so that it is acknowledged."""
    inbox = Inbox(TopicClock())
    inbox.tick_to(9000, None)
    inbox.tick_to(8000, Token(1, 2))

    assert inbox.take(10, 0.0) == [(Tick(9000), None), (Tick(9000), Token(1, 2))]


def test_a_full_inbox_holds_the_broker_and_stamps_afterwards() -> None:
    """Whoever brings messages waits; the stamp is that of the moment when there was room."""
    clock = ManualClock(1000)
    inbox = Inbox(clock, capacity=2)
    for number in range(2):
        inbox.put(a_message(number), None)
    bringer = threading.Thread(target=inbox.put, args=(a_message(2), None))
    bringer.start()
    wait_until(lambda: inbox._changed._waiters, "the bringer to wait")  # type: ignore[attr-defined]  # nothing else shows it
    inbox.tick()
    clock.set(5000)
    taken = inbox.take(1, 0.0)
    bringer.join(10.0)

    assert stamped(taken + inbox.take(10, 0.0)) == [(1000, b"0"), (1000, b"1"), (5000, b"2")]


def test_closing_lets_everybody_go() -> None:
    """What was not taken is left to the broker, which brings it again."""
    inbox = Inbox(ManualClock(1000), capacity=1)
    inbox.put(a_message(0), None)
    bringer = threading.Thread(target=inbox.put, args=(a_message(1), None))
    bringer.start()
    inbox.close()
    bringer.join(10.0)

    assert not bringer.is_alive()
    assert inbox.take(10, 10.0) == []


def test_no_more_than_the_limit_is_taken() -> None:
    """A batch is bounded; the rest stays in order."""
    inbox = Inbox(ManualClock(1000))
    for number in range(5):
        inbox.put(a_message(number), None)

    assert [payload for _, payload in stamped(inbox.take(3, 0.0))] == [b"0", b"1", b"2"]
    assert [payload for _, payload in stamped(inbox.take(3, 0.0))] == [b"3", b"4"]
