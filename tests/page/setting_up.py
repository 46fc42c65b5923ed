"""A shop whose plant file can be changed on its page, with a broker to listen to."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from html.parser import HTMLParser
from pathlib import Path

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from agent.page.setup.desk import SetupDesk
from agent.plant.load import load_plant
from agent.resources import shipped
from tests.page.shop import Shop

HEAD = "# Written by hand, and to stay so.\n"


def write_plant(folder: Path, *, broker: int = 1883, name: str = "", page: str = "") -> Path:
    """The example's file with a page."""
    text = shipped("plant.example.toml").read_text("utf-8")
    text = text.replace("mqtt://127.0.0.1:1883", f"mqtt://127.0.0.1:{broker}")
    text = text.replace("[[sump]]", f"[page]\n{page}\n[[sump]]", 1)
    if name:
        text = text.replace('id = "mill-07"', f'id = "mill-07"\nname = {name}', 1)
    path = folder / "north.toml"
    path.write_text(HEAD + text, "utf-8")
    return path


class SetupShop(Shop):
    """A shop whose page knows its plant file.

    Parameters
    ----------
    folder : Path
        Takes plant file and store.
    path : Path, optional
        The plant file, if it is written already.
    """

    def __init__(self, folder: Path, path: Path | None = None) -> None:
        self.path = write_plant(folder) if path is None else path
        super().__init__(folder, load_plant(self.path))
        self.asked = 0
        self.desk = self.office.setup = SetupDesk(self.path, self.plant, self._ask)

    def _ask(self) -> None:
        """Count how often the agent was asked to read the file."""
        self.asked += 1

    def hear(self, payloads: Mapping[str, bytes]) -> None:
        """Have the ear keep messages, as the broker would bring them."""
        for topic, payload in payloads.items():
            self.desk.ear._keep(topic, payload)

    def close(self) -> None:
        """Stop listening, close the store."""
        self.desk.ear.close()
        super().close()


class _Form(HTMLParser):
    """Gathers the fields of a page's form."""

    def __init__(self) -> None:
        super().__init__()
        self.found: dict[str, str] = {}
        self._within = ""
        self._is_chosen = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a field, or the option that is chosen."""
        known = {key: value or "" for key, value in attrs}
        name = known.get("name", "")
        if tag == "input" and name and (known.get("type") != "radio" or "checked" in known):
            self.found[name] = known.get("value", "")
        elif tag in {"select", "textarea"}:
            self._within, self._is_chosen = name, tag == "textarea"
            self.found[name] = ""
        elif tag == "option":
            first = not self.found[self._within] and "value" in known
            if "selected" in known or first:
                self.found[self._within] = known.get("value", "")
            self._is_chosen = "selected" in known and "value" not in known

    def handle_data(self, data: str) -> None:
        """Content of a textarea, or of an option without a value."""
        if self._is_chosen:
            self.found[self._within] += data

    def handle_endtag(self, tag: str) -> None:
        """The field is over."""
        if tag in {"textarea", "option"}:
            self._is_chosen = False


def fields_of(page: str) -> dict[str, str]:
    """Fields of a page's form as a browser would send them untouched."""
    form = _Form()
    form.feed(page)
    return form.found


@contextmanager
def publisher(port: int) -> Iterator[Client]:
    """A client that publishes what a plant's sensors would."""
    client = Client(CallbackAPIVersion.VERSION2, protocol=MQTTProtocolVersion.MQTTv5)
    client.connect("127.0.0.1", port)
    client.loop_start()
    try:
        yield client
    finally:
        client.disconnect()
        client.loop_stop()
