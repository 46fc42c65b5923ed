"""Dated readings that the broker accepted are in the store once, whatever happens to the agent."""

import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest

from tests.brokers import Mosquitto, a_mosquitto
from tests.clients import a_gateway, a_listener
from tests.failure.counting_agent import PREFIX
from tests.failure.processes import an_agent, dated
from tests.waiting import wait_until

pytestmark = pytest.mark.broker


def test_messages_sent_while_the_agent_is_away_are_taken_in_when_it_is_back(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """The session at the broker outlives the agent, beyond the broker's own default of 1000."""
    with (
        an_agent(tmp_path / "agent", mosquitto.port) as agent,
        a_gateway(mosquitto.port) as gateway,
    ):
        agent.start()
        agent.stop()
        gateway.send_all(dated(3000), pause_every=1000)
        gateway.wait()
        agent.start()
        agent.wait_for_readings(3000)

        assert agent.numbers() == list(range(3000))


def test_kills_in_mid_stream_lose_and_double_nothing(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """Store first, acknowledge then: SIGKILL at any moment costs no reading."""
    count = 4000
    with (
        an_agent(tmp_path / "agent", mosquitto.port) as agent,
        a_gateway(mosquitto.port) as gateway,
    ):
        agent.start()
        sender = threading.Thread(target=gateway.send_all, args=(dated(count),))
        sender.start()
        for kills in range(1, 4):
            agent.wait_for_readings(kills * 500)
            agent.kill()
            agent.start(online=False)
        sender.join()
        gateway.wait()
        agent.wait_for_readings(count)

        assert agent.numbers() == list(range(count))


def test_kills_in_mid_stream_cost_nothing_at_the_embedded_broker_either(
    iotcore: int, tmp_path: Path
) -> None:
    """The same promise at the demonstration's broker."""
    count = 2000
    with an_agent(tmp_path / "agent", iotcore) as agent, a_gateway(iotcore) as gateway:
        agent.start()
        sender = threading.Thread(target=gateway.send_all, args=(dated(count),))
        sender.start()
        agent.wait_for_readings(500)
        agent.kill()
        agent.start(online=False)
        sender.join()
        gateway.wait()
        agent.wait_for_readings(count)

        assert agent.numbers() == list(range(count))


def test_the_broker_stopped_and_started_loses_and_doubles_nothing(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """A regular stop keeps what waits; the agent connects again by itself."""
    count = 3000
    with (
        an_agent(tmp_path / "agent", mosquitto.port) as agent,
        a_gateway(mosquitto.port) as gateway,
    ):
        agent.start()
        sender = threading.Thread(target=gateway.send_all, args=(dated(count),))
        sender.start()
        agent.wait_for_readings(500)
        mosquitto.stop()
        mosquitto.start()
        sender.join()
        gateway.wait()
        agent.wait_for_readings(count)

        assert agent.numbers() == list(range(count))


def test_a_store_that_is_locked_is_waited_for(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """While another program holds the store nothing is acknowledged; afterwards all is there."""
    with (
        an_agent(tmp_path / "agent", mosquitto.port) as agent,
        a_gateway(mosquitto.port) as gateway,
    ):
        agent.start()
        gateway.send_all(dated(10))
        agent.wait_for_readings(10)
        with closing(sqlite3.connect(agent.store, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            gateway.send_all(dated(500, start=10))
            agent.wait_for("another program holds it")
            other.execute("ROLLBACK")
        agent.wait_for("the store works again")
        agent.wait_for_readings(510)

        assert agent.numbers() == list(range(510))


def test_a_kill_while_the_store_is_locked_loses_nothing(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """What could not be stored was not acknowledged, so the broker brings it again."""
    with (
        an_agent(tmp_path / "agent", mosquitto.port) as agent,
        a_gateway(mosquitto.port) as gateway,
    ):
        agent.start()
        with closing(sqlite3.connect(agent.store, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            gateway.send_all(dated(300))
            gateway.wait()
            agent.wait_for("another program holds it")
            agent.kill()
            other.execute("ROLLBACK")
        agent.start()
        agent.wait_for_readings(300)

        assert agent.numbers() == list(range(300))


def test_what_was_to_be_told_is_told_after_a_restart(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """Messages committed while the broker is away are sent by the next run, in their order."""
    with an_agent(tmp_path / "agent", mosquitto.port) as agent:
        agent.start()
        with (
            a_gateway(mosquitto.port) as gateway,
            closing(sqlite3.connect(agent.store, isolation_level=None)) as other,
        ):
            other.execute("BEGIN IMMEDIATE")
            gateway.send_all(dated(200))
            gateway.wait()
            agent.wait_for("another program holds it")
            mosquitto.stop()
            other.execute("ROLLBACK")
        agent.wait_for_readings(200)
        agent.kill()
        assert agent.unsent() == 200
        mosquitto.start()
        with a_listener(mosquitto.port, f"{PREFIX}/#") as listener:
            agent.start()
            agent.wait_for_readings(200)
            wait_until(lambda: agent.unsent() == 0, "an empty outbox")
            seen = f"{PREFIX}/seen"
            wait_until(lambda: len(set(listener.payloads(seen))) == 200, "all that was told")

            told = [int(payload) for payload in listener.payloads(f"{PREFIX}/seen")]
        assert list(dict.fromkeys(told)) == list(range(200))


def test_a_queue_of_the_brokers_own_limit_shows_as_a_gap(tmp_path: Path) -> None:
    """With mosquitto's default limit the newest beyond 1000 are lost, and nobody is told: what is
    stored has a gap there, and what comes afterwards is taken in."""
    with (
        a_mosquitto(tmp_path / "broker", max_queued_messages=1000) as mosquitto,
        an_agent(tmp_path / "agent", mosquitto.port) as agent,
        a_gateway(mosquitto.port) as gateway,
    ):
        agent.start()
        agent.kill()
        gateway.send_all(dated(2000), pause_every=1000)
        gateway.wait()
        agent.start()
        agent.wait_for("what had waited has come in")
        gateway.send_all(dated(1, start=5000))
        wait_until(lambda: agent.numbers()[-1:] == [5000], "what came afterwards")

        numbers = agent.numbers()
        assert numbers == [*range(len(numbers) - 1), 5000]
        assert 1000 <= len(numbers) <= 1501  # the queue, and what is in flight beside it
