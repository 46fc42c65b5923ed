"""Draw the pictures of docs/page.md anew: ``python -m tests.page.screenshots``.

Ten days of the demonstration's plant are recorded, replayed into a store, and looked at in
Chromium; the same code gives the same pictures.
"""

import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

from agent.page.app import make_app
from agent.page.office import Office
from agent.page.sending import Mailbox
from agent.plant.load import parse_plant
from agent.plant.plant import PageSettings
from agent.resources import shipped
from agent.store.database import Database
from tests.page.browser import chromium, opened, served
from tests.page.demo import ROOT, with_supplies
from tests.page.shop import Shop

PICTURES = ROOT / "docs" / "page"
DAYS = 10

WANTED = (
    ("plant-tablet", "tablet", "/", "light"),
    ("plant-dark", "desktop", "/", "dark"),
    ("sump-tablet", "tablet", "/sumps/lathe-a1", "light"),
    ("sump-phone", "phone", "/sumps/lathe-a1", "light"),
    ("charts", "desktop", "/sumps/mill-b4?span=week#charts", "light"),
    ("round-tablet", "tablet", "/round", "light"),
    ("check-phone", "phone", "/sumps/mill-b4/enter/check", "light"),
    ("alarms-tablet", "tablet", "/alarms", "light"),
)
"""Name, screen, path, light or dark."""


class Gallery(Shop):
    """The demo's plant as a replay left it."""

    def __init__(self, folder: Path) -> None:  # its own store, and no broker
        plant = parse_plant(with_supplies(shipped("demo.toml").read_text("utf-8")), folder / "x")
        settings = PageSettings(host="127.0.0.1", port=1, title=plant.name)
        self.plant = replace(plant, store=folder / "demo.db", page=settings)
        self.office = Office(
            plant=self.plant,
            settings=settings,
            database=Database(self.plant.store),
            mailbox=Mailbox(self.plant, lambda _message: None, lambda: True),
        )
        self.app = make_app(self.office)


def main() -> None:
    """Record, replay, look."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="pictures-") as name:
        folder = Path(name)
        recording, store = folder / "demo.jsonl", folder / "demo.db"
        for arguments in (
            ("simulators", "record", "demo", "--days", str(DAYS), "--out", str(recording)),
            (
                *("agent", "replay", str(shipped("demo.toml")), str(recording)),
                *("--state", str(store), "--out", str(folder / "told.jsonl")),
            ),
        ):
            subprocess.run([sys.executable, "-m", *arguments], cwd=ROOT, check=True)
        gallery = Gallery(folder)
        with served(gallery) as address, chromium() as browser:
            for picture, size, path, theme in WANTED:
                with opened(browser, size, address + path, color_scheme=theme) as page:
                    page.wait_for_timeout(500)
                    page.screenshot(path=PICTURES / f"{picture}.png")
        gallery.office.database.close()


if __name__ == "__main__":
    main()
