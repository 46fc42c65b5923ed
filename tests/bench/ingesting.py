"""How many messages a second the agent takes in, against a client that only counts them.

Messages wait at a real mosquitto for a persistent MQTT 5 session at QoS 1; measured is how fast
they are worked off, from the first to the last: by a bare paho client that counts, and by the agent
that decodes, validates, estimates, stores and publishes. Both in the same minute on the same
machine; the ratio is what matters. On a machine that others use, the ratio of the processor times
tells more than that of the rates.
"""

import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import paho.mqtt.client as mqtt

from agent.instants import text_of
from tests.bench.plants import HEAD
from tests.bench.starting import _count, _resident_mb
from tests.brokers import Mosquitto, a_mosquitto
from tests.e2e.plant_north import ROOT, RunningAgent

SUMP = """
[[sump]]
id = "sump-{number}"
concentrate = "semi-a"
tank = {{ shape = "box", length_mm = 1500, width_mm = 700, height_mm = 450 }}
level_mm = {{ low = 180, target = 380, brim = 430 }}
holdup_l = 35
[sump.signals.level]
topic = "north/{number}/level"
value_pointer = "/v"
time_pointer = "/t"
sd = 1.5
[sump.signals.brix]
topic = "north/{number}/brix"
value_pointer = "/v"
time_pointer = "/t"
sd = 0.08
"""
MESSAGES = 20_000
MILLION = 1_000_000
INTERVAL_MS = 10_000
PASSWORD = "bench"  # noqa: S105  of a broker that lives for minutes
LOGINS = {"millpond": PASSWORD}


@dataclass(frozen=True)
class Worked:
    """How an agent worked off what waited for it."""

    rate: float
    """[1/s]"""
    us: float
    """Processor time a message. [µs]"""
    memory: list[tuple[int, float]]
    """Messages stored, and resident memory [MB]."""


def measure() -> Iterator[tuple[str, str]]:
    """Rates and ratios: plain and over TLS, for ten to ten thousand sumps; memory."""
    for sumps in (10, 100, 1_000, 10_000):
        yield from _compared(sumps, MESSAGES, tls=False)
    yield from _compared(10, MESSAGES, tls=True)
    yield from _memory(MILLION)


def _compared(sumps: int, count: int, *, tls: bool) -> Iterator[tuple[str, str]]:
    """Counting client and agent one after the other, with the same messages."""
    with (
        tempfile.TemporaryDirectory() as text,
        a_mosquitto(Path(text) / "broker", LOGINS if tls else None) as broker,
    ):
        folder = Path(text)
        bare, bare_us = _bare(broker, sumps, count, tls=tls)
        with _prepared(folder, broker, sumps, tls=tls) as start:
            _publish(broker, sumps, count)
            worked = start(count)
    how = "TLS" if tls else "plain"
    yield (
        f"{how}, {sumps} sumps, {count} messages: counting client, agent, ratio",
        f"{bare:,.0f}/s, {worked.rate:,.0f}/s, {worked.rate / bare:.2f}",
    )
    yield (
        "  processor time of each a message, and what of that the ratio is",
        f"{bare_us:.0f} µs, {worked.us:.0f} µs, {bare_us / worked.us:.2f}",
    )


def _memory(count: int) -> Iterator[tuple[str, str]]:
    """Resident memory while a great many messages are worked off, ten sumps."""
    with (
        tempfile.TemporaryDirectory() as text,
        a_mosquitto(Path(text) / "broker") as broker,
        _prepared(Path(text), broker, 10, tls=False) as start,
    ):
        _publish(broker, 10, count)
        worked = start(count)
    steps = worked.memory[:: max(1, len(worked.memory) // 8)]
    said = ", ".join(f"{mb:.0f}" for _, mb in steps)
    yield f"{count:,} messages at once: rate", f"{worked.rate:,.0f}/s"
    yield "resident memory meanwhile, at equal steps", f"{said} MB"


def _stream(sumps: int, count: int) -> Iterator[tuple[str, str]]:
    """Dated readings of all sumps in turn, two of each every ten seconds, up to now."""
    rounds = -(-count // (2 * sumps))
    begin = time.time_ns() // 1_000_000 - rounds * INTERVAL_MS  # noqa: TID251  a backlog ends now
    for step in range(rounds):
        at = text_of(begin + step * INTERVAL_MS)
        level, brix = 380.0 - 0.002 * step + (step % 7) / 10, 6.4 + (step % 5) / 100
        for sump in range(sumps):
            yield f"north/{sump}/level", json.dumps({"v": round(level, 2), "t": at})
            yield f"north/{sump}/brix", json.dumps({"v": round(brix, 3), "t": at})


def _publish(broker: Mosquitto, sumps: int, count: int) -> None:
    """Have the broker take the messages; they wait for whoever has a session."""
    confirmed = threading.Semaphore(0)
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.max_inflight_messages_set(200)
    client.max_queued_messages_set(0)
    client.on_publish = lambda *_: confirmed.release()
    client.connect("127.0.0.1", broker.port)
    client.loop_start()
    sent = 0
    for sent, (topic, payload) in enumerate(_stream(sumps, count), start=1):
        client.publish(topic, payload, qos=1)
        if sent > 500:
            confirmed.acquire()
        if sent == count:
            break
    for _ in range(min(sent, 500)):
        confirmed.acquire()
    client.disconnect()
    client.loop_stop()


def _bare(broker: Mosquitto, sumps: int, count: int, *, tls: bool) -> tuple[float, float]:
    """Messages a second that a process with a counting client works off, and µs of each."""
    arguments = [str(broker.tls_port if tls else broker.port)]
    if tls:
        arguments.append(str(broker.certificate))
    command = [sys.executable, "-m", "tests.bench.counting_client"]
    subprocess.run([*command, "0", *arguments], cwd=ROOT, check=True, capture_output=True)
    _publish(broker, sumps, count)
    done = subprocess.run(
        [*command, str(count), *arguments], cwd=ROOT, check=True, capture_output=True, text=True
    )
    took, used = map(float, done.stdout.split())
    return count / took, 1e6 * used / count


@contextmanager
def _prepared(
    folder: Path, broker: Mosquitto, sumps: int, *, tls: bool
) -> Iterator[Callable[[int], Worked]]:
    """An agent that has a session; called, it starts again and works off what waits."""
    url = f"mqtts://localhost:{broker.tls_port}" if tls else f"mqtt://127.0.0.1:{broker.port}"
    # the topics that the shipped rights let the agent read
    head = HEAD.format(port=broker.port).replace('id = "bench"', 'id = "north"')
    text = head.replace(f"mqtt://127.0.0.1:{broker.port}", url)
    if tls:
        os.environ |= {"MILLPOND_BROKER_USER": "millpond", "MILLPOND_BROKER_PASSWORD": PASSWORD}
        text = text.replace("[store]", f'ca_file = "{broker.certificate}"\n\n[store]')
    plant = folder / "bench.toml"
    plant.write_text(text + "".join(SUMP.format(number=n) for n in range(sumps)), "utf-8")
    running: list[RunningAgent] = []

    def start(count: int) -> Worked:
        agent = RunningAgent(plant, (), within=120.0)
        running.append(agent)
        return _worked_off(agent, plant, count)

    first = RunningAgent(plant, (), within=120.0)
    first.stop()
    try:
        yield start
    finally:
        for agent in running:
            agent.process.kill()
            agent.process.wait()


def _worked_off(agent: RunningAgent, plant: Path, count: int) -> Worked:
    """Rate from the first stored reading seen to the last, and memory by readings stored."""
    pause = threading.Event()
    memory: list[tuple[int, float]] = []
    first, began, used = 0, time.perf_counter(), 0.0
    while True:
        stored = _count(plant, "SELECT count(*) FROM reading")
        now = time.perf_counter()
        if first == 0 and stored:
            first, began, used = stored, now, _processor_s(agent.process.pid)
        memory.append((stored, _resident_mb(agent.process.pid)))
        if stored >= count:
            done = max(1, stored - first)
            used = _processor_s(agent.process.pid) - used
            return Worked(done / max(1e-9, now - began), 1e6 * used / done, memory)
        assert agent.process.poll() is None, agent.text()
        pause.wait(0.1 if count < 100_000 else 1.0)


def _processor_s(pid: int) -> float:
    """Processor time that a process has used so far. [s]"""
    fields = Path(f"/proc/{pid}/stat").read_text("ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
