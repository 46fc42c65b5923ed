"""The report in a real browser: read on a tablet and a phone, and on paper."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect

from tests.page.browser import SIZES, chromium, opened, served
from tests.page.reported import priced_plant, two_months
from tests.page.shop import Shop

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
PATHS = ("/report", "/report?sump=mill-07", "/report?month=2024-01", "/report?month=2026-03")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One Chromium for all tests here."""
    with chromium() as browser:
        yield browser


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """Two sumps with two months behind them."""
    folder = tmp_path_factory.mktemp("report")
    shop = Shop(folder, priced_plant(folder))
    two_months(shop)
    yield shop
    shop.close()


@pytest.mark.parametrize("size", ["tablet", "phone"])
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_everybody_can_read_it(shop: Shop, browser: Browser, size: str, theme: str):
    """No violation that axe can find, nothing wider than the screen: full, alone, empty, begun."""
    with served(shop) as address, opened(browser, size, address, color_scheme=theme) as page:
        for path in PATHS:
            page.goto(address + path)
            found = Axe().run(page, options={"runOnly": RULES})
            assert found.violations_count == 0, f"{path}\n{found.generate_report()}"
            assert page.evaluate("document.documentElement.scrollWidth") <= SIZES[size][0], path


@pytest.mark.parametrize("size", ["tablet", "phone"])
def test_another_month_and_sump_are_a_few_taps_away(shop: Shop, browser: Browser, size: str):
    """One month back, one sump alone, another baseline."""
    with served(shop) as address, opened(browser, size, f"{address}/report") as page:
        page.get_by_role("link", name="January 2026", exact=False).first.click()
        expect(page.locator("h1")).to_have_text("north, January 2026")
        page.locator("#f-sump").select_option("mill-08")
        page.locator("#f-month").fill("2026-02")
        page.locator("#f-against").fill("2026-01")
        page.get_by_role("button", name="Show").click()
        expect(page.locator("h1")).to_have_text("mill-08, February 2026")
        expect(page.locator(".baseline")).to_contain_text("Baseline: January 2026")


def test_it_prints_with_all_its_figures_and_without_its_buttons(
    shop: Shop, browser: Browser, tmp_path: Path
):
    """On paper nothing is cut off; the PDF has two sheets at most."""
    with served(shop) as address, opened(browser, "desktop", f"{address}/report") as page:
        page.emulate_media(media="print")
        for hidden in ("nav", ".find", ".no-print"):
            expect(page.locator(hidden).first).to_be_hidden()
        expect(page.locator(".baseline")).to_be_visible()
        path = tmp_path / "report.pdf"
        page.pdf(path=path, format="A4")
        content = path.read_bytes()
        assert content.startswith(b"%PDF")
        assert 1 <= content.count(b"/Type /Page\n") <= 2
