"""A day at the desk as `photocheck serve` has it, in a real browser."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Locator, expect

from photocheck.case.lengths import format_length
from photocheck.case.samples import samples_folder
from photocheck.fit.answer import MEASURE_TITLES, fit
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


class Hand:
    """Somebody's mouse: what it pressed is counted; a file chosen is two presses."""

    def __init__(self) -> None:
        self.clicks = 0

    def click(self, what: Locator) -> None:
        self.clicks += 1
        what.click()

    def choose(self, what: Locator, files: list[Path]) -> None:
        self.clicks += 2
        what.set_input_files(files)


def orders_of_a_day(folder: Path, count: int) -> tuple[Path, list[Path]]:
    """A table of as many orders as asked, all of them bramble's, and a photo for each."""
    case = json.loads((samples_folder() / "bramble" / "case.json").read_text(encoding="utf-8"))
    (photo,) = case["photos"]
    (marking,) = photo["markings"]
    content = (samples_folder() / "bramble" / photo["file"]).read_bytes()
    readings = {name: " / ".join(takes) for name, takes in case["readings"].items()}
    marks = {name: f"{x} {y}" for name, (x, y) in marking["marks"].items()}
    dog = {name: case["dog"][name] for name in ("weight", "girth", "neck_width", "chest_width")}
    facts = {"coat": case["dog"]["coat"], "build": case["dog"]["build"], "age": "40 months"}
    same = {"unit": case["unit"], "place": photo["reference"]["place"]}
    photos = []
    with (folder / "orders.csv").open("w", newline="", encoding="utf-8") as file:
        row = {"order": "", "owner": "", "dog": ""} | readings | dog | facts | same | marks
        writer = csv.DictWriter(file, list(row))
        writer.writeheader()
        for number in range(4000, 4000 + count):
            own = {"order": str(number), "owner": f"Owner {number}", "dog": f"Dog {number}"}
            writer.writerow(row | own)
            photos.append(folder / f"{number}.jpg")
            photos[-1].write_bytes(content)
    return folder / "orders.csv", photos


def test_a_days_orders_come_in_are_accepted_and_cut_with_twenty_clicks(
    served: Alone, visitors: Visitors, tmp_path: Path, thorough: bool
) -> None:
    """The lengths of the list are `fit`'s to the last digit."""
    count = 300 if thorough else 12
    table, photos = orders_of_a_day(tmp_path, count)
    patience = 60_000 + 5_000 * count
    hand = Hand()
    page = visitors.come(viewport={"width": 1366, "height": 768}, accept_downloads=True).new_page()
    page.goto(f"{served.address}/desk?language=en&by=Ines")
    expect(page.locator(".st-key-desk h1")).to_be_visible(timeout=30_000)
    rests(page)
    hand.click(page.get_by_role("button", name="Bring in", exact=True))
    expect(page.get_by_role("heading", name="Bring orders in")).to_be_visible()
    rests(page)
    files = page.locator("input[type=file]")
    hand.choose(files.nth(0), [table])
    rests(page)
    hand.choose(files.nth(1), photos)
    expect(page.locator(".st-key-desk")).to_contain_text(
        # before the photos are there all of them come in to wait for one
        f"{count} orders come in, 0 of them to wait",
        timeout=patience,
    )
    rests(page)
    hand.click(page.get_by_role("button", name="Bring in, and check what is whole"))
    done = page.locator(".st-key-import_done")
    expect(done).to_contain_text(f"{count} new", timeout=patience)
    rests(page)
    hand.click(page.locator(".st-key-desk_place_orders button"))
    bulk = page.locator(".st-key-desk_bulk button").first
    expect(bulk).to_be_visible(timeout=20_000)
    rests(page)
    hand.click(bulk)
    hand.click(page.get_by_role("button", name=re.compile(r"^Accept these \d+ orders$")))
    expect(page.locator(".arrived")).to_contain_text("orders accepted", timeout=patience)
    rests(page)
    hand.click(page.locator(".st-key-desk_place_cutting button"))
    expect(page.get_by_role("heading", name="Cutting list")).to_be_visible(timeout=30_000)
    rests(page)
    hand.click(page.locator(".st-key-cutting_download button").first)
    with page.expect_download() as coming:
        hand.click(page.get_by_role("button", name="Table for spreadsheets (CSV)"))
    text = Path(coming.value.path()).read_text(encoding="utf-8-sig")
    listed = {row["order"]: row for row in csv.DictReader(text.splitlines()) if row["order"]}
    assert len(listed) == count
    store = open_store(str(served.store))
    for number, row in listed.items():
        order = store.order(row["key"])
        assert order.draft.owner.number == number
        assert order.state == "accepted"
        for measure in fit(order.checks[-1].report).measures:
            title = MEASURE_TITLES[measure.name]
            assert float(row[f"{title}, mm"]) == measure.mm
            assert row[title] == format_length(measure.mm, "in")
    print(f"{count} orders: {hand.clicks} clicks")
    assert hand.clicks <= 20
