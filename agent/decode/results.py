"""What a payload turned out to be: samples, reports, commands, or a refusal with its reason."""

from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple, TypeAlias

from advisor.words import AlarmOrder, AlarmVerb, Entry, Instant, Signal, StationAnswer
from agent.arrival import Outgoing

__all__ = [
    "AlarmOrder",
    "AlarmVerb",
    "Decoded",
    "NodeCommand",
    "Reason",
    "Refusal",
    "Report",
    "Sample",
    "Silence",
    "StationAnswer",
    "StockReport",
]


class Sample(NamedTuple):
    """A sensor's value in the signal's internal unit; `at` is the payload's time, if it has one.

    A tuple: one is made for every reading, at a fifth of what a frozen dataclass costs.
    """

    sump: str
    signal: Signal
    at: Instant | None
    value: float


@dataclass(frozen=True, slots=True)
class Report:
    """What a person or a station reported about a sump."""

    sump: str
    entry: Entry
    dated: bool = True
    """Whether the message itself said when."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StockReport:
    """What is left of a supply. [L]"""

    supply: str
    at: Instant
    id: str
    volume: float
    lot: str = ""
    expires: Instant | None = None
    by: str = ""


@dataclass(frozen=True, slots=True)
class Silence:
    """Whoever tells of a signal has taken leave: it is stale until something is heard again."""

    sump: str
    signal: Signal
    at: Instant


@dataclass(frozen=True, slots=True)
class NodeCommand:
    """Something to be said to an edge node; `None`: nothing now, it was said a moment ago."""

    outgoing: Outgoing | None


class Reason(StrEnum):
    """Why something was refused: also the label of its counter."""

    NOT_A_NUMBER = "not-a-number"
    WORD = "word"
    NOT_TEXT = "not-text"
    NOT_JSON = "not-json"
    POINTER = "pointer"
    SENML = "senml"
    UNIT = "unit"
    RANGE = "range"
    TIME = "time"
    FUTURE = "future"
    TOO_OLD = "too-old"
    RETAINED = "retained"
    EMPTY = "empty"
    OVERSIZED = "oversized"
    TOO_MANY = "too-many"
    UNKNOWN_TOPIC = "unknown-topic"
    UNKNOWN_SUMP = "unknown-sump"
    UNKNOWN_SUPPLY = "unknown-supply"
    SCHEMA = "schema"
    SPARKPLUG = "sparkplug"


@dataclass(frozen=True, slots=True)
class Refusal:
    """What could not be used, and why."""

    topic: str
    reason: Reason
    detail: str
    """Where, what was found, what was expected."""
    excerpt: str
    """The beginning of the payload, escaped; at most 120 characters."""
    sump: str | None = None


Decoded: TypeAlias = (
    Sample | Report | StockReport | StationAnswer | AlarmOrder | Refusal | Silence | NodeCommand
)
