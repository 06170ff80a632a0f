"""The learner's way in a real browser, by touch on a phone and by mouse at a desk.

Where a tap must land is worked out from the photo's rectangle on the screen: the photo of W px
fills it edge to edge, and pixel centres are whole numbers.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from photocheck.practice.dogs import PracticeDog, practice_dogs
from photocheck.words import LANDMARKS
from tests.support.pages import Visitors, rests
from tests.support.places import APP

PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844},
    "has_touch": True,
    "is_mobile": True,
}
DESKTOP: dict[str, Any] = {"viewport": {"width": 1280, "height": 1000}}

pytestmark = pytest.mark.browser

DOG = practice_dogs()[0]


@pytest.fixture
def visit(visitors: Visitors, serve: Callable[[Path], str]) -> Iterator[Callable[..., Page]]:
    """Opens the page for a visitor; nothing may fail in the visitor's browser meanwhile."""
    faults = []

    def open_page(**kind: Any) -> Page:
        page = visitors.come(**kind).new_page()
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.set_default_timeout(30_000)
        page.goto(f"{serve(APP / 'main.py')}/practise")
        page.wait_for_selector(".stage[data-ready=yes]", timeout=60_000)
        return page

    yield open_page
    visitors.leave()
    assert not faults


def place(page: Page, dog: PracticeDog, marks: Mapping[str, tuple[float, float]]) -> None:
    """Touch or click every mark in turn."""
    touch = page.evaluate("navigator.maxTouchPoints > 0")
    for done, name in enumerate(LANDMARKS):
        picture = page.locator(".photo image").first
        picture.scroll_into_view_if_needed()
        left, top, width = picture.evaluate(
            "i => { const b = i.getBoundingClientRect(); return [b.left, b.top, b.width]; }"
        )
        scale = width / dog.size_px[0]
        x, y = (value + 0.5 for value in marks[name])
        at = (left + x * scale, top + y * scale)
        page.touchscreen.tap(*at) if touch else page.mouse.click(*at)
        expect(page.get_by_text(f"{done + 1} of 4 placed")).to_be_visible()


def show_me(page: Page) -> None:
    page.get_by_role("button", name="Show me").click()
    expect(page.get_by_text("Mark by mark")).to_be_visible(timeout=30_000)
    page.wait_for_selector(".stage[data-ready=yes]", timeout=30_000)


def serious(page: Page, axe: str) -> list[str]:
    """What axe-core finds that is serious or critical."""
    # What an earlier run showed is faded out before it goes.
    page.wait_for_function("!document.querySelector('[data-stale=true]')")
    page.evaluate(axe)
    found = page.evaluate("axe.run({ resultTypes: ['violations'] })")["violations"]
    return [
        f"{each['id']}: {each['nodes'][0]['html'][:200]}"
        for each in found
        if each["impact"] in ("serious", "critical")
    ]


def moved(dog: PracticeDog, landmark: str, forward: float, up: float) -> tuple[float, float]:
    x, y, w = dog.to_pixels[landmark] @ np.array([forward, up, 1.0])
    return x / w, y / w


def test_by_touch_on_a_phone(visit: Callable[..., Page], axe: str) -> None:
    page = visit(**PHONE)
    assert serious(page, axe) == []
    place(page, DOG, {**DOG.marks, "last_rib": moved(DOG, "last_rib", -40.0, 0.0)})
    show_me(page)
    told = page.get_by_text(re.compile(r"Last rib: \d\.\d cm too far back")).first.inner_text()
    # A finger's tap is placed to about half a screen pixel, here 1.3 mm on the dog.
    off = re.search(r"(\d\.\d) cm", told)
    assert off is not None
    assert float(off[1]) == pytest.approx(4.0, abs=0.3)
    assert page.locator(".truth").count() == 4
    # the answer begins at the top, and nothing is wider than the phone
    verdict = page.get_by_text(re.compile("Nearly there|Not yet")).first
    expect(verdict).to_be_in_viewport()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert serious(page, axe) == []
    page.get_by_role("button", name="Next dog").click()
    expect(page.get_by_text("0 of 4 placed")).to_be_visible(timeout=30_000)
    expect(page.get_by_text("1 of 10 dogs tried").first).to_be_visible()


def test_attempts_outlive_a_look_at_another_page(visit: Callable[..., Page], axe: str) -> None:
    page = visit(**DESKTOP)
    place(page, DOG, DOG.marks)
    show_me(page)
    expect(page.get_by_text("Marks to rely on")).to_be_visible()
    page.get_by_role("link", name="Print the marker sheet").click()
    expect(page.get_by_text("Mark by mark")).to_be_hidden()
    page.get_by_role("link", name="Practise the marks").click()
    expect(page.get_by_text("Mark by mark")).to_be_visible(timeout=30_000)
    page.get_by_role("radio", name="Your pattern").or_(
        page.get_by_role("button", name="Your pattern")
    ).click()
    expect(page.get_by_text("Too early to tell where you lean")).to_be_visible(timeout=30_000)
    expect(page.get_by_text("Mark by mark")).to_have_count(0)
    assert serious(page, axe) == []


def test_marks_outlive_a_look_at_another_page(visit: Callable[..., Page]) -> None:
    page = visit(**DESKTOP)
    place(page, DOG, DOG.marks)
    # the server knows of them before the page is left
    expect(page.get_by_text("4 of 4 placed")).to_be_visible()
    rests(page)
    page.get_by_role("link", name="Print the marker sheet").click()
    expect(page.locator(".stage")).to_have_count(0)
    page.get_by_role("link", name="Practise the marks").click()
    expect(page.get_by_text("4 of 4 placed")).to_be_visible(timeout=30_000)


def test_two_learners_do_not_see_each_other(visit: Callable[..., Page]) -> None:
    one, other = visit(**DESKTOP), visit(**PHONE)
    place(one, DOG, DOG.marks)
    show_me(one)
    other.reload()
    other.wait_for_selector(".stage[data-ready=yes]", timeout=60_000)
    expect(other.get_by_text("0 of 4 placed")).to_be_visible()
    expect(other.get_by_text("0 of 10 dogs tried").first).to_be_visible()


def test_ones_own_photo_twice_on_a_phone(visit: Callable[..., Page], axe: str) -> None:
    page = visit(**PHONE)
    page.get_by_text("Your own photo").click()
    expect(page.get_by_text("Take or choose a photo from the side")).to_be_visible()
    assert serious(page, axe) == []
    page.locator("input[type=file]").set_input_files(DOG.photo)
    page.wait_for_selector(".stage[data-ready=yes]", timeout=60_000)
    place(page, DOG, DOG.marks)
    page.get_by_role("button", name="Mark it once more").click()
    expect(page.get_by_text("Second time")).to_be_visible(timeout=30_000)
    expect(page.get_by_text("0 of 4 placed")).to_be_visible(timeout=30_000)
    place(page, DOG, {**DOG.marks, "tail_base": moved(DOG, "tail_base", 0.0, 20.0)})
    page.get_by_role("button", name="Compare the two").click()
    told = page.get_by_text(re.compile(r"Tail base: the second .*higher")).inner_text(
        timeout=30_000
    )
    higher = re.search(r"(\d\.\d) cm higher", told)
    assert higher is not None
    assert float(higher[1]) == pytest.approx(2.0, abs=0.4)
    page.wait_for_selector(".stage[data-ready=yes]", timeout=30_000)
    assert serious(page, axe) == []
