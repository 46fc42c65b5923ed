"""Other clients at the broker: one that publishes like a gateway, one that only listens."""

import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager

import paho.mqtt.client as mqtt

from tests.waiting import wait_until


class Gateway:
    """Publishes at QoS 1 and keeps what the broker has not confirmed, as good gateways do."""

    def __init__(self, port: int) -> None:
        self.confirmed = 0
        self._lock = threading.Lock()
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_publish = self._count
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        self.sent = 0

    def _count(self, *_: object) -> None:
        with self._lock:
            self.confirmed += 1

    def send(self, topic: str, payload: bytes | str, *, retain: bool = False, qos: int = 1) -> None:
        """Hand one message over."""
        self._client.publish(topic, payload, qos, retain)
        self.sent += qos

    def send_all(self, messages: Iterable[tuple[str, str]], *, pause_every: int = 50) -> None:
        """Hand over many, at a pace that lets others take their turn."""
        breath = threading.Event()
        for number, (topic, payload) in enumerate(messages, start=1):
            self.send(topic, payload)
            if number % pause_every == 0:
                breath.wait(0.02)

    def wait(self, timeout: float = 40.0) -> None:
        """Wait until the broker has confirmed all of it."""
        wait_until(lambda: self.confirmed >= self.sent, "confirmation of what was sent", timeout)

    def close(self) -> None:
        """Disconnect."""
        self._client.disconnect()
        self._client.loop_stop()


@contextmanager
def a_gateway(port: int) -> Iterator[Gateway]:
    """A connected gateway."""
    gateway = Gateway(port)
    try:
        yield gateway
    finally:
        gateway.close()


class Listener:
    """Keeps every message under a filter; from its beginning on, retained ones included."""

    def __init__(self, port: int, topic_filter: str) -> None:
        self.heard: list[tuple[str, bytes, bool]] = []
        """Topic, payload, retained."""
        self._ready = threading.Event()
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        self._client.reconnect_delay_set(1, 1)
        self._client.on_message = lambda _c, _u, m: self.heard.append(
            (m.topic, bytes(m.payload), m.retain)
        )
        self._client.on_connect = lambda client, *_: client.subscribe(topic_filter, qos=1)
        self._client.on_subscribe = lambda *_: self._ready.set()
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        assert self._ready.wait(40.0), "no answer to the subscription"

    def payloads(self, topic: str) -> list[bytes]:
        """What was heard on one topic."""
        return [payload for where, payload, _ in self.heard if where == topic]

    def close(self) -> None:
        """Disconnect."""
        self._client.disconnect()
        self._client.loop_stop()


@contextmanager
def a_listener(port: int, topic_filter: str) -> Iterator[Listener]:
    """A client that listens."""
    listener = Listener(port, topic_filter)
    try:
        yield listener
    finally:
        listener.close()
