"""The quicker client reads and acknowledges as paho's own does."""

import socket
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st
from paho.mqtt.client import Client, MQTTv5
from paho.mqtt.enums import CallbackAPIVersion

from agent.quick_client import BufferedSocket, QuickClient


@pytest.fixture
def pair() -> Iterator[tuple[socket.socket, socket.socket]]:
    """Two connected sockets."""
    ours, theirs = socket.socketpair()
    with ours, theirs:
        yield ours, theirs


@given(st.binary(max_size=400), st.lists(st.integers(1, 50), min_size=1, max_size=100))
def test_bytes_come_in_their_order_whatever_is_asked(sent: bytes, counts: list[int]) -> None:
    """As many as asked for at most, none lost, none twice; the end is told as a socket tells it."""
    ours, theirs = socket.socketpair()
    with ours, theirs:
        theirs.sendall(sent)
        theirs.shutdown(socket.SHUT_WR)
        buffered = BufferedSocket(ours)
        got = b""
        for count in [*counts, *[50] * 10]:
            part = buffered.recv(count)
            assert len(part) <= count
            got += part
            assert buffered.pending() == 0 or part
        assert got == sent[: len(got)]
        assert len(got) >= min(len(sent), sum(counts))


def test_an_empty_socket_that_does_not_block_says_so(
    pair: tuple[socket.socket, socket.socket],
) -> None:
    """paho reads until then."""
    ours, theirs = pair
    buffered = BufferedSocket(ours)
    buffered.setblocking(False)
    with pytest.raises(BlockingIOError):
        buffered.recv(1)
    theirs.sendall(b"ab")

    assert buffered.recv(1) == b"a"
    assert buffered.pending() == 1
    assert buffered.fileno() == ours.fileno()


@pytest.mark.parametrize("numbers", [[1], [1, 2, 65_535], list(range(1, 300))])
def test_many_acknowledgements_are_the_same_bytes_as_one_by_one(numbers: list[int]) -> None:
    """MQTT 5.0, 3.4: without reason and properties a PUBACK has two bytes behind its header."""

    def packets(client: Client) -> bytes:
        return b"".join(bytes(packet["packet"]) for packet in client._out_packet)

    paho = Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5, manual_ack=True)
    for number in numbers:
        paho.ack(number, 1)
    quick = QuickClient(CallbackAPIVersion.VERSION2, protocol=MQTTv5, manual_ack=True)
    quick.ack_all(numbers)

    assert packets(quick) == packets(paho)
    assert len(quick._out_packet) == 1


def test_nothing_to_acknowledge_sends_nothing() -> None:
    """No empty write."""
    quick = QuickClient(CallbackAPIVersion.VERSION2, protocol=MQTTv5, manual_ack=True)
    quick.ack_all([])

    assert not quick._out_packet
