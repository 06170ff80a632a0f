"""Marks that are proposed, as an owner meets them on a phone: hollow, asked about one by one, and
no marks before somebody says so.  What proposes here sees painted dots.
"""

from __future__ import annotations

import io
import json
import math
from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import expect

from photocheck.case.samples import samples_folder
from photocheck.orders.draft import Draft
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.server.access.passes import link_for
from photocheck.words import LANDMARKS
from tests.support.dots import with_dots, write_network
from tests.support.pages import Visitors, rests, until_on_page
from tests.support.served_alone import BY_HAND, served_alone
from tests.support.surface import DESKTOP, PHONE, Surface

pytestmark = pytest.mark.browser

SAMPLE: Final = samples_folder() / "flint"
TRUE: Final = {
    name: tuple(xy)
    for name, xy in json.loads((SAMPLE / "truth.json").read_text())["photos"][0][
        "landmarks_px"
    ].items()
    if name in LANDMARKS
}
Served = tuple[str, DatabaseStore]


@pytest.fixture(scope="module")
def seeing_dots(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("dots")
    write_network(folder)
    code = (
        f"import pathlib, photocheck.propose.network as n; n.FOLDER = pathlib.Path({str(folder)!r})"
    )
    with served_alone(tmp_path_factory.mktemp("alone"), code=code) as server:
        store = open_store(str(server.store))
        yield server.address, store
        store.close()


@pytest.fixture(scope="module")
def seeing_nothing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A server whose weights are not there."""
    with served_alone(tmp_path_factory.mktemp("alone"), code=BY_HAND) as server:
        store = open_store(str(server.store))
        yield server.address, store
        store.close()


def dotted_photo(names: tuple[str, ...] = LANDMARKS) -> bytes:
    with Image.open(SAMPLE / "side.jpg") as opened:
        exif = opened.getexif()
        rgb = np.array(opened.convert("RGB"))
    with_dots(rgb, {name: TRUE[name] for name in names}, 16.0)
    for name in set(LANDMARKS) - set(names):  # seen in three places, it is sure of none
        for aside in (-200.0, -80.0, 40.0):  # large enough to fill cells, so that none wins
            with_dots(rgb, {name: (TRUE[name][0] + aside, TRUE[name][1] + 60.0)}, 45.0)
    held = io.BytesIO()
    Image.fromarray(rgb).save(held, "JPEG", quality=95, exif=exif)
    return held.getvalue()


def at_marks(
    served: Served, visitors: Visitors, names: tuple[str, ...] = LANDMARKS, **kind: Any
) -> tuple[str, Surface]:
    return at_marks_of(served, visitors, dotted_photo(names), **kind)


def at_marks_of(
    served: Served, visitors: Visitors, photo: bytes, **kind: Any
) -> tuple[str, Surface]:
    address, store = served
    told = json.loads((SAMPLE / "case.json").read_text(encoding="utf-8"))
    key = store.open()
    kept_as = store.keep_photo(key, photo)
    told["photos"] = [{**told["photos"][0], "file": kept_as, "markings": []}]
    store.save_draft(key, Draft.from_dict(told))
    link = link_for(store, key, by="Robin")
    phone = Surface(visitors, address, f"order={link}&step=marks", **kind)
    rests(phone.page)
    return key, phone


def marking(store: DatabaseStore, key: str) -> dict[str, Any]:
    (photo,) = store.order(key).draft.to_dict()["photos"]
    return photo["markings"][0] if photo["markings"] else {"marks": {}}


def wait_for(phone: Surface, store: DatabaseStore, key: str, number: int) -> None:
    until_on_page(
        phone.page, lambda: len(marking(store, key)["marks"]) == number, "kept", patience_s=30
    )


@pytest.mark.parametrize("kind", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_five_taps_where_all_are_right(
    seeing_dots: Served, visitors: Visitors, kind: dict[str, Any]
) -> None:
    key, phone = at_marks(seeing_dots, visitors, **kind)
    page, store = phone.page, seeing_dots[1]
    yes = page.get_by_role("button", name="Yes, here", exact=True)
    hollow = page.locator(".proposed")
    for number, name in enumerate(LANDMARKS):
        expect(page.get_by_text("Is it here?", exact=True)).to_be_visible()
        expect(page.locator(".proposed.asked")).to_have_attribute("data-proposed", name)
        expect(hollow).to_have_count(4 - number)
        if phone.touch:  # a tap each, all in sight without scrolling
            expect(yes).to_be_in_viewport(ratio=1.0)
        assert len(marking(store, key)["marks"]) == number
        yes.click()
        wait_for(phone, store, key, number + 1)
    expect(yes).to_be_hidden()
    expect(hollow).to_have_count(0)
    told = marking(store, key)
    assert set(told["confirmed"]) == set(LANDMARKS)
    for name, at in TRUE.items():
        assert math.dist(told["marks"][name], at) < 15.0
    page.get_by_role("button", name="See the result", exact=True).click()
    page.wait_for_url("**step=result**")
    assert not phone.faults


def test_five_taps_by_the_shipped_weights(
    tmp_path_factory: pytest.TempPathFactory, visitors: Visitors
) -> None:
    with served_alone(tmp_path_factory.mktemp("shipped")) as server:
        store = open_store(str(server.store))
        photo = (SAMPLE / "side.jpg").read_bytes()
        key, phone = at_marks_of((server.address, store), visitors, photo, **PHONE)
        for number in range(1, 5):
            phone.page.get_by_role("button", name="Yes, here", exact=True).click()
            wait_for(phone, store, key, number)
        phone.page.get_by_role("button", name="See the result", exact=True).click()
        phone.page.wait_for_url("**step=result**")
        told = marking(store, key)
        assert set(told["confirmed"]) == set(LANDMARKS)
        trunk = math.dist(TRUE["breastbone"], TRUE["tail_base"])
        for name, at in TRUE.items():
            assert math.dist(told["marks"][name], at) < 0.12 * trunk
        store.close()


def test_what_nobody_confirmed_is_no_mark(seeing_dots: Served, visitors: Visitors) -> None:
    key, phone = at_marks(seeing_dots, visitors, **PHONE)
    page, store = phone.page, seeing_dots[1]
    expect(page.locator(".proposed")).to_have_count(4)
    page.get_by_role("button", name="Yes, here", exact=True).click()
    wait_for(phone, store, key, 1)
    page.get_by_role("button", name="See the result", exact=True).click()
    rests(page)
    assert list(marking(store, key)["marks"]) == ["breastbone"]
    page.goto(page.url.replace("step=result", "step=marks"))
    phone.ready()
    rests(page)
    # what is kept is a mark, the others are asked about again
    expect(page.locator(".proposed.asked")).to_have_attribute("data-proposed", "shoulder_top")
    expect(page.locator(".proposed")).to_have_count(3)
    assert marking(store, key)["confirmed"] == ["breastbone"]


def test_the_view_begins_at_the_mark_with_the_dog_about_it(
    seeing_dots: Served, visitors: Visitors
) -> None:
    _, phone = at_marks(seeing_dots, visitors, **PHONE)
    box = phone.page.locator(".stage").bounding_box()
    assert box is not None
    x, y = phone.screen(TRUE["breastbone"])
    assert abs(x - box["x"] - box["width"] / 2) < 20
    assert abs(y - box["y"] - box["height"] / 2) < 20
    _, _, scale = phone.rectangle()
    assert scale > 1.3 * box["width"] / 2000
    # and large below the photo
    close = phone.page.locator(".close").get_attribute("viewBox")
    assert close is not None
    left, top, side, _ = map(float, close.split())
    assert math.dist((left + side / 2, top + side / 2), TRUE["breastbone"]) < 15.0
    assert side < 200


@pytest.mark.parametrize("kind", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_a_proposal_is_dragged_where_it_belongs(
    seeing_dots: Served, visitors: Visitors, kind: dict[str, Any]
) -> None:
    key, phone = at_marks(seeing_dots, visitors, **kind)
    ring = phone.page.locator(".proposed.asked .stroke").bounding_box()
    assert ring is not None
    at = round(ring["x"] + ring["width"] / 2), round(ring["y"] + ring["height"] / 2)
    if phone.touch:
        phone.press(at, (at[0] + 20, at[1] + 10), (at[0] + 40, at[1] + 20))
        phone.lift()
    else:
        phone.page.mouse.move(*at)
        phone.page.mouse.down()
        phone.page.mouse.move(at[0] + 40, at[1] + 20, steps=4)
        phone.page.mouse.up()
    wait_for(phone, seeing_dots[1], key, 1)
    told = marking(seeing_dots[1], key)
    assert "confirmed" not in told
    x, y = told["marks"]["breastbone"]
    assert x > TRUE["breastbone"][0] + 2
    assert y > TRUE["breastbone"][1] + 1


def test_a_press_elsewhere_places_it_there(seeing_dots: Served, visitors: Visitors) -> None:
    key, phone = at_marks(seeing_dots, visitors, **PHONE)
    elsewhere = (TRUE["breastbone"][0] + 60.0, TRUE["breastbone"][1] + 40.0)
    phone.place_finely(elsewhere)
    wait_for(phone, seeing_dots[1], key, 1)
    told = marking(seeing_dots[1], key)
    assert "confirmed" not in told
    assert told["marks"]["breastbone"] == pytest.approx(elsewhere, abs=1.0)
    expect(phone.page.locator(".proposed.asked")).to_have_attribute("data-proposed", "shoulder_top")


def test_by_keyboard_it_is_confirmed_or_moved(seeing_dots: Served, visitors: Visitors) -> None:
    key, phone = at_marks(seeing_dots, visitors, **DESKTOP)
    page, store = phone.page, seeing_dots[1]
    yes = page.get_by_role("button", name="Yes, here", exact=True)
    yes.focus()
    page.keyboard.press("Enter")
    wait_for(phone, store, key, 1)
    expect(page.locator(".said")).to_contain_text("Is it here?")
    page.locator(".overlay").focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    wait_for(phone, store, key, 2)
    assert marking(store, key)["confirmed"] == ["breastbone"]


def test_low_confidence_shows_none(seeing_dots: Served, visitors: Visitors) -> None:
    """The others are placed by hand, as ever."""
    key, phone = at_marks(seeing_dots, visitors, ("breastbone", "shoulder_top"), **PHONE)
    page = phone.page
    for number in (1, 2):
        page.get_by_role("button", name="Yes, here", exact=True).click()
        wait_for(phone, seeing_dots[1], key, number)
    expect(page.locator(".proposed")).to_have_count(0)
    expect(page.get_by_text("Is it here?", exact=True)).to_have_count(0)
    phone.place_finely(TRUE["last_rib"])
    wait_for(phone, seeing_dots[1], key, 3)
    assert set(marking(seeing_dots[1], key)["confirmed"]) == {"breastbone", "shoulder_top"}


def test_undo_takes_a_confirmation_back(seeing_dots: Served, visitors: Visitors) -> None:
    key, phone = at_marks(seeing_dots, visitors, **PHONE)
    page = phone.page
    page.get_by_role("button", name="Yes, here", exact=True).click()
    wait_for(phone, seeing_dots[1], key, 1)
    page.get_by_role("button", name="Undo", exact=True).click()
    wait_for(phone, seeing_dots[1], key, 0)
    expect(page.locator(".proposed")).to_have_count(4)


def test_without_weights_nothing_of_it_is_shown(seeing_nothing: Served, visitors: Visitors) -> None:
    key, phone = at_marks(seeing_nothing, visitors, **PHONE)
    page = phone.page
    expect(page.locator(".proposed")).to_have_count(0)
    expect(page.get_by_text("Is it here?")).to_have_count(0)
    expect(page.get_by_role("button", name="Yes, here")).to_have_count(0)
    phone.place_finely(TRUE["breastbone"])
    wait_for(phone, seeing_nothing[1], key, 1)
    assert "confirmed" not in marking(seeing_nothing[1], key)
