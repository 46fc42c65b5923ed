"""How fast the page is with 300 sumps and a year stored: ``python -m tests.page.measure``.

In Debian's Chromium, beside whatever else the machine does: the load is printed with the numbers.
With ``live`` behind it only what changes while one looks, with little stored.
"""

import os
import resource
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from playwright.sync_api import Browser

from advisor.effects import PublishAdvice, PublishState
from advisor.words import DAY, HOUR, MINUTE
from agent.store.batch import Batch
from agent.store.history import history_row
from tests.page.browser import chromium, opened, served
from tests.page.shop import NOW, SUMP, Shop, a_plant, a_state, an_advice

SUMPS = 300
YEAR = 365


def filled(folder: Path, days: int) -> Shop:
    """A plant of many sumps with hours of some days, and minutes of a week of one of them."""
    shop = Shop(folder, a_plant(folder, sumps=SUMPS))
    names = list(shop.plant.sumps)
    for day in range(days, 0, -1):
        rows = []
        for hour in range(24):
            at = NOW - day * DAY + hour * HOUR
            row = history_row(a_state(shop.plant, 260.0 + 3.0 * hour, 0.07 + 0.0005 * hour, at=at))
            assert row is not None
            rows += [(name, row) for name in names]
        shop.ledger.commit(Batch(history=rows))
    minutes = []
    for minute in range(7 * 24 * 60):
        at = NOW - minute * MINUTE
        row = history_row(a_state(shop.plant, 260.0 + (minute % 1440) / 20.0, 0.08, at=at))
        assert row is not None
        minutes.append((SUMP, row))
    shop.ledger.commit(Batch(history=minutes))
    for number, name in enumerate(names):
        concentration = 0.05 + 0.0002 * number
        kind = "top-up" if number % 7 == 0 else "none"
        shop.tell(PublishState(a_state(shop.plant, 312.0, concentration, sump=name)), sump=name)
        shop.tell(PublishAdvice(an_advice(kind, sump=name)), sump=name)
    shop.close()
    return Shop(folder, shop.plant)


def first_view(browser: Browser, address: str) -> tuple[float, float, float]:
    """Milliseconds to the first byte, to the first content, to the end of loading."""
    with opened(browser, "desktop", address) as page:
        page.wait_for_load_state("load")
        page.wait_for_timeout(300)
        first_byte, loaded = page.evaluate(
            """() => { const [n] = performance.getEntriesByType("navigation");
            return [n.responseStart, n.loadEventEnd]; }"""
        )
        painted = page.evaluate(
            """() => performance.getEntriesByName("first-contentful-paint")[0]?.startTime ?? NaN"""
        )
    return first_byte, painted, loaded


def live(shop: Shop, browser: Browser, address: str) -> float:
    """Milliseconds from the worker's commit to the number on the screen."""
    with opened(browser, "desktop", address) as page:
        row = page.locator(f"#row-{SUMP}")
        row.wait_for()
        page.wait_for_timeout(1000)
        begun = time.perf_counter()
        shop.tell(PublishState(a_state(shop.plant, 287.0)))
        row.get_by_text("287").first.wait_for()
        return (time.perf_counter() - begun) * 1000.0


def all_live(shop: Shop, browser: Browser, address: str, litres: float, *, apart: bool) -> float:
    """The same where all sumps change at once: in one transaction, as at every whole minute.

    `apart`: in a transaction each, which a worker does that has nothing else to wait for.
    """
    with opened(browser, "desktop", address) as page:
        rows = page.locator(".row")
        rows.first.wait_for()
        page.wait_for_timeout(1000)
        states = [(name, a_state(shop.plant, litres, sump=name)) for name in shop.plant.sumps]
        begun = time.perf_counter()
        if apart:
            for name, state in states:
                shop.tell(PublishState(state), sump=name)
        else:
            shop.tell_all((name, [PublishState(state)]) for name, state in states)
        page.wait_for_function(
            f"""() => document.querySelectorAll(".row .value").length >= {SUMPS}
            && [...document.querySelectorAll(".row .figure:first-child .value")]
            .every(e => e.textContent.startsWith("{litres:.0f}"))""",
            polling="raf",
        )
        return (time.perf_counter() - begun) * 1000.0


def main() -> None:
    """Measure and print."""
    out = sys.stdout.write
    only_live = sys.argv[1:] == ["live"]
    days = 2 if only_live else YEAR
    with tempfile.TemporaryDirectory(prefix="page-measure-") as folder:
        shop = filled(Path(folder), days)
        size = shop.plant.store.stat().st_size / 1e6
        out(f"{SUMPS} sumps, {days} days, store {size:.0f} MB; load {os.getloadavg()[0]:.1f}\n")
        with served(shop) as address, chromium() as browser:
            paths = {"plant": "/", "sump, day": f"/sumps/{SUMP}", "alarms": "/alarms"}
            paths |= {f"sump, {s}": f"/sumps/{SUMP}?span={s}" for s in ("week", "year")}
            for name, path in () if only_live else paths.items():
                times = [first_view(browser, address + path) for _ in range(5)]
                byte, painted, loaded = (median(column) for column in zip(*times, strict=True))
                out(f"{name:<12} first byte {byte:5.0f} ms, painted {painted:5.0f} ms, ")
                out(f"loaded {loaded:5.0f} ms\n")
            out(f"one sump changes: on the screen after {live(shop, browser, address):.0f} ms\n")
            for litres, apart in ((265.0, False), (271.0, False), (277.0, True)):
                took = all_live(shop, browser, address, litres, apart=apart)
                how = f"{SUMPS} transactions" if apart else "one transaction"
                out(f"all of them, in {how}: after {took:.0f} ms\n")
        shop.close()
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000.0
        out(f"peak memory of page and filling: {peak:.0f} MB\n")


if __name__ == "__main__":
    main()
