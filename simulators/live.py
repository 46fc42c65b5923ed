"""The plant as MQTT clients see it: publishes readings, hears advice, and gives out its clock."""

import json
import queue
import ssl
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO
from urllib.parse import urlsplit

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from simulators.errors import SimulatorError
from simulators.instants import SECOND, instant, rfc3339
from simulators.record import write_truth
from simulators.shop_floor import ShopFloor

_HEARD = ("advice", "setpoint", "lease", "state")
_MOST_UNCONFIRMED = 2000
_MOST_AHEAD_TICKS = 4
"""So far may accelerated time run ahead of what an agent has told; beyond, the broker's queues
would mix topics, and readings would seem to come from the future."""
_PATIENCE_S = 2.0
"""An agent that tells nothing for so long is not waited for."""
_CONNECT_S = 15.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LiveSettings:
    """How a scenario is played live."""

    broker: str
    """``mqtt://HOST:PORT`` or ``mqtts://HOST:PORT``."""
    clock_topic: str | None
    speed: float
    """Simulated over real time; 0: as fast as the broker takes it."""
    user: str | None = None
    password: str | None = None
    ca_file: Path | None = None
    endless: bool = False
    """Go on after the scenario's end."""


class Wire:
    """One MQTT 5 connection: publishes at QoS 1 and never runs ahead of the broker by much."""

    def __init__(self, settings: LiveSettings, prefix: str) -> None:
        self.heard: queue.SimpleQueue[tuple[str, bytes]] = queue.SimpleQueue()
        self._prefix = prefix
        self._connected = threading.Event()
        self._room = threading.Condition()
        self._unconfirmed = 0
        self._refused = ""
        client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        client.max_inflight_messages_set(500)
        client.on_connect = self._on_connect
        client.on_message = self._on_message
        client.on_publish = self._on_publish
        if settings.user is not None:
            client.username_pw_set(settings.user, settings.password)
        url = urlsplit(settings.broker)
        if url.scheme == "mqtts":
            client.tls_set(
                ca_certs=str(settings.ca_file) if settings.ca_file else None,
                cert_reqs=ssl.CERT_REQUIRED,
            )
        self._client = client
        self._host = url.hostname or "127.0.0.1"
        self._port = url.port or (8883 if url.scheme == "mqtts" else 1883)

    def open(self) -> None:
        """Connect, or say why not."""
        try:
            self._client.connect(self._host, self._port, keepalive=30)
        except OSError as error:
            raise SimulatorError(
                f"broker {self._host}:{self._port} cannot be reached: {error}"
            ) from error
        self._client.loop_start()
        if not self._connected.wait(_CONNECT_S) or self._refused:
            why = self._refused or f"no answer within {_CONNECT_S:g} s"
            raise SimulatorError(f"broker {self._host}:{self._port} did not let us in: {why}")

    def close(self) -> None:
        """Wait for what is on its way, then leave."""
        with self._room:
            self._room.wait_for(lambda: self._unconfirmed == 0, timeout=5.0)
        self._client.disconnect()
        self._client.loop_stop()

    def publish(self, topic: str, payload: bytes, *, retain: bool = False) -> None:
        """Publish at QoS 1; waits while too much is unconfirmed."""
        with self._room:
            self._room.wait_for(lambda: self._unconfirmed < _MOST_UNCONFIRMED)
            self._unconfirmed += 1
        self._client.publish(topic, payload, qos=1, retain=retain)

    def _on_connect(
        self,
        client: mqtt.Client,
        _userdata: object,
        _flags: mqtt.ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        """Ask for what is meant for people and stations."""
        if reason.is_failure:
            self._refused = str(reason)
        else:
            topics = [(f"{self._prefix}/+/{what}", 1) for what in _HEARD]
            client.subscribe(topics)
        self._connected.set()

    def _on_message(
        self, _client: mqtt.Client, _userdata: object, message: mqtt.MQTTMessage
    ) -> None:
        """Hand over to the thread that steps the plant."""
        self.heard.put((message.topic, bytes(message.payload)))

    def _on_publish(
        self,
        _client: mqtt.Client,
        _userdata: object,
        _mid: int,
        _reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        """The broker has one more."""
        with self._room:
            self._unconfirmed -= 1
            self._room.notify()


class Pace:
    """Keeps simulated time to a multiple of real time; what was missed is caught up."""

    def __init__(self, begin: int, speed: float, stop: threading.Event) -> None:
        self._begin = begin
        self._speed = speed
        self._stop = stop
        self._started = time.monotonic()

    def wait(self, now: int) -> None:
        """Wait until simulated time may be `now`, or somebody says stop."""
        if self._speed > 0.0:
            due = self._started + (now - self._begin) / SECOND / self._speed
            self._stop.wait(max(0.0, due - time.monotonic()))


class Audience:
    """How far an agent that follows the clock has come."""

    def __init__(self) -> None:
        self._told: int | None = None
        self._gone = False

    def note(self, payload: bytes) -> None:
        """Note the time of a state that the agent told."""
        if payload:
            at = instant(json.loads(payload)["at"])
            self._told = at if self._told is None else max(at, self._told)
            self._gone = False

    def is_behind(self, now: int, most: int) -> bool:
        """Whether the agent is heard, and further behind than is good."""
        return self._told is not None and not self._gone and now - self._told > most

    def give_up(self) -> None:
        """Wait no more until it is heard again."""
        self._gone = True


def play(
    floor: ShopFloor, settings: LiveSettings, stop: threading.Event, truth: TextIO | None = None
) -> int:
    """Publish a scenario until its end or until `stop` is set: number of messages.

    After each tick's messages the simulated time goes out on the clock topic, so that an agent on
    that clock has all readings of a tick before the tick.
    """
    wire = Wire(settings, floor.scenario.prefix)
    wire.open()
    pace = Pace(floor.now, settings.speed, stop)
    tick = floor.scenario.tick_s * SECOND
    audience = Audience()
    sent = 0
    try:
        if settings.clock_topic is not None:
            wire.publish(settings.clock_topic, rfc3339(floor.now).encode())
        while not stop.is_set() and (settings.endless or floor.now < floor.end):
            _hear(floor, wire, audience)
            for message in floor.step():
                wire.publish(message.topic, message.payload, retain=message.retain)
                sent += 1
            if settings.clock_topic is not None and floor.now % tick == 0:
                wire.publish(settings.clock_topic, rfc3339(floor.now).encode())
                _wait_for(audience, floor, wire, stop)
            if truth is not None:
                write_truth(floor, truth)
                truth.flush()
            else:
                floor.take_truth()
            pace.wait(floor.now)
    finally:
        wire.close()
    return sent


def _hear(floor: ShopFloor, wire: Wire, audience: Audience) -> None:
    """Give people and stations what the agent has published meanwhile."""
    while not wire.heard.empty():
        topic, payload = wire.heard.get()
        if topic.endswith("/state"):
            audience.note(payload)
        else:
            floor.hear(topic, payload)


def _wait_for(audience: Audience, floor: ShopFloor, wire: Wire, stop: threading.Event) -> None:
    """Let an agent that is behind catch up; one that says nothing any more is not waited for."""
    most = _MOST_AHEAD_TICKS * floor.scenario.tick_s * SECOND
    deadline = time.monotonic() + _PATIENCE_S
    while audience.is_behind(floor.now, most) and not stop.wait(0.005):
        if not wire.heard.empty():
            _hear(floor, wire, audience)
            deadline = time.monotonic() + _PATIENCE_S
        elif time.monotonic() > deadline:
            audience.give_up()
