"""Deliveries that the broker repeats are known again by their number and content."""

from agent.arrival import Arrival
from agent.deliveries import KEPT, Deliveries, length_of
from agent.inbox import Token
from agent.store.batch import Batch
from agent.store.ledger import Ledger


def message(payload: bytes = b"1", *, again: bool = False) -> Arrival:
    """A message without a time of its own."""
    return Arrival(1000, "in/a", payload, redelivered=again)


def test_a_repeated_delivery_is_known_by_number_and_content() -> None:
    """Another number, another content or no mark of repetition make it another message."""
    deliveries = Deliveries()
    assert not deliveries.is_repeat(message(), Token(1, 7))

    assert deliveries.is_repeat(message(again=True), Token(2, 7))
    assert not deliveries.is_repeat(message(again=True), Token(2, 8))
    assert not deliveries.is_repeat(message(b"2", again=True), Token(2, 7))
    assert not deliveries.is_repeat(message(b"2"), Token(2, 7))


def test_numbers_of_another_session_say_nothing() -> None:
    """A broker that has forgotten the session counts from 1 again."""
    deliveries = Deliveries()
    deliveries.is_repeat(message(), Token(1, 7))

    assert not deliveries.is_repeat(message(again=True), Token(2, 7, session=1))
    assert deliveries.is_repeat(message(again=True), Token(3, 7, session=1))


def test_a_restart_knows_what_was_stored_and_nothing_more() -> None:
    """What the process took in and did not store is new to the next one."""
    ledger = Ledger.open(None)
    first = Deliveries(ledger.deliveries())
    first.is_repeat(message(), Token(1, 7))
    ledger.commit(Batch(deliveries=first.fresh()))
    first.is_repeat(message(), Token(1, 8))
    second = Deliveries(ledger.deliveries())

    assert second.is_repeat(message(again=True), Token(1, 7))
    assert not second.is_repeat(message(again=True), Token(1, 8))


def test_a_new_session_is_forgotten_over_a_restart_too() -> None:
    """What was stored before it names other messages."""
    first = Deliveries()
    first.is_repeat(message(), Token(1, 7))
    first.is_repeat(message(), Token(2, 9, session=1))
    second = Deliveries([first.fresh()])

    assert second.is_repeat(message(again=True), Token(1, 9))
    assert not second.is_repeat(message(again=True), Token(1, 7))


def test_memory_and_store_are_bounded() -> None:
    """More than the broker lets wait are remembered, and no more."""
    ledger = Ledger.open(None)
    deliveries = Deliveries()
    for start in range(0, 3 * KEPT, 500):
        for number in range(start, start + 500):
            deliveries.is_repeat(message(), Token(1, number + 1))
        ledger.commit(Batch(deliveries=deliveries.fresh()))

    stored = ledger.deliveries()
    assert KEPT <= sum(map(length_of, stored)) < KEPT + 1000
    again = Deliveries(stored)
    assert again.is_repeat(message(again=True), Token(1, 2 * KEPT + 1))
    assert not again.is_repeat(message(again=True), Token(1, KEPT - 1000))
