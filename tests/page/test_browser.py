"""The page in a real browser: at three sizes, in light and dark, by touch, keyboard and live."""

from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect

from advisor.effects import PublishAdvice, PublishAlarm, PublishEvent, PublishState
from advisor.words import HOUR, MINUTE, Estimate, SumpEvent
from agent.page.charging import begin
from agent.page.recipe_form import asked
from agent.page.visitor import speech_for
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
    "charge": f"/sumps/{SUMP}/charge",
    "work": "/sumps/mill-08/charge",
    "round": "/round",
    "supplies": "/supplies",
    "stock": "/supplies/drum-1",
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
    recipe = asked(shop.office.card("mill-08"), {}, speech_for("en", "metric", "UTC")).recipe
    assert recipe is not None
    shop.office.pours.keep_work("mill-08", begin(recipe, NOW, "ann"))
    yield shop
    shop.close()


@pytest.mark.parametrize(("size", "theme"), [("desktop", "light"), ("phone", "dark")])
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
        page.keyboard.press("Shift+ArrowLeft")
        wait_until(lambda: shown("begin") < begin, "what was before")
        page.get_by_role("button", name="See more").click()
        wait_until(lambda: length() > 0.8 * picked, "more of it")


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


@pytest.mark.parametrize("size", SIZES)
def test_charts_are_read_off_with_their_span(busy: Shop, browser: Browser, size: str):
    """By mouse or finger: value and span of every chart at that moment, and what happened there."""
    with served(busy) as address, opened(browser, size, f"{address}/sumps/{SUMP}") as page:
        narrow = "1" if size == "phone" else "0"
        expect(page.locator("#panels")).to_have_attribute("data-narrow", narrow)
        chart = page.locator("#svg-volume")
        chart.scroll_into_view_if_needed()
        x = chart.evaluate(
            """e => { const m = e.querySelector(".mark.is-addition path").getBoundingClientRect();
            return m.x + m.width / 2 - e.getBoundingClientRect().x; }"""
        )
        position = {"x": x, "y": 80.0}
        if size == "desktop":
            chart.hover(position=position)
        else:
            chart.tap(position=position)
        told = page.locator(".is-volume .readout")
        expect(told).to_contain_text("259 ± 4 L")
        expect(told).to_contain_text("12 ± 2 L of 4 % added")
        expect(page.locator(".is-concentration .readout")).to_contain_text("10.5 ± 0.2 %")


def test_charts_are_read_off_by_the_arrow_keys(busy: Shop, browser: Browser):
    """From the newest point back, one by one; what is said is in a live region."""
    with served(busy) as address, opened(browser, "tablet", f"{address}/sumps/{SUMP}") as page:
        page.locator("#svg-volume").focus()
        page.keyboard.press("End")
        told = page.locator(".is-volume .readout")
        expect(told).to_contain_text("2 Mar, 06:00: ")
        expect(told).to_contain_text("250 ± 4 L")
        page.keyboard.press("ArrowLeft")
        expect(told).to_contain_text("05:55")
        assert told.evaluate("e => e.tagName") == "OUTPUT"


@pytest.mark.parametrize("size", SIZES)
def test_a_change_out_is_followed_on_two_devices(busy: Shop, browser: Browser, size: str):
    """What is to be done now stands on the first screen; a tick on one is seen on the other."""
    path = "/sumps/mill-08/charge"
    with (
        served(busy) as address,
        opened(browser, size, address + path) as page,
        opened(browser, "phone", address + path) as other,
    ):
        button = page.locator("#work-done")
        expect(button).to_be_in_viewport()
        expect(page.locator("#work .imperative")).to_contain_text("Have ready")
        button.click()
        expect(page.locator("#work")).to_contain_text("step 2 of")
        expect(page.locator("#work .imperative")).to_have_text("Skim the oil that floats.")
        expect(other.locator("#work")).to_contain_text("step 2 of", timeout=5000)
        page.locator(".ticks").get_by_role("button").click()
        expect(page.locator("#work")).to_contain_text("step 1 of")


@pytest.mark.parametrize("size", SIZES)
def test_a_charge_is_worked_out_and_begun(busy: Shop, browser: Browser, size: str):
    """Other numbers, worked out anew; begun with one button; the pumps' time runs."""
    with served(busy) as address, opened(browser, size, f"{address}/sumps/{SUMP}/charge") as page:
        page.fill("#f-volume", "100 L")
        page.fill("#f-bucket", "50 L")
        page.get_by_label("Only the filling").check(force=True)
        page.get_by_role("button", name="Work it out").click()
        expect(page.locator(".imperative")).to_contain_text("Fill up with 100")
        page.get_by_role("button", name="Begin the charge").click()
        for _ in range(20):
            page.locator("#work .imperative").wait_for()
            if page.get_by_role("button", name="start the time").count():
                break
            before = page.locator("#work-h").inner_text()
            page.locator("#work-done").click()
            expect(page.locator("#work-h")).not_to_have_text(before)
        page.get_by_role("button", name="start the time").click()
        expect(page.locator(".timer")).to_contain_text("Mixed at 06:30")


@pytest.mark.parametrize("size", SIZES)
def test_a_drum_is_counted(busy: Shop, browser: Browser, size: str):
    """From the list to the form, what it makes, saved; without a script the form stays usable."""
    with served(busy) as address, opened(browser, size, f"{address}/supplies") as page:
        page.get_by_role("link", name="Enter stock").click()
        expect(page.locator("#f-full")).to_be_hidden()
        page.get_by_label("Opened a new one").check(force=True)
        expect(page.locator("#f-volume")).to_be_hidden()
        expect(page.locator("#f-full")).to_have_value("200")
        page.fill("#f-lot", "L-77")
        page.get_by_role("button", name="Look at what it changes").click()
        expect(page.get_by_role("heading", name="Is this right?")).to_be_visible()
        busy.answers = False
        page.get_by_role("button", name="Save").click()
        expect(page.locator(".told")).to_contain_text("On its way", timeout=15_000)
    assert busy.sent[-1].topic.endswith("/supply/drum-1/stock")


@pytest.mark.parametrize("size", SIZES)
def test_an_alarm_is_put_aside(busy: Shop, browser: Browser, size: str):
    """Folded open, for an hour; the order is on its way."""
    with served(busy) as address, opened(browser, size, f"{address}/alarms") as page:
        page.locator(".more summary").first.click()
        busy.answers = False
        page.get_by_role("button", name="For 1 hour").first.click()
        wait_until(lambda: bool(busy.sent), "the order")
    assert b'"command": "shelve"' in busy.sent[-1].payload
