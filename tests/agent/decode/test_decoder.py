"""Every topic leads to whoever can read it, and to nobody else."""

import pytest

from advisor.words import Signal
from agent.arrival import Arrival
from agent.decode.decoder import PAYLOAD_MAX, Decoder
from agent.decode.results import Reason, Refusal
from agent.messages.incoming import PLANT_MESSAGES, SUMP_MESSAGES, SUPPLY_MESSAGES
from agent.plant.plant import Sparkplug
from tests.bindings import NOW, PREFIX, a_plant, bound

OWN = [
    "agent",
    "mill-07/state",
    "mill-07/event",
    "mill-07/advice",
    "mill-07/setpoint",
    "mill-07/lease",
    "mill-07/alarm/level-low",
    "mill-07/alarm/signal-stale/brix",
    "alarm/feed-lost",
    "supply/drum-1/alarm/stock-low",
]


def matches(filter_: str, topic: str) -> bool:
    """Whether a filter with single-level wildcards matches a topic (MQTT 5.0, 4.7.1)."""
    parts, levels = filter_.split("/"), topic.split("/")
    return len(parts) == len(levels) and all(
        part in {"+", level} for part, level in zip(parts, levels, strict=True)
    )


def refusal(topic: str, payload: bytes = b"{}") -> Refusal:
    """The refusal of a message."""
    (piece,) = Decoder(a_plant(bound())).decode(Arrival(NOW, topic, payload))
    assert isinstance(piece, Refusal)
    return piece


def test_what_is_subscribed_to():
    """Each signal's topic once, then those on which people and stations speak."""
    decoder = Decoder(a_plant(bound(Signal.LEVEL, "a"), bound(Signal.PH, "a"), bound(topic="b")))

    assert decoder.filters == (
        "a",
        "b",
        *(f"{PREFIX}/+/{model.channel}" for model in SUMP_MESSAGES),
        *(f"{PREFIX}/supply/+/{model.channel}" for model in SUPPLY_MESSAGES),
        *(f"{PREFIX}/{model.channel}" for model in PLANT_MESSAGES),
    )


@pytest.mark.parametrize("topic", OWN)
def test_the_agent_does_not_hear_itself(topic):
    """No filter matches a topic of its own, and in a recording it is known as such."""
    decoder = Decoder(a_plant(bound()))

    assert not any(matches(filter_, f"{PREFIX}/{topic}") for filter_ in decoder.filters)
    assert decoder.is_own(f"{PREFIX}/{topic}")


@pytest.mark.parametrize(
    "topic",
    [
        "t",
        f"{PREFIX}/mill-07/check",
        f"{PREFIX}/mill-07/alarm-command",
        f"{PREFIX}/supply/drum-1/stock",
        f"{PREFIX}/mill-07",
        f"{PREFIX}x/mill-07/state",
        f"x/{PREFIX}/mill-07/state",
        "millpond/south/mill-07/state",
    ],
)
def test_what_others_say_is_not_its_own(topic):
    """Signals, people, stations, strangers, and another plant's agent."""
    assert not Decoder(a_plant(bound())).is_own(topic)


def test_a_signal_bound_under_the_prefix_is_a_signal():
    """A binding says what a topic is; its name does not."""
    topic = f"{PREFIX}/mill-07/state"
    decoder = Decoder(a_plant(bound(topic=topic)))

    assert not decoder.is_own(topic)
    assert not isinstance(decoder.decode(Arrival(NOW, topic, b"400"))[0], Refusal)


@pytest.mark.parametrize(
    ("topic", "reason", "words"),
    [
        ("elsewhere", Reason.UNKNOWN_TOPIC, PREFIX),
        ("T", Reason.UNKNOWN_TOPIC, ""),
        (f"{PREFIX}/mill-07/nonsense", Reason.UNKNOWN_TOPIC, "addition"),
        (f"{PREFIX}/mill-07/check/x", Reason.UNKNOWN_TOPIC, ""),
        (f"{PREFIX}/mill-99/check", Reason.UNKNOWN_SUMP, "'mill-99'; it has mill-07, mill-08"),
        (f"{PREFIX}//check", Reason.UNKNOWN_TOPIC, ""),
        (f"{PREFIX}/supply/drum-9/stock", Reason.UNKNOWN_SUPPLY, "'drum-9'; it has drum-1"),
        (f"{PREFIX}/mill\n\ud800/check", Reason.UNKNOWN_SUMP, ""),
    ],
)
def test_topics_that_lead_nowhere_are_refused(topic, reason, words):
    """One refusal that says what the plant file has."""
    assert refusal(topic).reason is reason
    assert words in refusal(topic).detail
    assert refusal(topic).detail.isprintable()


@pytest.mark.parametrize("topic", ["t", "elsewhere", f"{PREFIX}/mill-07/check"])
def test_an_oversized_payload_is_refused_unread(topic):
    """Whatever it is and wherever it comes; the largest allowed one is looked at."""
    assert refusal(topic, b"x" * (PAYLOAD_MAX + 1)).reason is Reason.OVERSIZED
    assert refusal(topic, b"x" * PAYLOAD_MAX).reason is not Reason.OVERSIZED


def test_a_signal_bound_through_sparkplug_has_no_topic_here():
    """It is not subscribed to and not in the way of the others."""
    place = Sparkplug(group="g", edge="e", device="d", metric="level")
    decoder = Decoder(a_plant(bound(topic=None, sparkplug=place), bound(Signal.BRIX)))

    assert decoder.filters[0] == "t"
    assert len(decoder.decode(Arrival(NOW, "t", b"7.9"))) == 1
