"""A plant's own authority, as docs/security.md has it, and a broker that asks for certificates."""

import getpass
import subprocess
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from agent.embedded import find_mosquitto, free_port, mosquitto_broker
from agent.resources import shipped
from tests.brokers import opened, replaced

USERS = ("millpond", "gateway", "sensor-mill-07", "terminal", "station-mill-07", "reader")
_KEY = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes")


@dataclass(frozen=True)
class Issued:
    """A certificate and its key."""

    certificate: Path
    key: Path


class Authority:
    """Signs certificates with openssl's own commands.

    Parameters
    ----------
    folder : Path
        Takes every file.
    name : str
        Of the authority.
    """

    def __init__(self, folder: Path, name: str = "plant authority") -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder
        self.certificate = folder / "ca.crt"
        self._key = folder / "ca.key"
        _openssl(
            *("req", "-x509", *_KEY, "-days", "2", "-subj", f"/CN={name}"),
            *("-addext", "basicConstraints=critical,CA:TRUE"),
            *("-addext", "keyUsage=critical,keyCertSign,cRLSign"),
            *("-keyout", str(self._key), "-out", str(self.certificate)),
        )

    def issue(self, name: str, *, host: str | None = None, days: int = 2) -> Issued:
        """Sign a certificate of this name; `days` below 0: one that has expired."""
        made = Issued(self.folder / f"{name}{days}.crt", self.folder / f"{name}{days}.key")
        request = made.certificate.with_suffix(".csr")
        alternative = [] if host is None else ["-addext", f"subjectAltName={host}"]
        _openssl(
            *("req", *_KEY, "-subj", f"/CN={name}", *alternative),
            *("-keyout", str(made.key), "-out", str(request)),
        )
        _openssl(
            *("x509", "-req", "-in", str(request), "-days", str(days), "-CAcreateserial"),
            *("-CA", str(self.certificate), "-CAkey", str(self._key)),
            *("-copy_extensions", "copy", "-out", str(made.certificate)),
        )
        return made


def _openssl(*arguments: str) -> None:
    """Run openssl."""
    subprocess.run(["openssl", *arguments], check=True, capture_output=True)


class SecureBroker:
    """A mosquitto with the shipped file's second listener: TLS, client certificates, topic rights.

    Parameters
    ----------
    folder : Path
        Takes configuration and log.
    authority : Authority
        Whose clients are let in.
    server : Issued
        The broker's own certificate.
    """

    def __init__(self, folder: Path, authority: Authority, server: Issued) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.authority = authority
        self.open_port = free_port()
        self.port = free_port()
        self.log = folder / "mosquitto.log"
        text = shipped("mosquitto.conf").read_text("utf-8")
        text = opened(text, ("require_certificate", "use_identity_as_username"))
        text = replaced(text, r"^listener 1883 ", f"listener {self.open_port} ")
        text = replaced(text, r"^listener 8883$", f"listener {self.port} 127.0.0.1")
        text = replaced(text, r"^persistence_location .*$", f"persistence_location {folder}/")
        for name, path in (
            ("ca.crt", authority.certificate),
            ("server.crt", server.certificate),
            ("server.key", server.key),
        ):
            text = text.replace(f"/etc/mosquitto/{name}", str(path))
        rights = folder / "mosquitto.acl"
        rights.write_text(shipped("mosquitto.acl").read_text("utf-8"), "utf-8")
        rights.chmod(0o600)
        text = text.replace("/etc/mosquitto/mosquitto.acl", str(rights))
        self._config = folder / "mosquitto.conf"
        self._config.write_text(f"user {getpass.getuser()}\n{text}", "utf-8")
        self._running = ExitStack()

    def start(self) -> None:
        """Start it."""
        program = find_mosquitto()
        assert program is not None, "mosquitto is not installed: make test installs it"
        self._running.enter_context(mosquitto_broker(program, self._config, self.open_port))

    def stop(self) -> None:
        """End it."""
        self._running.close()


@contextmanager
def a_secure_broker(folder: Path, authority: Authority, server: Issued) -> Iterator[SecureBroker]:
    """Run one, end it afterwards."""
    broker = SecureBroker(folder, authority, server)
    broker.start()
    try:
        yield broker
    finally:
        broker.stop()


def secure_plant(text: str, broker: SecureBroker, client: Issued | None, ca: Path) -> str:
    """The same plant file with the broker's TLS port; `client`: the agent's own certificate."""
    own = ""
    if client is not None:
        own = f'cert_file = "{client.certificate}"\nkey_file = "{client.key}"\n'
    url = f'url = "mqtts://localhost:{broker.port}"\nca_file = "{ca}"\n{own}'
    return replaced(text, r'^url = "mqtt://.*$', url)
