"""The demonstration's broker: whichever is installed, on loopback alone, gone afterwards."""

import socket
import sys
from pathlib import Path

import pytest

import agent.embedded
from agent.embedded import HOST, embedded_broker, find_mosquitto, free_port, mosquitto_broker
from agent.errors import BrokerError
from tests.clients import a_gateway, a_listener
from tests.waiting import wait_until

pytestmark = pytest.mark.broker


@pytest.fixture
def no_wheel(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine for which the Python package has no wheel."""
    monkeypatch.setitem(sys.modules, "iotcore", None)


def serves(port: int) -> None:
    """See that an MQTT 5 broker hands messages on, retained ones too."""
    with a_gateway(port) as gateway:
        gateway.send("demo/kept", "1", retain=True)
        gateway.wait()
        with a_listener(port, "demo/#") as listener:
            gateway.send("demo/now", "2")
            wait_until(lambda: len(listener.heard) == 2, "both messages")
            assert listener.heard == [("demo/kept", b"1", True), ("demo/now", b"2", False)]


def is_free(port: int) -> bool:
    """Whether nobody listens there."""
    with socket.socket() as probe:
        return probe.connect_ex((HOST, port)) != 0


def listening_addresses(port: int) -> set[str]:
    """Local addresses of the sockets that listen on a port, as the kernel writes them."""
    found = set()
    for table in ("/proc/net/tcp", "/proc/net/tcp6"):
        for line in Path(table).read_text().splitlines()[1:]:
            _, local, _, state, *_ = line.split()
            address, _, hexadecimal = local.rpartition(":")
            if state == "0A" and int(hexadecimal, 16) == port:
                found.add(address)
    return found


def test_the_packages_broker_serves_on_loopback_and_goes(tmp_path: Path) -> None:
    """0100007F is 127.0.0.1: nothing on the network reaches it."""
    with embedded_broker(tmp_path) as port:
        serves(port)
        assert listening_addresses(port) == {"0100007F"}

    assert is_free(port)


@pytest.mark.usefixtures("no_wheel")
def test_without_the_package_mosquitto_takes_its_place(tmp_path: Path) -> None:
    """The same promise from the installed broker."""
    with embedded_broker(tmp_path) as port:
        serves(port)
        assert listening_addresses(port) == {"0100007F"}
        assert (tmp_path / "mosquitto.conf").exists()

    assert is_free(port)


@pytest.mark.usefixtures("no_wheel")
def test_without_either_it_is_said_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A clear line instead of a traceback."""
    monkeypatch.setattr(agent.embedded, "find_mosquitto", lambda: None)

    with (
        pytest.raises(BrokerError, match="apt-get install mosquitto"),
        embedded_broker(tmp_path),
    ):
        pass


def test_a_port_that_is_taken_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By the package's broker, and by mosquitto."""
    with socket.socket() as other:
        other.bind((HOST, 0))
        other.listen()
        port = other.getsockname()[1]
        monkeypatch.setattr(agent.embedded, "free_port", lambda: port)

        with pytest.raises(BrokerError, match="does not start"), embedded_broker(tmp_path):
            pass


def test_what_mosquitto_says_of_a_bad_configuration_is_passed_on(tmp_path: Path) -> None:
    """Its last words are in the error."""
    config = tmp_path / "mosquitto.conf"
    config.write_text("no_such_setting true\n")
    program = find_mosquitto()
    assert program is not None

    with (
        pytest.raises(BrokerError, match="no_such_setting"),
        mosquitto_broker(program, config, free_port()),
    ):
        pass
