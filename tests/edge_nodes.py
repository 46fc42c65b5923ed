"""A Sparkplug B edge node for tests: its wire format byte by byte, with none of the agent's code.

Field numbers: Sparkplug 3.0.0 (ISO/IEC 20237:2023), 6.4.1, schema of Payload, Metric, PropertySet
and PropertyValue (from memory; equal to those of the package pysparkplug 0.6.1).
"""

import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.properties import Properties

INT16, INT32, FLOAT, DOUBLE, BOOLEAN, STRING, INT64 = 2, 3, 9, 10, 11, 12, 4


def varint(number: int) -> bytes:
    """A base-128 number."""
    out = bytearray()
    while number > 0x7F:
        out.append(number & 0x7F | 0x80)
        number >>= 7
    return bytes([*out, number])


def field(number: int, value: bytes | str | float, kind: str = "varint") -> bytes:
    """A field with its key."""
    if isinstance(value, str):
        value = value.encode()
    if isinstance(value, bytes):
        return varint(number << 3 | 2) + varint(len(value)) + value
    if kind == "double":
        return varint(number << 3 | 1) + struct.pack("<d", value)
    if kind == "float":
        return varint(number << 3 | 5) + struct.pack("<f", value)
    return varint(number << 3) + varint(int(value))


@dataclass(frozen=True)
class Metric:
    """What a birth says of a metric, or data with its value."""

    name: str
    value: Any
    datatype: int = DOUBLE
    alias: int | None = None
    unit: str | None = None
    at: int | None = None
    quality: int | None = None
    null: bool = False

    def encoded(self, *, by_alias: bool = False) -> bytes:
        """Its bytes; by alias, without name and data type."""
        out = b"" if by_alias else field(1, self.name)
        if self.alias is not None:
            out += field(2, self.alias)
        if self.at is not None:
            out += field(3, self.at)
        if not by_alias:
            out += field(4, self.datatype)
        if self.null:
            return out + field(7, 1)
        out += self._properties()
        if self.datatype in {FLOAT, DOUBLE}:
            kind = "float" if self.datatype == FLOAT else "double"
            return out + field(12 if kind == "float" else 13, self.value, kind)
        if self.datatype in {BOOLEAN, STRING}:
            return out + field(14 if self.datatype == BOOLEAN else 15, self.value)
        number, bits = (11, 64) if self.datatype == INT64 else (10, 32)
        return out + field(number, self.value & (1 << bits) - 1)

    def _properties(self) -> bytes:
        """Unit and quality as a set of properties."""
        keys, values = b"", b""
        if self.unit is not None:
            keys += field(1, "engUnit")
            values += field(2, field(1, STRING) + field(8, self.unit))
        if self.quality is not None:
            keys += field(1, "Quality")
            values += field(2, field(1, INT32) + field(3, self.quality))
        return field(9, keys + values) if keys else b""


def payload(
    metrics: Sequence[Metric], *, seq: int | None, at: int, by_alias: bool = False
) -> bytes:
    """A whole payload."""
    out = field(1, at)
    out += b"".join(field(2, metric.encoded(by_alias=by_alias)) for metric in metrics)
    return out if seq is None else out + field(3, seq)


class EdgeNode:
    """A node with one device that keeps the rules, and breaks them where a test asks for it.

    Parameters
    ----------
    publish : callable
        Gets topic and payload.
    now : callable
        The time in ms.
    """

    def __init__(
        self,
        publish: Callable[[str, bytes], None],
        now: Callable[[], int],
        metrics: Sequence[Metric],
        *,
        group: str = "works",
        edge: str = "gateway",
        device: str = "mill-07",
    ) -> None:
        self._publish = publish
        self._now = now
        self.metrics = list(metrics)
        self._place = group, edge, device
        self.seq = 0
        self.bd_seq = -1

    def topic(self, kind: str) -> str:
        """Topic of a kind of message."""
        group, edge, device = self._place
        return f"spBv1.0/{group}/{kind}/{edge}" + (f"/{device}" if kind[0] == "D" else "")

    def will(self) -> bytes:
        """Death of the life that begins next; its number goes up by one at each connection."""
        self.bd_seq = (self.bd_seq + 1) % 256
        return payload([Metric("bdSeq", self.bd_seq, INT64)], seq=None, at=self._now())

    def be_born(self) -> None:
        """Certificates of birth of node and device, with the present values."""
        self.seq = 0
        node = [
            Metric("bdSeq", self.bd_seq, INT64),
            Metric("Node Control/Rebirth", False, BOOLEAN),
        ]
        self._publish(self.topic("NBIRTH"), payload(node, seq=0, at=self._now()))
        self.send("DBIRTH", self.metrics)

    def send(self, kind: str, metrics: Sequence[Metric], *, by_alias: bool = False) -> None:
        """One message with the next number of the sequence."""
        self.seq = (self.seq + 1) % 256
        self._publish(
            self.topic(kind), payload(metrics, seq=self.seq, at=self._now(), by_alias=by_alias)
        )

    def die(self) -> None:
        """Death of the present life."""
        death = payload([Metric("bdSeq", self.bd_seq, INT64)], seq=None, at=self._now())
        self._publish(self.topic("NDEATH"), death)


class LiveNode:
    """An edge node at a real broker: births at each connection, and when it is asked to."""

    def __init__(self, port: int, now: Callable[[], int], metrics: Sequence[Metric]) -> None:
        self.asked = 0
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        self.node = EdgeNode(lambda t, p: self._client.publish(t, p, qos=0), now, metrics)
        self._client.will_set(self.node.topic("NDEATH"), self.node.will(), qos=1)
        self._client.on_connect = self._on_connect
        self._client.on_message = self._on_message
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def _on_connect(self, client: mqtt.Client, *_: object) -> None:
        client.subscribe(self.node.topic("NCMD"), qos=1)
        self.node.be_born()

    def _on_message(self, _c: mqtt.Client, _u: object, message: mqtt.MQTTMessage) -> None:
        if b"Node Control/Rebirth" in message.payload:
            self.asked += 1
            self.node.be_born()

    def break_off(self) -> None:
        """Be gone without a word: the broker tells the will."""
        self._client._sock.close()  # as a cut cable does
        self._client.loop_stop()

    def close(self) -> None:
        """Leave in order: the death first, then the connection."""
        self.node.die()
        self._client.disconnect(properties=Properties(14))
        self._client.loop_stop()
