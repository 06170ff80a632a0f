"""How long a first visit waits on a slow line: ``python -m tests.browser.measure_loading``.

Bars: the first readable screen within 3 s at 1.6 Mbit/s and 150 ms, and within 10 s at 400 kbit/s
and 400 ms.  Each figure is the median of visits by browsers that have nothing of the app yet.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from statistics import median
from time import monotonic
from typing import Final

from playwright.sync_api import Browser, Page, sync_playwright

from photocheck.orders.draft import Draft
from photocheck.orders.store import open_store
from photocheck.server.access.passes import link_for
from tests.browser.measure_app import PHONE, TIMES
from tests.support.pages import FLAGS
from tests.support.served_alone import served_alone

LINES: Final = {"1.6 Mbit/s, 150 ms": (1600, 150), "400 kbit/s, 400 ms": (400, 400)}
"""Thousand bits a second each way, and milliseconds there and back."""

READING_S: Final = 20.0
"""How long somebody reads the first page (judgement)."""

STEP: Final = ".st-key-ways_on"
"""What the app's first step ends with."""


def visit(browser: Browser, line: tuple[int, int], measured: Callable[[Page], float]) -> float:
    """One by a new browser on such a line."""
    context = browser.new_context(**PHONE)
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    bytes_s = line[0] * 1000 / 8
    session.send(
        "Network.emulateNetworkConditions",
        {
            "offline": False,
            "latency": line[1],
            "downloadThroughput": bytes_s,
            "uploadThroughput": bytes_s,
        },
    )
    try:
        return measured(page)
    finally:
        context.close()


def painted(page: Page, address: str) -> float:
    """Seconds to the first page's heading being painted, by the browser's own clock."""
    page.goto(address, wait_until="commit")
    page.locator("h1").wait_for()
    page.wait_for_function("performance.getEntriesByType('paint').length > 1")
    first = "performance.getEntriesByName('first-contentful-paint')[0].startTime"
    return float(page.evaluate(first)) / 1000


def begun(page: Page, address: str, reading_s: float) -> float:
    """Seconds from the press of "Begin" to the app's first step."""
    painted(page, address)
    page.wait_for_timeout(1000 * reading_s)
    began = monotonic()
    page.locator('a[href*="begin=quick"]').click(no_wait_after=True)
    page.locator(STEP).wait_for(timeout=180_000)
    return monotonic() - began


def by_link(page: Page, address: str) -> float:
    """Seconds to the first step of who comes by a link of the workshop's."""
    began = monotonic()
    page.goto(address, wait_until="commit")
    page.locator(STEP).wait_for(timeout=180_000)
    return monotonic() - began


def main() -> None:
    """Measure and print."""
    with (
        tempfile.TemporaryDirectory() as folder,
        served_alone(Path(folder)) as app,
        sync_playwright() as playwright,
    ):
        address = app.address
        with closing(open_store(str(app.store))) as store:
            key = store.open("en")
            store.save_draft(key, Draft())
            link = f"{address}/?order={link_for(store, key, by='measurement')}"
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=FLAGS)
        measures: dict[str, Callable[[Page], float]] = {
            "first page readable": lambda page: painted(page, address),
            "first step, begun at once": lambda page: begun(page, address, 0.0),
            f"first step, begun after {READING_S:.0f} s of reading": lambda page: begun(
                page, address, READING_S
            ),
            "by a link: where the order stands": lambda page: painted(page, link),
            "by a link: the order's step": lambda page: by_link(page, link),
        }
        by_link(browser.new_page(), link)  # a fresh server's first run is another matter
        for line, rate in LINES.items():
            for name, measured in measures.items():
                took = [visit(browser, rate, measured) for _ in range(TIMES)]
                print(
                    f"{line}: {name:46} {median(took):6.2f} s (median of {TIMES}), "
                    f"{max(took):.2f} at most",
                    flush=True,
                )
        browser.close()


if __name__ == "__main__":
    main()
