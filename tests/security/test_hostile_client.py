"""A client that may publish anything, and does its worst, beside a sensor that goes on measuring.

At a real broker with the shipped limits. What a client may not publish at all is in
`test_rights.py`; what the page is sent, in `tests/page/test_hostile.py`.
"""

import json
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest

from agent.decode.decoder import PAYLOAD_MAX
from agent.instants import text_of
from agent.store.writing import REFUSALS_KEPT
from agent.throttle import PERSON
from tests.brokers import Mosquitto
from tests.clients import Gateway, a_gateway
from tests.e2e.plant_north import PREFIX, RunningAgent, running_agent, write_plant
from tests.waiting import wait_until

pytestmark = [pytest.mark.broker, pytest.mark.slow]

LEVEL, BRIX = "north/mill-07/level", "north/mill-07/brix"
GOOD = 60
MEMORY_MB = 160.0
"""The agent's most, measured 111 MB; it starts with 62. [MB]"""
WEEK_MS = 7 * 86_400_000


def now() -> int:
    """The machine's time, which is the agent's too. [ms]"""
    return time.time_ns() // 1_000_000  # noqa: TID251  see above


def giant(evil: Gateway) -> None:
    """Payloads of three times what is taken, and of all that fits in between."""
    for number in range(150):
        evil.send(LEVEL, b"9" * (3 * PAYLOAD_MAX))
        evil.send(f"{PREFIX}/mill-07/addition", b'{"note": "' + b"x" * (PAYLOAD_MAX - 20) + b'"}')
        evil.send(BRIX, b"[" * (1 + number * PAYLOAD_MAX // 150))


def nested(evil: Gateway) -> None:
    """JSON as deep as it goes, keys without end, numbers without end."""
    for body in (
        b'{"v":' * 12_000 + b"1" + b"}" * 12_000,
        b"[" * 30_000 + b"]" * 30_000,
        b"{" + b",".join(b'"k%d":1' % n for n in range(6_000)) + b"}",
        b'{"v":' + b"9" * 60_000 + b"}",
        b'{"v":1e' + b"9" * 60_000 + b"}",
        b'{"v":"' + b"\\u0041" * 10_000 + b'"}',
        b"\xff" * 60_000,
        b"\x00" * 60_000,
    ):
        for topic in (LEVEL, BRIX, f"{PREFIX}/mill-07/check", f"{PREFIX}/alarm-command"):
            for _ in range(5):
                evil.send(topic, body)


def retained(evil: Gateway) -> None:
    """Junk that stands at the broker for whoever comes, on the agent's own topics too."""
    for number in range(300):
        evil.send(f"{PREFIX}/mill-07/addition", b'{"water_l": 500}', retain=True)
        evil.send(f"{PREFIX}/junk-{number}/check", b'{"kind": "ph", "value": 3}', retain=True)
        evil.send(f"{PREFIX}/mill-07/advice", b"drink it", retain=True)


def made_up(evil: Gateway) -> None:
    """Names of sumps that nobody has, some as long as a topic may be."""
    for number in range(3_000):
        evil.send(f"{PREFIX}/s-{number}/check", b'{"kind": "ph", "value": 9}')
    for _ in range(20):
        evil.send(f"{PREFIX}/{'n' * 60_000}/check", b"1")


def flood(evil: Gateway) -> None:
    """Reports without end, each with an id of its own."""
    for number in range(20 * int(PERSON.burst)):
        body = {"water_l": 0.001, "id": f"evil-{number}", "by": "x" * 50}
        evil.send(f"{PREFIX}/mill-07/addition", json.dumps(body))


def history(evil: Gateway) -> None:
    """Readings of every other minute of the week, newest first: each goes before all others."""
    begin = now()
    for number in range(3_000):
        at = text_of(begin - number * WEEK_MS // 3_000)
        evil.send(BRIX, json.dumps({"v": 6.0, "t": at}))


ATTACKS: tuple[Callable[[Gateway], None], ...] = (
    giant,
    nested,
    retained,
    made_up,
    flood,
    history,
)


def test_good_readings_count_beside_whatever_comes(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """Every attack at once: no reading of the sensor is lost, memory and store stay bounded."""
    plant = write_plant(tmp_path / "plant", mosquitto.port)
    store = plant.with_name("north.db")
    attack(retained, mosquitto.port)  # it stands there before anybody subscribes
    with running_agent(plant) as agent, a_gateway(mosquitto.port) as sensor:
        sent = dict(measuring(sensor, mosquitto.port))
        wait_until(lambda: sent.keys() <= stored(store).keys(), "the sensor's readings", 240.0)
        sensor.send(f"{PREFIX}/mill-07/check", '{"kind": "ph", "value": 9.1, "id": "last"}')
        wait_until(lambda: entry(store, "last"), "a person's check behind all of it", 240.0)
        peak = memory_mb(agent)
        print(f"resident at most: {peak:.0f} MB")
        assert agent.stop() == 0

    assert {at: value for at, value in stored(store).items() if at in sent} == sent
    assert peak < MEMORY_MB
    reasons = refusals(store)
    assert reasons.keys() >= {
        *("oversized", "not-json", "not-text", "schema", "unknown-sump", "retained", "too-many"),
    }
    assert rows(store, "refusal") <= REFUSALS_KEPT
    assert rows(store, "entry") <= PERSON.burst + 100.0
    assert "Traceback" not in agent.text()
    assert store.stat().st_size < 60e6


def measuring(sensor: Gateway, port: int) -> Iterator[tuple[int, float]]:
    """A sensor's readings, sent while every attack has a client and a thread of its own."""
    threads = [threading.Thread(target=attack, args=(each, port)) for each in ATTACKS]
    for thread in threads:
        thread.start()
    breath = threading.Event()
    number = 0
    while number < GOOD or any(thread.is_alive() for thread in threads):
        at, value = now(), 300.0 + 0.01 * number
        sensor.send(LEVEL, json.dumps({"v": value, "t": text_of(at)}))
        yield at, value
        number += 1
        breath.wait(0.2)
    for thread in threads:
        thread.join()


def attack(how: Callable[[Gateway], None], port: int) -> None:
    """One attack to its end."""
    with a_gateway(port) as evil:
        how(evil)
        evil.wait(240.0)


def test_a_message_beyond_the_brokers_limit_never_reaches_the_agent(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """message_size_limit: the broker itself turns it away, and the agent hears nothing of it."""
    plant = write_plant(tmp_path / "plant", mosquitto.port)
    with running_agent(plant) as agent, a_gateway(mosquitto.port) as sensor:
        gone = threading.Event()
        client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        client.on_disconnect = lambda *_: gone.set()
        client.on_publish = lambda *_: gone.set()
        client.connect("127.0.0.1", mosquitto.port)
        client.loop_start()
        client.publish(LEVEL, b"9" * 300_000, qos=1)
        assert gone.wait(40.0)
        client.disconnect()
        client.loop_stop()
        at = now()
        sensor.send(LEVEL, json.dumps({"v": 300.0, "t": text_of(at)}))
        store = plant.with_name("north.db")
        wait_until(lambda: at in stored(store), "a reading after it")
        assert agent.stop() == 0

    assert refusals(store) == {}


# --- what became of it ---------------------------------------------------------------------------


def query(store: Path, text: str, *values: object) -> list[tuple[object, ...]]:
    """Rows of the agent's store."""
    if not store.exists():
        return []
    with closing(sqlite3.connect(f"file:{store}?mode=ro", uri=True)) as connection:
        return connection.execute(text, values).fetchall()


def stored(store: Path) -> dict[int, float]:
    """Value of each used level reading by its time."""
    found = query(
        store,
        """SELECT at, value FROM reading JOIN signal ON signal.id = signal
        WHERE name = 'level' AND used""",
    )
    return {int(at): float(value) for at, value in found}  # type: ignore[arg-type]  # of the table


def entry(store: Path, name: str) -> bool:
    """Whether a report is in the records."""
    return bool(query(store, "SELECT 1 FROM entry WHERE id = ?", name))


def refusals(store: Path) -> dict[object, object]:
    """How many were refused by reason."""
    return dict(query(store, "SELECT reason, count FROM refusal_count"))  # type: ignore[arg-type]  # pairs


def rows(store: Path, table: str) -> int:
    """How many rows a table has."""
    return int(str(query(store, f"SELECT count(*) FROM {table}")[0][0]))  # noqa: S608  names of ours


def memory_mb(agent: RunningAgent) -> float:
    """The most that the process ever had resident. [MB]"""
    text = Path(f"/proc/{agent.process.pid}/status").read_text("ascii")
    line = next(line for line in text.splitlines() if line.startswith("VmHWM:"))
    return int(line.split()[1]) / 1024.0
