"""Accelerated time does not run away from an agent that follows it."""

from simulators.live import Audience

MINUTE = 60_000
AT = 1_772_431_200_000


def state() -> bytes:
    """A state that the agent told for 06:00."""
    return b'{"schema": 1, "sump": "a", "at": "2026-03-02T06:00:00Z"}'


def test_an_agent_that_was_never_heard_is_not_waited_for():
    """Without an agent the plant runs on."""
    assert not Audience().is_behind(AT + 60 * MINUTE, 4 * MINUTE)


def test_an_agent_further_behind_than_is_good_is_waited_for():
    """Four minutes behind is fine, more is not."""
    audience = Audience()
    audience.note(state())

    assert not audience.is_behind(AT + 4 * MINUTE, 4 * MINUTE)
    assert audience.is_behind(AT + 5 * MINUTE, 4 * MINUTE)


def test_a_silent_agent_is_waited_for_again_once_it_is_heard():
    """Giving up lasts until the next state; a withdrawn state says nothing."""
    audience = Audience()
    audience.note(state())
    audience.give_up()
    audience.note(b"")
    assert not audience.is_behind(AT + 9 * MINUTE, 4 * MINUTE)

    audience.note(state())

    assert audience.is_behind(AT + 9 * MINUTE, 4 * MINUTE)
