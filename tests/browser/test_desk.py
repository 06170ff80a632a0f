"""The desk in a real browser, at the size of a small desktop screen."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

import photocheck
from photocheck.case.file import case_from_dict
from photocheck.case.samples import samples_folder
from photocheck.fit.answer import fit
from photocheck.fit.shelf import demo_table, sizes_of
from photocheck.orders.intake.bring_in import bring_in
from photocheck.orders.model import STORE_VARIABLE, Store
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.photo.load import load_photo
from photocheck.server.run import run_check
from photocheck.server.shop import SHELF_VARIABLE
from tests.support.pages import Visitors, rests
from tests.support.places import APP

SCREEN = {"width": 1366, "height": 768}

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> DatabaseStore:
    store = open_store(str(tmp_path_factory.mktemp("desk") / "orders.db"))
    for name in ("flint", "sorrel", "bramble", "tarn"):
        folder = samples_folder() / name
        photos = [(p.name, p.read_bytes()) for p in folder.glob("*.jpg")]
        case_file = ("case.json", (folder / "case.json").read_bytes())
        run_check(store, bring_in(store, case_file, photos).key, by="owner")
    return store


@pytest.fixture(scope="module")
def page_address(
    store: DatabaseStore, serve: Callable[[Path], str], tmp_path_factory: pytest.TempPathFactory
) -> str:
    # A script of its own, for the servers of the tests are told apart by it.
    folder = tmp_path_factory.mktemp("page")
    shutil.copytree(APP / ".streamlit", folder / ".streamlit")
    page = folder / "page.py"
    page.write_text("from photocheck_app.main import main\n\nmain()\n")
    shelf = folder / "sizes.csv"
    shelf.write_text(demo_table(), encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(SHELF_VARIABLE, str(shelf))
        patch.setenv(STORE_VARIABLE, str(store.engine.url.database))
        return serve(page)


@pytest.fixture
def visit(visitors: Visitors, page_address: str) -> Iterator[Callable[..., Page]]:
    faults: list[str] = []

    def come(query: str = "", **size: int) -> Page:
        context = visitors.come(viewport={**SCREEN, **size}, reduced_motion="reduce")
        page = context.new_page()
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.goto(f"{page_address}/desk?language=en&{query}")
        expect(page.locator(".st-key-desk h1")).to_be_visible(timeout=30_000)
        rests(page)
        return page

    yield come
    visitors.leave()
    assert faults == []


def order(store: Store, dog: str) -> str:
    return next(line.key for line in store.lines() if dog in line.name)


def test_an_order_is_opened_by_keyboard_and_fits_one_screen(visit, tmp_path) -> None:
    page = visit("by=Ines")
    page.screenshot(path=tmp_path / "list.png")
    # The worst one stands first, and is reached by Tab alone.
    for _ in range(40):
        page.keyboard.press("Tab")
        focused = "(e => e.tagName == 'BUTTON' ? e.innerText : '')(document.activeElement)"
        if "Flint" in page.evaluate(focused):
            break
    page.keyboard.press("Enter")
    expect(page.locator("table.spans")).to_be_visible()
    expect(page.locator(".st-key-desk img").first).to_be_visible()
    rests(page)
    assert "case=" in page.url
    page.screenshot(path=tmp_path / "case.png")
    for part in (".st-key-desk img", "table.spans", "table.doubt", "[role=radiogroup]"):
        box = page.locator(part).first.bounding_box()
        assert box["y"] + box["height"] <= SCREEN["height"], part
        assert box["x"] + box["width"] <= SCREEN["width"], part
    assert page.evaluate("document.documentElement.scrollWidth") <= SCREEN["width"]


def numbers(text: str) -> list[float]:
    return [float(n) for n in re.findall(r"\d+(?:\.\d+)?", text)]


def test_what_is_drawn_is_what_is_written(visit, store) -> None:
    """Read with a ruler off the screen: the axis' numbers against the table's own texts."""
    page = visit(f"case={order(store, 'Flint')}")
    middle = "e => { const b = e.getBoundingClientRect(); return b.left + b.width / 2; }"
    edges = "e => { const b = e.getBoundingClientRect(); return [b.left, b.right]; }"
    ticks = [
        (float(t.inner_text().replace("\N{MINUS SIGN}", "-")), t.evaluate(middle))
        for t in page.locator(".axis span").all()
    ]
    (first, left), (last, right) = ticks[0], ticks[-1]
    per_px = (last - first) / (right - left)
    for row in page.locator("table.spans tbody tr").all():
        cells = row.locator("td").all_inner_texts()
        photo, low, high = numbers(cells[1])

        def off(length: float, photo: float = photo) -> float:
            return 100 * (length / photo - 1)

        # what is written is rounded to a tenth of a centimetre
        within = 1.5 * per_px + 100 * 0.1 / photo
        drawn = [first + (x - left) * per_px for x in row.locator(".bar").evaluate(edges)]
        assert drawn == pytest.approx([off(low), off(high)], abs=within)
        tape = numbers(cells[0])[0]
        if row.locator(".beyond").count():
            assert row.locator(".beyond").inner_text().startswith(f"{tape}")
            assert off(tape) > last
            continue
        point = first + (row.locator(".point").evaluate(middle) - left) * per_px
        assert point == pytest.approx(off(tape), abs=within)
    for bar in page.locator(".parts").all():
        whole = bar.evaluate("e => e.clientWidth")
        widths = bar.locator("i").evaluate_all("all => all.map(e => e.offsetWidth)")
        assert sum(widths) == pytest.approx(whole, abs=2 * len(widths))


def test_back_forward_and_reload(visit, store) -> None:
    page = visit("by=Ines")
    page.get_by_role("button", name="Flint").click()
    expect(page.locator("table.spans")).to_be_visible()
    rests(page)
    page.get_by_text("Refuse", exact=True).click()
    page.get_by_role("textbox", name="Reason").fill("half a thought")
    page.get_by_role("textbox", name="Reason").press("Tab")
    rests(page)
    page.get_by_role("button", name="Correct the marks").click()
    page.wait_for_selector(".stage[data-ready=yes]")
    rests(page)
    page.go_back()
    expect(page.get_by_role("textbox", name="Reason")).to_have_value("half a thought")
    page.go_back()
    expect(page.get_by_role("button", name="Sorrel")).to_be_visible()
    rests(page)
    page.go_forward()
    expect(page.get_by_role("textbox", name="Reason")).to_have_value("half a thought")
    page.reload()
    expect(page.get_by_role("textbox", name="Reason")).to_have_value(
        "half a thought", timeout=20_000
    )
    other = visit(f"case={order(store, 'Flint')}&by=Olga")
    expect(other.get_by_role("textbox", name="Reason")).to_have_count(0)


def test_a_mark_dragged_by_staff_gives_what_the_check_gives(visit, store) -> None:
    key = order(store, "Bramble")
    page = visit(f"case={key}&by=Ines")
    page.get_by_role("button", name="Correct the marks").click()
    page.wait_for_selector(".stage[data-ready=yes]")
    rests(page)
    dot = page.locator("[data-id='mark.tail_base'] .dot").bounding_box()
    x, y = dot["x"] + dot["width"] / 2, dot["y"] + dot["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 40, y, steps=8)
    page.mouse.up()
    scale = page.locator(".photo image").first.evaluate(
        "i => i.getBoundingClientRect().width / i.width.baseVal.value"
    )
    rests(page)
    page.get_by_role("button", name="Check again with these marks").click()
    expect(page.locator(".arrived")).to_be_visible(timeout=20_000)
    before, after = store.order(key).checks
    (told,) = after.case.to_dict()["photos"][0]["markings"]
    was = before.case.to_dict()["photos"][0]["markings"][0]["marks"]
    assert told["by"] == "Ines"
    moved = told["marks"]["tail_base"][0] - was["tail_base"][0]
    assert moved == pytest.approx(40 / scale, abs=0.5)
    for name in ("breastbone", "shoulder_top", "last_rib"):
        assert told["marks"][name] == pytest.approx(was[name], abs=1e-6)
    case = case_from_dict(after.case.to_dict(), check_files=False)
    name = case.photos[0].path
    asked = photocheck.check(case, photos={name: load_photo(store.photo(key, name))})
    assert after.report.spans == asked.spans
    assert after.report.spans[3].photo_mm > before.report.spans[3].photo_mm


def test_a_decision_with_its_message_by_mouse_and_keys(visit, store, tmp_path) -> None:
    key = order(store, "Tarn")
    page = visit(f"case={key}&by=Ines")
    page.get_by_text("Ask again", exact=True).click()
    message = page.get_by_label("Message to the owner")
    expect(message).to_have_value(re.compile("photo"))
    rests(page)
    page.screenshot(path=tmp_path / "deciding.png")
    message.fill(message.input_value() + "\n\nGreetings, Ines")
    message.press("Tab")
    rests(page)
    page.get_by_role("button", name="Record:").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".arrived")).to_be_visible(timeout=20_000)
    (decision,) = store.order(key).decisions
    assert (decision.choice, decision.by) == ("asked_again", "Ines")
    assert decision.message.endswith("Greetings, Ines")


def test_what_would_fit_is_put_into_the_reading(visit, store) -> None:
    page = visit(f"case={order(store, 'Flint')}&by=Ines")
    page.locator(".st-key-desk_would_fit button").first.click()
    rear = page.get_by_role("textbox", name="rear length (cm)")
    expect(rear).to_have_value("27 cm")
    rests(page)
    assert len(store.order(order(store, "Flint")).checks) == 1


def test_two_at_one_order_know_of_each_other(visit, store) -> None:
    key = order(store, "Sorrel")
    first = visit(f"case={key}&by=Ines")
    second = visit(f"case={key}&by=Olga")
    expect(second.get_by_text("Also open at: Ines.")).to_be_visible(timeout=15_000)
    expect(first.get_by_text("Also open at: Olga.")).to_be_visible(timeout=15_000)


def submitted(store: Store, name: str) -> str:
    """What an owner's page leaves in the store when the order is sent."""
    folder = samples_folder() / name
    photos = [(p.name, p.read_bytes()) for p in folder.glob("*.jpg")]
    key = bring_in(store, ("case.json", (folder / "case.json").read_bytes()), photos).key
    run_check(store, key, by="owner")
    return key


def test_the_list_follows_an_owner_and_keeps_what_is_being_typed(visit, store, tmp_path) -> None:
    page = visit("by=Ines")
    find = page.get_by_role("textbox", name="Find")
    find.click()
    find.press_sequentially("nett")
    submitted(store, "nettle")
    expect(page.get_by_role("button", name="Nettle")).to_be_visible(timeout=15_000)
    expect(find).to_have_value("nett")
    expect(find).to_be_focused()
    page.screenshot(path=tmp_path / "followed.png")
    find.press_sequentially("le")
    find.press("Enter")
    expect(page.locator(".st-key-desk_list button")).to_have_count(1)
    store.forget(order(store, "Nettle"))
    expect(page.locator(".st-key-desk_list button")).to_have_count(0, timeout=15_000)


def test_an_order_sent_anew_is_told_and_what_is_typed_stays(visit, store, tmp_path) -> None:
    key = submitted(store, "juniper")
    page = visit(f"case={key}&by=Ines")
    page.get_by_text("Ask again", exact=True).click()
    reason = page.get_by_role("textbox", name="Reason")
    reason.fill("half a thought")
    run_check(store, key, by="owner")
    notice = page.locator(".st-key-desk_notice")
    expect(notice).to_contain_text("This order was sent anew", timeout=15_000)
    expect(reason).to_have_value("half a thought")
    page.screenshot(path=tmp_path / "notice.png")
    page.get_by_role("button", name="Show it").click()
    expect(notice).to_have_count(0, timeout=15_000)
    expect(reason).to_have_count(0)
    page.get_by_text("What you had written").click()
    expect(page.get_by_text("half a thought")).to_be_visible()
    store.forget(key)


def test_what_to_cut_and_the_record_with_it(visit, store, chromium, tmp_path) -> None:
    key = submitted(store, "rowan")
    answer = fit(store.order(key).checks[-1].report, sizes_of(demo_table()))
    page = visit(f"case={key}&by=Ines")
    expect(page.get_by_text(answer.headline).first).to_be_visible()
    page.get_by_role("tab", name="What to cut").click()
    rests(page)
    page.screenshot(path=tmp_path / "cut.png")
    for table in ("table.cut", "table.shelf"):
        box = page.locator(table).bounding_box()
        assert box["y"] + box["height"] <= SCREEN["height"], table
        assert box["x"] + box["width"] <= SCREEN["width"], table
    page.get_by_role("button", name="Record and files").click()
    with page.expect_download() as coming:
        page.get_by_role("button", name="Record of the latest check (one page, HTML)").click()
    assert re.fullmatch(r"record-.*rowan\.html", coming.value.suggested_filename)
    file = tmp_path / "record.html"
    coming.value.save_as(file)
    reader = chromium.new_context(offline=True).new_page()
    reader.goto(file.as_uri())
    expect(reader.get_by_text(answer.headline)).to_be_visible()
    loaded = "i => i.complete && i.naturalWidth > 100"
    assert all(image.evaluate(loaded) for image in reader.locator("img").all())
    reader.context.close()
    page.get_by_text("Yes, delete this order").click()
    page.get_by_role("button", name="Delete for good").click()
    expect(page.locator(".arrived")).to_contain_text("deleted", timeout=15_000)
    assert key not in [line.key for line in store.lines()]


def test_axe_finds_nothing_serious(visit, store, axe) -> None:
    key, agrees = order(store, "Flint"), order(store, "Sorrel")
    for query in ("", f"case={key}&by=Axel", f"case={agrees}&by=Axel", f"case={key}&do=marks"):
        page = visit(query)
        if query:
            with suppress(Exception):
                page.get_by_text("Refuse", exact=True).click(timeout=2_000)
                page.get_by_role("tab", name="What to cut").click(timeout=2_000)
            rests(page)
        page.evaluate(axe)
        found = page.evaluate("axe.run(document)")
        bad = [
            (rule["id"], node["html"][:200], node["failureSummary"])
            for rule in found["violations"]
            if rule["impact"] in ("serious", "critical")
            for node in rule["nodes"]
        ]
        assert {rule["id"] for rule in found["passes"]} >= {"color-contrast", "button-name"}
        assert bad == [], query
