"""The link to the broker: a persistent MQTT 5 session, acknowledged by whoever stores.

It knows nothing of sumps. Callbacks run on paho's network thread and only hand over; nothing
escapes them, since an exception there would end that thread while the process lives on.
"""

import logging
import secrets
import sys
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from agent.arrival import Arrival, Outgoing
from agent.broker_client import HINTS, TAKEN_OVER, Session, guarded, make_client
from agent.broker_trouble import told
from agent.errors import BrokerError
from agent.inbox import Inbox, Token
from agent.instants import instant_of
from agent.plant.plant import BrokerSettings
from agent.quick_client import QuickClient
from agent.secrets import Credentials

LOG = logging.getLogger("millpond.broker")

KEEPALIVE_S = 60
SESSION_EXPIRY_S = 14 * 86_400
RECEIVE_MAXIMUM = 1_000
FILTERS_A_PACKET = 500
SUBSCRIBED = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_SEND_IF_NEW_SUB)
MISTAKES = 100
"""Messages in whose receipt the link may fail before it ends. [1]"""
UNREADABLE_TOPIC = "(topic that is not UTF-8)"

SHORT_CONNECTION_S = 5.0
SHORT_CONNECTIONS = 4
"""So many short connections in a row mean that another client has the same id: each of the two
throws the other out, and brokers do not always say so."""


class BrokerLink:
    """One client with its network thread.

    Parameters
    ----------
    settings : BrokerSettings
        Where the broker is.
    credentials : Credentials, optional
        User and password.
    session : Session
        Client id, subscriptions, last will.
    inbox : Inbox
        Gets what arrives.
    """

    def __init__(
        self,
        settings: BrokerSettings,
        credentials: Credentials | None,
        session: Session,
        inbox: Inbox,
    ) -> None:
        self._settings = settings
        self._session = session
        self._inbox = inbox
        self._epoch = 0
        self._epoch_lock = threading.Lock()
        self._connected = threading.Event()
        self._was_connected = False
        self._connected_at = 0.0
        self._short = 0
        self._resumed = False
        self._sessions = 0
        self._marker: bytes | None = None
        """Of the message of our own behind which nothing has waited at the broker."""
        self._mistakes = 0
        self._unanswered: set[int | None] = set()
        self._first_asked: int | None = None
        self._said = ""
        self._thread: threading.Thread | None = None
        self.fatal: BrokerError | None = None
        """Set when there is no use in trying on."""
        self.on_confirmed: Callable[[int, int], None] = lambda _mid, _reason: None
        """Called with number and reason code of each published message that the broker answered."""
        self.on_ready: Callable[[], None] = lambda: None
        """Called at each connection once messages can be published."""
        self._client = self._make_client(credentials)

    # --- for other threads ------------------------------------------------------------------------

    @property
    def address(self) -> str:
        """Host and port, for people."""
        return f"{self._settings.host}:{self._settings.port}"

    @property
    def connected(self) -> bool:
        """Whether messages can be published at the moment."""
        return self._connected.is_set()

    def wait_until_connected(self, timeout: float) -> bool:
        """Wait for a connection, at most `timeout` [s]; whether there is one."""
        return self._connected.wait(timeout)

    def start(self) -> None:
        """Start the network thread; a broker that is away is tried again, for ever."""
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]  # not annotated in paho
        properties.SessionExpiryInterval = SESSION_EXPIRY_S
        properties.ReceiveMaximum = RECEIVE_MAXIMUM
        self._client.connect_async(
            self._settings.host,
            self._settings.port,
            keepalive=KEEPALIVE_S,
            clean_start=False,
            properties=properties,
        )
        before = set(threading.enumerate())
        self._client.loop_start()
        started = [thread for thread in threading.enumerate() if thread not in before]
        self._thread = next(t for t in started if t.name.startswith("paho-mqtt-client"))

    def check(self) -> None:
        """See whether the link works or will work again by itself.

        Raises
        ------
        BrokerError
            If the broker refuses the agent, or the network thread has ended.
        """
        if self.fatal is not None:
            raise self.fatal
        if self._thread is not None and not self._thread.is_alive():
            raise BrokerError(f"broker {self.address}: the network thread has ended")

    def publish(self, message: Outgoing) -> int:
        """Hand a message to the network thread.

        Returns
        -------
        number : int
            `on_confirmed` is called with it, on this connection or a later one.

        Raises
        ------
        ValueError
            If no broker would take it: a wildcard in the topic, a payload beyond 256 MB.
        """
        return self._client.publish(message.topic, message.payload, message.qos, message.retain).mid

    def listen_to(self, filters: tuple[str, ...]) -> None:
        """Change what is subscribed to, now and at each later connection."""
        gone = set(self._session.filters).difference(filters)
        new = [name for name in filters if name not in self._session.filters]
        self._session = replace(
            self._session,
            filters=filters,
            former_filters=self._session.former_filters.union(gone).difference(filters),
        )
        if self.connected and gone:
            self._client.unsubscribe(sorted(gone))
        for start in range(0, len(new) if self.connected else 0, FILTERS_A_PACKET):
            part = new[start : start + FILTERS_A_PACKET]
            self._client.subscribe([(name, SUBSCRIBED) for name in part])

    def acknowledge(self, tokens: Iterable[Token]) -> None:
        """Tell the broker that messages are stored; those of an earlier connection come again."""
        with self._epoch_lock:
            self._client.ack_all(token.mid for token in tokens if token.epoch == self._epoch)

    def stop(self, timeout: float) -> None:
        """Say that the agent is offline, and disconnect; wait at most `timeout` [s]."""
        if self.connected and self.fatal is None:
            try:
                farewell = self._client.publish(
                    self._session.offline.topic, self._session.offline.payload, 1, retain=True
                )
                farewell.wait_for_publish(timeout)
            except (RuntimeError, ValueError) as error:
                LOG.warning("broker %s: could not say goodbye: %s", self.address, error)
        self._client.disconnect()
        if self._thread is not None:
            self._thread.join(timeout)

    # --- on the network thread --------------------------------------------------------------------

    def _make_client(self, credentials: Credentials | None) -> QuickClient:
        """Make the client with its callbacks."""
        client = make_client(self._settings, credentials, self._session)
        client.on_message = guarded(self._on_message, self._count_mistake)
        for name in (
            "on_pre_connect",
            "on_connect",
            "on_connect_fail",
            "on_subscribe",
            "on_publish",
            "on_disconnect",
        ):
            setattr(client, name, guarded(getattr(self, f"_{name}"), self._end_deaf))
        return client

    def _count_mistake(self) -> None:
        """A message that fails stays with the broker; too many would fill what it lets wait."""
        self._mistakes += 1
        if self._mistakes >= MISTAKES:
            self._give_up(f"has sent {MISTAKES} messages in whose receipt millpond failed")

    def _end_deaf(self) -> None:
        """End: without this callback's work the link may be connected and hear nothing."""
        self._give_up("is answered no more, for a mistake in millpond")

    def _raise_epoch(self) -> None:
        """From now on, acknowledgements of what came before are dropped."""
        with self._epoch_lock:
            self._epoch += 1

    def _on_pre_connect(self, _client: Client, _userdata: object) -> None:
        """A new connection begins: whatever number comes now is of that one."""
        self._raise_epoch()

    def _on_connect(
        self,
        client: Client,
        _userdata: object,
        flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        """The broker has answered: subscribe, or say why it refuses."""
        if reason.is_failure:
            self._refused(reason)
            return
        self._raise_epoch()
        self._was_connected = True
        self._connected_at = time.monotonic()
        self._resumed = flags.session_present
        self._sessions += not self._resumed
        self._marker = secrets.token_bytes(8) if self._resumed else None
        self._subscribe(client)

    def _subscribe(self, client: Client) -> None:
        """Subscribe to everything again: the plant file may have changed since the session began.

        Retained messages come with a new subscription only. The agent is not called online before
        the broker has answered: what is sent to it earlier would be lost.
        """
        wanted = [self._session.online.topic]
        if self._session.clock_topic is not None:
            wanted.append(self._session.clock_topic)
        wanted += self._session.filters
        given_up = sorted(self._session.former_filters.difference(wanted))
        if given_up:
            client.unsubscribe(given_up)
        numbers = [
            client.subscribe(
                [(name, SUBSCRIBED) for name in wanted[start : start + FILTERS_A_PACKET]]
            )[1]
            for start in range(0, len(wanted), FILTERS_A_PACKET)
        ]
        self._first_asked = numbers[0]
        self._unanswered = set(numbers)

    def _refused(self, reason: ReasonCode) -> None:
        """Say why the broker does not take the agent; give up if it never did in this run."""
        hint = HINTS.get(reason.value)
        self._say(f"refuses the connection: {hint or reason}", logging.ERROR)
        if hint is not None and not self._was_connected:
            self._give_up(f"refuses the connection: {hint}")

    def _give_up(self, why: str) -> None:
        """Stop trying; `check` tells it to the worker."""
        self.fatal = BrokerError(f"broker {self.address} {why}")
        self._client.disconnect()

    def _on_connect_fail(self, _client: Client, _userdata: object) -> None:
        """There was no answer at all."""
        self._short = 0
        error = sys.exc_info()[1]  # paho calls this while it handles the error
        self._say(f"{told(error, self._settings)}; trying again", logging.WARNING)

    def _on_disconnect(
        self,
        _client: Client,
        _userdata: object,
        _flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        """The connection is gone, and with it the numbers of what it brought."""
        self._raise_epoch()
        if self._connected.is_set():
            self._connected.clear()
            lasted = time.monotonic() - self._connected_at
            self._short = self._short + 1 if lasted < SHORT_CONNECTION_S else 0
        if reason.value == TAKEN_OVER or self._short >= SHORT_CONNECTIONS:
            self._give_up(
                f"ends each connection after moments: another client uses the id"
                f" {self._session.client_id}; is millpond running for this plant already?"
            )
        elif reason.is_failure:
            self._say(f"connection lost ({reason}); trying again", logging.WARNING)

    def _on_message(self, client: Client, _userdata: object, message: MQTTMessage) -> None:
        """Hand a message to the inbox, or a tick to its clock."""
        token = Token(self._epoch, message.mid, self._sessions) if message.qos else None
        try:
            topic = message.topic
        except UnicodeDecodeError:
            topic = UNREADABLE_TOPIC
        if topic == self._session.clock_topic:
            self._move_clock(bytes(message.payload), token)
            return
        if topic == self._session.online.topic:
            self._hear_self(message)
            if token is not None:
                client.ack(token.mid, 1)
            return
        queued = self._marker is not None
        arrival = Arrival(0, topic, bytes(message.payload), message.retain, message.dup, queued)
        if not self._inbox.put(arrival, token) and token is not None:
            client.ack(token.mid, 1)

    def _hear_self(self, message: MQTTMessage) -> None:
        """Our own message of this connection comes behind all that had waited at the broker."""
        if getattr(message.properties, "CorrelationData", None) == self._marker:
            if self._marker is not None:
                self._say("what had waited has come in")
            self._marker = None

    def _move_clock(self, payload: bytes, token: Token | None) -> None:
        """Take a message on the clock's topic for what it says."""
        try:
            at = instant_of(payload.decode().strip())
        except ValueError as error:
            LOG.warning("%s: %r is no time: %s", self._session.clock_topic, payload[:80], error)
            if token is not None:
                self._client.ack(token.mid, 1)
            return
        self._inbox.tick_to(at, token)

    def _on_publish(
        self,
        _client: Client,
        _userdata: object,
        mid: int,
        reason: ReasonCode,
        _properties: Properties,
    ) -> None:
        """The broker has answered a published message."""
        self.on_confirmed(mid, reason.value)

    def _on_subscribe(
        self,
        client: Client,
        _userdata: object,
        mid: int,
        reasons: Sequence[ReasonCode],
        _properties: Properties | None,
    ) -> None:
        """The broker has answered subscriptions; after the last one the agent is online."""
        refused = [reason for reason in reasons if reason.is_failure]
        if refused:
            LOG.error(
                "broker %s: %d of %d subscriptions refused (%s): the topic rights of this user"
                " leave out some of the plant's topics",
                self.address,
                len(refused),
                len(reasons),
                refused[0],
            )
        if mid == self._first_asked and reasons[0].is_failure:
            self._marker = None  # it will not come: what has waited cannot be told from what is new
        self._unanswered.discard(mid)
        if not self._unanswered and not self.connected:
            self._say(f"connected, {'session resumed' if self._resumed else 'new session'}")
            self._say_online(client)
            self._connected.set()
            self.on_ready()

    def _say_online(self, client: Client) -> None:
        """Tell that the agent is there, and have it come back behind what has waited."""
        properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]  # not annotated in paho
        if self._marker is not None:
            properties.CorrelationData = self._marker
        online = self._session.online
        client.publish(online.topic, online.payload, 1, retain=True, properties=properties)

    def _say(self, what: str, level: int = logging.INFO) -> None:
        """Tell a person, unless the same was said last."""
        if what != self._said:
            self._said = what
            LOG.log(level, "broker %s: %s", self.address, what)
