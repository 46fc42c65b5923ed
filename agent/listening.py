"""Listen to what a plant's agent publishes: for the live table, never for the agent itself."""

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from paho.mqtt.client import Client, MQTTMessage

from agent.broker_client import secure, visitor
from agent.plant.plant import Plant
from agent.secrets import read_credentials


@contextmanager
def listening(
    plant: Plant, topic_filter: str, take: Callable[[str, bytes], None]
) -> Iterator[None]:
    """Give `take` every message on the matching topics while the context lasts.

    `take` runs on the network thread and must only hand over. A broker that is away is tried
    again.

    Raises
    ------
    MillpondError
        If credentials or certificates cannot be used.
    """
    client = visitor(plant.broker)
    secure(client, plant.broker, read_credentials(os.environ))

    def on_message(_client: Client, _userdata: object, message: MQTTMessage) -> None:
        take(message.topic, bytes(message.payload))

    def on_connect(client: Client, *_about: object) -> None:
        client.subscribe(topic_filter, qos=1)

    client.on_connect = on_connect
    client.on_message = on_message
    client.connect_async(plant.broker.host, plant.broker.port)
    client.loop_start()
    try:
        yield
    finally:
        client.disconnect()
        client.loop_stop()
