"""Encryption with a plant's own authority at a real mosquitto: who is trusted, and who is not."""

import json
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from tests.e2e.plant_north import PLANT, PREFIX, START
from tests.security.authority import Authority, Issued, SecureBroker, a_secure_broker, secure_plant
from tests.security.runs import ROOT, a_run
from tests.waiting import wait_until

pytestmark = pytest.mark.broker

HERE = "DNS:localhost"


class Site:
    """An authority, a broker of its, and where the agent's plant file is written."""

    def __init__(self, folder: Path, *, host: str = HERE, days: int = 2) -> None:
        self.folder = folder
        self.authority = Authority(folder / "authority")
        self.server = self.authority.issue("server", host=host, days=days)
        self.agent = self.authority.issue("millpond")

    def plant(self, broker: SecureBroker, client: Issued | None, ca: Path | None = None) -> str:
        """Path of a plant file that goes there with a certificate."""
        text = PLANT.format(port=broker.port)
        path = self.folder / "north.toml"
        path.write_text(
            secure_plant(text, broker, client, ca or self.authority.certificate), "utf-8"
        )
        return str(path)


def refused(site: Site, client: Issued | None, words: str, ca: Path | None = None) -> None:
    """The agent says these words, takes nothing in, tries again, and ends when it is asked to."""
    with a_secure_broker(site.folder / "broker", site.authority, site.server) as broker:
        plant = site.plant(broker, client, ca)
        with a_run(site.folder / "agent.log", "run", plant) as agent:
            agent.wait_for(words)
            assert "connected" not in agent.text()
            assert "Traceback" not in agent.text()
            assert agent.stop() == 0
        done = subprocess.run(
            [sys.executable, "-m", "agent", "doctor", plant, "--listen", "0"],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 1
        assert words in done.stdout


def test_a_client_certificate_of_the_own_authority_lets_the_agent_in(tmp_path: Path) -> None:
    """The name in the certificate is the user: the agent hears its plant and speaks."""
    site = Site(tmp_path)
    gateway = site.authority.issue("gateway")
    reader = site.authority.issue("reader")
    with a_secure_broker(tmp_path / "broker", site.authority, site.server) as broker:
        with a_run(tmp_path / "agent.log", "run", site.plant(broker, site.agent)) as agent:
            agent.wait_for("connected,")
            body = json.dumps({"v": 300.0, "t": START * 1000})
            say(broker, gateway, "north/mill-07/level", "no reading")
            say(broker, gateway, "north/mill-07/level", body)
            found = hear(broker, reader, f"{PREFIX}/agent")
            assert json.loads(found)["status"] == "online"
            wait_until(lambda: counted(tmp_path / "north.db") >= 1, "the refusal in the store")
            assert agent.stop() == 0
        assert "refused" not in agent.text()
        examined = subprocess.run(
            [sys.executable, "-m", "agent", "doctor", str(tmp_path / "north.toml"), "--no-probe"],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=False,
        )
        assert "LOOK  certificate: the broker's is good for 48.0 h" in examined.stdout or (
            "LOOK  certificate: the broker's is good for 47" in examined.stdout
        )


def test_a_broker_whose_certificate_has_expired_is_not_trusted(tmp_path: Path) -> None:
    """Said with what is to be done; nothing goes over the line."""
    site = Site(tmp_path, days=-1)
    refused(site, site.agent, "its certificate has expired")


def test_a_broker_with_the_certificate_of_another_host_is_not_trusted(tmp_path: Path) -> None:
    """The name in broker.url must stand in the certificate."""
    site = Site(tmp_path, host="DNS:other.example")
    refused(site, site.agent, "its certificate is not made out to localhost")


def test_a_broker_of_an_unknown_authority_is_not_trusted(tmp_path: Path) -> None:
    """Whoever can sign certificates of another authority cannot pose as the plant's broker."""
    site = Site(tmp_path)
    stranger = Authority(tmp_path / "stranger", "somebody")
    words = "signed by an authority that broker.ca_file does not name"
    refused(site, site.agent, words, stranger.certificate)


def test_without_a_certificate_nobody_is_let_in(tmp_path: Path) -> None:
    """The broker wants one, and the agent says where it would be named."""
    refused(Site(tmp_path), None, "wants a certificate of the client's own")


def test_a_certificate_of_another_authority_is_not_let_in(tmp_path: Path) -> None:
    """Nobody can sign a certificate named millpond but the plant's authority."""
    stranger = Authority(tmp_path / "stranger", "somebody").issue("millpond")
    refused(Site(tmp_path), stranger, "it does not trust who signed it")


def test_a_client_certificate_that_has_expired_is_not_let_in(tmp_path: Path) -> None:
    """The agent says that its own certificate is too old."""
    site = Site(tmp_path)
    refused(site, site.authority.issue("millpond", days=-1), "does not take our certificate")


def test_a_port_without_encryption_is_said(tmp_path: Path) -> None:
    """mqtts:// at a plain port: the password is not sent there."""
    site = Site(tmp_path)
    with a_secure_broker(tmp_path / "broker", site.authority, site.server) as broker:
        broker.port = broker.open_port
        with a_run(tmp_path / "agent.log", "run", site.plant(broker, site.agent)) as agent:
            agent.wait_for("trying again")
            assert "connected" not in agent.text()
            assert agent.stop() == 0


def client(program: str, broker: SecureBroker, as_whom: Issued) -> list[str]:
    """Debian's own client at the encrypted listener."""
    return [
        *(program, "-V", "5", "-h", "localhost", "-p", str(broker.port), "-q", "1"),
        *("--cafile", str(broker.authority.certificate)),
        *("--cert", str(as_whom.certificate), "--key", str(as_whom.key)),
    ]


def say(broker: SecureBroker, as_whom: Issued, topic: str, payload: str) -> None:
    """Publish one message."""
    command = [*client("mosquitto_pub", broker, as_whom), "-t", topic, "-m", payload]
    subprocess.run(command, check=True, capture_output=True)


def hear(broker: SecureBroker, as_whom: Issued, topic: str) -> str:
    """The retained message on a topic."""
    command = [*client("mosquitto_sub", broker, as_whom), "-t", topic, "-C", "1", "-W", "20"]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def counted(store: Path) -> int:
    """How many messages were refused."""
    with closing(sqlite3.connect(store)) as connection:
        return int(
            connection.execute("SELECT coalesce(sum(count), 0) FROM refusal_count").fetchone()[0]
        )
