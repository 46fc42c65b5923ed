"""paho's client, made quicker where it is slow: reading byte by byte, acknowledging one by one.

It leans on three private members of paho (`_create_socket`, `_ssl`, `_packet_queue`), which
`tests/agent/test_quick_client.py` holds to what is expected of them.
"""

import socket
import ssl
from collections.abc import Iterable
from typing import Any

from paho.mqtt.client import PUBACK, Client
from paho.mqtt.enums import MQTTErrorCode

BUFFER = 65_536
PACKETS_AT_ONCE = 200
"""Packets that are read before the thread looks at what it has to write. [1]"""
VERDICT_S = 0.2


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
            result = super().loop_read(max_packets)
        return result

    def _create_socket(self) -> Any:  # noqa: ANN401  paho's own type of it is private
        """Connect; what is not encrypted gets a buffer."""
        made: Any = super()._create_socket()
        if not self._ssl:
            return BufferedSocket(made)
        await_verdict(made)
        return made
