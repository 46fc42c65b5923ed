"""A stop takes seconds, whatever the agent is at."""

import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from agent.embedded import free_port
from tests.brokers import Mosquitto
from tests.clients import a_gateway
from tests.e2e.plant_north import CLOCK, reading, rfc3339, write_plant
from tests.security.runs import a_run

pytestmark = pytest.mark.broker

WITHIN_S = 10.0
"""Measured on a busy machine of two cores: 3.9 s under load."""


@contextmanager
def a_black_hole() -> Iterator[int]:
    """A server that takes connections and never answers; its port."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server.getsockname()[1]


def test_under_load_with_a_historian_that_never_answers(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """Thousands of messages wait, the historian and the page hang on: exit 0 in seconds."""
    plant = write_plant(tmp_path / "plant", mosquitto.port)
    with a_black_hole() as hole, a_gateway(mosquitto.port) as gateway:
        sections = (
            f'[historian]\nurl = "http://127.0.0.1:{hole}"\norg = "o"\nbucket = "b"\n'
            f'[page]\nlisten = "127.0.0.1:{free_port()}"\n'
            f'[operation]\nlisten = "127.0.0.1:{free_port()}"\n'
        )
        text = plant.read_text("utf-8")
        plant.write_text(text.replace("[store]", f"{sections}[store]"), "utf-8")
        command = ("run", str(plant), "--clock-topic", CLOCK)
        with a_run(tmp_path / "log", *command) as agent:
            agent.wait_for("connected,")
            gateway.send(CLOCK, rfc3339(0))
            for second in range(5_000):
                gateway.send("north/mill-07/level", reading(300.0, second))
            gateway.send(CLOCK, rfc3339(5_000))
            began = time.monotonic()
            assert agent.stop() == 0
            took = time.monotonic() - began

    print(f"stopped in {took:.1f} s")
    assert took < WITHIN_S
    assert "everything taken in is stored" in agent.text()


def test_while_the_broker_is_away(tmp_path: Path) -> None:
    """Neither the farewell nor the outbox is waited for in vain."""
    plant = write_plant(tmp_path / "plant", free_port())
    with a_run(tmp_path / "log", "run", str(plant)) as agent:
        agent.wait_for("cannot be reached")
        began = time.monotonic()
        assert agent.stop() == 0
        took = time.monotonic() - began

    assert took < WITHIN_S


def test_a_broker_that_stops_answering_is_not_waited_for(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """Its process stands still: the connection is there, and nothing comes back."""
    import signal

    plant = write_plant(tmp_path / "plant", mosquitto.port)
    with a_run(tmp_path / "log", "run", str(plant)) as agent:
        agent.wait_for("connected,")
        assert mosquitto.process is not None
        mosquitto.process.send_signal(signal.SIGSTOP)
        try:
            began = time.monotonic()
            code = agent.stop()
            took = time.monotonic() - began
        finally:
            mosquitto.process.send_signal(signal.SIGCONT)

    assert code == 0
    assert took < WITHIN_S
