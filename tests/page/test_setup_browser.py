"""Set-up in a real browser: on a tablet and a phone, and against the running demonstration."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from agent.page.people import new_user, write_users
from agent.plant.load import load_plant
from tests.page.browser import SIZES, chromium, opened, served
from tests.page.demo import running_demo
from tests.page.setting_up import SetupShop
from tests.page.shop import SUMP
from tests.page.test_report_browser import RULES
from tests.waiting import wait_until

JSON = b'{"tank/7":{"ph":9.1,"at":"2026-03-02T05:59:00Z"},"name":"<b>x</b>"}'
PACK = b'[{"bn":"mill-07:","bt":1772431200,"n":"level","u":"m","v":0.3},{"n":"t","u":"Cel","v":22}]'
LONG = f"north/{'very-long-level/' * 12}end"
PATHS = (
    "/setup",
    f"/setup/sumps/{SUMP}",
    "/setup/sumps/new",
    "/setup/concentrates/semi-a",
    "/setup/concentrates/new",
    "/setup/listen",
    "/setup/topic?topic=hall/all",
    "/setup/topic?topic=hall/odd",
    f"/setup/topic?topic={LONG}",
    "/setup/bind?topic=hall/all&value_pointer=/tank~17/ph",
    f"/setup/sumps/{SUMP}/signals/level?topic=hall/pack&record=mill-07:level",
    f"/setup/sumps/{SUMP}/signals/ph?topic=hall/all&value_pointer=/tank~17/ph",
    f"/setup/sumps/{SUMP}/signals/running",
    f"/setup/sumps/{SUMP}/signals/water_meter",
)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One Chromium for all tests here."""
    with chromium() as browser:
        yield browser


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[SetupShop]:
    """The example's plant, and messages of every form."""
    shop = SetupShop(tmp_path)
    shop.hear({"hall/all": JSON, "hall/pack": PACK, "hall/odd": b"\xff\x00<i>", LONG: b"1" * 400})
    yield shop
    shop.close()


def assert_usable(page: Page, size: str, where: str) -> None:
    """No violation that axe can find, nothing wider than the screen."""
    found = Axe().run(page, options={"runOnly": RULES})
    assert found.violations_count == 0, f"{where}\n{found.generate_report()}"
    assert page.evaluate("document.documentElement.scrollWidth") <= SIZES[size][0], where


@pytest.mark.parametrize(("size", "theme"), [("tablet", "light"), ("phone", "dark")])
def test_everybody_can_use_every_page(shop: SetupShop, browser: Browser, size: str, theme: str):
    """Forms, lists, payloads, the review and what is wrong."""
    with served(shop) as address, opened(browser, size, address, color_scheme=theme) as page:
        for path in PATHS:
            page.goto(address + path)
            assert_usable(page, size, path)
        page.goto(f"{address}/setup/sumps/{SUMP}")
        page.locator("#f-brim").fill("9000")
        page.get_by_role("button", name="Look at the change").click()
        expect(page.get_by_role("alert")).to_be_visible()
        assert_usable(page, size, "what is wrong")
        page.locator("#f-brim").fill("435")
        page.get_by_role("button", name="Look at the change").click()
        expect(page.locator(".lines .is-in")).to_contain_text("brim = 435")
        assert_usable(page, size, "review")
        page.get_by_role("button", name="Write it").click()
        page.locator(".journal summary").first.click()
        assert_usable(page, size, "journal")


@pytest.mark.parametrize("size", ["tablet", "phone"])
def test_a_pasted_table_is_drawn_while_one_types(shop: SetupShop, browser: Browser, size: str):
    """Shape, points and curve change without a reload; then it is looked at and written."""
    address_of = f"/setup/sumps/{SUMP}"
    with served(shop) as address, opened(browser, size, address + address_of) as page:
        expect(page.locator("#tank-drawing circle")).to_have_count(0)
        page.locator("input[value=table]").check()
        expect(page.locator("#f-length")).to_be_hidden()
        page.locator("#f-table").fill("depth;volume\n0;0\n100;80,5\n250;240\n450;410")
        expect(page.locator("#tank-drawing circle")).to_have_count(4)
        expect(page.locator("#tank-drawing tbody tr").first).to_contain_text("393")
        page.get_by_role("button", name="Look at the change").click()
        page.get_by_role("button", name="Write it").click()
        expect(page.get_by_role("status").first).to_contain_text("taking it up")
    assert load_plant(shop.path).sumps[SUMP].tank.volume == (0.0, 80.5, 240.0, 410.0)  # type: ignore[union-attr]  # a table


@pytest.mark.parametrize("size", ["tablet", "phone"])
def test_a_click_in_a_payload_binds_it(shop: SetupShop, browser: Browser, size: str):
    """Topic, value, reading, review: five taps from the payload to the file."""
    with served(shop) as address, opened(browser, size, f"{address}/setup/listen") as page:
        page.get_by_role("link", name="hall/pack").click()
        page.get_by_role("link", name="0.3 m").click()
        page.locator("input[value=level]").check()
        page.get_by_role("button", name="Go on").click()
        trial = page.locator(".trial")
        expect(trial.locator(".imperative")).to_have_text("300\u202fmm")
        expect(trial).to_contain_text("315\u202fL in the sump")
        page.get_by_role("button", name="Look at the change").click()
        page.get_by_role("button", name="Write it").click()
        expect(page.locator(".journal")).to_contain_text("Binds the level sensor")
    assert 'topic = "hall/pack"' in shop.path.read_text("utf-8")


def test_it_works_by_keyboard_and_without_scripts(shop: SetupShop, browser: Browser):
    """The drawing has its button; every form is a form."""
    with (
        served(shop) as address,
        opened(
            browser, "desktop", f"{address}/setup/sumps/{SUMP}", java_script_enabled=False
        ) as page,
    ):
        page.locator("#f-height").focus()
        page.keyboard.press("Control+A")
        page.keyboard.type("500")
        page.get_by_role("button", name="Draw it").press("Enter")
        expect(page.locator("#tank-drawing")).to_contain_text("500")
        page.get_by_role("button", name="Look at the change").press("Enter")
        expect(page.locator(".lines .is-in")).to_contain_text("height_mm = 500.0")


@pytest.mark.broker
@pytest.mark.slow
def test_the_running_agent_takes_a_change_up_and_nobody_is_signed_out(
    tmp_path: Path, browser: Browser
):
    """Against the demonstration: a topic heard, a value tried, a name changed, taken up."""
    password = "correct horse battery"  # noqa: S105  a test's
    write_users(tmp_path / "users.toml", {"ann": new_user("ann", "change", password)})
    with (
        running_demo(tmp_path, speed=60.0, page='users = "users.toml"') as (address, _),
        # not `opened`: while the page starts again, asking for it fails, as it should
        browser.new_context(viewport={"width": 1024, "height": 768}) as context,
    ):
        page = context.new_page()
        page.goto(f"{address}/setup")
        page.locator("input[name=name]").fill("ann")
        page.locator("input[name=password]").fill(password)
        page.get_by_role("button", name="Sign in").click()
        page.get_by_role("link", name="Mill B4", exact=True).click()
        page.get_by_role("link", name=re.compile("Pick in a payload level")).click()
        page.get_by_role("button", name="Listen").click()
        page.get_by_role("link", name="harbour/mill-b4/level").click(timeout=30_000)
        page.locator("a.value").first.click()
        expect(page.locator(".trial.is-good")).to_contain_text("in the sump")
        page.goto(f"{address}/setup/sumps/mill-b4")
        page.locator("#f-name").fill("Mill B4 by the door")
        page.get_by_role("button", name="Look at the change").click()
        page.get_by_role("button", name="Write it").click()
        expect(page.get_by_role("status").first).to_contain_text(
            "The agent works by it", timeout=60_000
        )
        expect(page.get_by_role("link", name="Mill B4 by the door", exact=True)).to_be_visible()
        expect(page.locator(".journal")).to_contain_text("by ann")
        wait_until(lambda: page.goto(f"{address}/").ok, "the overview", 20)  # type: ignore[union-attr]  # an answer
        expect(page.locator("#row-mill-b4")).to_contain_text("Mill B4 by the door")
