"""Which deliveries are stored already: so that one that the broker repeats is known again.

A message without a time of its own cannot be told from a repeat by what it says. Its number at the
broker tells: a delivery that is marked as repeated, of a number and content that are stored, is
the very one whose acknowledgement was lost on the way. Numbers count within one session.
"""

from collections.abc import Iterable
from struct import Struct
from zlib import crc32

from agent.arrival import Arrival
from agent.inbox import Token

KEPT = 10_000
"""Deliveries that are remembered: more than the broker lets wait for an acknowledgement. [1]"""

_ENTRY = Struct("<HI")
_NEW_SESSION = _ENTRY.pack(0, 0)
"""No message has the number 0: what stands before it is of another session."""


class Deliveries:
    """The newest deliveries by their number, and those that are to be stored.

    Parameters
    ----------
    stored : iterable of bytes
        What `fresh` gave, oldest first, as it was stored.
    """

    def __init__(self, stored: Iterable[bytes] = ()) -> None:
        self._known: dict[int, int] = {}
        self._session = 0
        self._fresh = bytearray()
        for number, content in _ENTRY.iter_unpack(b"".join(stored)):
            self._remember(number, content)

    def is_repeat(self, arrival: Arrival, token: Token) -> bool:
        """Whether this very delivery has been taken in; if not, it counts as taken in now."""
        if token.session != self._session:
            self._session = token.session
            self._known.clear()
            self._fresh += _NEW_SESSION
        content = crc32(arrival.payload, crc32(arrival.topic.encode("utf-8", "surrogateescape")))
        if arrival.redelivered and self._known.get(token.mid) == content:
            return True
        self._remember(token.mid, content)
        self._fresh += _ENTRY.pack(token.mid, content)
        return False

    def fresh(self) -> bytes:
        """Give what was taken in since the last call, to be stored with what came of it."""
        given, self._fresh = bytes(self._fresh), bytearray()
        return given

    def _remember(self, number: int, content: int) -> None:
        """Put a delivery behind the others; the oldest is forgotten."""
        if number == 0:
            self._known.clear()
            return
        self._known.pop(number, None)
        self._known[number] = content
        if len(self._known) > KEPT:
            del self._known[next(iter(self._known))]


def length_of(stored: bytes) -> int:
    """How many deliveries stand in what `Deliveries.fresh` gave. [1]"""
    return len(stored) // _ENTRY.size
