"""Killed at the worst moments, one by one: before and after each step between broker and store."""

import threading
from pathlib import Path

import pytest

from tests.brokers import Mosquitto
from tests.clients import a_gateway
from tests.failure.dying_agent import POINTS
from tests.failure.processes import an_agent, dated
from tests.waiting import wait_until

pytestmark = pytest.mark.broker

COUNT = 400


@pytest.mark.parametrize("point", POINTS)
def test_a_kill_at_any_point_loses_and_doubles_nothing(
    mosquitto: Mosquitto, tmp_path: Path, point: str
) -> None:
    """The third time that the agent comes to this point it is gone; started again, all is there."""
    record = tmp_path / "record.jsonl"
    with (
        an_agent(tmp_path / "agent", mosquitto.port, "--record", str(record)) as agent,
        a_gateway(mosquitto.port) as gateway,
    ):
        agent.dies_at = (point, "3")
        agent.start()
        sender = threading.Thread(target=gateway.send_all, args=(dated(COUNT),))
        sender.start()
        wait_until(lambda: agent.code is not None, f"the kill at {point}")
        sender.join()
        gateway.wait()
        agent.start()
        agent.wait_for_readings(COUNT)

        assert agent.numbers() == list(range(COUNT))
        assert agent.code is None
        wait_until(lambda: agent.unsent() == 0, "an empty outbox")
