"""A sump with a station at a real broker: the agent in a process, the station and the sensors here.

The clock is a topic. A minute is over when the agent has told its state of that minute.
"""

import json
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from advisor.words import MINUTE, Instant
from agent.instants import text_of
from tests.a_station import AStation, Saying
from tests.brokers import Mosquitto
from tests.clients import Gateway, Listener, a_gateway, a_listener
from tests.e2e.plant_north import CLOCK, PLANT, PREFIX, ROOT, START, RunningAgent
from tests.waiting import wait_until

ABOUT = f"{PREFIX}/mill-07"
STATION = """
[sump.signals.water_meter]
topic = "north/mill-07/water"
unit = "L"

[sump.signals.concentrate_meter]
topic = "north/mill-07/concentrate"
unit = "L"

[sump.station]
automatic = true
max_dose_l = 40
max_day_l = 120
"""


class Agent(RunningAgent):
    """`millpond run`, which a start may be told to die at a message of its own."""

    dies: tuple[str, ...] = ()
    """Arguments of `tests.e2e.dying_at`, for the next start only."""

    def _started(self) -> "subprocess.Popen[bytes]":
        before = self.text().count("connected,")
        dies, self.dies = self.dies, ()
        wrapper = ("tests.e2e.dying_at", *dies) if dies else ()
        with self.log.open("ab") as log:
            process = subprocess.Popen(
                [sys.executable, "-m", *wrapper, "agent", "run", str(self.plant), *self._options],
                cwd=ROOT,
                env=os.environ,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
        wait_until(lambda: self.text().count("connected,") > before, "the agent's connection", 30)
        return process

    def kill(self) -> None:
        """End it as a loss of power does."""
        self.process.kill()
        self.process.wait()

    def start(self, *dies: str) -> None:
        """Start it again."""
        self.dies = dies
        self.process = self._started()


class StationClient:
    """The station's connection: it keeps its session, so that what it misses waits for it."""

    def __init__(self, port: int, hear: Callable[[str, bytes], None]) -> None:
        self._client = mqtt.Client(
            mqtt.CallbackAPIVersion.VERSION2, client_id="station", protocol=mqtt.MQTTv5
        )
        self._client.reconnect_delay_set(1, 1)
        self._ready = threading.Event()
        self._client.on_connect = self._subscribe
        self._client.on_subscribe = lambda *_: self._ready.set()
        self._client.on_message = lambda _c, _u, m: hear(m.topic, bytes(m.payload))
        lasting = Properties(PacketTypes.CONNECT)
        lasting.SessionExpiryInterval = 3600
        self._client.connect("127.0.0.1", port, clean_start=False, properties=lasting)
        self._client.loop_start()
        assert self._ready.wait(40.0), "the station is not connected"

    def _subscribe(self, client: mqtt.Client, *_: object) -> None:
        client.subscribe([(f"{ABOUT}/setpoint", 1), (f"{ABOUT}/lease", 1)])

    def say(self, what: str, body: dict[str, Any]) -> None:
        """Publish; while there is no broker paho keeps it."""
        self._client.publish(f"{ABOUT}/{what}", json.dumps(body), qos=1)

    def close(self) -> None:
        """Disconnect; the session stays at the broker."""
        self._client.disconnect()
        self._client.loop_stop()


class Floor:
    """The sump, its station, its sensors, and the agent."""

    def __init__(self, agent: Agent, port: int, gateway: Gateway, listener: Listener) -> None:
        self.agent = agent
        self._port = port
        self._gateway = gateway
        self._listener = listener
        self._lock = threading.Lock()
        self.now: Instant = 1000 * START
        self.volume = 372.0
        self.flow = 3.0
        """What the station pours in a minute. [L]"""
        self.station = AStation()
        self.client: StationClient | None = StationClient(port, self._heard)
        self._unsaid: list[Saying] = []

    # --- the station ------------------------------------------------------------------------------

    def _heard(self, topic: str, payload: bytes) -> None:
        """Let the station hear a message; called on its network thread."""
        with self._lock:
            sayings = self.station.hear(topic.rpartition("/")[2], json.loads(payload), self.now)
        self.say(sayings)

    def say(self, sayings: list[Saying]) -> None:
        """Let the station speak, at once or when it is connected again."""
        self._unsaid += sayings
        while self.client is not None and self._unsaid:
            self.client.say(*self._unsaid.pop(0))

    def unplug(self) -> None:
        """Cut the station's connection; it works on by itself."""
        assert self.client is not None
        self.client.close()
        self.client = None

    def plug(self) -> None:
        """Connect the station again: what waited for it comes, then it says what it has to say."""
        self.client = StationClient(self._port, self._heard)
        self.say([])

    # --- time -------------------------------------------------------------------------------------

    def pour(self) -> None:
        """Let the station pour for a minute and report."""
        memory = self.station.memory
        with self._lock:
            before = memory.water_total + memory.concentrate_total
            said = self.station.pour(self.flow, self.now)
            self.volume += memory.water_total + memory.concentrate_total - before
        self.say(said)

    def minute(self, count: int = 1, *, deaf: bool = False) -> None:
        """Let minutes pass; `deaf` where the agent cannot tell of them."""
        for _ in range(count):
            self.now += MINUTE
            self.pour()
            self._tell()
            if deaf:
                self._gateway.wait()
            else:
                self.wait_for_state()

    def skip(self, minutes: int) -> None:
        """Let time pass in which the sensors say nothing; the clock and the station go on."""
        self.now += minutes * MINUTE
        self._gateway.send(CLOCK, text_of(self.now))
        if self.client is not None:
            self._gateway.wait()
        self.pour()

    def _tell(self) -> None:
        """Publish what the sensors say, and the clock."""
        memory = self.station.memory
        at = text_of(self.now)
        about = "north/mill-07"
        self._gateway.send(CLOCK, at)
        for name, value in (
            ("pumps", "on"),
            ("level", json.dumps({"v": (self.volume - 35.0) / 1.05, "t": at})),
            ("brix", json.dumps({"v": 6.4, "t": at})),
            ("water", f"{memory.water_total:.2f}"),
            ("concentrate", f"{memory.concentrate_total:.3f}"),
        ):
            self._gateway.send(f"{about}/{name}", value)
        self._gateway.send(CLOCK, text_of(self.now + 15_000))

    def wait_for_state(self) -> None:
        """Wait until the agent has told its state of the present minute."""
        at = text_of(self.now)
        wait_until(
            lambda: any(state["at"] == at for state in self.bodies("state")[-3:]),
            f"the state of {at}; the agent's log: {self.agent.text()[-2000:]}",
            20.0,
        )

    def until(self, condition: Callable[[], object], what: str, minutes: int = 60) -> None:
        """Let minutes pass until a condition holds."""
        for _ in range(minutes):
            if condition():
                return
            self.minute()
        wait_until(condition, what, 2.0)

    def until_asked(self, count: int = 1) -> dict[str, Any]:
        """Wait for so many setpoints; the last one."""
        self.until(lambda: len(self.setpoints()) >= count, f"{count} setpoints", 120)
        return self.bodies("setpoint")[-1]

    def until_accepted(self) -> dict[str, Any]:
        """Wait for a setpoint that the station has taken in hand."""
        asked = self.until_asked()
        wait_until(lambda: asked["id"] in self.station.memory.answers, "the station's answer")
        return asked

    # --- what was said ----------------------------------------------------------------------------

    def bodies(self, what: str) -> list[dict[str, Any]]:
        """All that was heard on a topic of the sump."""
        return [
            json.loads(payload) for payload in self._listener.payloads(f"{ABOUT}/{what}") if payload
        ]

    def setpoints(self) -> set[str]:
        """Ids of all setpoints that were heard."""
        return {body["id"] for body in self.bodies("setpoint")}

    def causes(self) -> list[str]:
        """Why `delivery-differs` stands or stood."""
        return [alarm["cause"] for alarm in self.bodies("alarm/delivery-differs")]

    def alarmed(self, words: str) -> bool:
        """Whether `delivery-differs` has been raised with these words."""
        return any(words in cause for cause in self.causes())

    def has_poured(self, asked: dict[str, Any], tolerance: float = 0.02) -> bool:
        """Whether the station has poured exactly what was asked, in all."""
        memory = self.station.memory
        return (
            abs(memory.water_total - asked["water_l"]) <= tolerance
            and abs(memory.concentrate_total - asked["concentrate_l"]) <= tolerance
        )

    def has_ended(self, asked: dict[str, Any]) -> bool:
        """Whether the last that was said of a setpoint is that its lease has passed."""
        leases = [x for x in self.bodies("lease") if x["setpoint"] == asked["id"]]
        return bool(leases) and leases[-1]["until"] <= text_of(self.now + 15_000)

    def send(self, what: str, body: dict[str, Any]) -> None:
        """Say something to the sump's topics, as somebody else."""
        self._gateway.send(f"{ABOUT}/{what}", json.dumps(body))


@contextmanager
def a_floor(
    mosquitto: Mosquitto, folder: Path, *, dies: tuple[str, ...] = (), port: int = 0
) -> Iterator[Floor]:
    """A floor whose agent reaches the broker at `port`; everything is ended afterwards."""
    folder.mkdir(exist_ok=True)
    plant = folder / "north.toml"
    plant.write_text(PLANT.format(port=port or mosquitto.port) + STATION, "utf-8")
    with ExitStack() as stack:
        listener = stack.enter_context(a_listener(mosquitto.port, f"{PREFIX}/#"))
        gateway = stack.enter_context(a_gateway(mosquitto.port))
        Agent.dies = dies
        agent = Agent(plant, ("--clock-topic", CLOCK))
        stack.callback(_ended, agent)
        floor = Floor(agent, mosquitto.port, gateway, listener)
        stack.callback(lambda: floor.client is None or floor.client.close())
        yield floor


def _ended(agent: Agent) -> None:
    """End an agent that a test leaves running."""
    Agent.dies = ()
    if agent.process.poll() is None:
        agent.kill()
