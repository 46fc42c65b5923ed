"""The live process as its surroundings see it: how it starts, speaks, ends, and what it says."""

import json
import subprocess
from pathlib import Path

import pytest

from agent.embedded import free_port
from tests.brokers import Mosquitto, a_mosquitto, make_certificate
from tests.clients import a_gateway, a_listener
from tests.failure.processes import an_agent, dated, status
from tests.waiting import wait_until

pytestmark = pytest.mark.broker


def test_a_stop_ends_it_in_seconds_with_everything_stored(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """SIGTERM: the batch at hand is committed, `offline` is told, the exit code is 0."""
    with (
        an_agent(tmp_path / "agent", mosquitto.port) as agent,
        a_gateway(mosquitto.port) as gateway,
    ):
        agent.start()
        wait_until(lambda: json.loads(status(mosquitto.port))["status"] == "online", "online")
        gateway.send_all(dated(100))
        agent.wait_for_readings(100)

        assert agent.stop() == 0
        assert json.loads(status(mosquitto.port))["status"] == "offline"
        assert agent.unsent() == 0


def test_its_last_will_says_that_it_is_gone(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """Killed, it is told offline by the broker, with the version and beginning of that run."""
    with an_agent(tmp_path / "agent", mosquitto.port) as agent:
        agent.start()
        online = json.loads(status(mosquitto.port))
        agent.kill()
        wait_until(lambda: json.loads(status(mosquitto.port))["status"] == "offline", "offline")

        assert json.loads(status(mosquitto.port)) == {**online, "status": "offline"}


def test_a_broker_that_is_not_there_yet_is_awaited(tmp_path: Path) -> None:
    """Started before its broker, the agent says so once and connects when it comes."""
    broker = Mosquitto(tmp_path / "broker")
    broker.folder.mkdir()
    with an_agent(tmp_path / "agent", broker.port) as agent:
        agent.start(online=False)
        agent.wait_for("cannot be reached")
        broker.start()
        agent.wait_for("connected, new session")
        broker.stop()

        assert agent.text().count("cannot be reached") == 1
        assert "Connection refused" in agent.text()


def test_a_second_agent_on_the_same_store_does_not_start(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """Two agents of one plant would throw each other out for ever: the second one says why not."""
    with (
        an_agent(tmp_path / "agent", mosquitto.port) as first,
        an_agent(tmp_path / "agent", mosquitto.port) as second,
    ):
        first.start()
        second.start(online=False)

        assert second.wait() == 2
        assert "is millpond running for this plant already?" in second.text()


def test_an_agent_whose_name_another_one_takes_ends(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """The same client id from another store: one of the two ends, the other one stays."""
    with (
        an_agent(tmp_path / "first", mosquitto.port) as first,
        an_agent(tmp_path / "second", mosquitto.port) as second,
    ):
        first.start()
        second.start()
        wait_until(lambda: {first.code, second.code} != {None}, "the end of one", 20.0)
        gone, left = (first, second) if first.code is not None else (second, first)
        left.wait_for("connected, session resumed")

        assert gone.code == 1
        assert "another client uses the id millpond-test" in gone.text()
        assert left.stop() == 0


def test_a_wrong_password_is_said_and_ends_the_start(tmp_path: Path) -> None:
    """Refused at the first connection, the agent names the variables to look at, not the values."""
    secret = "not-the-password"  # noqa: S105  it is not
    with (
        a_mosquitto(tmp_path / "broker", {"millpond": "right"}) as broker,
        an_agent(
            tmp_path / "agent",
            broker.tls_port,
            "--ca",
            str(broker.certificate),
            environment={"MILLPOND_BROKER_USER": "millpond", "MILLPOND_BROKER_PASSWORD": secret},
        ) as agent,
    ):
        agent.start(online=False)

        assert agent.wait() == 1
        assert "MILLPOND_BROKER_PASSWORD" in agent.text()
        assert secret not in agent.text()


def test_over_tls_with_a_password_and_the_shipped_rights(tmp_path: Path) -> None:
    """The shipped file's second listener and its topic rights let the agent do its work."""
    logins = {"millpond": "one", "gateway": "two"}
    with (
        a_mosquitto(tmp_path / "broker", logins) as broker,
        an_agent(
            tmp_path / "agent",
            broker.tls_port,
            *("--ca", str(broker.certificate), "--plant", "north"),
            environment={"MILLPOND_BROKER_USER": "millpond", "MILLPOND_BROKER_PASSWORD": "one"},
        ) as agent,
    ):
        agent.start()
        for topic in ("north/mill-07/level", "millpond/north/mill-07/check"):
            _publish(broker, "gateway", "two", topic, "1 1000")
        agent.wait_for_readings(1)
        agent.stop()

        assert agent.numbers() == [1]
        assert agent.unsent() == 0


def test_rights_keep_people_and_stations_to_their_own_topics(tmp_path: Path) -> None:
    """Nobody but the agent writes advice; a station reports for its own sump alone."""
    logins = {"millpond": "a", "terminal": "b", "station-mill-07": "c", "gateway": "d"}
    with (
        a_mosquitto(tmp_path / "broker", logins) as broker,
        a_listener(broker.port, "#") as listener,
    ):
        attempts = [
            ("terminal", "millpond/north/mill-07/check", True),
            ("terminal", "millpond/north/mill-07/advice", False),
            ("terminal", "millpond/north/mill-07/setpoint", False),
            ("terminal", "north/mill-07/level", False),
            ("station-mill-07", "millpond/north/mill-07/delivered", True),
            ("station-mill-07", "millpond/north/mill-08/delivered", False),
            ("station-mill-07", "millpond/north/mill-07/setpoint", False),
            ("gateway", "north/mill-07/level", True),
            ("gateway", "millpond/north/mill-07/addition", False),
            ("millpond", "millpond/north/mill-07/advice", True),
            ("millpond", "north/mill-07/level", False),
        ]
        for user, topic, _ in attempts:
            _publish(broker, user, logins[user], topic, user)
        _publish(broker, "millpond", "a", "millpond/north/end", "end")
        wait_until(lambda: listener.payloads("millpond/north/end"), "the last message")

        heard = {(payload.decode(), topic) for topic, payload, _ in listener.heard}
        assert heard - {("end", "millpond/north/end")} == {
            (user, topic) for user, topic, allowed in attempts if allowed
        }


def test_a_broker_with_a_strangers_certificate_is_not_trusted(tmp_path: Path) -> None:
    """A certificate that the given authority did not sign is refused, and the log says so."""
    stranger = tmp_path / "stranger.crt"
    make_certificate(stranger, tmp_path / "stranger.key")
    with (
        a_mosquitto(tmp_path / "broker", {"millpond": "one"}) as broker,
        an_agent(tmp_path / "agent", broker.tls_port, "--ca", str(stranger)) as agent,
    ):
        agent.start(online=False)
        agent.wait_for("signed by an authority that broker.ca_file does not name")

        assert agent.stop() == 0


def test_a_port_that_is_no_broker_is_said(tmp_path: Path) -> None:
    """Nobody listens: a stop works all the same, within seconds."""
    with an_agent(tmp_path / "agent", free_port()) as agent:
        agent.start(online=False)
        agent.wait_for("cannot be reached")

        assert agent.stop() == 0


def test_a_mistake_in_the_worker_ends_the_process_loudly(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """No part restarts itself: exit code 1, a traceback, and the message stays with the broker."""
    with (
        an_agent(tmp_path / "agent", mosquitto.port) as agent,
        a_gateway(mosquitto.port) as gateway,
    ):
        agent.start()
        gateway.send("in/level", "bug 1000")
        assert agent.wait() == 1
        assert "Traceback" in agent.text()
        assert "a mistake in millpond ended the worker" in agent.text()
        agent.start(online=False)

        assert agent.wait() == 1


def test_an_unusable_message_is_stored_as_refused_and_does_not_come_again(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """What cannot be used is acknowledged too, or it would come back at each connection."""
    with (
        an_agent(tmp_path / "agent", mosquitto.port) as agent,
        a_gateway(mosquitto.port) as gateway,
    ):
        agent.start()
        gateway.send("in/level", b"\xff\xfe")
        gateway.send("in/level", "7 1000")
        agent.wait_for_readings(1)
        agent.stop()
        agent.start()
        gateway.send("in/level", "8 2000")
        agent.wait_for_readings(2)
        agent.stop()

        assert agent.numbers() == [7, 8]
        assert agent.refused() == 1


def test_a_clock_on_a_topic_stamps_what_arrives(mosquitto: Mosquitto, tmp_path: Path) -> None:
    """Stamps are the newest tick's time; what came before the first tick gets that one's."""
    record = tmp_path / "record.jsonl"
    with (
        an_agent(
            tmp_path / "agent", mosquitto.port, *("--clock-topic", "clock", "--record", str(record))
        ) as agent,
        a_gateway(mosquitto.port) as gateway,
    ):
        agent.start()
        gateway.send("in/level", "1 1000")
        gateway.send("clock", "2030-01-01T00:00:00Z")
        gateway.send("in/level", "2 2000", retain=True)
        gateway.send("clock", "no time")
        gateway.send("clock", "2030-01-01T00:10:00Z")
        gateway.send("clock", "2030-01-01T00:05:00Z")
        gateway.send("in/level", "3 3000")
        agent.wait_for_readings(3)
        agent.stop()

        assert [json.loads(line) for line in record.read_text().splitlines()] == [
            {"at": "2030-01-01T00:00:00Z", "topic": "in/level", "payload": "1 1000"},
            {"at": "2030-01-01T00:00:00Z"},
            {"at": "2030-01-01T00:00:00Z", "topic": "in/level", "payload": "2 2000"},
            {"at": "2030-01-01T00:10:00Z"},
            {"at": "2030-01-01T00:10:00Z"},
            {"at": "2030-01-01T00:10:00Z", "topic": "in/level", "payload": "3 3000"},
        ]
        assert "'no time'" in agent.text()


def test_a_restart_goes_on_with_the_clock_of_the_store(
    mosquitto: Mosquitto, tmp_path: Path
) -> None:
    """With a clock on a topic a restarted agent does not wait for a tick."""
    record = tmp_path / "record.jsonl"
    with (
        an_agent(
            tmp_path / "agent", mosquitto.port, *("--clock-topic", "clock", "--record", str(record))
        ) as agent,
        a_gateway(mosquitto.port) as gateway,
    ):
        agent.start()
        gateway.send("clock", "2030-01-01T00:00:00Z")
        gateway.send("in/level", "1 1000")
        agent.wait_for_readings(1)
        agent.kill()
        agent.start()
        gateway.send("in/level", "2 2000")
        agent.wait_for_readings(2)

        last = json.loads(record.read_text().splitlines()[-1])
        assert last == {"at": "2030-01-01T00:00:00Z", "topic": "in/level", "payload": "2 2000"}


def _publish(broker: Mosquitto, user: str, password: str, topic: str, payload: str) -> None:
    """Publish with mosquitto's own client, over TLS."""
    subprocess.run(
        [
            *("mosquitto_pub", "-h", "localhost", "-p", str(broker.tls_port), "-V", "5", "-q", "1"),
            *(
                "--cafile",
                broker.certificate,
                "-u",
                user,
                "-P",
                password,
                "-t",
                topic,
                "-m",
                payload,
            ),
        ],
        check=True,
        capture_output=True,
    )
