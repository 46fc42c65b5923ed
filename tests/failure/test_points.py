"""Parts that fail at the worst moments, one by one, between broker and store."""

import resource
import signal
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.brokers import Mosquitto
from tests.clients import a_gateway
from tests.failure.dying_agent import POINTS
from tests.failure.processes import an_agent, dated
from tests.waiting import wait_until

pytestmark = pytest.mark.broker

COUNT = 120
"""Messages that are sent on the way to each point. [1]"""


def test_a_kill_at_every_point_loses_and_doubles_nothing(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """The second time that the agent comes to a point it is gone; started again it goes on, and is
    gone at the next one. At the end every reading is there once, and nothing waits."""
    record = tmp_path / "record.jsonl"
    with (
        an_agent(tmp_path / "agent", mosquitto.port, "--record", str(record)) as agent,
        a_gateway(mosquitto.port) as gateway,
    ):
        for number, point in enumerate(POINTS):
            agent.dies_at = (point, "2")
            agent.start(online=number == 0)
            agent.wait_for("listening to", number + 1)
            gateway.send_all(dated(COUNT, start=number * COUNT), pause_every=20)
            wait_until(lambda: agent.code is not None, f"the kill at {point}")
            assert agent.code == -signal.SIGKILL, f"{point}: {agent.text()}"
        gateway.wait()
        agent.start()
        agent.wait_for_readings(COUNT * len(POINTS))

        assert agent.numbers() == list(range(COUNT * len(POINTS)))
        wait_until(lambda: agent.unsent() == 0, "an empty outbox")


def test_a_dead_network_thread_ends_the_process(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """Alive and deaf it would look well for ever; ended, it is started again and hears all."""
    with (
        an_agent(tmp_path / "agent", mosquitto.port) as agent,
        a_gateway(mosquitto.port) as gateway,
    ):
        agent.dies_at = ("network-thread", "5")
        agent.start()
        gateway.send_all(dated(100))
        gateway.wait()

        assert agent.wait() == 1
        assert "the network thread has ended" in agent.text()
        agent.start()
        agent.wait_for_readings(100)
        assert agent.numbers() == list(range(100))


def test_a_full_disk_is_waited_for(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """No file may grow: nothing is acknowledged and nothing lost; with room again all goes in."""
    with (
        an_agent(tmp_path / "agent", mosquitto.port) as agent,
        a_gateway(mosquitto.port) as gateway,
    ):
        agent.start()
        gateway.send_all(dated(20))
        agent.wait_for_readings(20)
        assert agent.process is not None
        unlimited = resource.prlimit(agent.process.pid, resource.RLIMIT_FSIZE)
        # the log and the write-ahead log are longer than this already
        resource.prlimit(agent.process.pid, resource.RLIMIT_FSIZE, (1024, unlimited[1]))
        gateway.send_all(dated(300, start=20))
        gateway.wait()
        with closing(sqlite3.connect(agent.store)) as store:
            assert store.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert len(agent.numbers()) < 320
        resource.prlimit(agent.process.pid, resource.RLIMIT_FSIZE, unlimited)
        agent.wait_for_readings(320, 20.0)
        agent.wait_for("the store works again")

        assert agent.numbers() == list(range(320))
