"""What a service manager is told, over a socket like its own."""

import json
import signal
import socket
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace

import pytest

from agent.operation.pulse import DEAD_AFTER_S, Pulse
from agent.operation.service_manager import ServiceManager
from tests.brokers import Mosquitto
from tests.clients import a_gateway
from tests.e2e.plant_north import write_plant
from tests.security.runs import a_run
from tests.waiting import wait_until


class Manager:
    """Takes datagrams as systemd does."""

    def __init__(self, folder: Path) -> None:
        self.address = str(folder / "notify")
        self.told: list[str] = []
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(self.address)
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()

    def _listen(self) -> None:
        while (octets := self._socket.recv(4096)) != b"end":
            self.told.append(octets.decode())

    def close(self) -> None:
        """End it."""
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
            line.sendto(b"end", self.address)
        self._thread.join(10.0)
        self._socket.close()

    def beats(self) -> int:
        """How often the watchdog was told that all is well."""
        return self.told.count("WATCHDOG=1")


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[Manager]:
    """A service manager's socket."""
    found = Manager(tmp_path)
    yield found
    found.close()


def test_ready_alive_and_stopping_are_told_in_their_order(
    manager: Manager, mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """READY once, WATCHDOG=1 again and again, STOPPING at the end; a locked store is no death."""
    plant = write_plant(tmp_path / "plant", mosquitto.port)
    environment = {"NOTIFY_SOCKET": manager.address, "WATCHDOG_USEC": "4000000"}
    with a_run(tmp_path / "log", "run", str(plant), environment=environment) as agent:
        agent.wait_for("connected,")
        wait_until(lambda: manager.beats() >= 3, "beats")
        assert manager.told[0].startswith(("READY=1\n", "WATCHDOG=1"))
        assert sum(told.startswith("READY=1\nSTATUS=running") for told in manager.told) == 1
        with closing(sqlite3.connect(plant.with_name("north.db"))) as other:
            other.execute("BEGIN IMMEDIATE")
            with a_gateway(mosquitto.port) as gateway:
                gateway.send("north/mill-07/level", json.dumps({"v": 1}))
                agent.wait_for("waiting, and nothing is acknowledged meanwhile")
                before = manager.beats()
                wait_until(lambda: manager.beats() >= before + 2, "beats while it waits")
            other.execute("ROLLBACK")
        agent.wait_for("the store works again")
        assert agent.stop() == 0
    wait_until(lambda: manager.told[-1].startswith("STOPPING=1"), "the farewell")


def test_a_process_that_stands_still_tells_nothing(
    manager: Manager, mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """Stopped as a whole, no beat comes: the service manager would start it again."""
    plant = write_plant(tmp_path / "plant", mosquitto.port)
    environment = {"NOTIFY_SOCKET": manager.address, "WATCHDOG_USEC": "2000000"}
    with a_run(tmp_path / "log", "run", str(plant), environment=environment) as agent:
        wait_until(lambda: manager.beats() >= 2, "beats")
        agent.process.send_signal(signal.SIGSTOP)
        wait_until(lambda: is_stopped(agent.process.pid), "the standstill")
        before = manager.beats()
        assert not threading.Event().wait(2.5)
        assert manager.beats() <= before + 1  # one may have been on its way
        agent.process.send_signal(signal.SIGCONT)
        wait_until(lambda: manager.beats() >= before + 2, "beats again")
        assert agent.stop() == 0


def is_stopped(pid: int) -> bool:
    """Whether a process stands still by a signal."""
    return Path(f"/proc/{pid}/stat").read_text("ascii").rsplit(")", 1)[1].split()[0] == "T"


# --- the parts -----------------------------------------------------------------------------------


def test_only_the_workers_turns_are_life() -> None:
    """A stuck worker is dead after a while, whatever other threads wait for."""
    now = SimpleNamespace(s=0.0)
    beats: list[float] = []
    pulse = Pulse(lambda: now.s)
    pulse.on_beat = lambda: beats.append(now.s)
    assert pulse.age is None
    worker = threading.Thread(target=pulse.beat)
    worker.start()
    worker.join()
    now.s = DEAD_AFTER_S - 1.0
    pulse.wait("locked")  # the outbox's thread waits, not the worker
    assert pulse.is_alive
    now.s = DEAD_AFTER_S + 1.0
    assert not pulse.is_alive
    assert pulse.waits_for == "locked"
    assert beats == [0.0]
    pulse.beat()
    assert pulse.is_alive
    assert pulse.waits_for == ""
    now.s += DEAD_AFTER_S
    pulse.wait("full")
    assert pulse.is_alive


def test_the_watchdog_is_told_four_times_within_its_time(manager: Manager) -> None:
    """However often the worker turns."""
    now = SimpleNamespace(s=100.0)
    environment = {"NOTIFY_SOCKET": manager.address, "WATCHDOG_USEC": "40000000"}
    told = ServiceManager(environment, lambda: now.s)
    for _ in range(1_000):
        told.alive()
        now.s += 0.04
    wait_until(lambda: manager.beats() >= 4, "beats")

    assert manager.beats() == 4


@pytest.mark.parametrize(
    "environment",
    [
        {},
        {"NOTIFY_SOCKET": "relative", "WATCHDOG_USEC": "1"},
        {"NOTIFY_SOCKET": "", "WATCHDOG_USEC": "no number"},
    ],
)
def test_without_a_service_manager_nothing_is_said(environment: dict[str, str]) -> None:
    """A terminal, another supervisor: no error, no line in the log."""
    silent = ServiceManager(environment)
    silent.ready("x")
    silent.alive()
    silent.stopping()


def test_a_watchdog_of_another_process_is_not_ours(manager: Manager) -> None:
    """WATCHDOG_PID names who is meant: a parent's variable must not make a child speak."""
    environment = {
        "NOTIFY_SOCKET": manager.address,
        "WATCHDOG_USEC": "1000000",
        "WATCHDOG_PID": "1",
    }
    told = ServiceManager(environment)
    told.alive()
    told.stopping()
    wait_until(lambda: manager.told, "the other message")

    assert manager.told == ["STOPPING=1\nSTATUS=stopping"]


def test_a_socket_that_is_gone_ends_nothing(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Said once, then never tried again."""
    told = ServiceManager({"NOTIFY_SOCKET": str(tmp_path / "nobody")})
    told.ready("x")
    told.stopping()

    assert caplog.text.count("the service manager cannot be told anything") == 1
