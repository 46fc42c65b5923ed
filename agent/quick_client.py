"""paho's client, made quicker where it is slow: reading byte by byte, acknowledging one by one.

It leans on three private members of paho (`_create_socket`, `_ssl`, `_packet_queue`), which
`tests/agent/test_quick_client.py` holds to what is expected of them.
"""

import socket
from collections.abc import Iterable
from typing import Any

from paho.mqtt.client import PUBACK, Client
from paho.mqtt.enums import MQTTErrorCode

BUFFER = 65_536
PACKETS_AT_ONCE = 200
"""Packets that are read before the thread looks at what it has to write. [1]"""


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

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401  whatever a socket has
        return getattr(self._plain, name)


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
            result = super().loop_read(max_packets)
        return result

    def _create_socket(self) -> Any:  # noqa: ANN401  paho's own type of it is private
        """Connect; what is not encrypted gets a buffer."""
        made = super()._create_socket()
        return made if self._ssl else BufferedSocket(made)  # type: ignore[arg-type]  # a socket then
