"""How a client reaches the broker: name, user, encryption, and callbacks that never raise."""

import logging
import secrets
import ssl
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, ParamSpec

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from agent.arrival import Outgoing
from agent.errors import BrokerError
from agent.plant.plant import BrokerSettings
from agent.quick_client import QuickClient
from agent.secrets import Credentials

LOG = logging.getLogger("millpond.broker")
Arguments = ParamSpec("Arguments")

INFLIGHT_OUT = 100
LONGEST_RECONNECT_S = 30

BAD_NAME, BAD_LOGIN, NOT_AUTHORISED, BANNED = 0x85, 0x86, 0x87, 0x8A
TAKEN_OVER = 0x8E
HINTS = {
    BAD_NAME: "it does not accept this client id",
    BAD_LOGIN: "user or password is wrong: see MILLPOND_BROKER_USER and MILLPOND_BROKER_PASSWORD",
    NOT_AUTHORISED: "this user may not connect: see MILLPOND_BROKER_USER and"
    " MILLPOND_BROKER_PASSWORD, and the broker's rights",
    BANNED: "this client is banned there",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """What the agent is to the broker."""

    client_id: str
    filters: tuple[str, ...]
    former_filters: frozenset[str] = frozenset()
    """What an earlier run subscribed to; what is no longer wanted is given up."""
    clock_topic: str | None = None
    online: Outgoing
    """Told at each connection."""
    offline: Outgoing
    """Told at a graceful end; the broker tells it as last will."""


def make_client(
    settings: BrokerSettings, credentials: Credentials | None, session: Session
) -> QuickClient:
    """Make the agent's client, with everything but callbacks that is set before connecting.

    Raises
    ------
    BrokerError
        If a certificate's file cannot be used.
    """
    client = QuickClient(
        CallbackAPIVersion.VERSION2,
        client_id=session.client_id,
        protocol=MQTTProtocolVersion.MQTTv5,
        manual_ack=True,
    )
    client.max_inflight_messages_set(INFLIGHT_OUT)
    # spread, so that the clients of a restarted broker do not all come at once
    client.reconnect_delay_set(1, LONGEST_RECONNECT_S - secrets.randbelow(10))
    client.will_set(session.offline.topic, session.offline.payload, qos=1, retain=True)
    secure(client, settings, credentials)
    return client


def visitor(
    settings: BrokerSettings, *, client_id: str = "", reconnect_on_failure: bool = True
) -> Client:
    """Make a client that is there for a while, and acknowledges by itself; not connected yet."""
    # over TLS it waits for the verdict of the server; unencrypted it wants manual acknowledgement
    kind = QuickClient if settings.tls else Client
    return kind(
        CallbackAPIVersion.VERSION2,
        client_id=client_id,
        protocol=MQTTProtocolVersion.MQTTv5,
        reconnect_on_failure=reconnect_on_failure,
    )


def secure(client: Client, settings: BrokerSettings, credentials: Credentials | None) -> None:
    """Give a client its user, and encryption that accepts only a broker good for its name.

    Raises
    ------
    BrokerError
        If a certificate's file cannot be used.
    """
    if credentials is not None:
        client.username_pw_set(credentials.user, credentials.password)
    if not settings.tls:
        return
    try:
        context = ssl.create_default_context(cafile=settings.ca_file)
        if settings.cert_file is not None:
            context.load_cert_chain(settings.cert_file, settings.key_file)
    except (OSError, ssl.SSLError) as error:
        names = [str(f) for f in (settings.ca_file, settings.cert_file, settings.key_file) if f]
        where = f"{settings.host}:{settings.port}"
        raise BrokerError(f"broker {where}: {', '.join(names)}: {error}") from error
    client.tls_set_context(context)


def guarded(
    callback: Callable[Arguments, None], on_mistake: Callable[[], None] = lambda: None
) -> Callable[Arguments, Any]:
    """Let nothing escape: paho's thread would end, and the process live on deaf.

    A message whose callback failed is not acknowledged, so that the next connection brings it.
    `on_mistake` is called where that is not enough.
    """

    def call(*args: Arguments.args, **kwargs: Arguments.kwargs) -> None:
        try:
            callback(*args, **kwargs)
        except Exception:
            LOG.exception("mistake in a callback of the broker's link")
            on_mistake()

    return call
