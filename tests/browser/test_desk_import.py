"""A table and its photos brought in at the desk, in a real browser."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import openpyxl
import pytest
from playwright.sync_api import Page, expect

from photocheck.case.samples import samples_folder
from photocheck.orders.model import STORE_VARIABLE
from photocheck.orders.store import DatabaseStore, open_store
from tests.support.pages import Visitors, rests
from tests.support.places import APP

pytestmark = pytest.mark.browser

SCREEN = {"width": 1366, "height": 768}

HEAD = [
    *("Nr", "Kunde", "Hund", "E-Mail", "Halber Hals (cm)", "vorn", "hinten", "Gesamtlänge"),
    *("Alter", "Bogenmaß", "Brustbein", "Widerrist", "letzte Rippe", "Schwanzansatz", "Notiz"),
]
MARKS = ["807,6 773,9", "964.3 553", "1122.5 709.5", "1300 596.6"]
ROWS = [
    *(["2041", "Ada Probe", "Flint", "ada@example.org", 42.5, "46 cm", "28 cm", "73 cm"],),
    *(["2042", "Bo Probe", "Moss", "kein Netz", 40.5, "45 cm", "26 cm", "71 cm"],),
    *(["", "", "", "", 40.5, "45 cm", "26 cm", "71 cm"],),
]


@pytest.fixture(scope="module")
def brought_into(tmp_path_factory: pytest.TempPathFactory) -> DatabaseStore:
    return open_store(str(tmp_path_factory.mktemp("import") / "orders.db"))


@pytest.fixture(scope="module")
def import_address(
    brought_into: DatabaseStore,
    serve: Callable[[Path], str],
    tmp_path_factory: pytest.TempPathFactory,
) -> str:
    folder = tmp_path_factory.mktemp("page")
    shutil.copytree(APP / ".streamlit", folder / ".streamlit")
    page = folder / "page.py"
    page.write_text("from photocheck_app.main import main\n\nmain()\n")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(STORE_VARIABLE, str(brought_into.engine.url.database))
        patch.setenv("XDG_CONFIG_HOME", str(folder / "config"))
        return serve(page)


@pytest.fixture
def visited(visitors: Visitors, import_address: str) -> Iterator[Page]:
    faults: list[str] = []
    page = visitors.come(viewport=SCREEN, reduced_motion="reduce").new_page()
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(f"{import_address}/desk?language=en&by=Ines")
    expect(page.locator(".st-key-desk h1")).to_be_visible(timeout=30_000)
    rests(page)
    yield page
    visitors.leave()
    assert faults == []


def handed_over(page: Page, table: Path, *photos: Path) -> None:
    files = page.locator("input[type=file]")
    files.nth(0).set_input_files(table)
    rests(page)
    if photos:
        files.nth(1).set_input_files(list(photos))
        rests(page)


def test_a_table_and_its_photos_are_looked_at_and_brought_in(
    visited: Page, brought_into: DatabaseStore, axe: str, tmp_path: Path
) -> None:
    table = tmp_path / "bestellungen.xlsx"
    book = openpyxl.Workbook()
    book.active.append(HEAD)
    for row in ROWS:
        more = ["5", "147,5 mm", *MARKS] if row[0] == "2041" else [""] * 6
        book.active.append([*row, *more, "bitte rot"])
    book.save(table)
    flint, moss = tmp_path / "2041-flint.jpg", tmp_path / "2042.jpg"
    shutil.copy(samples_folder() / "flint" / "side.jpg", flint)
    shutil.copy(samples_folder() / "moss" / "side.jpg", moss)
    page = visited
    page.get_by_role("button", name="Bring in", exact=True).click()
    expect(page.get_by_role("heading", name="Bring orders in")).to_be_visible()
    rests(page)
    handed_over(page, table, flint)
    said = page.locator(".st-key-desk")
    expect(said).to_contain_text("2 orders come in, 1 of them to wait for a photo", timeout=20_000)
    expect(said).to_contain_text("Nothing says whose order this is")
    expect(said).to_contain_text("Column 'Alter': '5' is no age with its unit")
    page.screenshot(path=tmp_path / "preview.png", full_page=True)
    # a column that nobody knew is chosen, as a keyboard does it
    box = page.get_by_role("combobox", name=re.compile("Bogenmaß"))
    box.click()
    box.fill("proof bar")
    page.keyboard.press("Enter")
    rests(page)
    page.evaluate(axe)
    found = page.evaluate("axe.run(document)")
    bad = [
        (rule["id"], node["html"][:200])
        for rule in found["violations"]
        if rule["impact"] in ("serious", "critical")
        for node in rule["nodes"]
    ]
    assert bad == []
    page.get_by_role("button", name="Bring in, and check what is whole").click()
    done = page.locator(".st-key-import_done")
    expect(done).to_contain_text("2 new, 0 completed, 0 there already, 1 held back", timeout=60_000)
    page.screenshot(path=tmp_path / "done.png")
    order = {line.name: brought_into.order(line.key) for line in brought_into.lines()}
    assert order["2041, Ada Probe"].state == "waiting"
    assert order["2041, Ada Probe"].checks[0].by == "Ines"
    assert order["2041, Ada Probe"].draft.owner.notes == "bitte rot\nAlter: 5"
    assert order["2042, Bo Probe"].draft.photos == ()
    # the photo comes later: what was uploaded is still there, one photo more is given
    handed_over(page, table, flint, moss)
    expect(said).to_contain_text("1 are completed, 1 are there already", timeout=20_000)
    page.get_by_role("button", name="Bring in, and check what is whole").click()
    expect(done).to_contain_text("0 new, 1 completed, 1 there already", timeout=60_000)
    page.get_by_role("button", name="To those being filled in").click()
    expect(page.locator(".st-key-desk_list button")).to_have_count(1, timeout=15_000)
    expect(page.locator(".st-key-desk_list")).to_contain_text("2042, Bo Probe")
    # found by what only the table said
    page.get_by_text(re.compile(r"^all \(")).click()
    find = page.get_by_role("textbox", name="Find")
    find.fill("ada@example")
    find.press("Enter")
    rests(page)
    expect(page.locator(".st-key-desk_list button")).to_have_count(1, timeout=15_000)
    expect(page.locator(".st-key-desk_list")).to_contain_text("2041, Ada Probe")


def test_a_table_that_cannot_be_read_stays_and_is_told(visited: Page, tmp_path: Path) -> None:
    broken = tmp_path / "orders.xlsx"
    broken.write_bytes(b"PK\x03\x04 nothing that was ever packed")
    page = visited
    page.get_by_role("button", name="Bring in", exact=True).click()
    rests(page)
    handed_over(page, broken)
    expect(page.get_by_role("alert")).to_contain_text("the workbook cannot be read")
    expect(page.get_by_text("orders.xlsx").first).to_be_visible()
