"""Restarts while signals are silent: what was told already is not raised again."""

import io

from advisor.estimate import SCHEMA
from advisor.words import HOUR
from agent.arrival import Arrival
from agent.recording import line_of, read_recording
from agent.replay import replay
from agent.store.ledger import Ledger
from tests.e2e.alarm_recordings import START, Recording, Replayed, a_plant

RESTARTS = (START + 2 * HOUR, START + 2 * HOUR + HOUR // 3)


def raised(recording: Recording, sumps: int = 1) -> list[str]:
    """Every alarm that asked for somebody, by two agents that were started anew in between."""
    plant, ledger = a_plant(sumps), Ledger.open(None, belief_schema=SCHEMA)
    topics: list[str] = []
    for begin, end in zip((0, *RESTARTS), (*RESTARTS, recording.now + 1), strict=True):
        lines = [line_of(item) for item in recording.items if begin <= item.at < end]
        out = io.BytesIO()
        replay(plant, ledger, read_recording(lines), out)
        topics += [
            message.topic.removeprefix("millpond/shop/")
            for message in read_recording(out.getvalue().splitlines())
            if isinstance(message, Arrival) and b'"state": "unacknowledged"' in spaced(message)
        ]
    ledger.close()
    return topics


def spaced(message: Arrival) -> bytes:
    """A payload with a blank behind each colon."""
    return message.payload.replace(b'":"', b'": "')


def test_a_silent_signal_is_not_missed_again():
    """One refractometer is silent throughout: one alarm, however often the agent starts."""
    record = Recording().hours(1).hours(2, mute=["brix"])

    assert raised(record) == ["mill-0/alarm/signal-stale/brix"]


def test_a_lost_feed_is_not_lost_again():
    """Four sumps are silent throughout: one alarm of the whole plant."""
    record = Recording(4).hours(1).hours(2, mute=["level", "brix", "running"]).hours(1)

    assert raised(record, 4) == ["alarm/feed-lost"]


def test_silence_that_began_while_nobody_listened_counts_from_the_start():
    """All is well at the restart but for the time in between: nothing is raised."""
    record = Recording().hours(1.9).hours(0.3, mute=["brix"]).hours(1)
    record.items = [item for item in record.items if not 1.9 * HOUR < item.at - START < 2 * HOUR]

    assert raised(record) == []


def test_it_is_over_once_the_signal_speaks_again():
    """After the restarts the refractometer comes back; without them all is the same."""
    record = Recording().hours(1).hours(2, mute=["brix"]).hours(1)

    assert raised(record) == ["mill-0/alarm/signal-stale/brix"]
    assert Replayed(record).states("mill-0/signal-stale/brix")[-1] == "returned-unacknowledged"
