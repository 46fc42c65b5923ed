"""What an agent tells of itself over HTTP, read by Prometheus' own parser."""

import json
import re
import sqlite3
import time
import urllib.error
import urllib.request
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from prometheus_client.parser import text_string_to_metric_families
from prometheus_client.samples import Sample

from agent.embedded import free_port
from agent.instants import text_of
from agent.operation.exposition import Family, exposed
from agent.version import VERSION
from tests.brokers import Mosquitto
from tests.clients import Gateway, a_gateway
from tests.e2e.plant_north import PREFIX, write_plant
from tests.security.runs import a_run
from tests.waiting import wait_until

LEVEL, BRIX = "north/mill-07/level", "north/mill-07/brix"
BASE_UNITS = (
    *("_seconds", "_bytes", "_cubic_meters", "_cubic_meters_per_second", "_ratio"),
    *("_messages", "_lines", "_total", "_info", "_alarms"),
)
"""Ends of names: https://prometheus.io/docs/practices/naming/, and plain counts."""
NO_UNIT = {"millpond_store_waited_for", "millpond_broker_connected", "millpond_notices_waiting"}


def plant_with(folder: Path, broker: int, section: str) -> Path:
    """A plant file with a section on operation."""
    path = write_plant(folder, broker)
    text = path.read_text("utf-8")
    path.write_text(text.replace("[store]", f"[operation]\n{section}\n\n[store]"), "utf-8")
    return path


def got(port: int, path: str, **headers: str) -> tuple[int, str]:
    """Status and body of an answer."""
    request = urllib.request.Request(f"http://127.0.0.1:{port}{path}", headers=headers)
    try:
        with urllib.request.urlopen(request, timeout=10.0) as answer:  # noqa: S310  as above
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode()


def samples(port: int) -> dict[str, list[Sample]]:
    """Samples by the name of their family's samples."""
    status, text = got(port, "/metrics")
    assert status == 200
    found: dict[str, list[Sample]] = {}
    for family in text_string_to_metric_families(text):
        for sample in family.samples:
            found.setdefault(sample.name, []).append(sample)
    return found


def value(found: dict[str, list[Sample]], name: str, **labels: str) -> float:
    """The one value of a name with these labels."""
    (sample,) = [s for s in found[name] if s.labels == labels]
    return sample.value


@pytest.mark.broker
def test_everything_measured_is_what_was_sent(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """Readings, refusals, states in base units, alarms: against the messages that made them."""
    port = free_port()
    plant = plant_with(tmp_path / "plant", mosquitto.port, f'listen = "127.0.0.1:{port}"')
    now = time.time_ns() // 1_000_000  # noqa: TID251  the agent's clock is the machine's here
    with a_run(tmp_path / "log", "run", str(plant)) as agent, a_gateway(mosquitto.port) as gateway:
        agent.wait_for("connected,")
        send_all(gateway, now)
        wait_until(lambda: millpond(port, "millpond_reports_total") == 1.0, "the report")
        wait_until(lambda: "millpond_sump_volume_cubic_meters" in samples(port), "a state")
        wait_until(lambda: "millpond_alarms" in samples(port), "an alarm")
        wait_until(lambda: millpond(port, "millpond_outbox_messages") == 0.0, "the outbox")
        found = samples(port)
        retained = standing(plant.with_name("north.db"))
        status = Path(f"/proc/{agent.process.pid}/status").read_text("ascii")
        assert agent.stop() == 0

    check_process(found, status)
    check_flow(found, now)
    check_plant(found, retained)


def send_all(gateway: Gateway, now: int) -> None:
    """Readings of some minutes, a check, and two messages that are none."""
    for n in range(200):
        at = text_of(now - 1000 * (200 - n))
        gateway.send(LEVEL, json.dumps({"v": 120.0, "t": at}))
        gateway.send(BRIX, json.dumps({"v": 6.4, "t": at}))
    gateway.send(LEVEL, "no JSON")
    gateway.send(f"{PREFIX}/mill-99/check", "{}")
    gateway.send(f"{PREFIX}/mill-07/check", '{"kind": "nitrite", "value": 60}')
    gateway.wait()


def check_process(found: dict[str, list[Sample]], status: str) -> None:
    """What is told of the process is what the system says of it."""
    assert value(found, "millpond_build_info", version=VERSION) == 1.0
    assert value(found, "millpond_broker_connected") == 1.0
    assert value(found, "millpond_store_waited_for") == 0.0
    assert 0.0 <= value(found, "millpond_worker_idle_seconds") < 30.0
    resident = re.search(r"VmRSS:\s+(\d+)", status)
    assert resident is not None
    memory = value(found, "millpond_process_resident_memory_bytes")
    assert memory == pytest.approx(1024.0 * int(resident[1]), rel=0.2)


def check_flow(found: dict[str, list[Sample]], now: int) -> None:
    """What was counted is what was sent."""
    assert value(found, "millpond_readings_total") == 400.0
    assert value(found, "millpond_readings_unused_total") == 0.0
    assert value(found, "millpond_refused_total", reason="not-json") == 1.0
    assert value(found, "millpond_refused_total", reason="unknown-sump") == 1.0
    for signal in ("level", "brix"):
        last = value(
            found, "millpond_signal_last_reading_time_seconds", sump="mill-07", signal=signal
        )
        assert last == pytest.approx((now - 1000) / 1000.0)


def check_plant(found: dict[str, list[Sample]], retained: dict[str, Any]) -> None:
    """States in base units, and the alarms, are those that stand at the broker."""
    state = retained[f"{PREFIX}/mill-07/state"]
    for name, place, factor in (
        ("millpond_sump_volume_cubic_meters", state["volume_l"], 1000.0),
        ("millpond_sump_concentration_ratio", state["concentration_pct"], 100.0),
    ):
        assert value(found, name, sump="mill-07") * factor == pytest.approx(place["value"])
        assert value(found, f"{name}_sd", sump="mill-07") * factor == pytest.approx(place["sd"])
    alarms = [body for topic, body in retained.items() if "/alarm/" in topic]
    assert sum(s.value for s in found["millpond_alarms"]) == len(alarms) > 0


def millpond(port: int, name: str) -> float:
    """A value without labels."""
    return value(samples(port), name)


def standing(store: Path) -> dict[str, Any]:
    """What stands retained, by topic."""
    with closing(sqlite3.connect(f"file:{store}?mode=ro", uri=True)) as connection:
        rows = connection.execute("SELECT topic, payload FROM retained").fetchall()
    bodies = {topic: json.loads(payload) for topic, payload in rows}
    return {t: b for t, b in bodies.items() if b.get("state") != "normal"}


@pytest.mark.broker
def test_names_and_kinds_keep_the_rules(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """Names of our own, base units at their end, `_total` on counters alone, help on each."""
    port = free_port()
    plant = plant_with(tmp_path / "plant", mosquitto.port, f'listen = "127.0.0.1:{port}"')
    with a_run(tmp_path / "log", "run", str(plant)) as agent:
        agent.wait_for("connected,")
        families = list(text_string_to_metric_families(got(port, "/metrics")[1]))
        assert agent.stop() == 0

    assert len(families) > 25
    for family in families:
        name = family.name.removesuffix("_sd")
        assert name.startswith("millpond_")
        assert family.documentation
        if family.type == "counter":  # the parser takes _total off
            assert all(sample.name.endswith("_total") for sample in family.samples)
        else:
            assert family.type == "gauge"
            assert name.endswith(BASE_UNITS) or name in NO_UNIT, name
            assert not name.endswith("_total")


def test_labels_and_helps_survive_the_parser() -> None:
    """Quotes, backslashes and line feeds in them; what is no number is left out."""
    evil = 'a"b\\c\nd'
    family = Family(
        "millpond_x", "gauge", "a \\ b\nc", (({"sump": evil}, 1.5), ({"sump": "n"}, float("nan")))
    )
    (found,) = text_string_to_metric_families(exposed([family]))

    assert found.documentation == "a \\ b\nc"
    assert [(sample.labels, sample.value) for sample in found.samples] == [({"sump": evil}, 1.5)]


# --- health and readiness ------------------------------------------------------------------------


@pytest.mark.broker
def test_health_and_readiness_follow_what_happens(tmp_path: Path) -> None:
    """Healthy without a broker and not ready; ready with one, and not while the store is locked."""
    port = free_port()
    broker = Mosquitto(tmp_path / "broker")
    broker.folder.mkdir()
    plant = plant_with(tmp_path / "plant", broker.port, f'listen = "127.0.0.1:{port}"')
    with a_run(tmp_path / "log", "run", str(plant)) as agent:
        agent.wait_for("health, readiness and metrics are at")
        wait_until(lambda: healthy(port) == "alive", "the worker")
        status, body = got(port, "/ready")
        assert (status, json.loads(body)["trouble"]) == (
            503,
            ["there is no connection to the broker"],
        )
        broker.start()
        wait_until(lambda: got(port, "/ready")[0] == 200, "readiness")
        with closing(sqlite3.connect(plant.with_name("north.db"))) as other:
            other.execute("BEGIN IMMEDIATE")
            wait_until(lambda: "the store cannot be written" in got(port, "/ready")[1], "trouble")
            assert healthy(port) == "alive"
            other.execute("ROLLBACK")
        wait_until(lambda: got(port, "/ready")[0] == 200, "readiness again")
        broker.stop()
        wait_until(lambda: got(port, "/ready")[0] == 503, "unreadiness")
        assert agent.stop() == 0


def healthy(port: int) -> str:
    """What health says of the worker, if anything answers."""
    try:
        status, body = got(port, "/health")
    except OSError:
        return "nobody"
    worker = json.loads(body)["worker"]
    assert status == (503 if worker == "stuck" else 200)
    return str(worker)


@pytest.mark.broker
def test_metrics_beyond_this_machine_want_a_token(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """Without one the start is refused; with one, whoever does not show it gets nothing."""
    port = free_port()
    plant = plant_with(tmp_path / "plant", mosquitto.port, f'listen = "0.0.0.0:{port}"')
    with a_run(tmp_path / "log", "run", str(plant)) as agent:
        assert agent.process.wait(40.0) == 2
        assert "MILLPOND_METRICS_TOKEN" in agent.text()
    token = {"MILLPOND_METRICS_TOKEN": "a-token-of-ours"}
    with a_run(tmp_path / "log2", "run", str(plant), environment=token) as agent:
        agent.wait_for("connected,")
        wait_until(lambda: healthy(port) == "alive", "the listener")
        assert got(port, "/metrics")[0] == 401
        assert got(port, "/metrics", Authorization="Bearer another")[0] == 401
        assert got(port, "/metrics", Authorization="Bearer a-token-of-ours")[0] == 200
        assert got(port, "/health")[0] == 200
        assert agent.stop() == 0
        assert "a-token-of-ours" not in agent.text()


@pytest.mark.broker
def test_nothing_else_is_there(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """No other path, no other verb, no other name: a page elsewhere cannot have it read."""
    port = free_port()
    plant = plant_with(tmp_path / "plant", mosquitto.port, f'listen = "127.0.0.1:{port}"')
    with a_run(tmp_path / "log", "run", str(plant)) as agent:
        agent.wait_for("connected,")
        wait_until(lambda: healthy(port) == "alive", "the listener")
        assert got(port, "/")[0] == 404
        assert got(port, "/metrics/../../etc/passwd")[0] == 404
        assert got(port, "/metrics", Host="evil.example")[0] == 421
        request = urllib.request.Request(f"http://127.0.0.1:{port}/metrics", data=b"x")
        with pytest.raises(urllib.error.HTTPError, match="405"):
            urllib.request.urlopen(request, timeout=10.0)  # noqa: S310  as above
        assert agent.stop() == 0
