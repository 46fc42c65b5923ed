"""How much of one topic is taken in: what floods is refused before anybody looks inside.

Each topic has an allowance that grows with the clock. It is wide enough for a gateway that comes
back with a week of readings, and what waited at the broker for an agent that was away costs
nothing; only a sender that keeps on faster than any sump changes runs out of it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from advisor.words import Instant
from agent.arrival import Arrival
from agent.decode.decoder import Decoder
from agent.decode.people import ORDER_CHANNEL, STOCK_CHANNEL, SUMP_CHANNELS
from agent.decode.results import Decoded, Reason, Refusal
from agent.decode.sparkplug import NAMESPACE
from agent.messages.incoming import (
    AdditionMessage,
    ChargeMessage,
    CheckMessage,
    DrainMessage,
    ServiceMessage,
)
from agent.plant.plant import Plant
from agent.refusals import refusal_of

TELL_EVERY: Instant = 10_000
"""A topic that floods is refused with words at most this often. [ms]"""


@dataclass(frozen=True, slots=True)
class Pace:
    """How much may come."""

    burst: float
    """Messages at once. [1]"""
    per_second: float
    """Messages for good. [1/s]"""


SENSOR = Pace(100_000.0, 10.0)
"""Of a signal's topic: at once a week of readings every 10 s (60 480) and half as many again."""
NODE = Pace(1_000_000.0, 200.0)
"""Of a Sparkplug edge node, with all of its devices."""
PERSON = Pace(100.0, 0.1)
"""Of a kind of report about one sump: each is worked into the balance, which takes milliseconds."""
SPEAKER = Pace(1_000.0, 1.0)
"""Of a topic on which a station answers, alarms are answered or stock is told."""
STRANGER = Pace(1_000.0, 10.0)
"""Of all topics together that the plant file does not know."""


REPORTS = frozenset(
    model.channel
    for model in (AdditionMessage, ChargeMessage, CheckMessage, DrainMessage, ServiceMessage)
)
"""Topics' last levels on which people report what the balance takes in."""


@dataclass(slots=True)
class Allowance:
    """How much of one topic may still come."""

    pace: Pace
    left: float
    at: Instant
    over: int = 0
    """Messages beyond it that nobody was told of yet. [1]"""
    told: Instant = -TELL_EVERY

    def spend(self, now: Instant) -> bool:
        """Take one message's worth, if there is as much."""
        if now > self.at:
            grown = self.left + (now - self.at) * 0.001 * self.pace.per_second
            self.left = min(self.pace.burst, grown)
            self.at = now
        if self.left < 1.0:
            return False
        self.left -= 1.0
        return True


class Throttle:
    """Stands before a decoder.

    Parameters
    ----------
    plant : Plant
        Whose topics there are.
    decoder : Decoder
        Reads what is not too much.
    """

    def __init__(self, plant: Plant, decoder: Decoder) -> None:
        self._decoder = decoder
        self._stranger = _fresh(STRANGER)
        self._by_topic = {
            b.topic: _fresh(SENSOR) for b in plant.bindings if b.topic is not None
        } | {topic: _fresh(_pace_of(topic)) for topic in _spoken(plant)}
        self._by_node = {
            (b.sparkplug.group, b.sparkplug.edge): _fresh(NODE)
            for b in plant.bindings
            if b.sparkplug is not None
        }

    def decode(self, arrival: Arrival) -> Sequence[Decoded]:
        """Read a message, or refuse it unread; what is refused is told in sums."""
        allowance = self.allowance_of(arrival.topic)
        if arrival.queued or allowance.spend(arrival.at):
            return self._decoder.decode(arrival)
        allowance.over += 1
        if arrival.at - allowance.told < TELL_EVERY:
            return ()
        count, allowance.over, allowance.told = allowance.over, 0, arrival.at
        return (_refused(arrival, count, allowance.pace),)

    def allowance_of(self, topic: str) -> Allowance:
        """Allowance that a topic's messages are taken from."""
        if topic in self._by_topic:
            return self._by_topic[topic]
        if topic.startswith(NAMESPACE):
            levels = topic.split("/", 4)
            if len(levels) > 3:
                return self._by_node.get((levels[1], levels[3]), self._stranger)
        return self._stranger


def _fresh(pace: Pace) -> Allowance:
    """Allowance that nobody has touched."""
    return Allowance(pace, pace.burst, -(1 << 62))


def _pace_of(topic: str) -> Pace:
    """How much may come on a topic on which somebody speaks."""
    return PERSON if topic.rpartition("/")[2] in REPORTS else SPEAKER


def _spoken(plant: Plant) -> list[str]:
    """Topics on which people and stations speak."""
    prefix = plant.prefix
    about = [f"{prefix}/{sump}/{channel}" for sump in plant.sumps for channel in SUMP_CHANNELS]
    about += [
        f"{prefix}/supply/{supply}/{channel}"
        for supply in plant.supplies
        for channel in (STOCK_CHANNEL, ORDER_CHANNEL)
    ]
    return [*about, f"{prefix}/{ORDER_CHANNEL}"]


def _refused(arrival: Arrival, count: int, pace: Pace) -> Refusal:
    """Say how many were too many."""
    most = f"{math.floor(pace.burst)} at once and {pace.per_second:g} a second for good"
    detail = (
        f"{count} messages more than the topic's share were left unread; expected at most {most}"
    )
    return refusal_of(arrival, Reason.TOO_MANY, detail)
