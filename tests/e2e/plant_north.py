"""A plant of one sump for the whole path, its agent in a process, and the sums done by hand.

The tank is a box of 1500 mm x 700 mm: 1.05 L for each millimetre of depth.
"""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from tests.waiting import wait_until

ROOT = Path(__file__).parents[2]
PREFIX = "millpond/north"
CLOCK = "north/clock"
START = 1_772_431_200  # 2026-03-02T06:00:00Z

PLANT = """
[plant]
id = "north"
timezone = "Europe/Dublin"

[broker]
url = "mqtt://127.0.0.1:{port}"

[store]
path = "north.db"

[[concentrate]]
id = "semi-a"
refractometer_factor = 1.25
band_pct = [6.0, 10.0]
target_pct = 8.0
premix_max_pct = 20.0

[[vessel]]
id = "bucket"
volume_l = 20
graduation_l = 0.5
carry_fill = 0.8

[[sump]]
id = "mill-07"
concentrate = "semi-a"
tank = {{ shape = "box", length_mm = 1500, width_mm = 700, height_mm = 450 }}
level_mm = {{ low = 180, target = 380, brim = 430 }}
holdup_l = 35

[sump.signals.level]
topic = "north/mill-07/level"
value_pointer = "/v"
time_pointer = "/t"
unit = "mm"
sd = 1.0

[sump.signals.brix]
topic = "north/mill-07/brix"
value_pointer = "/v"
time_pointer = "/t"
unit = "degBrix"
sd = 0.05
needs_flow = false

[sump.signals.running]
topic = "north/mill-07/pumps"
"""


def rfc3339(seconds: int) -> str:
    """A moment so many seconds after the start."""
    minutes, second = divmod(seconds, 60)
    hour, minute = divmod(6 * 60 + minutes, 60)
    day, hour = divmod(hour, 24)
    return f"2026-03-{2 + day:02d}T{hour:02d}:{minute:02d}:{second:02d}Z"


def reading(value: float, seconds: int) -> str:
    """A dated reading of the plant's form."""
    return json.dumps({"v": value, "t": rfc3339(seconds)})


def write_plant(folder: Path, port: int) -> Path:
    """Write the plant file; its store is beside it."""
    folder.mkdir(exist_ok=True)
    path = folder / "north.toml"
    path.write_text(PLANT.format(port=port), "utf-8")
    return path


class RunningAgent:
    """`millpond run` in a process of its own."""

    def __init__(self, plant: Path, options: Sequence[str], *, within: float = 10.0) -> None:
        self.plant = plant
        self._within = within
        self.log = plant.with_suffix(".log")
        self._options = options
        self.process = self._started()

    def _started(self) -> "subprocess.Popen[bytes]":
        before = self.text().count("connected,")
        with self.log.open("ab") as log:
            process = subprocess.Popen(
                [sys.executable, "-m", "agent", "run", str(self.plant), *self._options],
                cwd=ROOT,
                env=os.environ,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
            )
        wait_until(
            lambda: self.text().count("connected,") > before or process.poll() is not None,
            "the agent's connection",
            self._within,
        )
        assert process.poll() is None, self.text()
        return process

    def text(self) -> str:
        """The log of all its runs."""
        return self.log.read_text("utf-8") if self.log.exists() else ""

    def kill_and_start(self) -> None:
        """End it as a loss of power does, and start it again."""
        self.process.kill()
        self.process.wait()
        self.process = self._started()

    def stop(self) -> int:
        """End it as a service manager does; its exit code."""
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(40.0)


@contextmanager
def running_agent(plant: Path, *options: str) -> Iterator[RunningAgent]:
    """A connected agent; ended hard if the test leaves it running."""
    agent = RunningAgent(plant, options)
    try:
        yield agent
    finally:
        if agent.process.poll() is None:
            agent.process.kill()
            agent.process.wait()


def publish(port: int, topic: str, *payloads: str) -> None:
    """Publish with Debian's own client, at QoS 1, one line a message."""
    subprocess.run(
        ["mosquitto_pub", "-V", "5", "-p", str(port), "-q", "1", "-t", topic, "-l"],
        input="".join(f"{payload}\n" for payload in payloads).encode(),
        check=True,
    )


class Subscriber:
    """Debian's own subscribing client; what it prints is what was heard."""

    def __init__(self, port: int, topic_filter: str, output: Path) -> None:
        self._output = output
        with output.open("wb") as file:
            self.process = subprocess.Popen(
                [
                    *("mosquitto_sub", "-V", "5", "-p", str(port), "-q", "1", "-t", topic_filter),
                    *("-F", '{"topic":"%t","retain":%r,"payload":"%x"}', "-d"),
                ],
                stdout=file,
                stderr=subprocess.STDOUT,
            )
        wait_until(lambda: b"SUBACK" in output.read_bytes(), "the subscription")

    def messages(self) -> list[tuple[str, bytes]]:
        """Topic and payload of all that was heard so far, in order."""
        lines = self._output.read_text("utf-8", "replace").splitlines()
        heard = [json.loads(line) for line in lines if line.startswith("{") and line.endswith("}")]
        return [(message["topic"], bytes.fromhex(message["payload"])) for message in heard]

    def newest(self, topic: str) -> dict[str, object] | None:
        """The newest message on a topic."""
        bodies = [json.loads(payload) for where, payload in self.messages() if where == topic]
        return bodies[-1] if bodies else None


@contextmanager
def subscriber(port: int, topic_filter: str, output: Path) -> Iterator[Subscriber]:
    """A subscriber, ended afterwards."""
    client = Subscriber(port, topic_filter, output)
    try:
        yield client
    finally:
        client.process.terminate()
        client.process.wait(5.0)
