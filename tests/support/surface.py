"""A visitor with the marking surface open in a real browser."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from playwright.sync_api import Locator, Page

from tests.support.pages import Visitors, rests, until_on_page
from tests.support.places import SUPPORT

PAGE = SUPPORT / "marking_page.py"

PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844},
    "has_touch": True,
    "is_mobile": True,
}

DESKTOP: dict[str, Any] = {"viewport": {"width": 1280, "height": 1000}}

MARKS = {
    "breastbone": (807.6, 773.9),
    "shoulder_top": (964.3, 553.0),
    "last_rib": (1122.5, 709.5),
    "tail_base": (1300.0, 596.6),
}
"""Roughly where they lie on the sample, px."""

MOST_OFF_PX = 0.5


class Surface:
    """A visitor with the page open, and the photo's place on the visitor's screen."""

    def __init__(self, visitors: Visitors, address: str, query: str = "", **context: Any) -> None:
        self.context = visitors.come(reduced_motion="reduce", **context)
        self.touch = bool(context.get("has_touch"))
        self.page: Page = self.context.new_page()
        self.faults: list[str] = []
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.pictures: list[str] = []
        self.page.on("request", lambda request: self._note(request.url, f"{address}/media/"))
        self.page.goto(f"{address}/?{query}")
        self.ready()

    def _note(self, url: str, media: str) -> None:
        if url.startswith(media):
            self.pictures.append(url)

    def ready(self) -> None:
        self.page.wait_for_selector(".stage[data-ready=yes]", timeout=30_000)
        self.size = self.page.locator(".photo image").first.evaluate(
            "image => [image.width.baseVal.value, image.height.baseVal.value]"
        )

    def rectangle(self) -> tuple[float, float, float]:
        """Left, top and width over W of the photo on the screen, CSS px, from its own outline."""
        box = self.page.locator(".photo image").first.evaluate(
            "i => { const b = i.getBoundingClientRect(); return [b.left, b.top, b.width]; }"
        )
        return box[0], box[1], box[2] / self.size[0]

    def screen(self, xy: tuple[float, float]) -> tuple[float, float]:
        left, top, scale = self.rectangle()
        return left + (xy[0] + 0.5) * scale, top + (xy[1] + 0.5) * scale

    def tap(self, xy: tuple[float, float]) -> None:
        at = self.screen(xy)
        self.page.touchscreen.tap(*at) if self.touch else self.page.mouse.click(*at)

    def drag(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        (x0, y0), (x1, y1) = self.screen(start), self.screen(end)
        if not self.touch:
            self.page.mouse.move(x0, y0)
            self.page.mouse.down()
            self.page.mouse.move(x1, y1, steps=8)
            self.page.mouse.up()
            return
        steps = [(x0 + (x1 - x0) * k / 8, y0 + (y1 - y0) * k / 8) for k in range(9)]
        self.fingers("touchStart", steps[:1])
        for at in steps[1:]:
            self.fingers("touchMove", [at])
        self.fingers("touchEnd", [])

    def fingers(self, kind: str, at: list[tuple[float, float]]) -> None:
        if not hasattr(self, "cdp"):
            self.cdp = self.context.new_cdp_session(self.page)
        points = [{"x": x, "y": y, "id": k} for k, (x, y) in enumerate(at)]
        self.cdp.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    def press(self, at: tuple[int, int], *slides: tuple[int, int]) -> None:
        """A finger goes down at a place on the screen, and slides to others, whole CSS px."""
        self.fingers("touchStart", [at])
        self.press_on(*slides)

    def lift(self) -> None:
        self.fingers("touchEnd", [])

    def in_lens(self) -> tuple[tuple[float, float], float]:
        """The point in the middle of the lens, px of the photo, and the lens's CSS px for each."""
        lens = self.page.locator(".lens")
        left, top, side, _ = map(float, (lens.get_attribute("viewBox") or "").split())
        across = lens.evaluate("lens => lens.clientWidth")
        return (left + side / 2, top + side / 2), across / side

    def drawn(self) -> None:
        """Wait until what was done last is on the screen."""
        self.page.evaluate(
            "new Promise(go => requestAnimationFrame(() => requestAnimationFrame(go)))"
        )

    def place_finely(self, xy: tuple[float, float]) -> None:
        """Press a mark's place, slide until the lens has it in its middle, lift: one touch, on
        whole CSS px, as somebody does who looks into the lens.
        """
        x, y = self.screen(xy)
        at = round(x), round(y)
        self.press(at)
        self.drawn()
        seen, scale = self.in_lens()
        to = round(at[0] + (xy[0] - seen[0]) * scale), round(at[1] + (xy[1] - seen[1]) * scale)
        # A browser takes a finger's first 15 px for a trembling tap and keeps them to itself.
        self.press_on((to[0] + 20, to[1]), to)
        self.lift()

    def press_on(self, *slides: tuple[int, int]) -> None:
        for to in slides:
            self.fingers("touchMove", [to])
        self.drawn()

    def pinch(self, middle: tuple[float, float], apart: tuple[float, float]) -> None:
        x, y = self.screen(middle)
        gaps = [apart[0] + (apart[1] - apart[0]) * k / 10 for k in range(11)]
        for k, gap in enumerate(gaps):
            self.fingers("touchMove" if k else "touchStart", [(x - gap, y), (x + gap, y)])
        self.fingers("touchEnd", [])

    def answer(self) -> dict:
        return json.loads(self.page.locator("#answer").inner_text())

    def wait(self, wanted: Callable[[dict], bool]) -> dict:
        """The answer, once the server has one as wanted."""
        self.until(lambda: wanted(self.answer()), "the answer that is wanted")
        return self.answer()

    def until(self, so: Callable[[], object], what: str) -> None:
        """Wait until it is so on the page."""
        until_on_page(self.page, so, what, patience_s=30)

    def run_again(self) -> None:
        """Let the server do what the page has sent so far, and whatever that leads to."""
        before = self.answer()["runs"]
        self.page.get_by_role("button", name="Run again").click()
        self.until(lambda: self.answer()["runs"] > before, "another run")
        rests(self.page)

    def expect_marks(
        self, wanted: dict[str, tuple[float, float]], off: float = MOST_OFF_PX
    ) -> None:
        """Wait until the server has these marks, and no others."""

        def so(answer: dict) -> bool:
            marks = answer["marks"]
            return marks.keys() == wanted.keys() and all(
                abs(marks[name][axis] - wanted[name][axis]) <= off
                for name in wanted
                for axis in (0, 1)
            )

        self.wait(so)

    def mark(self, name: str) -> Locator:
        return self.page.locator(f"[data-id='mark.{name}']")

    def shown_at(self, name: str) -> tuple[float, float]:
        """Where the mark's middle is drawn, px of the photo, read back from the screen."""
        x, y = (
            self.mark(name)
            .locator(".dot")
            .evaluate(
                "d => { const b = d.getBoundingClientRect();"
                " return [b.left + b.width / 2, b.top + b.height / 2]; }"
            )
        )
        left, top, scale = self.rectangle()
        return (x - left) / scale - 0.5, (y - top) / scale - 0.5

    def do(self, action: str) -> None:
        self.page.locator(f"[data-do={action}]").click()

    def key(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)
