"""A broker of our own for the demonstration: on loopback, in memory, gone with the process.

The one that comes as a Python wheel is taken first, an installed mosquitto otherwise. Neither is
meant for a plant: see ``config/mosquitto.conf`` for one that is.
"""

import os
import shutil
import socket
import subprocess
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from agent.errors import BrokerError

HOST = "127.0.0.1"
READY_WITHIN_S = 10.0
STOP_WITHIN_S = 5.0
POLL_S = 0.02

_IOTCORE = """\
id = 0
[router]
id = 0
max_connections = 100
max_outgoing_packet_count = 200
max_segment_size = 104857600
max_segment_count = 10
[v5.1]
name = "v5-1"
listen = "{host}:{port}"
next_connection_delay_ms = 1
[v5.1.connections]
connection_timeout_ms = 60000
max_payload_size = 262144
max_inflight_count = 100
dynamic_filters = true
"""

_MOSQUITTO = """\
listener {port} {host}
allow_anonymous true
persistence false
max_queued_messages 1000000
max_inflight_messages 500
log_type error
"""


@contextmanager
def embedded_broker(folder: Path) -> Iterator[int]:
    """Run an MQTT 5 broker while the context lasts; gives its port on loopback.

    Parameters
    ----------
    folder : Path
        Takes its configuration.

    Raises
    ------
    BrokerError
        If no broker is installed, or it does not start.
    """
    port = free_port()
    with ExitStack() as stack:
        try:
            stack.enter_context(iotcore_broker(folder, port))
        except ImportError:
            program = find_mosquitto()
            if program is None:
                raise BrokerError(
                    "no broker for the demonstration: neither the Python package iotcore nor "
                    "mosquitto is installed; on Debian: apt-get install mosquitto"
                ) from None
            config = folder / "mosquitto.conf"
            config.write_text(_MOSQUITTO.format(host=HOST, port=port), "utf-8")
            stack.enter_context(mosquitto_broker(program, config, port))
        yield port


@contextmanager
def iotcore_broker(folder: Path, port: int) -> Iterator[None]:
    """Run the broker of the Python package iotcore.

    Raises
    ------
    ImportError
        If the package is not installed.
    BrokerError
        If it does not start.
    """
    from iotcore import Broker

    config = folder / "iotcore.toml"
    config.write_text(_IOTCORE.format(host=HOST, port=port), "utf-8")
    broker = Broker(config_path=str(config), listen=HOST, port=port)
    try:
        broker.start(READY_WITHIN_S)
    except (OSError, RuntimeError) as error:
        raise BrokerError(f"the embedded broker does not start: {error}") from error
    try:
        yield
    finally:
        broker.stop(STOP_WITHIN_S)


@contextmanager
def mosquitto_broker(program: Path, config: Path, port: int) -> Iterator["subprocess.Popen[bytes]"]:
    """Run mosquitto with a configuration of ours, until the context ends or somebody ends it.

    Raises
    ------
    BrokerError
        If it does not listen in time; its last words are in the message.
    """
    log = config.with_suffix(".log")
    with log.open("ab") as output:
        process = subprocess.Popen(  # noqa: S603  a program that was looked up, our own file
            [program, "-c", config],
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
    try:
        _await_listening(process, log, port)
        yield process
    finally:
        end(process)


def end(process: "subprocess.Popen[bytes]") -> None:
    """End a process of ours: asked first, made to if it does not."""
    process.terminate()
    try:
        process.wait(STOP_WITHIN_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def find_mosquitto() -> Path | None:
    """Where mosquitto is; Debian keeps it out of an ordinary user's PATH."""
    path = os.pathsep.join([os.environ.get("PATH", os.defpath), "/usr/sbin", "/usr/local/sbin"])
    found = shutil.which("mosquitto", path=path)
    return None if found is None else Path(found)


def free_port() -> int:
    """Find a TCP port on loopback that nobody listens on at the moment."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])


def _await_listening(process: "subprocess.Popen[bytes]", log: Path, port: int) -> None:
    """Wait until the broker takes connections."""
    pause = threading.Event()
    for _ in range(int(READY_WITHIN_S / POLL_S)):
        if process.poll() is not None:
            break
        with suppress(OSError), socket.create_connection((HOST, port), 1.0):
            return
        pause.wait(POLL_S)
    last = log.read_text("utf-8", "replace").strip().splitlines()[-3:]
    raise BrokerError("\n".join(["mosquitto does not start:", *last]))
