"""The page in a real browser: at three sizes, in light and dark, by touch, keyboard and live."""

from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect

from advisor.effects import PublishAdvice, PublishAlarm, PublishEvent, PublishState
from advisor.words import HOUR, MINUTE, Estimate, SumpEvent
from tests.page.browser import SIZES, chromium, opened, served
from tests.page.shop import NOW, SUMP, Shop, a_plant, a_state, an_advice, an_alarm
from tests.waiting import wait_until

PATHS = {
    "plant": "/",
    "sump": f"/sumps/{SUMP}",
    "week": f"/sumps/{SUMP}?span=week",
    "check": f"/sumps/{SUMP}/enter/check",
    "addition": f"/sumps/{SUMP}/enter/addition",
    "drain": f"/sumps/{SUMP}/enter/drain",
    "service": f"/sumps/{SUMP}/enter/service",
    "round": "/round",
    "alarms": "/alarms",
    "wishes": "/wishes",
    "missing": "/nowhere",
}


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One Chromium for all tests here."""
    with chromium() as browser:
        yield browser


@pytest.fixture
def busy(tmp_path) -> Iterator[Shop]:
    """Three sumps: one to top up with an alarm, one that is well, one of which nothing is known."""
    shop = Shop(tmp_path, a_plant(tmp_path, sumps=3))
    for minute in range(0, 20 * 60, 5):
        at = NOW - minute * MINUTE
        shop.tell(PublishState(a_state(shop.plant, 250.0 + minute / 20.0, 0.105, at=at)))
    event = SumpEvent(
        id="e1",
        at=NOW - 3 * HOUR,
        kind="addition",
        source="inferred",
        volume=Estimate(12.0, 1.0),
        strength=Estimate(0.04, 0.01),
    )
    shop.tell(PublishEvent(event), PublishAdvice(an_advice()), PublishAlarm(an_alarm()))
    shop.tell(PublishState(a_state(shop.plant, sump="mill-08")), sump="mill-08")
    shop.tell(PublishAdvice(an_advice("none")), sump="mill-08")
    shop.believe()
    yield shop
    shop.close()


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("size", ["desktop", "phone"])
def test_everybody_can_use_every_page(busy: Shop, browser: Browser, size: str, theme: str):
    """No violation of WCAG 2.2 A and AA that axe can find, on any page."""
    with served(busy) as address, opened(browser, size, address, color_scheme=theme) as page:
        for name, path in PATHS.items():
            page.goto(address + path)
            found = Axe().run(
                page,
                options={
                    "runOnly": [
                        "wcag2a",
                        "wcag2aa",
                        "wcag21a",
                        "wcag21aa",
                        "wcag22aa",
                        "best-practice",
                    ]
                },
            )
            assert found.violations_count == 0, f"{name}\n{found.generate_report()}"


@pytest.mark.parametrize("size", SIZES)
def test_nothing_runs_over_the_edge(busy: Shop, browser: Browser, size: str):
    """No page is wider than its screen, and nothing loads from elsewhere."""
    with served(busy) as address, opened(browser, size, address) as page:
        for path in PATHS.values():
            page.goto(address + path)
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= SIZES[size][0], path


@pytest.mark.parametrize("size", SIZES)
def test_what_to_do_is_seen_without_scrolling(busy: Shop, browser: Browser, size: str):
    """The imperative and the first bucket stand on the first screen, in large letters."""
    with served(busy) as address, opened(browser, size, f"{address}/sumps/{SUMP}") as page:
        imperative = page.locator("#todo .imperative")
        expect(imperative).to_have_text("Pour 30\u202fL")
        expect(imperative).to_be_in_viewport()
        expect(page.locator(".step").first).to_be_in_viewport(ratio=1.0)
        letters = float(imperative.evaluate("e => parseFloat(getComputedStyle(e).fontSize)"))
        assert letters >= 32.0


@pytest.mark.parametrize("size", SIZES)
def test_ticking_off_with_the_bucket_in_hand(busy: Shop, browser: Browser, size: str):
    """Three taps; each bucket is reported, the next one is marked, the end says what comes then."""
    with served(busy) as address, opened(browser, size, f"{address}/sumps/{SUMP}") as page:
        for number in range(3):
            button = page.locator(f"#step-{number}")
            box = button.bounding_box()
            assert box is not None
            assert box["height"] >= 64.0
            if size == "desktop":
                button.click()
            else:
                button.tap()
            expect(page.locator(f"#step-{number}")).to_have_attribute("aria-pressed", "true")
        expect(page.locator("#todo")).to_contain_text("run the pumps for 30 minutes")
        expect(page.locator("#todo")).to_contain_text("All poured: 24")
        page.get_by_role("button", name="Put the list away").click()
        expect(page.locator("#todo")).not_to_contain_text("All poured")
    assert len(busy.sent) == 3


def test_ticking_off_by_keyboard_alone(busy: Shop, browser: Browser):
    """Tab to the step, Enter; the focus stays in the list."""
    with served(busy) as address, opened(browser, "desktop", f"{address}/sumps/{SUMP}") as page:
        page.keyboard.press("Tab")
        expect(page.locator(".skip")).to_be_focused()
        for _ in range(12):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.id") == "step-0":
                break
        page.keyboard.press("Enter")
        expect(page.locator("#step-0")).to_have_attribute("aria-pressed", "true")
        assert page.evaluate("document.activeElement.closest('#todo') !== null")
    assert len(busy.sent) == 1


def test_all_of_it_works_without_a_script(busy: Shop, browser: Browser):
    """Ticks, forms and charts are the server's; a script only saves reloads."""
    with (
        served(busy) as address,
        opened(browser, "tablet", f"{address}/sumps/{SUMP}", java_script_enabled=False) as page,
    ):
        assert page.locator(".panel svg .line").count() == 4
        page.locator("#step-0").click()
        expect(page.locator("#todo")).to_contain_text("Being poured since")
        page.goto(f"{address}/sumps/{SUMP}/enter/addition")
        page.fill("#f-water", "5")
        page.get_by_role("button", name="Look at what it changes").click()
        page.get_by_role("button", name="Save").click()
        expect(page.locator(".told")).to_have_text("Saved.")
    assert len(busy.sent) == 2


@pytest.mark.parametrize("size", SIZES)
def test_a_check_is_entered_looked_at_and_saved(busy: Shop, browser: Browser, size: str):
    """Type, see what it changes, save; the records have it."""
    with served(busy) as address, opened(browser, size, f"{address}/sumps/{SUMP}") as page:
        page.get_by_role("link", name="A check").click()
        page.fill("#f-value", "6.1")
        page.get_by_role("button", name="Look at what it changes").click()
        expect(page.get_by_role("heading", name="Is this right?")).to_be_visible()
        expect(page.locator(".changes")).to_contain_text("±")
        page.get_by_role("button", name="Change it").click()
        expect(page.locator("#f-value")).to_have_value("6.1")
        page.get_by_role("button", name="Look at what it changes").click()
        page.get_by_role("button", name="Save").click()
        expect(page.locator(".told")).to_have_text("Saved.")
        expect(page.locator(".log").last).to_contain_text("refractometer: 6.1")


def test_an_open_page_follows_within_a_second(busy: Shop, browser: Browser):
    """What the worker has stored is on the screen within a second, without a reload."""
    with served(busy) as address, opened(browser, "tablet", address) as page:
        row = page.locator("#row-mill-08")
        expect(row).to_contain_text("312")
        page.evaluate("window.stays = true")
        busy.tell(PublishState(a_state(busy.plant, 299.0, sump="mill-08")), sump="mill-08")
        expect(row).to_contain_text("299", timeout=1000)
        assert page.evaluate("window.stays")


def test_a_page_that_is_cut_off_says_so(busy: Shop, browser: Browser):
    """Old numbers without a warning would be worse than none."""
    page = browser.new_page()
    with served(busy) as address:
        page.goto(address)
        expect(page.locator("#not-live")).to_be_hidden()
    expect(page.locator("#not-live")).to_be_visible(timeout=10_000)
    expect(page.locator("#not-live")).to_contain_text("Not live")
    page.close()


def test_finding_a_sump_while_one_types(busy: Shop, browser: Browser):
    """Rows that do not fit go, groups without rows too; nothing found offers all again."""
    with served(busy) as address, opened(browser, "phone", address) as page:
        page.fill("#q", "08")
        expect(page.locator(".row:visible")).to_have_count(1)
        page.fill("#q", "no such")
        expect(page.locator(".row:visible")).to_have_count(0)
        expect(page.locator("#none-found")).to_be_visible()
        page.fill("#q", "")
        expect(page.locator(".row:visible")).to_have_count(3)
        page.get_by_role("link", name="Cannot tell").click()
        expect(page.locator(".row:visible")).to_have_count(1)


def test_charts_are_zoomed_by_pointer_and_keys(busy: Shop, browser: Browser):
    """Dragging picks a stretch, + and − zoom, arrows move; the charts come anew from the server."""
    with served(busy) as address, opened(browser, "desktop", f"{address}/sumps/{SUMP}") as page:

        def shown(end: str) -> int:
            return int(page.locator("#panels").get_attribute(f"data-{end}") or 0)

        def length() -> int:
            return shown("end") - shown("begin")

        chart = page.locator(".panel svg").first
        chart.scroll_into_view_if_needed()
        box = chart.bounding_box()
        assert box is not None
        page.mouse.move(box["x"] + box["width"] * 0.4, box["y"] + 60)
        page.mouse.down()
        page.mouse.move(box["x"] + box["width"] * 0.6, box["y"] + 60, steps=4)
        page.mouse.up()
        wait_until(lambda: length() < 8 * HOUR, "the stretch that was picked")
        picked = length()
        assert 4 * HOUR < picked < 6 * HOUR
        page.locator(".panel svg").first.focus()
        page.keyboard.press("+")
        wait_until(lambda: length() < 0.6 * picked, "half of it")
        begin = shown("begin")
        page.keyboard.press("ArrowLeft")
        wait_until(lambda: shown("begin") < begin, "what was before")


def test_settings_are_kept_by_the_browser(busy: Shop, browser: Browser):
    """German, gallons and dark, from one form."""
    with served(busy) as address, opened(browser, "tablet", f"{address}/wishes") as page:
        for label in ("Deutsch", "Gallons and inches", "dark"):
            page.get_by_label(label, exact=True).check(force=True)
        page.get_by_role("button", name="Keep").click()
        expect(page.locator("html")).to_have_attribute("lang", "de")
        expect(page.locator("html")).to_have_attribute("data-theme", "dark")
        expect(page.locator(f"#row-{SUMP}")).to_contain_text("gal")
        paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
        assert paper == "rgb(16, 22, 24)"
