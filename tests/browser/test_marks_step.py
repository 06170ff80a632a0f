"""The step of the marks on a phone, as `photocheck serve` shows it: one touch a mark, what is wrong
said at once, the way on in sight, and practice with a way back.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from typing import Any, Final

import pytest
from playwright.sync_api import Page, expect

from photocheck.case.samples import samples_folder
from photocheck.orders.draft import Draft
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.server.access.passes import link_for
from photocheck.words import LANDMARKS
from tests.support.pages import Visitors, rests, until_on_page
from tests.support.served_alone import BY_HAND, served_alone
from tests.support.surface import PHONE, Surface

pytestmark = pytest.mark.browser

LANDSCAPE: Final = {**PHONE, "viewport": {"width": 844, "height": 390}}
SIDE: Final = samples_folder() / "flint" / "side.jpg"
SEEN: Final = json.loads(SIDE.with_name("truth.json").read_text(encoding="utf-8"))["photos"][0]
TRUE: Final = {name: tuple(SEEN["landmarks_px"][name]) for name in LANDMARKS}
PX_PER_MM: Final = math.dist(TRUE["breastbone"], TRUE["tail_base"]) / math.dist(
    SEEN["landmarks_mm"]["breastbone"], SEEN["landmarks_mm"]["tail_base"]
)


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, DatabaseStore]]:
    with served_alone(tmp_path_factory.mktemp("alone"), code=BY_HAND) as server:
        store = open_store(str(server.store))
        yield server.address, store
        store.close()


def unmarked(store: DatabaseStore) -> tuple[str, str]:
    """An order with readings and a photo, and no marks yet: its key and a link to it."""
    told = json.loads(SIDE.with_name("case.json").read_text(encoding="utf-8"))
    key = store.open()
    kept_as = store.keep_photo(key, SIDE.read_bytes())
    told["photos"] = [{**told["photos"][0], "file": kept_as, "markings": []}]
    store.save_draft(key, Draft.from_dict(told))
    return key, link_for(store, key, by="Robin")


def at_marks(desk: tuple[str, DatabaseStore], visitors: Visitors, **kind: Any) -> Surface:
    address, store = desk
    _, link = unmarked(store)
    phone = Surface(visitors, address, f"order={link}&step=marks", **kind)
    rests(phone.page)
    return phone


def kept(store: DatabaseStore, key: str) -> dict[str, Any]:
    (photo,) = store.order(key).draft.to_dict()["photos"]
    return photo["markings"][0]["marks"] if photo["markings"] else {}


def wait_for(page: Page, store: DatabaseStore, key: str, number: int) -> None:
    until_on_page(page, lambda: len(kept(store, key)) == number, "marks kept", patience_s=30)


@pytest.mark.parametrize("kind", [PHONE, LANDSCAPE], ids=["upright", "across"])
def test_four_touches_and_the_way_on_is_in_sight(
    desk: tuple[str, DatabaseStore], visitors: Visitors, kind: dict[str, Any]
) -> None:
    address, store = desk
    key, link = unmarked(store)
    phone = Surface(visitors, address, f"order={link}&step=marks", **kind)
    rests(phone.page)
    for number, xy in enumerate(TRUE.values(), start=1):
        phone.place_finely(xy)
        wait_for(phone.page, store, key, number)
    for mark, xy in kept(store, key).items():
        assert math.dist(xy, TRUE[mark]) / PX_PER_MM < 2.0, mark
    on = phone.page.get_by_role("button", name="See the result")
    expect(on).to_be_in_viewport(ratio=1)
    stage = phone.page.locator(".stage").bounding_box()
    bar = on.bounding_box()
    assert stage is not None
    assert bar is not None
    # hint, photo and the way on: all seen, and none over another
    expect(phone.page.locator(".task")).to_be_in_viewport(ratio=0.99)
    assert stage["y"] + stage["height"] <= bar["y"]
    on.click()
    expect(phone.page.locator(".stage")).to_have_count(0, timeout=30_000)


def test_exchanged_marks_are_turned_round_in_the_order(
    desk: tuple[str, DatabaseStore], visitors: Visitors
) -> None:
    address, store = desk
    key, link = unmarked(store)
    phone = Surface(visitors, address, f"order={link}&step=marks", **PHONE)
    rests(phone.page)
    wrong = {**TRUE, "breastbone": TRUE["tail_base"], "tail_base": TRUE["breastbone"]}
    for number, xy in enumerate(wrong.values(), start=1):
        phone.do("zoom_fit") if number > 1 else None
        phone.place_finely(xy)
    told = phone.page.get_by_role("alert").filter(has_text="seem exchanged")
    expect(told).to_be_in_viewport(timeout=30_000)
    expect(phone.page.get_by_text("All marks are placed.")).to_have_count(0)
    phone.page.get_by_role("button", name="Turn them round").click()

    def right() -> bool:
        marks = kept(store, key)
        return all(math.dist(marks[name], xy) / PX_PER_MM < 2.0 for name, xy in TRUE.items())

    until_on_page(phone.page, right, "the marks turned round", patience_s=30)
    expect(told).to_be_hidden()
    expect(phone.page.get_by_text("All marks are placed.")).to_have_count(1)


def practise_from(phone: Surface) -> Page:
    phone.page.get_by_role("link", name="One minute of practice").click()
    expect(phone.page.get_by_text("Place the four marks on this dog")).to_be_visible(timeout=30_000)
    return phone.page


def test_practice_is_offered_and_leads_back_to_the_very_order(
    desk: tuple[str, DatabaseStore], visitors: Visitors
) -> None:
    phone = at_marks(desk, visitors, **PHONE)
    phone.place_finely(TRUE["breastbone"])
    expect(phone.page.get_by_text("1 of 4 placed")).to_be_visible()
    rests(phone.page)
    page = practise_from(phone)
    page.reload()
    page.get_by_role("link", name="Back to your dog's photo").click()
    expect(page.get_by_text("1 of 4 placed")).to_be_visible(timeout=30_000)
    assert page.url.split("?")[0].rstrip("/") == desk[0]
    assert "step=marks" in page.url


def test_a_learners_attempts_outlast_a_reload(
    desk: tuple[str, DatabaseStore], visitors: Visitors
) -> None:
    page = visitors.come(reduced_motion="reduce", **PHONE).new_page()
    page.goto(f"{desk[0]}/practise")
    page.wait_for_selector(".stage[data-ready=yes]", timeout=60_000)
    box = page.locator(".stage").bounding_box()
    assert box is not None
    for x, y in ((0.4, 0.5), (0.45, 0.4), (0.55, 0.5), (0.6, 0.42)):
        page.locator("[data-do=zoom_fit]").evaluate("button => button.click()")
        at = page.locator(".stage").bounding_box()
        assert at is not None
        page.touchscreen.tap(at["x"] + x * at["width"], at["y"] + y * at["height"])
    expect(page.get_by_text("4 of 4 placed")).to_be_visible()
    rests(page)
    page.get_by_role("button", name="Show me").click()
    expect(page.get_by_text("1 of 10 dogs tried").first).to_be_visible(timeout=30_000)
    rests(page)
    page.reload()
    expect(page.get_by_text("1 of 10 dogs tried").first).to_be_visible(timeout=30_000)
    expect(page.get_by_text("4 of 4 placed")).to_be_visible(timeout=30_000)
