"""A day at the desk as `photocheck serve` has it, in a real browser."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import expect

from photocheck.case.samples import samples_folder
from photocheck.orders.intake.bring_in import bring_in
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.server.run import run_check
from tests.support.pages import Visitors, rests
from tests.support.served_alone import Alone, served_alone

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Alone]:
    with served_alone(tmp_path_factory.mktemp("day"), options=["--open-desk"]) as app:
        yield app


def checked(store: DatabaseStore, name: str) -> str:
    """A sample as its owner sends it; the order's key."""
    folder = samples_folder() / name
    photos = [(p.name, p.read_bytes()) for p in folder.glob("*.jpg")]
    key = bring_in(store, ("case.json", (folder / "case.json").read_bytes()), photos).key
    run_check(store, key, by="owner")
    return key


def test_a_day_goes_on_by_keys_and_a_slip_is_taken_back(served: Alone, visitors: Visitors) -> None:
    store = open_store(str(served.store))
    key, _ = (checked(store, name) for name in ("flint", "sorrel"))
    page = visitors.come(viewport={"width": 1366, "height": 768}).new_page()
    page.goto(f"{served.address}/desk?language=en&by=Ines")
    expect(page.locator(".st-key-desk h1")).to_be_visible(timeout=30_000)
    rests(page)
    page.keyboard.press("o")
    expect(page.locator("table.spans")).to_be_visible()
    rests(page)
    assert key in page.url
    page.keyboard.press("w")
    message = page.get_by_label("Message to the owner")
    expect(message).to_have_value(re.compile("rear length"))
    rests(page)
    # What is typed is no key.
    message.press("End")
    message.press_sequentially(" ns")
    message.press("Tab")
    rests(page)
    assert store.order(key).decisions == ()
    page.keyboard.press("s")
    expect(page.locator(".arrived")).to_contain_text("Flint", timeout=20_000)
    rests(page)
    assert store.order(key).state == "asked_again"
    assert key not in page.url
    page.get_by_role("button", name="Take it back").click()
    rests(page)
    assert store.order(key).state == "waiting"
    page.keyboard.press("?")
    expect(page.get_by_text("record the decision")).to_be_visible()
    page.get_by_text("Keys work").click()
    rests(page)
    page.keyboard.press("Escape")
    page.keyboard.press("l")
    rests(page)
    assert key in page.url
