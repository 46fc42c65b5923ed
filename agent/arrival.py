"""What comes off the broker or out of a recording, before anybody has looked inside."""

from dataclasses import dataclass
from typing import NamedTuple

from advisor.words import Instant


class Arrival(NamedTuple):
    """One message with the time at which it arrived; a tuple, as one is made for every reading."""

    at: Instant
    topic: str
    payload: bytes
    retain: bool = False
    redelivered: bool = False
    """The broker says that it may have been delivered before."""
    queued: bool = False
    """It may have waited at the broker while the agent was away: nobody knows since when."""


@dataclass(frozen=True, slots=True)
class Tick:
    """The clock moved, nothing arrived."""

    at: Instant


@dataclass(frozen=True, slots=True)
class Outgoing:
    """One message to publish; an empty retained payload withdraws a retained one."""

    topic: str
    payload: bytes
    retain: bool
    qos: int = 1
