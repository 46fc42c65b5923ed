"""paho's client, made quicker where it is slow: reading byte by byte, acknowledging one by one.

It leans on some private members of paho (`_create_socket`, `_ssl`, `_packet_queue`, `_in_packet`,
`_in_callback_mutex`, `_msgtime_mutex`, `_last_bytes_received`), which
`tests/agent/test_quick_client.py` holds to what is expected of them.
"""

import socket
import ssl
import time
from collections.abc import Iterable
from typing import Any

from paho.mqtt.client import PUBACK, Client, MQTTMessage
from paho.mqtt.enums import MQTTErrorCode

BUFFER = 65_536
PACKETS_AT_ONCE = 200
"""Packets that are read before the thread looks at what it has to write. [1]"""
VERDICT_S = 0.2
PUBLISH = 0x30
SHORTEST = 6
"""Bytes of the shortest PUBLISH that is looked at: header, length, topic of one letter, properties.
"""


class BufferedSocket:
    """A socket whose bytes are fetched many at a time; all else is the socket's own.

    Parameters
    ----------
    plain : socket.socket
        Not encrypted: an encrypted one buffers by itself.
    """

    def __init__(self, plain: socket.socket) -> None:
        self._plain = plain
        self._bytes = b""
        self._at = 0

    def recv(self, count: int) -> bytes:
        """Give up to `count` bytes; as a socket does, none at its end."""
        if self._at == len(self._bytes):
            self._bytes, self._at = b"", 0
            self._bytes = self._plain.recv(BUFFER)
        found = self._bytes[self._at : self._at + count]
        self._at += len(found)
        return found

    def pending(self) -> int:
        """How many bytes can be had without the network; paho asks before it waits."""
        return len(self._bytes) - self._at

    def publication(self) -> MQTTMessage | None:
        """Give the next packet, where it is a whole PUBLISH of the usual kind.

        That is one of QoS 0 or 1 without properties (MQTT 5.0, 3.3); of all else nothing is taken.
        """
        data, at = self._bytes, self._at
        if len(data) - at < SHORTEST or data[at] & 0xF4 != PUBLISH:
            return None
        length, place = data[at + 1], at + 2
        if length & 0x80:
            if data[place] & 0x80:
                return None
            length, place = (length & 0x7F) + (data[place] << 7), place + 1
        end, first = place + length, data[at]
        topic = place + 2 + (data[place] << 8) + data[place + 1]
        payload = topic + (3 if first & 0x02 else 1)
        if end > len(data) or payload > end or data[payload - 1]:
            return None
        message = MQTTMessage(topic=data[place + 2 : topic])
        message.dup, message.qos, message.retain = first & 8 != 0, first >> 1 & 3, first & 1 != 0
        if message.qos:
            message.mid = (data[topic] << 8) + data[topic + 1]
        message.payload = data[payload:end]
        self._at = end
        return message

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401  whatever a socket has
        return getattr(self._plain, name)


def await_verdict(encrypted: ssl.SSLSocket) -> None:
    """Give a server the time to refuse our certificate before anything is sent to it.

    In TLS 1.3 the client's handshake is over before the server has looked at its certificate
    (RFC 8446, 4.4): the refusal comes afterwards, and is lost if we write first to a connection
    that is closed already. A server that is content sends tickets, as a rule.

    Raises
    ------
    ssl.SSLError
        The refusal.
    """
    if encrypted.version() != "TLSv1.3":
        return
    encrypted.settimeout(VERDICT_S)
    try:
        encrypted.recv(1)  # no broker speaks before it is spoken to
    except (TimeoutError, ssl.SSLWantReadError):
        return


class QuickClient(Client):
    """A client for manual acknowledgement of a great many messages."""

    def ack_all(self, numbers: Iterable[int]) -> None:
        """Acknowledge messages of QoS 1 in one write."""
        packets = b"".join(b"\x40\x02" + number.to_bytes(2, "big") for number in numbers)
        if packets:
            self._packet_queue(PUBACK, packets, 0, 1)

    def loop_read(self, max_packets: int = 1) -> MQTTErrorCode:
        """Read what has been fetched, not only one packet."""
        result = super().loop_read(max_packets)
        for _ in range(PACKETS_AT_ONCE):
            plain = self._sock
            if result or not isinstance(plain, BufferedSocket) or not plain.pending():
                break
            message = None if self._in_packet["command"] else plain.publication()
            if message is None:
                result = super().loop_read(max_packets)
            else:
                self._receive(message)
        return result

    def _receive(self, message: MQTTMessage) -> None:
        """Do with a message what paho does, without asking for callbacks of single topics."""
        message.timestamp = time.monotonic()
        with self._msgtime_mutex:
            self._last_bytes_received = message.timestamp
        on_message = self.on_message
        if on_message is not None:
            with self._in_callback_mutex:
                on_message(self, self._userdata, message)

    def _create_socket(self) -> Any:  # noqa: ANN401  paho's own type of it is private
        """Connect; what is not encrypted gets a buffer."""
        made: Any = super()._create_socket()
        if not self._ssl:
            return BufferedSocket(made)
        await_verdict(made)
        return made
