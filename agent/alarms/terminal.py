"""A person's short visit at the broker: which alarms stand, and an order with its answer.

The same messages as from anybody else: the agent has no other way in. What stands is retained; the
agent's own status is asked for last, so that once it has come everything before it has.
"""

import json
import secrets
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any, TypeAlias

from paho.mqtt.client import Client, ConnectFlags, MQTTMessage
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from agent.broker_client import guarded, secure, visitor
from agent.broker_trouble import told
from agent.errors import BrokerError
from agent.messages.names import topic_under
from agent.plant.plant import Plant
from agent.secrets import read_credentials

CONNECT_S = 5.0
LISTEN_S = 5.0
ANSWER_S = 10.0

Body: TypeAlias = dict[str, Any]


class Terminal:
    """What was heard at the broker in this visit; its methods wait for more.

    Parameters
    ----------
    plant : Plant
        Its prefix begins every topic.
    client : Client
        Connected or about to be.
    """

    def __init__(self, plant: Plant, client: Client) -> None:
        self._prefix = plant.prefix
        self._where = f"{plant.broker.host}:{plant.broker.port}"
        self._client = client
        self._changed = threading.Condition()
        self._connected: ReasonCode | None = None
        self._agent: Body | None = None
        self._alarms: dict[str, Body] = {}
        self._answers: dict[str, Body] = {}
        client.on_connect = guarded(self._on_connect)
        client.on_message = guarded(self._on_message)

    # --- for the command line ---------------------------------------------------------------------

    def arrive(self) -> None:
        """Wait until the broker has let us in, and all that stands has come.

        Raises
        ------
        BrokerError
            If it does not, or no agent has ever spoken here.
        """
        if not self._wait(lambda: self._connected is not None, CONNECT_S):
            raise BrokerError(f"broker {self._where} does not answer")
        if self._connected is not None and self._connected.is_failure:
            raise BrokerError(
                f"broker {self._where} refuses the connection ({self._connected}); see "
                "MILLPOND_BROKER_USER and MILLPOND_BROKER_PASSWORD"
            )
        if not self._wait(lambda: self._agent is not None, LISTEN_S):
            raise BrokerError(
                f"nothing is told on {self._prefix}/agent at broker {self._where}: has the agent "
                "of this plant run, and may this user read its topics?"
            )

    @property
    def agent(self) -> Body:
        """What the agent, or its last will, said of it."""
        return self._agent or {}

    def standing(self) -> list[tuple[str, Body]]:
        """What each alarm that stands is about, and its body; in the order of their topics."""
        with self._changed:
            bodies = sorted(self._alarms.items())
        return [(self._about(topic), body) for topic, body in bodies]

    def order(self, about: str, body: Mapping[str, Any], timeout: float = ANSWER_S) -> Body:
        """Send an order and wait for the answer.

        Parameters
        ----------
        about : str
            Sump, supply or the whole plant.
        body : mapping
            Of the order, without an id.
        timeout : float
            How long to wait. [s]

        Raises
        ------
        BrokerError
            If the agent is not there, or no answer comes.
        """
        if self.agent.get("status") != "online":
            raise BrokerError(
                f"the agent of {self._prefix} is offline (its last run began "
                f"{self.agent.get('since')}): nothing was sent"
            )
        name = f"o-{secrets.token_hex(8)}"
        topic = f"{topic_under(self._prefix, about)}/alarm-command"
        payload = json.dumps({"id": name, **body}, ensure_ascii=False)
        sent = self._client.publish(topic, payload, qos=1)
        if not self._wait(lambda: name in self._answers, timeout):
            taken = "has it" if sent.is_published() else "has not confirmed it"
            raise BrokerError(
                f"no answer from the agent within {timeout:g} s (the broker {taken}); the order "
                "may still be carried out: look at millpond alarms"
            )
        return self._answers[name]

    def _wait(self, condition: Callable[[], bool], timeout: float) -> bool:
        """Wait until something heard makes a condition true; whether it has, within the time."""
        with self._changed:
            return self._changed.wait_for(condition, timeout)

    def _about(self, topic: str) -> str:
        """What an alarm's topic is about."""
        inside = topic.removeprefix(f"{self._prefix}/")
        return inside[: inside.index("alarm/")].rstrip("/")

    # --- on the network thread --------------------------------------------------------------------

    def _on_connect(
        self,
        client: Client,
        _userdata: object,
        _flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        """Subscribe once connected, or note why not."""
        with self._changed:
            self._connected = reason
            self._changed.notify_all()
        if reason.is_failure:
            return
        places = ("", "+/", "supply/+/")
        filters = [f"{self._prefix}/{p}{c}" for p in places for c in ("alarm/#", "alarm-answer")]
        client.subscribe([(each, 1) for each in filters])
        client.subscribe(f"{self._prefix}/agent", qos=1)

    def _on_message(self, _client: Client, _userdata: object, message: MQTTMessage) -> None:
        """Note what an agent says."""
        body = json.loads(message.payload) if message.payload else None
        with self._changed:
            if message.topic == f"{self._prefix}/agent":
                self._agent = body
            elif message.topic.endswith("/alarm-answer"):
                if body is not None:
                    self._answers[body["id"]] = body
            elif body is None or body["state"] == "normal":
                self._alarms.pop(message.topic, None)
            else:
                self._alarms[message.topic] = body
            self._changed.notify_all()


@contextmanager
def a_terminal(plant: Plant, environment: Mapping[str, str]) -> Iterator[Terminal]:
    """Visit the plant's broker while the context lasts.

    Parameters
    ----------
    plant : Plant
        Where the broker is.
    environment : mapping of str to str
        Says who we are.

    Raises
    ------
    BrokerError
        If the broker cannot be reached or does not let us in, or no agent has spoken there.
    """
    client = visitor(plant.broker)
    secure(client, plant.broker, read_credentials(environment))
    client.connect_timeout = CONNECT_S
    terminal = Terminal(plant, client)
    where = f"{plant.broker.host}:{plant.broker.port}"
    try:
        code = client.connect(plant.broker.host, plant.broker.port)
    except OSError as error:
        raise BrokerError(f"broker {where} {told(error, plant.broker)}") from error
    if code != MQTTErrorCode.MQTT_ERR_SUCCESS:
        raise BrokerError(f"broker {where} cannot be reached")
    client.loop_start()
    try:
        terminal.arrive()
        yield terminal
    finally:
        client.disconnect()
        client.loop_stop()
