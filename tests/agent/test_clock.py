"""Clocks: the machine's, a topic's, and the one for tests."""

import time

from agent.clock import ManualClock, TopicClock, WallClock


def test_the_wall_clock_is_the_machines() -> None:
    """Milliseconds since 1970 in UTC."""
    before = int(time.time() * 1000)  # noqa: TID251  it is what the clock is compared with
    now = WallClock().now()

    assert before - 1 <= now <= before + 60_000


def test_a_topics_clock_is_unknown_before_its_first_tick() -> None:
    """Nothing is stamped with a guess."""
    clock = TopicClock()

    assert clock.now() is None
    assert clock.advance(1000)
    assert clock.now() == 1000


def test_a_topics_clock_goes_on_where_the_store_ended() -> None:
    """After a restart the newest stamp of the store holds until a tick comes."""
    assert TopicClock(5000).now() == 5000


def test_a_topics_clock_never_goes_back() -> None:
    """A tick that is earlier is not followed; the same one again is fine."""
    clock = TopicClock(5000)

    assert not clock.advance(4999)
    assert clock.now() == 5000
    assert clock.advance(5000)
    assert clock.advance(5001)
    assert clock.now() == 5001


def test_a_manual_clock_stands_where_it_is_set() -> None:
    """Forward or back, as a test needs it."""
    clock = ManualClock(1000)
    clock.set(500)

    assert clock.now() == 500
