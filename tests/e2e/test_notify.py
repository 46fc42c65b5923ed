"""People are notified by the real agent, and a target that is dead delays nothing."""

from pathlib import Path

import pytest

from agent.cli import main
from tests.brokers import Mosquitto
from tests.e2e.plant_north import (
    CLOCK,
    PREFIX,
    publish,
    reading,
    rfc3339,
    running_agent,
    subscriber,
    write_plant,
)
from tests.receivers import a_hook_server, a_mail_server
from tests.waiting import wait_until

pytestmark = pytest.mark.broker

TARGETS = """
[[notify]]
id = "chat"
low = "always"
medium = "always"
hours = "00:00-24:00"

[[notify]]
id = "office"
medium = "hours"
hours = "00:00-24:00"
"""
STATE = f"{PREFIX}/mill-07/state"
ALARM = f"{PREFIX}/mill-07/alarm/nitrite-high"


def a_plant(folder: Path, port: int) -> Path:
    """The plant with two targets."""
    plant = write_plant(folder, port)
    plant.write_text(plant.read_text("utf-8") + TARGETS, "utf-8")
    return plant


def minute(port: int, number: int) -> None:
    """A reading and the clock of one minute."""
    publish(port, "north/mill-07/level", reading(300.0, 60 * number - 30))
    publish(port, CLOCK, rfc3339(60 * number))


def test_mail_and_webhook_get_the_alarm_while_the_agent_goes_on(
    mosquitto: Mosquitto, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """The chat's server hangs for as long as it likes: states go out, and the mail arrives."""
    plant = a_plant(tmp_path / "plant", mosquitto.port)
    with a_hook_server() as (chat, chat_port), a_mail_server() as (office, mail_port):
        chat.release.clear()
        secret = tmp_path / "chat-address"
        secret.write_text(f"json://127.0.0.1:{chat_port}/tok3n?rto=15\n", "utf-8")
        monkeypatch.setenv("MILLPOND_NOTIFY_CHAT_FILE", str(secret))
        mailto = f"mailto://127.0.0.1:{mail_port}/?from=agent@mill.example&to=ann@mill.example"
        monkeypatch.setenv("MILLPOND_NOTIFY_OFFICE", mailto)
        with (
            running_agent(plant, "--clock-topic", CLOCK) as agent,
            subscriber(mosquitto.port, f"{PREFIX}/#", tmp_path / "heard") as heard,
        ):
            publish(mosquitto.port, CLOCK, rfc3339(0))
            minute(mosquitto.port, 1)
            publish(mosquitto.port, f"{PREFIX}/mill-07/check", '{"kind": "nitrite", "value": 25}')
            wait_until(lambda: heard.newest(ALARM) is not None, "the alarm")
            for number in range(2, 6):
                minute(mosquitto.port, number)
            wait_until(lambda: office.mails != [], "the mail", 20.0)
            wait_until(
                lambda: (heard.newest(STATE) or {}).get("at") == rfc3339(300), "the fifth minute"
            )
            assert chat.bodies == []
            chat.release.set()
            wait_until(lambda: chat.bodies != [], "the webhook", 30.0)
            assert agent.stop() == 0
        assert "tok3n" not in agent.text()

    assert office.texts()[0][0] == "medium: mill-07 nitrite-high"
    assert "nitrite 25 mg/L, to act above 20 mg/L" in office.texts()[0][1]
    assert chat.bodies[0]["title"] == "medium: mill-07 nitrite-high"


def test_an_address_that_is_missing_stops_the_agent_at_the_start(
    mosquitto: Mosquitto, tmp_path: Path, capfd: pytest.CaptureFixture[str]
):
    """Nobody wants to find out in the night that the pager was never set up."""
    plant = a_plant(tmp_path / "plant", mosquitto.port)

    assert main(["run", str(plant)]) != 0
    assert "MILLPOND_NOTIFY_CHAT: is not set; notify chat wants it" in capfd.readouterr().err
