"""The historian beside the real agent: away, slow, restarted, the agent killed; nothing is lost."""

import re
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.brokers import Mosquitto
from tests.clients import Gateway, a_gateway
from tests.e2e.plant_north import CLOCK, ROOT, reading, rfc3339, running_agent, write_plant
from tests.historians import (
    BUCKET,
    ORG,
    TOKEN,
    a_strict_historian,
    a_victoria_metrics,
)
from tests.waiting import wait_until

pytestmark = pytest.mark.broker

LEVEL = "north/mill-07/level"


@pytest.fixture(autouse=True)
def token(monkeypatch: pytest.MonkeyPatch) -> None:
    """What allows writing stands in the environment."""
    monkeypatch.setenv("MILLPOND_HISTORIAN_TOKEN", TOKEN)


def a_plant(folder: Path, port: int, url: str) -> Path:
    """The plant of one sump with a historian."""
    path = write_plant(folder, port)
    section = f'[historian]\nurl = "{url}"\norg = "{ORG}"\nbucket = "{BUCKET}"\n\n[[concentrate]]'
    path.write_text(path.read_text("utf-8").replace("[[concentrate]]", section, 1), "utf-8")
    return path


def send(gateway: Gateway, times: range) -> None:
    """A dated level each second."""
    for at in times:
        gateway.send(LEVEL, reading(300.0 - 0.01 * at, at))
    gateway.wait()


def levels(points: dict[tuple[str, ...], dict[int, float]]) -> list[float]:
    """Levels in the order of their times."""
    return [value for _, value in sorted(points.get(("mill-07", "level"), {}).items())]


def test_a_real_server_has_every_reading_once(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """Agent killed twice, server restarted: read back, the points are the readings."""
    with a_victoria_metrics(tmp_path / "vm") as server:
        plant = a_plant(tmp_path / "plant", mosquitto.port, server.url)
        with (
            running_agent(plant, "--clock-topic", CLOCK) as agent,
            a_gateway(mosquitto.port) as gateway,
        ):
            gateway.send(CLOCK, rfc3339(0))
            send(gateway, range(70))
            agent.kill_and_start()
            send(gateway, range(70, 140))
            server.stop()
            send(gateway, range(140, 210))
            agent.kill_and_start()
            send(gateway, range(210, 280))
            server.start()
            gateway.send(CLOCK, rfc3339(280))
            expected = [round(300.0 - 0.01 * at, 6) for at in range(280)]
            wait_until(lambda: len(levels(server.points("reading_value"))) >= 280, "points", 30.0)
            assert levels(server.points("reading_value")) == pytest.approx(expected, abs=1e-9)
            assert agent.stop() == 0


def test_a_server_that_hangs_or_is_away_delays_neither_worker_nor_shutdown(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """Readings are stored meanwhile, a stop takes seconds, the next run sends what waited."""
    with a_strict_historian() as historian:
        historian.slow.set()
        plant = a_plant(tmp_path / "plant", mosquitto.port, historian.url)
        with (
            running_agent(plant, "--clock-topic", CLOCK) as agent,
            a_gateway(mosquitto.port) as gateway,
        ):
            gateway.send(CLOCK, rfc3339(0))
            send(gateway, range(50))
            wait_until(historian.asked.is_set, "a request")
            began = time.monotonic()
            assert agent.stop() == 0
            assert time.monotonic() - began < 8.0
        historian.slow.clear()
        with running_agent(plant, "--clock-topic", CLOCK):
            wait_until(lambda: len(historian.values("reading")) >= 50, "all points", 20.0)

        assert historian.values("reading") == pytest.approx([300.0 - 0.01 * n for n in range(50)])


def test_a_range_is_sent_again_by_backfill(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """A historian that lost what it had gets it again from the store."""
    with a_strict_historian() as historian:
        plant = a_plant(tmp_path / "plant", mosquitto.port, historian.url)
        with (
            running_agent(plant, "--clock-topic", CLOCK) as agent,
            a_gateway(mosquitto.port) as gateway,
        ):
            gateway.send(CLOCK, rfc3339(0))
            send(gateway, range(100))
            gateway.send(CLOCK, rfc3339(130))
            wait_until(lambda: len(historian.values("reading")) >= 100, "all points", 20.0)
            before = {k: v for k, v in historian.points.items() if k[0].startswith("reading,")}
            assert agent.stop() == 0
        historian.points.clear()
        said = _backfill(plant, "--to", rfc3339(49))

        assert historian.values("reading") == pytest.approx([300.0 - 0.01 * n for n in range(50)])
        assert re.match(r"\d+ lines sent, 0 refused", said)
        _backfill(plant)
        assert {k: v for k, v in historian.points.items() if k[0].startswith("reading,")} == before


def _backfill(plant: Path, *options: str) -> str:
    """Run the command; what it says."""
    done = subprocess.run(
        [sys.executable, "-m", "agent", "backfill", str(plant), *options],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    )
    return done.stdout
