"""The page of the running demonstration: real readings, a real broker, the agent's own process."""

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from tests.page.browser import SIZES, chromium, opened
from tests.page.demo import ROOT, running_demo

pytestmark = [pytest.mark.broker, pytest.mark.slow]

SUMPS = ("lathe-a1", "mill-b4", "mill-c2", "grinder-d3")


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One Chromium for all tests here."""
    with chromium() as browser:
        yield browser


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, int]]:
    """A shop of four sumps in which ten minutes pass in a second."""
    with running_demo(tmp_path_factory.mktemp("demo"), speed=600.0) as running:
        yield running


@pytest.mark.parametrize("size", SIZES)
def test_the_plant_fills_by_itself(demo: tuple[str, int], browser: Browser, size: str):
    """An open page gets an estimate for every sump, without a reload."""
    with opened(browser, size, demo[0]) as page:
        for name in SUMPS:
            expect(page.locator(f"#row-{name} .figure").first).to_contain_text("±", timeout=60_000)


@pytest.mark.parametrize("size", SIZES)
def test_an_entry_goes_round_through_the_broker(demo: tuple[str, int], browser: Browser, size: str):
    """What is entered comes back as stored by the agent, and stands in the records."""
    with opened(browser, size, f"{demo[0]}/sumps/mill-b4/enter/service") as page:
        page.get_by_label("oil skimmed off").check(force=True)
        page.fill("#f-note", f"two litres ({size})")
        page.get_by_role("button", name="Look at what it changes").click()
        page.get_by_role("button", name="Save").click()
        expect(page.locator(".told")).to_have_text("Saved.", timeout=15_000)
        expect(page.get_by_text(f"two litres ({size})")).to_be_visible()
        for _ in range(30):  # until the store holds a first estimate to set it against
            page.goto(f"{demo[0]}/sumps/mill-b4/enter/check")
            page.fill("#f-value", "6.3")
            page.get_by_role("button", name="Look at what it changes").click()
            expect(page.get_by_role("button", name="Save")).to_be_visible()
            if page.locator(".changes").count():
                break
            page.wait_for_timeout(2_000)
        expect(page.locator(".changes")).to_contain_text("±")
        page.get_by_role("button", name="Save").click()
        expect(page.locator(".told")).to_have_text("Saved.", timeout=15_000)
        page.locator(".log li", has_text="refractometer: 6.3").first.get_by_role(
            "link", name="Correct"
        ).click()
        page.get_by_role("button", name="It did not happen").click()
        expect(page.locator(".told")).to_have_text("Saved.", timeout=15_000)
        expect(page.locator(".is-replaced").first).to_contain_text("corrected since")


@pytest.mark.parametrize("size", SIZES)
def test_a_count_goes_round_through_the_broker(demo: tuple[str, int], browser: Browser, size: str):
    """What somebody counted is stored by the agent, and the list shows what is left."""
    with opened(browser, size, f"{demo[0]}/supplies") as page:
        shelf = page.locator("#supply-drum-k")
        shelf.get_by_role("link", name="Enter stock").click()
        page.fill("#f-volume", "120")
        page.fill("#f-lot", f"L-{size}")
        page.get_by_role("button", name="Look at what it changes").click()
        page.get_by_role("button", name="Save").click()
        expect(page.locator(".told")).to_have_text("Saved.", timeout=15_000)
        expect(shelf).to_contain_text(f"L-{size}")
        expect(shelf).to_contain_text("±")


@pytest.mark.parametrize("size", SIZES)
def test_a_change_out_goes_round_through_the_broker(
    demo: tuple[str, int], browser: Browser, size: str
):
    """Begun, a step done, and taken back: the agent has each report, and the sump is as it was."""
    with opened(browser, size, f"{demo[0]}/sumps/lathe-a1/charge") as page:
        page.get_by_role("button", name="Begin the change-out").click()
        expect(page.locator("#work")).to_contain_text("step 1 of", timeout=15_000)
        page.locator("#work-done").click()
        expect(page.locator("#work")).to_contain_text("step 2 of", timeout=15_000)
        page.get_by_role("button", name="It did not happen").click()
        expect(page.locator(".log").last).to_contain_text("entered by mistake", timeout=15_000)


@pytest.mark.parametrize("size", SIZES)
def test_a_chart_of_the_demo_is_read_off(demo: tuple[str, int], browser: Browser, size: str):
    """By keys, at every size: value and span."""
    with opened(browser, size, f"{demo[0]}/sumps/mill-b4?span=day") as page:
        expect(page.locator("#svg-volume .line")).to_be_attached()
        page.locator("#svg-volume").focus()
        page.keyboard.press("End")
        expect(page.locator(".is-volume .readout")).to_contain_text("±")


def test_charts_fill_from_an_hour_to_a_year(demo: tuple[str, int], browser: Browser):
    """Every span draws what was told so far."""
    with opened(browser, "tablet", f"{demo[0]}/sumps/mill-b4") as page:
        for span in ("hour", "shift", "day"):
            page.goto(f"{demo[0]}/sumps/mill-b4?span={span}")
            expect(page.locator(".panel.is-volume .line")).to_be_attached()


def test_what_the_page_sends_is_taken_like_anybodys(demo: tuple[str, int], browser: Browser):
    """A wrong entry is refused by the agent's own decoder before it is sent."""
    with opened(browser, "tablet", f"{demo[0]}/sumps/lathe-a1/enter/check") as page:
        page.fill("#f-value", "5000")
        page.get_by_role("button", name="Look at what it changes").click()
        expect(page.get_by_role("alert")).to_contain_text("It would be refused")


def test_an_agent_without_a_page_loads_nothing_of_it():
    """Whoever wants no page pays for none: its libraries are not even imported."""
    code = (
        "import sys, json; import agent.run, agent.pipeline, agent.cli; "
        "print(json.dumps([m for m in sys.modules if m.split('.')[0] in "
        "('fastapi', 'starlette', 'uvicorn', 'jinja2') or m.startswith('agent.page')]))"
    )
    found = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, check=True, capture_output=True, text=True
    )
    assert json.loads(found.stdout) == []


def test_the_agent_with_its_page_is_small(demo: tuple[str, int]):
    """Under 250 MB with everything, after pages and charts have been looked at."""
    lines = Path(f"/proc/{demo[1]}/status").read_text("utf-8").splitlines()
    resident = next(float(line.split()[1]) / 1024.0 for line in lines if line.startswith("VmRSS"))
    assert resident < 250.0
