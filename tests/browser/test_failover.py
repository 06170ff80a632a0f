"""A server dies under an open page: the page goes on at another, and nothing typed is lost."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing
from functools import partial
from typing import Any

import pytest
import requests
from playwright.sync_api import Browser, BrowserContext, Locator, Page, expect

from photocheck.case.samples import samples_folder
from photocheck.orders.filling import new_draft
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.server.access.passes import link_for
from tests.support.behind_proxy import NAMES, Behind, behind_proxy
from tests.support.pages import rests, until_on_page
from tests.support.store_database import OwnPostgresql, own_postgresql
from tests.support.waiting import until

pytestmark = pytest.mark.browser

PHONE: dict[str, Any] = {"viewport": {"width": 390, "height": 844}, "locale": "en-GB"}


@pytest.fixture(scope="module")
def database() -> Iterator[OwnPostgresql]:
    with own_postgresql() as database:
        yield database


@pytest.fixture(scope="module")
def behind(database: OwnPostgresql, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Behind]:
    with behind_proxy(database.address, tmp_path_factory.mktemp("several")) as behind:
        yield behind


@pytest.fixture
def orders(behind: Behind) -> Iterator[DatabaseStore]:
    with closing(open_store(behind.store)) as store:
        yield store


@pytest.fixture
def phone(chromium: Browser) -> Iterator[BrowserContext]:
    context = chromium.new_context(**PHONE, ignore_https_errors=True)
    yield context
    context.close()


def at(page: Page) -> str:
    """The server that the page was opened at, as the proxy has told the browser."""
    (name,) = (
        one.get("value", "") for one in page.context.cookies() if one.get("name") == "photocheck_at"
    )
    return name


def field(page: Page) -> Locator:
    return page.get_by_test_id("stMain").get_by_role("textbox").first


def typed(page: Page, text: str) -> None:
    field(page).fill(text, timeout=30_000)
    field(page).press("Tab")


def is_kept(orders: DatabaseStore, key: str, text: str) -> bool:
    return f"'{text}'" in str(orders.draft(key).to_dict())


@pytest.fixture
def key(orders: DatabaseStore) -> str:
    key = orders.open()
    orders.save_draft(key, new_draft("cm"))
    return key


def opened(behind: Behind, orders: DatabaseStore, key: str, phone: BrowserContext) -> Page:
    page = phone.new_page()
    link = link_for(orders, key, by="Ada")
    page.goto(f"{behind.address}/?order={link}&step=readings")
    return page


def served_by(page: Page, kept: Callable[[str], bool], text: str) -> tuple[str, str]:
    """Which server serves the page, once something typed is kept, and which does not."""
    typed(page, text)
    until_on_page(page, lambda: kept(text), "what was typed", patience_s=30)
    first = at(page)
    (other,) = {*NAMES} - {first}
    return first, other


def test_what_is_typed_while_a_server_dies_is_kept_by_another(
    behind: Behind, orders: DatabaseStore, key: str, phone: BrowserContext
) -> None:
    page = opened(behind, orders, key, phone)
    kept = partial(is_kept, orders, key)
    first, other = served_by(page, kept, "41.5")
    behind.kill(first)
    typed(page, "41.75")
    until_on_page(page, lambda: kept("41.75"), "typed while the first died", patience_s=60)
    assert at(page) == other

    # Fields take nothing while nobody is there; this one is left in the middle of a number.
    behind.start(first)
    field(page).fill("41.875")
    behind.kill(other)
    behind.kill(first)
    expect(field(page)).to_be_disabled(timeout=30_000)
    behind.start(first)
    expect(field(page)).to_be_enabled(timeout=60_000)
    assert field(page).input_value() == "41.875"
    field(page).press("Tab")
    until_on_page(page, lambda: kept("41.875"), "half typed when all died", patience_s=60)
    assert at(page) == first

    # The other is back: the page stays where it is, with its files.
    behind.start(other)
    page.goto(page.url.replace("step=readings", "step=photo"))
    photo = samples_folder() / "flint" / "side.jpg"
    page.locator("input[type=file]").first.set_input_files(photo)
    until_on_page(page, lambda: len(orders.photos(key)) == 1, "the photo", patience_s=60)
    shown = page.locator("[data-testid=stMain] img").first
    expect(shown).to_have_js_property("complete", value=True, timeout=60_000)
    assert shown.evaluate("image => image.naturalWidth") > 0
    assert at(page) == first


def test_what_is_typed_while_a_server_hangs_is_kept_by_another_with_what_comes_next(
    behind: Behind, orders: DatabaseStore, key: str, phone: BrowserContext
) -> None:
    """Sent into the hanging server it is in its field still; no run may follow by itself."""
    page = opened(behind, orders, key, phone)
    kept = partial(is_kept, orders, key)
    first, other = served_by(page, kept, "43.5")
    behind.hang(first)
    try:
        typed(page, "43.75")
        until_on_page(page, lambda: at(page) == other, "the page at the other", patience_s=60)
        expect(field(page)).to_be_enabled(timeout=30_000)
        assert field(page).input_value() == "43.75"
        next_field = page.get_by_test_id("stMain").get_by_role("textbox").nth(1)
        next_field.fill("44.5")
        next_field.press("Tab")
        until_on_page(page, lambda: kept("44.5"), "what was typed next", patience_s=60)
        until_on_page(page, lambda: kept("43.75"), "typed while the first hung", patience_s=60)
        assert at(page) == other
    finally:
        behind.kill(first)
        behind.start(first)


def health(behind: Behind) -> set[int]:
    return {
        requests.get(f"http://127.0.0.1:{port}/health", timeout=10).status_code
        for port in behind.ports.values()
    }


def test_a_database_that_dies_and_comes_back_costs_nobody_anything(
    behind: Behind,
    database: OwnPostgresql,
    orders: DatabaseStore,
    key: str,
    phone: BrowserContext,
) -> None:
    page = opened(behind, orders, key, phone)
    kept = partial(is_kept, orders, key)
    for acknowledged in ("41.25", "41.5"):
        typed(page, acknowledged)
        until_on_page(page, partial(kept, acknowledged), acknowledged, patience_s=30)
    assert health(behind) == {200}
    # A run that is still under way would say that the orders are away, where the field was.
    rests(page)
    database.die()
    typed(page, "41.75")
    away = page.get_by_text("The orders cannot be reached just now")
    expect(away).to_be_visible(timeout=30_000)
    until(lambda: health(behind) == {503}, "503 from both", patience_s=30)
    another = phone.new_page()
    another.goto(f"{behind.address}/?order={'x' * 43}")
    said = another.get_by_text("The orders cannot be reached just now")
    expect(said).to_be_visible(timeout=30_000)

    database.start()
    until_on_page(page, lambda: health(behind) == {200}, "200 from both", patience_s=60)
    until_on_page(page, lambda: kept("41.75"), "typed while it was away", patience_s=60)
    expect(away).to_be_hidden(timeout=30_000)
    expect(field(page)).to_have_value("41.75")
    expect(said).to_be_hidden(timeout=30_000)
    assert not [name for name in NAMES if "Traceback" in behind.log(name).read_text()]
