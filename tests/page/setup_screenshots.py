"""Draw the pictures of docs/setting-up.md anew: ``python -m tests.page.setup_screenshots``."""

import tempfile
from pathlib import Path

from advisor.effects import PublishState
from tests.page.browser import chromium, opened, served
from tests.page.demo import ROOT
from tests.page.reported import priced_plant, two_months
from tests.page.setting_up import SetupShop
from tests.page.shop import SUMP, Shop, a_state

PICTURES = ROOT / "docs" / "page"

TABLE = "depth;volume\n0;0\n100;80,5\n250;240\n450;410"
PAYLOADS = {
    "north/mill-07/level": b"312.5",
    "north/mill-07/brix": b"6.4",
    "north/mill-07/pumps": b"running",
    "north/hall/climate": b'{"data":{"t":21.4,"rh":46,"ts":"2026-03-02T05:59:30Z"}}',
    "north/mill-08/pack": (
        b'[{"bn":"mill-08:","bt":1772431200,"n":"level","u":"m","v":0.3125},'
        b'{"n":"temperature","u":"Cel","v":22.5}]'
    ),
}
BOUND = "?topic=north/mill-08/pack&record=mill-08:level"


def main() -> None:
    """Set up, look, report, look."""
    with tempfile.TemporaryDirectory(prefix="pictures-") as name, chromium() as browser:
        shop = SetupShop(Path(name))
        shop.tell(PublishState(a_state(shop.plant)))
        shop.hear(PAYLOADS)
        shop.desk.ear.filter = "north/#"
        with served(shop) as address:
            with opened(browser, "tablet", f"{address}/setup/sumps/{SUMP}") as page:
                page.locator("input[value=table]").check()
                page.locator("#f-table").fill(TABLE)
                page.locator("#tank-drawing circle").first.wait_for()
                page.evaluate("scrollTo(0, 260)")
                page.screenshot(path=PICTURES / "setup-tank-tablet.png")
            with opened(browser, "phone", f"{address}/setup/listen?sump={SUMP}") as page:
                page.screenshot(path=PICTURES / "setup-listen-phone.png")
            path = f"/setup/sumps/{SUMP}/signals/level{BOUND}"
            with opened(browser, "tablet", address + path) as page:
                page.screenshot(path=PICTURES / "setup-signal-tablet.png")
        shop.close()
    with tempfile.TemporaryDirectory(prefix="pictures-") as name, chromium() as browser:
        reported = Shop(Path(name), priced_plant(Path(name)))
        two_months(reported)
        with (
            served(reported) as address,
            opened(browser, "tablet", f"{address}/report") as page,
        ):
            page.screenshot(path=PICTURES / "report-tablet.png", full_page=True)
        reported.close()


if __name__ == "__main__":
    main()
