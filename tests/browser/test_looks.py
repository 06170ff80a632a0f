"""How pages look in the longer of the two languages, on the narrower of the two screens."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from tests.support.pages import Visitors, rests
from tests.support.places import APP

pytestmark = pytest.mark.browser

PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844},
    "has_touch": True,
    "is_mobile": True,
    "locale": "de",
}


@pytest.fixture
def visit(visitors: Visitors, serve: Callable[[Path], str]) -> Callable[[str], Page]:
    def opened(path: str) -> Page:
        page = visitors.come(**PHONE).new_page()
        page.goto(f"{serve(APP / 'main.py')}/{path}")
        page.locator("h1").first.wait_for(timeout=60_000)
        rests(page)
        return page

    return opened


def test_choices_that_take_two_lines_are_each_whole(visit: Callable[[str], Page]) -> None:
    page = visit("practise")
    group = page.locator('[data-testid="stButtonGroup"]').first
    group.locator("button").first.wait_for(timeout=60_000)  # evaluating waits for nothing
    edges = group.locator("button").evaluate_all(
        """all => all.map((one) => {
          const look = getComputedStyle(one);
          const sides = ['Left', 'Right', 'Top', 'Bottom'];
          return [one.getBoundingClientRect().top, sides.map((side) => [
            parseFloat(look[`border${side}Width`]), look[`border${side}Color`] ])];
        })"""
    )
    assert len({top for top, _ in edges}) == 2  # else nothing is tried here
    for _, sides in edges:
        assert all(width >= 1 for width, _ in sides)
        assert len({colour for _, colour in sides}) == 1


def test_a_headline_of_two_lines_stands_in_its_box(visit: Callable[[str], Page]) -> None:
    page = visit("?step=sample")
    box = page.locator(".stAlert").first
    box.wait_for(timeout=60_000)
    outer = box.bounding_box()
    inner = box.locator("h2").bounding_box()
    assert outer is not None
    assert inner is not None
    assert inner["height"] > 40  # two lines
    above, below = inner["y"] - outer["y"], outer["y"] + outer["height"] - inner["y"]
    assert below - inner["height"] == pytest.approx(above, abs=6)


def test_what_a_sample_shows_is_read_whole(visit: Callable[[str], Page]) -> None:
    page = visit("?step=sample")
    page.get_by_text("Zwei Ziffern einer Messung sind vertauscht.", exact=True).wait_for()
