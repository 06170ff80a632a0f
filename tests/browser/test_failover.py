"""A server dies under an open page: the page goes on at another, and nothing typed is lost."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Locator, Page, expect

from photocheck.case.samples import samples_folder
from photocheck.orders.filling import new_draft
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.server.access.passes import link_for
from tests.support.behind_proxy import NAMES, Behind, behind_proxy
from tests.support.pages import until_on_page
from tests.support.store_database import new_database

pytestmark = pytest.mark.browser

PHONE: dict[str, Any] = {"viewport": {"width": 390, "height": 844}, "locale": "en-GB"}


@pytest.fixture(scope="module")
def behind(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Behind]:
    databases = new_database()
    with behind_proxy(next(databases), tmp_path_factory.mktemp("several")) as behind:
        yield behind
    next(databases, None)


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
        one.get("value", "")
        for one in page.context.cookies()
        if one.get("name") == "photocheck_at"
    )
    return name


def field(page: Page) -> Locator:
    return page.get_by_test_id("stMain").get_by_role("textbox").first


def typed(page: Page, text: str) -> None:
    field(page).fill(text, timeout=30_000)
    field(page).press("Tab")


def test_what_is_typed_while_a_server_dies_is_kept_by_another(
    behind: Behind, orders: DatabaseStore, phone: BrowserContext
) -> None:
    key = orders.open()
    orders.save_draft(key, new_draft("cm"))
    link = link_for(orders, key, by="Ada")
    page = phone.new_page()
    page.goto(f"{behind.address}/?order={link}&step=readings")

    def kept(text: str) -> bool:
        return f'"{text}"' in str(orders.draft(key).to_dict()).replace("'", '"')

    typed(page, "41.5")
    until_on_page(page, lambda: kept("41.5"), "what was typed", patience_s=30)
    first = at(page)
    (other,) = {*NAMES} - {first}
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
    page.goto(f"{behind.address}/?order={link}&step=photo")
    photo = samples_folder() / "flint" / "side.jpg"
    page.locator("input[type=file]").first.set_input_files(photo)
    until_on_page(page, lambda: len(orders.photos(key)) == 1, "the photo", patience_s=60)
    shown = page.locator("[data-testid=stMain] img").first
    expect(shown).to_have_js_property("complete", value=True, timeout=60_000)
    assert shown.evaluate("image => image.naturalWidth") > 0
    assert at(page) == first
