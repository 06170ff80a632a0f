"""What a visitor meets before and beside the app: the first page, slow lines, the way photos go."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from photocheck.case.samples import samples_folder
from photocheck.orders.intake.bring_in import bring_in
from photocheck.orders.store import open_store
from photocheck.server.access.passes import link_for
from photocheck_app.owner.way import PAGES
from tests.support.command_line import line_of
from tests.support.pages import Visitors, free_port, rests
from tests.support.served_alone import Alone, served_alone

pytestmark = pytest.mark.browser

PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844},
    "has_touch": True,
    "is_mobile": True,
}
DESKTOP: dict[str, Any] = {"viewport": {"width": 1280, "height": 900}}


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Alone]:
    with served_alone(tmp_path_factory.mktemp("first")) as app:
        yield app


def faults(page: Page, axe: str) -> list[Any]:
    """What axe-core finds serious or critical."""
    page.evaluate(axe)
    found = page.evaluate("axe.run()")["violations"]
    return [
        (one["id"], [node["html"][:120] for node in one["nodes"]][:3])
        for one in found
        if one["impact"] in ("serious", "critical")
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("spoken", ["en", "de"])
@pytest.mark.parametrize("device", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_the_first_page_keeps_nobody_out(
    served: Alone, visitors: Visitors, axe: str, device: dict[str, Any], spoken: str, scheme: str
) -> None:
    page = visitors.come(**device, locale=spoken, color_scheme=scheme).new_page()
    page.goto(served.address)
    assert page.locator("html").get_attribute("lang") == spoken
    assert faults(page, axe) == []
    # The first way to begin is in reach without scrolling, and nothing lies beside the screen.
    begin = page.locator(".go").first.bounding_box()
    assert begin is not None
    assert begin["y"] + begin["height"] <= device["viewport"]["height"]
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_without_scripts_it_is_read_and_opens_no_order(served: Alone, chromium: Browser) -> None:
    context = chromium.new_context(**PHONE, locale="en", java_script_enabled=False)
    page = context.new_page()
    page.goto(served.address)
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    page.get_by_role("link", name="Deutsch").click()
    expect(page.get_by_role("heading", name="Was Sie brauchen")).to_be_visible()
    # What somebody's preview fetches begins nothing.
    page.locator('a[href*="begin=quick"]').click()
    assert "braucht JavaScript" in page.locator("noscript p").inner_text()
    context.close()
    store = open_store(str(served.store))
    assert store.lines() == ()
    store.close()


def begun(served: Alone, context: BrowserContext) -> Page:
    page = context.new_page()
    page.goto(served.address)
    page.locator('a[href*="begin=quick"]').click()
    page.locator(".st-key-ways_on").wait_for(timeout=60_000)
    rests(page)
    return page


def test_choosing_leads_to_the_first_step_with_its_way_on_at_the_foot(
    served: Alone, visitors: Visitors
) -> None:
    page = begun(served, visitors.come(**PHONE, locale="de"))
    assert page.locator(".pc-wait").count() == 0
    bar = page.locator(".st-key-ways_on").bounding_box()
    assert bar is not None
    assert bar["y"] + bar["height"] == pytest.approx(PHONE["viewport"]["height"], abs=1)
    # Scrolled to its end, nothing of the page lies under it.
    page.locator("[data-testid=stMain]").evaluate("main => main.scrollTo(0, main.scrollHeight)")
    lowest = page.evaluate(
        """Math.max(...[...document.querySelectorAll('[data-testid=stElementContainer]')]
            .filter((part) => !part.closest('.st-key-ways_on') && part.offsetHeight > 1)
            .map((part) => part.getBoundingClientRect().bottom))"""
    )
    assert lowest <= bar["y"]


def test_on_a_phone_that_lies_a_number_and_the_way_on_are_seen_at_once(
    served: Alone, visitors: Visitors
) -> None:
    lying = {**PHONE, "viewport": {"width": 844, "height": 390}}
    page = begun(served, visitors.come(**lying, locale="de"))
    field = page.get_by_label("Halber Hals in Zentimeter")
    on = page.get_by_role("button", name="Weiter", exact=True)
    around = page.locator("[data-testid=stTextInputRootElement]").filter(has=field)
    for part in (around, on, page.locator(".tape img")):
        expect(part).to_be_in_viewport(ratio=1.0)
    above, below = field.bounding_box(), on.bounding_box()
    assert above is not None
    assert below is not None
    assert above["y"] + above["height"] <= below["y"]


def test_a_photo_says_how_far_it_has_come(served: Alone, visitors: Visitors) -> None:
    context = visitors.come(**PHONE, locale="de")
    page = begun(served, context)
    page.goto(re.sub("step=[^&]*", "step=photo", page.url))
    field = page.locator("input[type=file]").first
    field.wait_for(state="attached", timeout=30_000)
    rests(page)
    session = context.new_cdp_session(page)
    session.send("Network.enable")
    session.send(
        "Network.emulateNetworkConditions",
        {
            "offline": False,
            "latency": 50,
            "downloadThroughput": 4e5,
            "uploadThroughput": 8e4,
        },
    )
    content = (samples_folder() / "flint" / "side.jpg").read_bytes()
    field.set_input_files({"name": "dog.jpg", "mimeType": "image/jpeg", "buffer": content})
    expect(page.get_by_text("Das Foto wird gesendet.")).to_be_visible(timeout=30_000)
    page.wait_for_function("document.querySelector('.pc-away progress')?.value > 0")
    # Going on would lose it: that waits, and says so.
    page.get_by_role("button", name="Weiter").click()
    expect(page.get_by_text("Das Foto wird noch gesendet.")).to_be_visible()
    expect(page.get_by_text("Gefunden, wo es umrandet ist")).to_be_visible(timeout=60_000)
    expect(page.locator(".pc-away")).to_have_count(0)


def _serve(port: int, store: Path) -> subprocess.Popen[str]:
    process = subprocess.Popen(
        [
            *(sys.executable, "-m", "photocheck", "serve"),
            *("--port", str(port), "--store", str(store)),
        ],
        stdout=subprocess.PIPE,
        text=True,
    )
    line_of(process)
    return process


def test_a_lost_connection_is_told_and_so_is_its_coming_back(
    visitors: Visitors, tmp_path: Path
) -> None:
    port, store = free_port(), tmp_path / "orders.sqlite3"
    server = _serve(port, store)
    page = visitors.come(**PHONE, locale="de").new_page()
    page.goto(f"http://127.0.0.1:{port}/?step=sample")
    page.get_by_role("heading", level=1).wait_for(timeout=60_000)
    rests(page)
    server.kill()
    server.wait()
    try:
        sign = page.get_by_role("status").filter(has_text="Keine Verbindung")
        expect(sign).to_be_visible(timeout=15_000)
        # The framework's own word, in English and over everything.
        page.locator("[data-testid=stDialog]").wait_for(state="attached", timeout=30_000)
        expect(page.locator("[data-testid=stDialog]")).to_be_hidden()
        server = _serve(port, store)
        expect(page.get_by_text("Wieder verbunden.")).to_be_visible(timeout=60_000)
        expect(page.locator(".pc-away")).to_have_count(0, timeout=15_000)
    finally:
        server.send_signal(signal.SIGINT)
        server.wait(20)


def test_no_step_moves_under_the_finger(served: Alone, visitors: Visitors) -> None:
    """Cumulative layout shift of at most 0.1 (web.dev, "good") while a page comes."""
    folder = samples_folder() / "flint"
    with closing(open_store(str(served.store))) as store:
        content = (folder / "case.json").read_bytes()
        key = bring_in(
            store, ("case.json", content), [("side.jpg", (folder / "side.jpg").read_bytes())]
        ).key
        link = link_for(store, key, by="Robin")
    steps = tuple(f"?order={link}&step={step}" for step in PAGES)
    found = {}
    visitor = visitors.come(**PHONE, locale="en")
    for address in ("", "?step=sample", "sheet", "practise", *steps):
        page = visitor.new_page()
        page.add_init_script(
            """window.shifted = 0;
            new PerformanceObserver((list) => {
                for (const one of list.getEntries()) {
                    if (!one.hadRecentInput) window.shifted += one.value;
                }
            }).observe({ type: "layout-shift", buffered: true });"""
        )
        page.goto(f"{served.address}/{address}")
        page.locator("h1, h2").first.wait_for(timeout=60_000)
        if address:
            rests(page)
        found[address] = page.evaluate("window.shifted")
        page.close()
    assert all(shift <= 0.1 for shift in found.values()), json.dumps(found)


def test_what_comes_late_has_its_room_from_the_first(served: Alone, visitors: Visitors) -> None:
    page = visitors.come(**PHONE, locale="en").new_page()
    page.goto(f"{served.address}/practise")
    surface = page.locator("[class*='st-key-photo_room_mark'] .stage").first
    surface.wait_for(timeout=60_000)
    rests(page)
    below = page.get_by_role("button", name="Show me")
    edge = "(one, side) => one.getBoundingClientRect()[side] + scrollY"
    photo_ends = surface.evaluate(edge, "bottom")
    # as the page is before the surface is there: empty, and as high as the framework makes
    # whatever it still waits for
    page.add_style_tag(
        content="[class*='st-key-photo_room_mark'] > * { display: none !important }"
        ".st-key-unstored::before { content: ''; display: block; height: 40px }"
    )
    assert below.evaluate(edge, "top") >= photo_ends
    title = page.get_by_role("heading", level=1)
    before = title.evaluate(edge, "top")
    page.add_style_tag(content=".st-key-unstored::before { height: 0 !important }")
    assert title.evaluate(edge, "top") == before
