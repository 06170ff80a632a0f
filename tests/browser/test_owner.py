"""The owner's way in a real browser, on a phone's screen and at a desktop, with `photocheck serve`.

What the answer is held against is the command line's, for the same order.
"""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pytest
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, FileChooser, Locator, Page, expect

from photocheck.case.samples import samples_folder
from photocheck.orders.draft import Draft
from photocheck.orders.intake.bring_in import bring_in
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.report.file import report_to_dict
from photocheck.server.access.passes import link_for, order_of
from tests.support.command_line import by_command_line, line_of
from tests.support.pages import Visitors, free_port, rests, until_on_page
from tests.support.served_alone import BY_HAND
from tests.support.tagged_photo import order_with_tags, tagged
from tests.support.typed_takes import only_typed

pytestmark = pytest.mark.browser

PHONE: dict[str, Any] = {
    "viewport": {"width": 390, "height": 844},
    "device_scale_factor": 3,
    "has_touch": True,
    "is_mobile": True,
    "locale": "en-GB",
}
DESKTOP: dict[str, Any] = {"viewport": {"width": 1280, "height": 900}, "locale": "en-GB"}


@dataclass(frozen=True)
class Served:
    """The app as `photocheck serve` runs it, and its store."""

    address: str
    store: DatabaseStore


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    file = tmp_path_factory.mktemp("store") / "orders.sqlite3"
    port = free_port()
    server = subprocess.Popen(
        [
            sys.executable,
            "-c",
            f"{BY_HAND}; import sys; sys.argv[0] = 'photocheck'; "
            "from photocheck.cli.main import main; main()",
            "serve",
            "--port",
            str(port),
            "--store",
            file,
        ],
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    said = line_of(server)
    assert f"http://127.0.0.1:{port}" in said
    store = open_store(str(file))
    yield Served(f"http://127.0.0.1:{port}", store)
    store.close()
    # Ctrl-C reaches every process of the terminal.
    os.killpg(server.pid, signal.SIGINT)
    assert server.wait(15) == 0


@pytest.fixture(params=[PHONE, DESKTOP], ids=["phone", "desktop"])
def visitor(request: pytest.FixtureRequest, visitors: Visitors) -> BrowserContext:
    return visitors.come(**request.param)


def opened(visitor: BrowserContext, address: str) -> Page:
    page = visitor.new_page()
    page.goto(address)
    return page


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def place(page: Page, said: str) -> Locator:
    """The card with a drawing of where the reference stood."""
    return page.locator("label").filter(has_text=said)


def key_in(served: Served, page: Page) -> str:
    page.wait_for_url(re.compile("order="))
    found = re.search(r"order=([\w.-]+)", page.url)
    assert found is not None
    return order_of(served.store, found[1])


def tap(page: Page, xy: list[float], size: tuple[int, int]) -> None:
    """On the photo: it fills its picture edge to edge, pixel centres at whole numbers."""
    picture = page.locator(".photo image").first
    picture.scroll_into_view_if_needed()
    box = picture.bounding_box()
    assert box is not None
    x = box["x"] + (xy[0] + 0.5) / size[0] * box["width"]
    y = box["y"] + (xy[1] + 0.5) / size[1] * box["height"]
    touch = page.evaluate("navigator.maxTouchPoints > 0")
    page.touchscreen.tap(x, y) if touch else page.mouse.click(x, y)


def wait_for_marks(served: Served, page: Page, key: str, names: set[str]) -> dict[str, Any]:
    def kept() -> dict[str, Any]:
        (photo,) = served.store.order(key).draft.to_dict()["photos"]
        return photo["markings"][0]["marks"] if photo["markings"] else {}

    until_on_page(page, lambda: set(kept()) == names, f"{sorted(names)} kept", patience_s=30)
    return kept()


def without_paths(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: without_paths(item) for name, item in value.items() if name != "path"}
    return [without_paths(item) for item in value] if isinstance(value, list) else value


def sample(name: str) -> tuple[dict[str, Any], Path]:
    folder = samples_folder() / name
    return json.loads((folder / "case.json").read_text(encoding="utf-8")), folder / "side.jpg"


@dataclass
class Hand:
    """One hand at the page: every touch or click is counted, and how far it had to scroll."""

    page: Page
    taps: int = 0
    scrolled: float = 0.0

    def tap(self, what: Locator) -> None:
        expect(what).to_be_visible(timeout=30_000)
        before = self._top()
        what.scroll_into_view_if_needed()
        self.scrolled += abs(self._top() - before)
        what.click()
        self.taps += 1

    def _top(self) -> float:
        told = self.page.evaluate(
            "[document.querySelector('[data-testid=stMain]')?.scrollTop ?? scrollY, innerHeight]"
        )
        return float(told[0]) / float(told[1])

    def next(self, heading: str) -> None:
        button = self.page.get_by_role("button", name="Next", exact=True)
        self.in_view(button)
        self.tap(button)
        expect(self.page.get_by_role("heading", name=heading, exact=True)).to_be_visible()

    def in_view(self, what: Locator) -> None:
        """What leads on is in reach of the thumb, without scrolling."""
        expect(what).to_be_in_viewport(ratio=1.0, timeout=30_000)

    def mark(self, name: str, xy: list[float]) -> None:
        tap(self.page, xy, (2000, 1500))
        self.taps += 1


TITLES = ("Half neck", "Front length", "Rear length", "Full length")
WANTED = ["breastbone", "shoulder_top", "last_rib", "tail_base"]


def type_quickly(hand: Hand, readings: dict[str, str]) -> None:
    """Four numbers, each on a screen of its own."""
    for title, after in zip(TITLES, (*TITLES[1:], "A photo from the side"), strict=True):
        field = hand.page.get_by_label(f"{title} in centimetres")
        expect(field).to_have_attribute("inputmode", "decimal")
        field.fill(readings[title.lower().replace(" ", "_")])
        # Straight from the field to the button, as people do.
        hand.next(after)


def quickly_to_the_marks(served: Served, hand: Hand, readings: dict[str, str], photo: Path) -> str:
    """From the first page: the numbers, the photo, and where the sheet in it stood."""
    page = hand.page
    hand.tap(page.get_by_role("link", name=re.compile("^Quick")))
    key = key_in(served, page)
    type_quickly(hand, readings)
    page.locator("input[type=file]").set_input_files(photo)
    hand.taps += 1
    expect(page.get_by_text("Found, where it is outlined")).to_be_visible(timeout=30_000)
    hand.tap(place(page, "in line with it"))
    return key


def test_the_quick_way_is_twelve_taps_and_four_numbers(
    served: Served, visitors: Visitors, tmp_path: Path
) -> None:
    """From the first page to the result, by touch, on a phone; a marker sheet is in the photo."""
    data, photo = sample("flint")
    hand = Hand(opened(visitors.come(**PHONE), served.address))
    page, key = hand.page, quickly_to_the_marks(served, hand, data["readings"], photo)
    expect(page.get_by_role("heading", name="Mark your dog")).to_be_visible()
    page.wait_for_selector(".stage[data-ready=yes]", timeout=30_000)
    marks = data["photos"][0]["markings"][0]["marks"]
    for number, name in enumerate(WANTED, start=1):
        hand.mark(name, marks[name])
        wait_for_marks(served, page, key, set(WANTED[:number]))
    on = page.get_by_role("button", name="See the result", exact=True)
    hand.in_view(on)
    hand.tap(on)
    said = by_command_line(served.store, key, tmp_path)
    expect(page.get_by_role("heading", name=said["headline"])).to_be_visible(timeout=30_000)
    assert hand.taps <= 12
    assert hand.scrolled <= 1.0
    told = served.store.order(key).draft.to_dict()
    assert only_typed(told)["readings"] == data["readings"]
    assert told["photos"][0]["reference"] == {"kind": "marker_sheet", "place": "middle"}


def test_a_press_that_moves_no_focus_loses_nothing_typed(
    served: Served, visitors: Visitors
) -> None:
    """As by an assistive technology, or where a browser leaves the focus in the field."""
    page = opened(visitors.come(**PHONE), f"{served.address}/?begin=quick")
    key = key_in(served, page)
    said = ("36", "52.5", "27", "79.5")
    for title, after, text in zip(
        TITLES, (*TITLES[1:], "A photo from the side"), said, strict=True
    ):
        page.get_by_label(f"{title} in centimetres").fill(text)
        page.get_by_role("button", name="Next", exact=True).evaluate("button => button.click()")
        expect(page.get_by_role("heading", name=after, exact=True)).to_be_visible(timeout=30_000)
    told = served.store.order(key).draft.to_dict()["readings"]
    assert tuple(takes[0]["typed"] for takes in told.values()) == said


def test_the_way_with_tags_is_eight_taps_and_no_mark_by_hand(
    served: Served, visitors: Visitors, tmp_path: Path
) -> None:
    """The same with tags pasted onto the dog: they place the marks, and one yes is for all."""
    data, _ = sample("flint")
    content, tips = tagged("flint")
    photo = tmp_path / "tagged.jpg"
    photo.write_bytes(content)
    hand = Hand(opened(visitors.come(**PHONE), served.address))
    page, key = hand.page, quickly_to_the_marks(served, hand, data["readings"], photo)
    yes = page.get_by_role("button", name="All are right")
    expect(yes).to_be_visible(timeout=30_000)
    assert not page.locator(".stage").count()
    hand.in_view(yes)
    hand.tap(yes)
    page.wait_for_url(re.compile("step=result"))
    assert hand.taps <= 8
    assert hand.scrolled <= 1.0
    (told,) = served.store.order(key).draft.to_dict()["photos"]
    (marking,) = told["markings"]
    assert marking["by"] == "tags"
    for name, tip in tips.items():
        assert marking["marks"][name] == pytest.approx(tip, abs=1.5)
    said = by_command_line(served.store, key, tmp_path)
    expect(page.get_by_role("heading", name=said["headline"])).to_be_visible(timeout=30_000)


def test_the_whole_way_ends_in_the_command_lines_answer(
    served: Served, visitor: BrowserContext, tmp_path: Path
) -> None:
    data, photo = sample("flint")
    hand = Hand(opened(visitor, served.address))
    page = hand.page
    hand.tap(page.get_by_role("link", name=re.compile("^Quick")))
    key = key_in(served, page)
    type_quickly(hand, data["readings"])
    page.locator("input[type=file]").set_input_files(photo)
    expect(page.get_by_text("Found, where it is outlined")).to_be_visible(timeout=30_000)
    # Next waits for what only the owner knows.
    press(page, "Next")
    expect(page.get_by_text("Tap where it was, please.")).to_be_visible()
    page.get_by_text("More about this photo").click()
    page.get_by_label("What does the proof bar on the sheet measure?").fill("147,5 mm")
    page.get_by_label("What does the proof bar on the sheet measure?").press("Enter")
    expect(page.get_by_text("14.8 cm = 5 3/4 in")).to_be_visible()
    place(page, "in line with it").click()
    page.wait_for_selector(".stage[data-ready=yes]", timeout=30_000)
    marks = data["photos"][0]["markings"][0]["marks"]
    for number, name in enumerate(WANTED, start=1):
        tap(page, marks[name], (2000, 1500))
        wait_for_marks(served, page, key, set(WANTED[:number]))
        if number == 2:
            page.reload()
            page.wait_for_selector(".stage[data-ready=yes]", timeout=30_000)
    wait_for_marks(served, page, key, set(WANTED))
    press(page, "See the result")
    page.get_by_role("button", name="Menu").click()
    page.get_by_role("button", name="About the dog").click()
    page.get_by_label("Weight").fill(data["dog"]["weight"])
    page.get_by_label("Girth behind the elbows in centimetres").fill(data["dog"]["girth"])
    press(page, "See the result")
    expect(page.get_by_role("button", name="Measure the rear length again")).to_be_visible(
        timeout=30_000
    )
    press(page, "Send it to the workshop all the same")
    page.get_by_label("How to reach you: telephone or e-mail").fill("the red door by the mill")
    press(page, "Send")
    expect(page.get_by_text("Sent to the workshop.")).to_be_visible(timeout=30_000)
    said = by_command_line(served.store, key, tmp_path)
    expect(page.get_by_role("heading", name=said["headline"])).to_be_visible(timeout=30_000)
    order = served.store.order(key)
    assert only_typed(order.draft.to_dict())["readings"] == data["readings"]
    assert order.draft.to_dict()["dog"] == {"weight": "32 kg", "girth": "80 cm"}
    assert order.draft.owner.reach == "the red door by the mill"
    assert "mill" not in json.dumps(report_to_dict(order.checks[-1].report))
    assert without_paths(report_to_dict(order.checks[-1].report)) == without_paths(said)
    assert said["verdict"] == "measure_again"
    # The browser's own way back works too, and a reload comes back to the order.
    page.goto(f"{served.address}/?order={link_for(served.store, key, by='Robin')}")
    expect(page.locator(".stAlert").get_by_text("Sent to the workshop.")).to_be_visible(
        timeout=30_000
    )
    page.get_by_role("button", name="Menu").click()
    page.get_by_role("button", name="Rear length", exact=True).or_(
        page.get_by_role("button", name="✓ Rear length", exact=True)
    ).click()
    expect(page.get_by_label("Rear length in centimetres")).to_have_value("72")
    page.go_back()
    expect(page.get_by_role("heading", name=said["headline"])).to_be_visible(timeout=30_000)


def test_one_press_puts_a_typing_error_right(
    served: Served, visitor: BrowserContext, tmp_path: Path
) -> None:
    """72 for 27: what fits is offered, and is the owner's to say."""
    _, photo = sample("flint")
    content = photo.with_name("case.json").read_bytes()
    key = bring_in(served.store, ("case.json", content), [("side.jpg", photo.read_bytes())]).key
    link = link_for(served.store, key, by="Robin")
    page = opened(visitor, f"{served.address}/?order={link}&step=result")
    meant = page.get_by_role("button", name=re.compile("^I noted 27"))
    expect(meant).to_be_visible(timeout=30_000)
    meant.click()
    expect(page.get_by_role("heading", name=re.compile("^Nothing stands out"))).to_be_visible(
        timeout=30_000
    )
    typed = served.store.order(key).draft.readings["rear_length"]
    assert "27" in str(typed)
    assert by_command_line(served.store, key, tmp_path)["verdict"] == "could_hide"


def test_by_keyboard_alone_a_number_leads_to_the_next(
    served: Served, visitor: BrowserContext
) -> None:
    page = opened(visitor, f"{served.address}/?begin=quick")
    key_in(served, page)
    first = page.get_by_label("Half neck in centimetres")
    expect(first).to_be_visible(timeout=30_000)
    first.focus()
    page.keyboard.type("36,8")
    page.keyboard.press("Enter")
    heading = page.get_by_role("heading", name="Front length")
    expect(heading).to_be_focused(timeout=30_000)
    # What cannot be read, or may be inches, stays where it is put right.
    second = page.get_by_label("Front length in centimetres")
    for text, said in (("5o", "'5o'"), ("20 1/2", "A fraction is mostly one of inches")):
        second.fill(text)
        second.press("Enter")
        expect(page.get_by_text(said)).to_be_visible()
        expect(heading).to_be_visible()
    press(page, "20 1/2 in = 52.1 cm")
    expect(second).to_have_value("20 1/2 in")
    second.press("Enter")
    expect(page.get_by_role("heading", name="Rear length")).to_be_visible()


DEEPEST_FOCUS = """() => {
    let at = document.activeElement;
    while (at?.shadowRoot?.activeElement) at = at.shadowRoot.activeElement;
    return at;
}"""


def tab_to(page: Page, what: Locator) -> None:
    """On with the Tab key until it has the focus; nothing is reached in another way."""
    what.wait_for(state="attached", timeout=30_000)
    goal = what.element_handle()
    for _ in range(60):
        if page.evaluate(f"(goal) => ({DEEPEST_FOCUS})() === goal", goal):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"sixty times Tab do not lead to {what}")


def test_by_keyboard_alone_the_whole_way_is_gone(
    served: Served, visitors: Visitors, tmp_path: Path
) -> None:
    """From the first page to the result at a desk; but for the photo's file no pointer is used."""
    data, photo = sample("flint")
    page = opened(visitors.come(**DESKTOP), served.address)
    # From here on, not at the press: what tells the browser to ask us instead of showing its own
    # dialog goes another way than a key does, and was overtaken by it in three of eight runs.
    asked: list[FileChooser] = []
    page.on("filechooser", lambda chooser: asked.append(chooser))
    keys = page.keyboard
    tab_to(page, page.get_by_role("link", name=re.compile("^Quick")))
    keys.press("Enter")
    key = key_in(served, page)
    for title, after in zip(TITLES, (*TITLES[1:], "A photo from the side"), strict=True):
        tab_to(page, page.get_by_label(f"{title} in centimetres"))
        keys.type(data["readings"][title.lower().replace(" ", "_")])
        keys.press("Enter")
        heading = page.get_by_role("heading", name=after, exact=True)
        # whoever hears the page is told where it has come to
        expect(heading).to_be_focused(timeout=30_000)
    rests(page)  # a button that is put anew under the focus hears no key
    tab_to(page, page.locator(".st-key-take_photo button").first)
    keys.press("Enter")
    until_on_page(page, lambda: asked, "a file to be asked for", patience_s=30)
    asked[0].set_files(photo)
    expect(page.get_by_text("Found, where it is outlined")).to_be_visible(timeout=30_000)
    places = page.get_by_role("radiogroup", name=re.compile("^Where was it"))
    tab_to(page, places.get_by_role("radio").first)
    wanted = places.get_by_role("radio", name=re.compile("in line with it"))
    for _ in range(12):
        keys.press("Space")
        if wanted.is_checked():
            break
        keys.press("ArrowRight")
    expect(page.get_by_role("heading", name="Mark your dog")).to_be_focused(timeout=30_000)
    page.wait_for_selector(".stage[data-ready=yes]", timeout=30_000)
    tab_to(page, page.locator(".overlay"))
    marks = data["photos"][0]["markings"][0]["marks"]
    at = [1999 / 2, 1499 / 2]
    for number, name in enumerate(WANTED, start=1):
        for axis, ways in ((0, ("ArrowLeft", "ArrowRight")), (1, ("ArrowUp", "ArrowDown"))):
            for step, hold in ((50, "Shift+"), (10, "")):
                times = abs(marks[name][axis] - at[axis]) // step
                on = 1 if marks[name][axis] > at[axis] else -1
                for _ in range(int(times)):
                    keys.press(hold + ways[on > 0])
                at[axis] += on * step * times
        keys.press("Enter")
        placed = wait_for_marks(served, page, key, set(WANTED[:number]))
        assert placed[name] == pytest.approx(marks[name], abs=10)
    tab_to(page, page.get_by_role("button", name="See the result", exact=True))
    keys.press("Enter")
    said = by_command_line(served.store, key, tmp_path)
    expect(page.get_by_role("heading", name=said["headline"])).to_be_visible(timeout=30_000)


@pytest.mark.parametrize("name", ["flint", "sorrel"])
def test_with_a_samples_own_marks_the_answer_is_the_command_lines(
    served: Served, chromium: Browser, tmp_path: Path, name: str
) -> None:
    _, photo = sample(name)
    content = photo.with_name("case.json").read_bytes()
    key = bring_in(served.store, ("case.json", content), [("side.jpg", photo.read_bytes())]).key
    link = link_for(served.store, key, by="Robin")
    context = chromium.new_context(**PHONE)
    page = opened(context, f"{served.address}/?order={link}&step=result")
    said = by_command_line(served.store, key, tmp_path)
    expect(page.get_by_role("heading", name=said["headline"])).to_be_visible(timeout=30_000)
    page.get_by_role("button", name=re.compile("to the workshop")).click()
    press(page, "Send")
    expect(page.get_by_text("Sent to the workshop.")).to_be_visible(timeout=30_000)
    (check,) = served.store.order(key).checks
    assert without_paths(report_to_dict(check.report)) == without_paths(said)
    context.close()


def test_a_card_is_found_by_one_tap(served: Served, chromium: Browser, tmp_path: Path) -> None:
    data, photo = sample("nettle")
    key = served.store.open()
    name = served.store.keep_photo(key, photo.read_bytes())
    told = data["photos"][0]
    corners = told["reference"]["corners"]
    inside = [sum(axis) / 4 for axis in zip(*corners, strict=True)]
    draft = data | {
        "photos": [
            {"file": name, "reference": {"kind": "id_card", "place": "near_flank"}, "markings": []}
        ]
    }
    served.store.save_draft(key, Draft.from_dict(draft))
    link = link_for(served.store, key, by="Robin")
    context = chromium.new_context(**PHONE)
    page = opened(context, f"{served.address}/?order={link}&step=marks")
    page.wait_for_selector(".stage[data-ready=yes]", timeout=30_000)
    size = Image.open(photo).size
    marks = told["markings"][0]["marks"]
    wanted = ["breastbone", "shoulder_top", "last_rib", "tail_base"]
    tap(page, inside, size)
    expect(page.get_by_text(re.compile("^.*Found: bank or identity card"))).to_be_visible(
        timeout=30_000
    )
    # Another surface takes the first one's place: the one on which marks are to be placed.
    expect(page.get_by_role("button", name=re.compile("breastbone")).first).to_be_visible(
        timeout=30_000
    )
    page.wait_for_selector(".stage[data-ready=yes]", timeout=30_000)
    for number, mark in enumerate(wanted, start=1):
        tap(page, marks[mark], size)
        wait_for_marks(served, page, key, set(wanted[:number]))
    assert wait_for_marks(served, page, key, set(wanted))
    press(page, "See the result")
    said = by_command_line(served.store, key, tmp_path)
    expect(page.get_by_role("heading", name=said["headline"])).to_be_visible(timeout=30_000)
    context.close()


def test_two_visitors_at_once_see_only_their_own(served: Served, chromium: Browser) -> None:
    contexts = [chromium.new_context(**PHONE) for _ in range(2)]
    pages = [opened(context, f"{served.address}/?begin=quick") for context in contexts]
    keys = [key_in(served, page) for page in pages]
    assert keys[0] != keys[1]
    for page, text in zip(pages, ("31", "47"), strict=True):
        page.get_by_label("Half neck in centimetres").fill(text)
        page.get_by_label("Half neck in centimetres").press("Tab")
        expect(page.get_by_text(f"{text}.0 cm =")).to_be_visible()
    for page, key, text in zip(pages, keys, ("31", "47"), strict=True):
        page.reload()
        expect(page.get_by_label("Half neck in centimetres")).to_have_value(text)
        assert only_typed(served.store.order(key).draft.to_dict())["readings"] == {
            "half_neck": text
        }
    for context in contexts:
        context.close()


def test_a_second_round_in_a_real_browser(served: Served, visitor: BrowserContext) -> None:
    """The careful way: what differs asks for a third at once; a reload in between loses nothing."""
    page = opened(visitor, f"{served.address}/?begin=careful")
    key = key_in(served, page)
    first = {"Half neck": "41", "Neck ring": "82", "Front length": "", "Rear length": ""}
    for title, text in (first | {"Full length": "73"}).items():
        expect(page.get_by_role("heading", name=title, exact=True)).to_be_visible(timeout=30_000)
        page.get_by_label(f"{title} in centimetres").fill(text)
        press(page, "Next")
    expect(page.get_by_role("heading", name="Half neck, once more")).to_be_visible()
    expect(page.get_by_text("41.0 cm")).to_have_count(0)
    page.get_by_label("Half neck, once more, in centimetres").fill("41.5")
    press(page, "Next")
    expect(page.get_by_role("heading", name="Neck ring, once more")).to_be_visible()
    page.get_by_label("Neck ring, once more, in centimetres").fill("28")
    press(page, "Next")
    expect(page.get_by_text("Please measure the neck ring a third time.")).to_be_visible()
    page.reload()
    expect(page.get_by_label("Neck ring, once more, in centimetres")).to_have_value("28")
    page.get_by_label("Neck ring, a third time, in centimetres").fill("82.5")
    page.get_by_label("Neck ring, a third time, in centimetres").press("Enter")
    expect(page.get_by_text("28.0 cm does not fit the others.")).to_be_visible()
    press(page, "Next")
    # Lengths that were never read are not asked for again.
    expect(page.get_by_role("heading", name="Full length, once more")).to_be_visible()
    expect(page.get_by_text("73.0 cm")).to_have_count(0)
    told = served.store.order(key).draft.to_dict()["readings"]
    assert {name: [take["typed"] for take in takes] for name, takes in told.items()} == {
        "half_neck": ["41", "41.5"],
        "neck_ring": ["82", "28", "82.5"],
        "full_length": ["73"],
    }


HEARD = {
    "half_neck": """
        - progressbar
        - button "Menu"
        - heading "Half neck" [level=2]
        - img "Where the tape runs for the half neck."
        - radiogroup "My tape shows":
          - radio "centimetres" [checked]
          - radio "inches"
        - textbox "Half neck in centimetres": "36"
        - button "Back"
        - button "Next"
        """,
    "photo": """
        - heading "A photo from the side" [level=2]
        - img "Photo 1"
        - radiogroup /^Where was it/:
          - radio /in line with it/ [checked]
          - radio "I don't know"
        - button "Next"
        """,
    "marks": """
        - heading "Mark your dog" [level=2]
        - region "Mark the dog on the photo":
          - status
          - application /Arrow keys move the cross, Enter places a mark/:
            - button /^breastbone. \\d+ of 2000 across/
            - button /^shoulder top/
            - button /^last rib/
            - button /^tail base/
          - button "Undo" [disabled]
          - group "Marks":
            - button "breastbone , placed"
        - button "See the result"
        """,
    "result": """
        - alert:
          - heading /^Measure again/ [level=2]
        - button "I noted 27 cm, and typed it wrongly"
        - button "Measure the rear length again"
        - img "Photo 1 with your marks and what was measured."
        """,
}
"""What a screen reader has to say of a step: roles, names and states, in their turn."""


def test_a_step_is_heard_as_it_is_seen(served: Served, visitors: Visitors) -> None:
    _, photo = sample("flint")
    content = photo.with_name("case.json").read_bytes()
    key = bring_in(served.store, ("case.json", content), [("side.jpg", photo.read_bytes())]).key
    link = link_for(served.store, key, by="Robin")
    page = visitors.come(**PHONE).new_page()
    for step, heard in HEARD.items():
        page.goto(f"{served.address}/?order={link}&step={step}")
        expect(page.locator("main")).to_match_aria_snapshot(heard, timeout=30_000)


ENGLISH: Final = (
    "progress",
    "Open",
    "Link to heading",
    "file upload",
    "Increment",
    "Decrement",
    "Clear value",
    "Expand sidebar",
    "Sidebar",
)
"""What the framework calls parts of its own (read off its page, version 1.67)."""


def test_nothing_is_heard_in_english_on_a_german_page(served: Served, visitors: Visitors) -> None:
    _, photo = sample("flint")
    content = photo.with_name("case.json").read_bytes()
    key = bring_in(served.store, ("case.json", content), [("side.jpg", photo.read_bytes())]).key
    link = link_for(served.store, key, by="Robin")
    page = visitors.come(**{**PHONE, "locale": "de-DE"}).new_page()
    for step in ("photo", "dog", "result"):
        page.goto(f"{served.address}/?order={link}&step={step}")
        expect(page.locator("html")).to_have_class(re.compile("pc-there"), timeout=30_000)
        expect(page.locator("main h2").first).to_be_visible()
        said = page.locator("body").aria_snapshot()
        assert [name for name in ENGLISH if f'"{name}"' in said] == []


LOOKS = (("en-GB", "light"), ("de-DE", "dark"), ("en-GB", "dark"), ("de-DE", "light"))


@pytest.mark.parametrize(
    ("device", "usual"), [(PHONE, LOOKS[0]), (DESKTOP, LOOKS[1])], ids=["phone", "desktop"]
)
def test_no_step_keeps_anybody_out(
    served: Served,
    visitors: Visitors,
    axe: str,
    thorough: bool,
    device: dict[str, Any],
    usual: tuple[str, str],
) -> None:
    """axe-core: WCAG 2.2 A and AA, and its best practices; nothing serious on any step."""
    for spoken, scheme in LOOKS if thorough else (usual,):
        visitor = visitors.come(**{**device, "locale": spoken}, color_scheme=scheme)
        _no_step_keeps_out(served, visitor, axe)


def _no_step_keeps_out(served: Served, visitor: BrowserContext, axe: str) -> None:
    _, photo = sample("flint")
    content = photo.with_name("case.json").read_bytes()
    key = bring_in(served.store, ("case.json", content), [("side.jpg", photo.read_bytes())]).key
    link = link_for(served.store, key, by="Robin")
    found = {}
    with_tags = link_for(served.store, order_with_tags(served.store), by="Robin")
    steps: tuple[str, ...] = ("", "?step=sample", "sheet", f"?order={with_tags}&step=marks")
    steps += tuple(
        f"?order={link}&step={step}"
        for step in (
            *("half_neck", "again_half_neck", "photo", "front", "marks", "result"),
            *("readings", "again", "dog", "send"),
        )
    )
    for step in steps:
        page = opened(visitor, f"{served.address}/{step}")
        page.locator("h1, h2").first.wait_for(timeout=30_000)
        if step:  # the first page stands by itself
            rests(page)
        page.evaluate(axe)  # as a script of its own the first page would refuse it
        result = page.evaluate("axe.run()")
        found[step] = [
            (v["id"], [node["html"][:160] for node in v["nodes"]][:3])
            for v in result["violations"]
            if v["impact"] in ("serious", "critical")
        ]
        page.close()
    assert not any(found.values()), json.dumps(found, indent=1)
