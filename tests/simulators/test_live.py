"""The plant on a real broker: readings and clock go out in order, advice comes in."""

import json
import re
import subprocess
import sys
import threading

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from simulators.errors import SimulatorError
from simulators.instants import instant
from simulators.live import LiveSettings, play
from simulators.prepare import floor_of
from tests.simulators.floors import plant
from tests.waiting import wait_until

pytestmark = pytest.mark.broker


class Ear:
    """An independent client that hears everything, in order."""

    def __init__(self, port: int) -> None:
        self.heard: list[mqtt.MQTTMessage] = []
        self._ready = threading.Event()
        self.client = mqtt.Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
        self.client.on_message = lambda _c, _u, message: self.heard.append(message)
        self.client.on_subscribe = lambda *_: self._ready.set()
        self.client.connect("127.0.0.1", port)
        self.client.subscribe("#", qos=1)
        self.client.loop_start()
        assert self._ready.wait(40.0)

    def close(self) -> None:
        """Leave."""
        self.client.disconnect()
        self.client.loop_stop()


@pytest.fixture
def ear(mosquitto):
    """A client on the broker."""
    listening = Ear(mosquitto.port)
    yield listening
    listening.close()


def settings(port: int, **changes) -> LiveSettings:
    """As fast as it goes, with a clock."""
    known = {"broker": f"mqtt://127.0.0.1:{port}", "clock_topic": "sim/clock", "speed": 0.0}
    return LiveSettings(**(known | changes))


def test_all_readings_arrive_before_their_tick(mosquitto, ear):
    """Every message of a recording is on the broker, QoS 1, none after its minute's clock."""
    sent = play(floor_of("demo", 1, 0.05), settings(mosquitto.port), threading.Event())
    wait_until(lambda: len(ear.heard) >= sent + 73, "the last message")

    clock = [m for m in ear.heard if m.topic == "sim/clock"]
    assert len(ear.heard) == sent + len(clock)
    assert len(clock) == 73
    assert {m.qos for m in ear.heard} == {1}
    now = 0
    for message in ear.heard:
        if message.topic == "sim/clock":
            now = instant(message.payload.decode())
        elif b'"ts"' in message.payload:
            told = instant(json.loads(message.payload)["data"]["ts"])
            assert told > now - 10_000


def test_the_command_says_how_much_it_published_and_what_it_cost(mosquitto, ear):
    """`millpond-sim run` ends with the messages that the broker took, their rate and their CPU."""
    command = [sys.executable, "-m", "simulators", "run", "demo", "--days", "0.02", "--speed", "0"]
    broker = f"mqtt://127.0.0.1:{mosquitto.port}"
    done = subprocess.run(
        [*command, "--broker", broker], capture_output=True, text=True, check=True
    )
    said = re.search(r"(\d+) messages in ([\d.]+) s, (\d+) a second, (\d+) µs of CPU", done.stderr)

    assert said is not None, done.stderr
    wait_until(lambda: len(ear.heard) >= int(said[1]), "the last message")
    assert len(ear.heard) == int(said[1]) > 100
    assert int(said[3]) == pytest.approx(int(said[1]) / float(said[2]), rel=0.3)
    assert int(said[4]) > 0


def test_pace_follows_the_speed(mosquitto, ear):
    """At 3600 times real time 36 simulated minutes take about 0.6 s, not less."""
    import time

    began = time.monotonic()
    play(floor_of("demo", 1, 0.025), settings(mosquitto.port, speed=3600.0), threading.Event())
    assert time.monotonic() - began >= 0.59
    assert ear.heard


def test_stop_ends_it_cleanly(mosquitto, ear):
    """Set from outside, it leaves within a step; nothing is lost that was sent."""
    stop = threading.Event()
    floor = floor_of("demo", 1, 28)
    done: list[int] = []
    thread = threading.Thread(
        target=lambda: done.append(play(floor, settings(mosquitto.port, speed=600.0), stop))
    )
    thread.start()
    wait_until(lambda: len(ear.heard) > 40, "readings")
    stop.set()
    thread.join(10.0)
    assert not thread.is_alive()
    wait_until(lambda: sum(m.topic != "sim/clock" for m in ear.heard) == done[0], "the rest")


def test_setpoint_from_the_broker_is_carried_out(mosquitto, ear):
    """A setpoint published by somebody else is accepted, poured and reported."""
    floor = plant(
        "days = 2\n[each.station]\n[each.signals.water_meter]\nresolution = 0.01\n"
        "[work]\nweekdays = []\n"
    )
    stop = threading.Event()
    thread = threading.Thread(
        target=play, args=(floor, settings(mosquitto.port, speed=300.0), stop)
    )
    thread.start()
    try:
        wait_until(lambda: len(ear.heard) > 5, "readings")
        body = {
            "id": "s1", "water_l": 5.0, "concentrate_l": 0.5, "max_strength_pct": 20.0,
            "water_meter_end_l": 5.0, "concentrate_meter_end_l": 0.5,
            "stop_at_level": {"value": 400.0, "unit": "mm"},
            "expires_at": "2026-03-04T00:00:00Z",
        }  # fmt: skip
        ear.client.publish("millpond/shop/m1/setpoint", json.dumps(body), qos=1)
        wait_until(lambda: delivered(ear, finished=True), "the delivery")
    finally:
        stop.set()
        thread.join(10.0)
    assert delivered(ear, finished=True)[0]["water_l"] == pytest.approx(5.0, abs=0.06)
    assert floor.tools["m1"].sump.book.water_added == pytest.approx(5.0, rel=0.04)


def delivered(ear: Ear, *, finished: bool) -> list[dict]:
    """Reports of the station."""
    bodies = [json.loads(m.payload) for m in ear.heard if m.topic.endswith("/delivered")]
    return [body for body in bodies if body["finished"] is finished]


def test_broker_that_wants_a_password_is_named(tmp_path):
    """Refused at the door: the broker's reason, not a traceback."""
    from tests.brokers import a_mosquitto

    some_word = "wrong"
    with a_mosquitto(tmp_path / "b", {"sim": "secret"}) as broker:
        wrong = settings(
            broker.tls_port,
            broker=f"mqtts://127.0.0.1:{broker.tls_port}",
            ca_file=broker.certificate,
            user="sim",
            password=some_word,
        )
        with pytest.raises(SimulatorError, match="did not let us in"):
            play(plant(), wrong, threading.Event())
