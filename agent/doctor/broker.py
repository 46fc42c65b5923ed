"""The broker as a client can know it: reachable, what it grants, how much it keeps for one away."""

import json
import ssl
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import Any

from paho.mqtt.client import Client, ConnectFlags, MQTTMessage
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from advisor.words import Instant
from agent.arrival import Arrival
from agent.broker import SESSION_EXPIRY_S
from agent.broker_client import HINTS, secure, visitor
from agent.broker_trouble import told
from agent.decode.decoder import Decoder
from agent.decode.results import Sample
from agent.doctor.finding import Found, span
from agent.messages.publish import agent_online
from agent.plant.plant import Plant
from agent.secrets import Credentials
from agent.version import VERSION

ANSWER_WITHIN_S = 10.0
PROBED = 1_500
"""Messages that are sent to a session that is away: half as many again as mosquitto keeps by
default. [1]"""
STILL_S = 6.0
"""So long nothing comes any more before the count is taken; a busy machine makes pauses. [s]"""
SKEW_MAX_S = 60.0
CERTIFICATE_S = 30 * 86_400.0
"""A certificate that ends sooner is worth a look. [s]"""


@dataclass
class _Meeting:
    """One connection and what came of it."""

    answered: threading.Event = field(default_factory=threading.Event)
    subscribed: threading.Event = field(default_factory=threading.Event)
    reason: ReasonCode | None = None
    properties: dict[str, Any] = field(default_factory=dict)
    present: bool = False
    grants: list[ReasonCode] = field(default_factory=list)


def look_at_broker(
    plant: Plant,
    credentials: Credentials | None,
    clock: Callable[[], Instant],
    *,
    listen_s: float,
    rate: float | None,
    probe: bool,
) -> Iterator[Found]:
    """Connect, read what is granted, listen for a while, and see how much is kept for one away.

    Parameters
    ----------
    plant : Plant
        The plant file's content.
    credentials : Credentials, optional
        User and password.
    clock : callable
        The machine's clock. [ms]
    listen_s : float
        How long to listen. [s]
    rate : float, optional
        Messages a second that the plant sends, as far as it is known. [1/s]
    probe : bool
        Whether to send messages to a session that is away.
    """
    name = f"{plant.broker.host}:{plant.broker.port}"
    own = agent_online(plant.prefix, VERSION, 0).topic
    decoder = Decoder(plant)
    heard: list[Arrival] = []

    def take(message: MQTTMessage) -> None:
        heard.append(Arrival(clock(), message.topic, bytes(message.payload), message.retain))

    client, meeting = _client(plant, credentials, f"{plant.broker.client_id}-doctor", take)
    try:
        said = _connect(client, meeting, plant, expiry=SESSION_EXPIRY_S, clean=True)
        if said is not None:
            yield Found("fault", "broker", f"{name} {said}")
            return
        yield Found("ok", "broker", f"{name} answers")
        yield from _granted(meeting.properties)
        yield from _certificate(client, clock())
        yield _rights(client, meeting, (*decoder.filters, own))
        threading.Event().wait(listen_s)
    finally:
        _leave(client)
    yield _speaker([arrival.payload for arrival in heard if arrival.topic == own])
    yield from _heard(decoder, [arrival for arrival in heard if arrival.topic != own], listen_s)
    if probe:
        yield _queue(plant, credentials, rate)


def _client(
    plant: Plant,
    credentials: Credentials | None,
    name: str,
    take: Callable[[MQTTMessage], None],
) -> tuple[Client, _Meeting]:
    """A client that notes what it is told."""
    meeting = _Meeting()
    client = visitor(plant.broker, client_id=name, reconnect_on_failure=False)
    client.max_inflight_messages_set(100)
    secure(client, plant.broker, credentials)

    def on_connect(
        _c: Client,
        _u: object,
        flags: ConnectFlags,
        reason: ReasonCode,
        properties: Properties | None,
    ) -> None:
        meeting.reason, meeting.present = reason, flags.session_present
        meeting.properties = {} if properties is None else dict(vars(properties))
        meeting.answered.set()

    def on_subscribe(
        _c: Client, _u: object, _mid: int, reasons: list[ReasonCode], _p: Properties | None
    ) -> None:
        meeting.grants = reasons
        meeting.subscribed.set()

    client.on_connect = on_connect
    client.on_subscribe = on_subscribe
    client.on_message = lambda _c, _u, message: take(message)
    return client, meeting


def _connect(
    client: Client, meeting: _Meeting, plant: Plant, *, expiry: int, clean: bool
) -> str | None:
    """Connect; what went wrong, if something did."""
    properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # not annotated in paho
    properties.SessionExpiryInterval = expiry
    meeting.answered.clear()
    try:
        client.connect(
            plant.broker.host, plant.broker.port, clean_start=clean, properties=properties
        )
    except OSError as error:
        return told(error, plant.broker)
    client.loop_start()
    if not meeting.answered.wait(ANSWER_WITHIN_S) or meeting.reason is None:
        return f"does not answer within {ANSWER_WITHIN_S:g} s"
    if meeting.reason.is_failure:
        hint = HINTS.get(meeting.reason.value)
        return f"refuses the connection: {hint or meeting.reason}"
    return None


def _leave(client: Client, *, keep_session: bool = False) -> None:
    """Disconnect, and end the session unless it is to be kept."""
    properties = None
    if not keep_session:
        properties = Properties(PacketTypes.DISCONNECT)  # type: ignore[no-untyped-call]  # as above
        properties.SessionExpiryInterval = 0
    client.disconnect(properties=properties)
    client.loop_stop()


def _granted(properties: dict[str, Any]) -> Iterator[Found]:
    """What the broker said when it accepted: absent means what was asked for, or no limit."""
    expiry = properties.get("SessionExpiryInterval", SESSION_EXPIRY_S)
    level = "ok" if expiry >= SESSION_EXPIRY_S else "fault"
    said = f"a session lives {span(expiry)} without its client; asked for {span(SESSION_EXPIRY_S)}"
    yield Found("fault" if level == "fault" else "ok", "session", said)
    if properties.get("MaximumQoS", 2) < 1:
        yield Found(
            "fault", "QoS", "it takes QoS 0 only: nothing is kept for an agent that is away"
        )
    if not properties.get("RetainAvailable", 1):
        yield Found("fault", "retain", "it keeps no retained messages: states are not seen later")
    receive = properties.get("ReceiveMaximum")
    size = properties.get("MaximumPacketSize")
    told = [f"it takes {receive} unconfirmed messages at once"] if receive else []
    told += [f"packets up to {size} B"] if size else []
    small = size is not None and size < 64 * 1024
    if told:
        yield Found("look" if small else "ok", "limits", ", ".join(told))


def _certificate(client: Client, now: Instant) -> Iterator[Found]:
    """Until when the broker's certificate is good. `now` is the machine's clock. [ms]"""
    line = client.socket()
    known = line.getpeercert() if isinstance(line, ssl.SSLSocket) else None
    if not known or "notAfter" not in known:
        return
    left = ssl.cert_time_to_seconds(str(known["notAfter"])) - now / 1000.0
    said = f"the broker's is good for {span(left)}"
    yield Found("ok" if left > CERTIFICATE_S else "look", "certificate", said)


def _speaker(payloads: Sequence[bytes]) -> Found:
    """What the running agent said of itself last, or its last will of it."""
    if not payloads:
        return Found("look", "status", "no agent has ever spoken here, or it may not be read")
    try:
        body = json.loads(payloads[-1])
        status, version, since = (str(body[key]) for key in ("status", "version", "since"))
    except (ValueError, KeyError, TypeError):
        return Found("fault", "status", "what stands there is not of an agent")
    if status == "online" and version != VERSION:
        return Found("look", "status", f"online with version {version}; this is {VERSION}")
    said = f"{status}, version {version}, its run began {since}"
    return Found("ok" if status == "online" else "look", "status", said)


def _rights(client: Client, meeting: _Meeting, filters: Sequence[str]) -> Found:
    """Whether the plant's topics may be subscribed to."""
    client.subscribe([(name, 0) for name in filters])
    if not meeting.subscribed.wait(ANSWER_WITHIN_S):
        return Found("fault", "topics", "no answer to the subscriptions")
    refused = [
        name for name, grant in zip(filters, meeting.grants, strict=False) if grant.is_failure
    ]
    if refused:
        return Found(
            "fault", "topics", f"{len(refused)} of {len(filters)} refused: {', '.join(refused[:5])}"
        )
    return Found("ok", "topics", f"{len(filters)} may be subscribed to")


def _heard(decoder: Decoder, heard: list[Arrival], listen_s: float) -> Iterator[Found]:
    """What came meanwhile, and how far its clocks are from this machine's."""
    live = [arrival for arrival in heard if not arrival.retain]
    yield Found(
        "ok" if live else "look",
        "listening",
        f"{len(live)} messages in {listen_s:g} s, {len(heard) - len(live)} retained ones",
    )
    ahead: dict[str, list[float]] = {}
    for arrival in live:
        for piece in decoder.decode(arrival):
            if isinstance(piece, Sample) and piece.at is not None:
                key = f"{piece.sump} {piece.signal}"
                ahead.setdefault(key, []).append((piece.at - arrival.at) / 1000.0)
    for key, values in sorted(ahead.items()):
        skew = median(values)
        if abs(skew) > SKEW_MAX_S:
            side = "ahead of" if skew > 0 else "behind"
            said = f"its times are {span(abs(skew))} {side} this machine's clock"
            yield Found("look", f"{key} clock", said)


def _queue(plant: Plant, credentials: Credentials | None, rate: float | None) -> Found:
    """Send messages to a session that is away, and count what it gets when it is back."""
    topic = f"{plant.prefix}/agent/doctor"
    count = 0

    def take(_message: MQTTMessage) -> None:
        nonlocal count
        count += 1

    name = f"{plant.broker.client_id}-doctor-away"
    away, meeting = _client(plant, credentials, name, take)
    _connect(away, meeting, plant, expiry=300, clean=True)
    away.subscribe(topic, qos=1)
    meeting.subscribed.wait(ANSWER_WITHIN_S)
    _leave(away, keep_session=True)
    confirmed = _send_many(plant, credentials, topic)
    back, meeting = _client(plant, credentials, name, take)
    _connect(back, meeting, plant, expiry=300, clean=False)
    _until_still(lambda: count, confirmed)
    _leave(back)
    return _kept(count, confirmed, rate)


def _send_many(plant: Plant, credentials: Credentials | None, topic: str) -> int:
    """Publish the probe's messages; how many the broker confirmed."""
    confirmed = 0

    def on_publish(*_: object) -> None:
        nonlocal confirmed
        confirmed += 1

    client, meeting = _client(
        plant, credentials, f"{plant.broker.client_id}-doctor-sends", lambda _message: None
    )
    client.on_publish = on_publish
    _connect(client, meeting, plant, expiry=0, clean=True)
    for number in range(PROBED):
        client.publish(topic, b"%d" % number, qos=1)
    _until_still(lambda: confirmed, PROBED)
    _leave(client)
    return confirmed


def _until_still(counted: Callable[[], int], enough: int) -> None:
    """Wait until a count is reached, or does not rise for `STILL_S`."""
    pause, before, still = threading.Event(), -1, 0
    while (now := counted()) < enough and still < STILL_S / 0.1:
        still = still + 1 if now == before else 0
        before = now
        pause.wait(0.1)


def _kept(count: int, sent: int, rate: float | None) -> Found:
    """Say what was kept, and how long that lasts."""
    if sent < PROBED:
        return Found("look", "queue", f"the probe could not be sent: {sent} of {PROBED} confirmed")
    lasts = (
        "" if not rate else f"; at {rate:.2g} messages/s that is {span(count / rate)} of absence"
    )
    if count < sent:
        said = (
            f"it keeps {count} of {sent} messages for a session that is away and tells nobody"
            f"{lasts}; raise its limit (mosquitto: max_queued_messages, max_queued_bytes)"
        )
        return Found("fault", "queue", said)
    return Found(
        "ok", "queue", f"all of {sent} messages are kept for a session that is away{lasts}"
    )
