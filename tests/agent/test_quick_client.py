"""The quicker client reads and acknowledges as paho's own does."""

import socket
from collections.abc import Iterator
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from paho.mqtt.client import Client, MQTTMessage, MQTTv5
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


def publication(
    topic: bytes, payload: bytes, *, qos: int, mid: int, flags: int, properties: bytes
) -> bytes:
    """A PUBLISH as MQTT 5.0, 3.3 has it."""
    number = mid.to_bytes(2, "big") if qos else b""
    body = len(topic).to_bytes(2, "big") + topic + number + properties + payload
    length, left = b"", len(body)
    while True:
        left, digit = left >> 7, left & 0x7F
        length += bytes([digit | (0x80 if left else 0)])
        if not left:
            return bytes([0x30 | flags | qos << 1]) + length + body


PUBLICATIONS = st.builds(
    publication,
    st.one_of(st.text(min_size=1, max_size=12).map(str.encode), st.just(b"\xff\xfe")),
    st.binary(max_size=300) | st.just(b"x" * 20_000),
    qos=st.sampled_from([0, 1]),
    mid=st.integers(1, 65_535),
    flags=st.sampled_from([0, 1, 8, 9]),
    properties=st.sampled_from([b"\0", b"\0", b"\x05\x09\0\x02ab"]),
)


def heard(client: Client, sent: bytes, cuts: list[int]) -> list[tuple[object, ...]]:
    """All that a client hands on of bytes that come in pieces."""
    ours, theirs = socket.socketpair()
    got: list[tuple[object, ...]] = []

    def on_message(_client: Client, _userdata: object, m: MQTTMessage) -> None:
        given = getattr(m.properties, "CorrelationData", None)
        got.append((m.mid, m._topic, m.payload, m.qos, m.retain, m.dup, given))

    client.on_message = on_message
    with ours, theirs:
        ours.setblocking(False)
        client._sock = BufferedSocket(ours) if isinstance(client, QuickClient) else ours  # type: ignore[assignment]  # as QuickClient makes it
        places = sorted({cut % (len(sent) + 1) for cut in cuts} | {0, len(sent)})
        for begin, end in pairwise(places):
            theirs.sendall(sent[begin:end])
            before = -1
            while before != len(got):
                before = len(got)
                for _ in range(40):
                    client.loop_read()
        client._sock = None
    return got


@settings(max_examples=60, deadline=None)
@given(st.lists(PUBLICATIONS, min_size=1, max_size=6), st.lists(st.integers(0, 10**6), max_size=4))
def test_messages_are_what_paho_makes_of_them(packets: list[bytes], cuts: list[int]) -> None:
    """Topic, payload, number, flags and properties are the same, however the bytes come."""
    sent = b"".join(packets)
    paho = heard(Client(CallbackAPIVersion.VERSION2, protocol=MQTTv5, manual_ack=True), sent, cuts)
    quick = QuickClient(CallbackAPIVersion.VERSION2, protocol=MQTTv5, manual_ack=True)

    assert heard(quick, sent, cuts) == paho
    assert len(paho) == len(packets)
