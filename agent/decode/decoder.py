"""Every message's way from its topic to whoever can read it."""

import re
from collections.abc import Iterable, Mapping, Sequence

from advisor.words import Instant
from agent.arrival import Arrival
from agent.decode.forms import Reader, reader_of
from agent.decode.people import (
    ORDER_CHANNEL,
    STOCK_CHANNEL,
    SUMP_CHANNELS,
    decode_plant_order,
    decode_stock,
    decode_sump_message,
    decode_supply_order,
)
from agent.decode.problem import PayloadError
from agent.decode.results import Decoded, NodeCommand, Reason
from agent.decode.sparkplug import NAMESPACE, SparkplugReader
from agent.plant.plant import Binding, Plant
from agent.refusals import refusal_of, shown

PAYLOAD_MAX = 64 * 1024
"""Larger payloads are refused before anybody looks inside. [B]"""


BIRTH_MAX = 256 * 1024
"""As `PAYLOAD_MAX`, of Sparkplug's: a birth lists every metric that there is. [B]"""


class Decoder:
    """Turns messages into samples, reports and refusals, whatever they may hold.

    Parameters
    ----------
    plant : Plant
        Which topics carry which signals, and the prefix under which people speak.

    Attributes
    ----------
    filters : tuple of str
        What to subscribe to: the signals' topics, then those on which people and stations speak.
        None of them matches a topic on which the agent itself speaks.
    """

    def __init__(self, plant: Plant) -> None:
        self._plant = plant
        self._readers = _readers(plant)
        self._sparkplug = SparkplugReader(
            [(b, plant.sumps[b.sump]) for b in plant.bindings if b.sparkplug is not None]
        )
        prefix = plant.prefix
        self.filters: tuple[str, ...] = (
            *self._readers,
            *self._sparkplug.filters,
            *(f"{prefix}/+/{channel}" for channel in SUMP_CHANNELS),
            f"{prefix}/supply/+/{STOCK_CHANNEL}",
            f"{prefix}/supply/+/{ORDER_CHANNEL}",
            f"{prefix}/{ORDER_CHANNEL}",
        )
        self._about_plant = f"{prefix}/{ORDER_CHANNEL}"
        start = re.escape(prefix)
        self._about_sump = re.compile(f"{start}/([^/]+)/({'|'.join(SUMP_CHANNELS)})")
        self._about_supply = re.compile(f"{start}/supply/([^/]+)/({STOCK_CHANNEL}|{ORDER_CHANNEL})")
        self._own = re.compile(
            f"{start}/(agent|[^/]+/(state|event|advice|setpoint|lease|alarm-answer|alarm/.+)"
            "|alarm-answer|alarm/.+|supply/[^/]+/(alarm-answer|alarm/.+))"
        )

    def decode(self, arrival: Arrival) -> Sequence[Decoded]:
        """Read one message. Never raises: what cannot be used comes back as a `Refusal`.

        Parameters
        ----------
        arrival : Arrival
            The message; relative times in it refer to its stamp.

        Returns
        -------
        sequence of Decoded
            In the order in which they should be taken in; never empty.
        """
        if arrival.topic.startswith(f"{NAMESPACE}/") and arrival.topic not in self._readers:
            return self._read_sparkplug(arrival)
        if len(arrival.payload) > PAYLOAD_MAX:
            detail = f"{len(arrival.payload)} bytes; expected at most {PAYLOAD_MAX}"
            return (refusal_of(arrival, Reason.OVERSIZED, detail),)
        try:
            read = self._readers.get(arrival.topic)
            return self._read_said(arrival) if read is None else read(arrival)
        except PayloadError as error:
            return (refusal_of(arrival, error.reason, error.detail),)

    def begin(self, at: Instant) -> Sequence[NodeCommand]:
        """What is to be asked at a start, at a moment of the clock. [ms]"""
        return self._sparkplug.begin(at)

    def _read_sparkplug(self, arrival: Arrival) -> Sequence[Decoded]:
        """Read what an edge node says."""
        if len(arrival.payload) > BIRTH_MAX:
            detail = f"{len(arrival.payload)} bytes; expected at most {BIRTH_MAX}"
            return (refusal_of(arrival, Reason.OVERSIZED, detail),)
        try:
            return self._sparkplug.read(arrival)
        except PayloadError as error:
            return (refusal_of(arrival, error.reason, error.detail),)

    def is_own(self, topic: str) -> bool:
        """Whether the agent itself speaks on a topic: such a message in a recording is no news."""
        return topic not in self._readers and self._own.fullmatch(topic) is not None

    def _read_said(self, arrival: Arrival) -> Sequence[Decoded]:
        """Read what a person or a station says."""
        match = self._about_sump.fullmatch(arrival.topic)
        if match is not None:
            return self._read_about_sump(arrival, *match.groups())
        match = self._about_supply.fullmatch(arrival.topic)
        if match is not None:
            return self._read_about_supply(arrival, *match.groups())
        if arrival.topic == self._about_plant:
            return (decode_plant_order(arrival),)
        raise PayloadError(
            Reason.UNKNOWN_TOPIC,
            "no signal is bound to this topic, and nobody speaks on it; expected one of the "
            f"plant file's topics, or {self._plant.prefix}/SUMP/ and {', '.join(SUMP_CHANNELS)}",
        )

    def _read_about_sump(self, arrival: Arrival, name: str, channel: str) -> Sequence[Decoded]:
        """Read what is said about one sump."""
        sump = self._plant.sumps.get(name)
        if sump is None:
            raise PayloadError(Reason.UNKNOWN_SUMP, _unknown("sump", name, self._plant.sumps))
        try:
            return (decode_sump_message(arrival, channel, sump),)
        except PayloadError as error:
            return (refusal_of(arrival, error.reason, error.detail, sump=name),)

    def _read_about_supply(self, arrival: Arrival, name: str, channel: str) -> Sequence[Decoded]:
        """Read what is said about one supply."""
        if name not in self._plant.supplies:
            raise PayloadError(
                Reason.UNKNOWN_SUPPLY, _unknown("supply", name, self._plant.supplies)
            )
        if channel == ORDER_CHANNEL:
            return (decode_supply_order(arrival, name),)
        return (decode_stock(arrival, name),)


def _readers(plant: Plant) -> dict[str, Reader]:
    """Reader of each topic that carries signals; Sparkplug's signals have none of their own."""
    by_topic: dict[str, list[Binding]] = {}
    for binding in plant.bindings:
        if binding.topic is not None:
            by_topic.setdefault(binding.topic, []).append(binding)
    return {
        topic: reader_of([(binding, plant.sumps[binding.sump]) for binding in bindings])
        for topic, bindings in by_topic.items()
    }


def _unknown(kind: str, name: str, known: Mapping[str, object] | Iterable[str]) -> str:
    """Say that the plant file has no such sump or supply."""
    return (
        f"the plant file has no {kind} {shown(name)}; it has {', '.join(sorted(known)) or 'none'}"
    )
