"""The topic rights of `config/mosquitto.acl` at a real mosquitto: each role with its refusals.

The other listener, on loopback and open, stands for the broker's own machine: it hears and says
everything.
"""

import ssl
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest

from tests.clients import a_gateway, a_listener
from tests.security.authority import USERS, Authority, Issued, SecureBroker, a_secure_broker
from tests.waiting import wait_until

pytestmark = pytest.mark.broker

OURS = "millpond/north"
PLANT = "north/mill-07/level"
TOPICS = (
    PLANT,
    "north/mill-08/level",
    *(f"{OURS}/mill-07/{kind}" for kind in ("state", "event", "advice", "alarm/level-low")),
    *(f"{OURS}/mill-07/{kind}" for kind in ("setpoint", "lease", "alarm-answer")),
    *(f"{OURS}/mill-07/{kind}" for kind in ("check", "addition", "drain", "charge", "service")),
    *(f"{OURS}/mill-07/{kind}" for kind in ("alarm-command", "accepted", "delivered")),
    *(f"{OURS}/mill-08/{kind}" for kind in ("setpoint", "lease", "accepted", "delivered")),
    *(f"{OURS}/supply/drum-1/{kind}" for kind in ("stock", "alarm-command", "alarm/expired")),
    f"{OURS}/alarm-command",
    f"{OURS}/agent",
    "other/mill-07/level",
    "millpond/other/mill-07/advice",
    "$SYS/broker/uptime",
)
REPORTS = {
    *(f"{OURS}/mill-07/{kind}" for kind in ("check", "addition", "drain", "charge", "service")),
    f"{OURS}/mill-07/alarm-command",
    f"{OURS}/supply/drum-1/stock",
    f"{OURS}/supply/drum-1/alarm-command",
    f"{OURS}/alarm-command",
}
ALL_OURS = {topic for topic in TOPICS if topic.startswith(f"{OURS}/")}
ALL_PLANT = {topic for topic in TOPICS if topic.startswith("north/")}
STATION_READS = {f"{OURS}/mill-07/setpoint", f"{OURS}/mill-07/lease", f"{OURS}/agent"}

MAY_WRITE = {
    "millpond": ALL_OURS,
    "gateway": ALL_PLANT,
    "sensor-mill-07": {PLANT},
    "terminal": REPORTS,
    "station-mill-07": {f"{OURS}/mill-07/accepted", f"{OURS}/mill-07/delivered"},
    "reader": set(),
    "stranger": set(),
}
MAY_READ = {
    "millpond": ALL_OURS | ALL_PLANT,
    "gateway": set(),
    "sensor-mill-07": set(),
    "terminal": ALL_OURS,
    "station-mill-07": STATION_READS,
    "reader": ALL_OURS | ALL_PLANT,
    "stranger": set(),
}
NOT_AUTHORISED = 0x87


class Client:
    """Somebody with a certificate at the encrypted listener."""

    def __init__(self, broker: SecureBroker, issued: Issued) -> None:
        self.heard: list[str] = []
        self.refused: dict[int, int] = {}
        self._client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
        context = ssl.create_default_context(cafile=str(broker.authority.certificate))
        context.load_cert_chain(issued.certificate, issued.key)
        self._client.tls_set_context(context)
        self._client.on_message = lambda _c, _u, message: self.heard.append(message.topic)
        self._client.on_publish = self._note
        self._subscribed = False
        self._client.on_subscribe = lambda *_: setattr(self, "_subscribed", True)
        self._client.connect("localhost", broker.port)
        self._client.loop_start()

    def _note(self, _c: object, _u: object, mid: int, reason: mqtt.ReasonCode, _p: object) -> None:
        self.refused[mid] = reason.value

    def write(self, topics: tuple[str, ...]) -> dict[str, int]:
        """The broker's answer to a message on each topic."""
        numbers = {topic: self._client.publish(topic, b"x", qos=1).mid for topic in topics}
        wait_until(lambda: len(self.refused) == len(numbers), "every answer")
        return {topic: self.refused[number] for topic, number in numbers.items()}

    def listen(self, topics: tuple[str, ...]) -> None:
        """Ask for everything there is, by wildcard and by name."""
        self._subscribed = False
        self._client.subscribe([(name, 1) for name in ("#", *topics)])
        wait_until(lambda: self._subscribed, "the subscription")

    def close(self) -> None:
        """Leave."""
        self._client.disconnect()
        self._client.loop_stop()


class Site:
    """A broker and somebody of every role."""

    def __init__(self, folder: Path) -> None:
        self.authority = Authority(folder / "authority")
        self.server = self.authority.issue("server", host="DNS:localhost")
        self.issued = {name: self.authority.issue(name) for name in (*USERS, "stranger")}


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    """Certificates take a while: made once."""
    return Site(tmp_path_factory.mktemp("site"))


@pytest.fixture(scope="module")
def broker(site: Site, tmp_path_factory: pytest.TempPathFactory) -> Iterator[SecureBroker]:
    """One broker for all of them."""
    folder = tmp_path_factory.mktemp("broker")
    with a_secure_broker(folder / "broker", site.authority, site.server) as broker:
        yield broker


def test_every_role_of_the_shipped_rights_is_here(broker: SecureBroker) -> None:
    """A block that joins the file joins these tests."""
    text = (broker.log.parent / "mosquitto.acl").read_text("utf-8")
    users = [line.removeprefix("user ") for line in text.splitlines() if line.startswith("user ")]

    assert tuple(users) == USERS
    assert MAY_READ.keys() == MAY_WRITE.keys() == {*users, "stranger"}


@pytest.mark.parametrize("role", MAY_WRITE)
def test_a_role_writes_its_own_topics_and_no_others(
    site: Site, broker: SecureBroker, role: str
) -> None:
    """What is refused is answered with "not authorised", and nobody hears it."""
    topics = tuple(topic for topic in TOPICS if not topic.startswith("$"))
    with a_listener(broker.open_port, "#") as everybody:
        client = Client(broker, site.issued[role])
        answers = client.write(topics)
        client.close()
        with a_gateway(broker.open_port) as marker:
            marker.send("end", role)
            wait_until(lambda: role.encode() in everybody.payloads("end"), "the marker")
        heard = {topic for topic, payload, _ in everybody.heard if payload == b"x"}

    assert heard == MAY_WRITE[role]
    assert {topic for topic, reason in answers.items() if reason == NOT_AUTHORISED} == (
        set(topics) - MAY_WRITE[role]
    )


@pytest.mark.parametrize("role", MAY_READ)
def test_a_role_reads_its_own_topics_and_no_others(
    site: Site, broker: SecureBroker, role: str
) -> None:
    """A wildcard over everything brings what the role may read; asking by name brings no more."""
    client = Client(broker, site.issued[role])
    client.listen(TOPICS)
    with a_gateway(broker.open_port) as speaker:
        for topic in TOPICS:
            if not topic.startswith("$"):
                speaker.send(topic, "y")
        speaker.wait()
    client.listen(TOPICS)  # its answer comes behind whatever was delivered
    wait_until(lambda: MAY_READ[role] <= set(client.heard), "what it may read")
    client.close()

    assert set(client.heard) == MAY_READ[role]
