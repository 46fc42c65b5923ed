"""A real Chromium, and a page served to it: what people see, touch and hear read out."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from agent.embedded import free_port
from agent.page.server import _Server
from tests.page.shop import Shop
from tests.waiting import wait_until

ARGUMENTS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
SIZES = {"desktop": (1440, 900), "tablet": (1024, 768), "phone": (390, 844)}
"""Width and height of the screens that the page is looked at on. [px]"""


@contextmanager
def chromium() -> Iterator[Browser]:
    """Debian's Chromium, without a window."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=list(ARGUMENTS)
        )
        yield browser
        browser.close()


@contextmanager
def served(shop: Shop) -> Iterator[str]:
    """Serve a shop's page on a free port; gives its address."""
    assert shop.plant.page is not None
    settings = replace(shop.plant.page, port=free_port())
    server = _Server(shop.app, settings)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    wait_until(lambda: server.started, "the page to be served")
    try:
        yield f"http://127.0.0.1:{settings.port}"
    finally:
        server.should_exit = True
        thread.join(10.0)


@contextmanager
def opened(browser: Browser, size: str, address: str, **options: Any) -> Iterator[Page]:
    """Open a page on a screen; whatever goes wrong in it fails the test.

    A request that fails, one to another host, a message of the console, a script's error.
    """
    width, height = SIZES[size]
    context: BrowserContext = browser.new_context(
        viewport={"width": width, "height": height}, has_touch=size != "desktop", **options
    )
    page = context.new_page()
    trouble: list[str] = []
    page.on("pageerror", lambda error: trouble.append(f"script: {error}"))
    page.on("console", lambda m: trouble.append(f"console: {m.text}") if _is_bad(m) else None)
    page.on("request", lambda r: trouble.append(f"elsewhere: {r.url}") if _is_far(r.url) else None)
    page.on(
        "response", lambda r: trouble.append(f"{r.status} {r.url}") if r.status >= 500 else None
    )
    page.goto(address)
    try:
        yield page
        assert trouble == []
    finally:
        context.close()


def _is_bad(message: Any) -> bool:
    """Whether the console says that something is wrong; a refused form is no mistake."""
    return message.type in {"error", "warning"} and "the server responded with" not in message.text


def _is_far(url: str) -> bool:
    """Whether a request leaves this machine."""
    return not url.startswith(("http://127.0.0.1:", "data:"))
