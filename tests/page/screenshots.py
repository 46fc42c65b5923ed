"""Draw the pictures of docs/page.md anew: ``python -m tests.page.screenshots``.

Ten days of the demonstration's plant are recorded, replayed into a store, and looked at in
Chromium; the same code gives the same pictures.
"""

import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

from advisor.words import DAY
from agent.decode.results import StockReport
from agent.page.app import make_app
from agent.page.charging import begin
from agent.page.office import Office
from agent.page.recipe_form import asked
from agent.page.sending import Mailbox
from agent.page.visitor import speech_for
from agent.plant.load import parse_plant
from agent.plant.plant import PageSettings
from agent.resources import shipped
from agent.store.batch import Batch
from agent.store.database import Database
from agent.store.ledger import Ledger
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
    ("charts", "desktop", "/sumps/lathe-a1?span=week#charts", "light"),
    ("round-tablet", "tablet", "/round", "light"),
    ("check-phone", "phone", "/sumps/mill-b4/enter/check", "light"),
    ("charge-tablet", "tablet", "/sumps/mill-c2/charge", "light"),
    ("work-phone", "phone", "/sumps/mill-b4/charge", "light"),
    ("supplies-tablet", "tablet", "/supplies", "light"),
    ("alarms-tablet", "tablet", "/alarms", "light"),
    ("figures-desktop", "desktop", "/alarms#figures", "light"),
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
        self._furnish()

    def _furnish(self) -> None:
        """Drums that somebody has counted, and a change-out that is going on."""
        now = self.office.now
        ledger = Ledger.open(self.plant.store)
        counts = [
            StockReport(
                supply=supply,
                at=now - days * DAY,
                id=f"gallery-{supply}",
                volume=litres,
                lot=lot,
                expires=now + keeps * DAY,
                by="ann",
            )
            for supply, days, litres, lot, keeps in (
                ("drum-k", 3, 88.0, "K-2207", 200),
                ("drum-p", 2, 9.5, "P-1180", 60),
            )
        ]
        ledger.commit(Batch(stock=counts))
        ledger.close()
        say = speech_for("en", self.plant.units, self.plant.timezone)
        recipe = asked(self.office.card("mill-b4"), {}, say).recipe
        assert recipe is not None
        work = begin(recipe, now, "ann")
        poured = [n for n, item in enumerate(work.items) if item.kind == "pour"]
        self.office.pours.keep_work("mill-b4", replace(work, done=frozenset(range(poured[2]))))


def draw(folder: Path) -> None:
    """Look at what a replay left in a folder."""
    gallery = Gallery(folder)
    with served(gallery) as address, chromium() as browser:
        for picture, size, path, theme in WANTED:
            with opened(browser, size, address + path, color_scheme=theme) as page:
                page.wait_for_timeout(500)
                if picture == "charts":
                    page.locator("#svg-volume").hover(position={"x": 800.0, "y": 60.0})
                page.screenshot(path=PICTURES / f"{picture}.png")
    gallery.office.database.close()


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
        draw(folder)


if __name__ == "__main__":
    main()
