"""A bare paho client that counts: ``python -m tests.bench.counting_client COUNT PORT [CA]``.

It has a persistent MQTT 5 session at QoS 1, as the agent has. With COUNT 0 it makes the session and
goes; otherwise it prints the seconds from the first to the COUNT-th message, by the clock and of
processor time.
"""

import sys
import threading
import time

import paho.mqtt.client as mqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties


def main(count: int, port: int, ca: str | None) -> None:
    """Count."""
    done = threading.Event()
    seen, began, took = 0, (0.0, 0.0), (0.0, 0.0)

    def on_message(*_: object) -> None:
        nonlocal seen, began, took
        seen += 1
        if seen == 1:
            began = time.perf_counter(), time.process_time()
        if seen == count:
            took = time.perf_counter() - began[0], time.process_time() - began[1]
            done.set()

    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="bare", protocol=mqtt.MQTTv5)
    client.on_message = on_message
    client.on_connect = lambda c, *_: c.subscribe("north/#", qos=1)
    if count == 0:
        client.on_subscribe = lambda *_: done.set()
    properties = Properties(PacketTypes.CONNECT)
    properties.SessionExpiryInterval = 3600
    properties.ReceiveMaximum = 1000
    if ca is not None:
        client.username_pw_set("millpond", "bench")
        client.tls_set(ca)
    host = "127.0.0.1" if ca is None else "localhost"
    client.connect(host, port, clean_start=False, properties=properties)
    client.loop_start()
    assert done.wait(600.0)
    client.disconnect()
    client.loop_stop()
    print(*took)


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), sys.argv[3] if len(sys.argv) > 3 else None)
