"""The cutting list at the desk: fit's own numbers, marks that stay, files of what is shown."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from openpyxl import load_workbook
from streamlit.testing.v1 import AppTest

from photocheck.fit.answer import Wish, fit
from photocheck.fit.shelf import demo_table, read_shelf
from photocheck.orders.model import Store
from photocheck.server.shop import SHELF_VARIABLE
from photocheck.shown.plain_fit import cut_rows
from photocheck_app.desk import downloads
from tests.support import desk_pages
from tests.support.desk_pages import decide, html, key_of, opened, pressed, written

store = desk_pages.store

pytestmark = pytest.mark.usefixtures("decoded_here")


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> dict[str, tuple[Callable[[], bytes], str, bool]]:
    """What the download buttons give, by their keys."""
    found: dict[str, tuple[Callable[[], bytes], str, bool]] = {}

    def button(label: str, data: Any, **given: Any) -> None:
        found[given["key"]] = (data, given["file_name"], given["disabled"])

    monkeypatch.setattr(downloads.st, "download_button", button)
    return found


@pytest.fixture
def sizes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "sizes.csv"
    file.write_text(demo_table(), encoding="utf-8")
    monkeypatch.setenv(SHELF_VARIABLE, str(file))
    return file


def accept(store: Store, dog: str, reason: str = "seen") -> str:
    key = key_of(store, dog)
    store.decide(key, "accepted", by="Bo", reason=reason)
    return key


def cutting() -> AppTest:
    return opened(do="cutting")


def marks(page: AppTest) -> list[str]:
    return [b.key or "" for b in page.button if (b.key or "").startswith("cutting_mark_")]


@pytest.mark.slow
def test_nothing_accepted_is_said(store: Store) -> None:
    page = cutting()
    assert "Nothing to cut yet" in page.info[0].value
    assert page.button(key="cutting_all").disabled


@pytest.mark.slow
def test_the_list_shows_what_fit_says(store: Store, sizes: Path) -> None:
    key = accept(store, "sorrel")
    answer = fit(store.order(key).checks[-1].report, read_shelf(sizes))
    page = cutting()
    said = html(page)
    for row in cut_rows(answer)[1:]:
        assert f'<b class="whole">{row[1]}</b>' in said
    assert answer.sizes[0].name in said


@pytest.mark.slow
def test_a_cut_is_marked_with_who_and_undone(store: Store) -> None:
    key = accept(store, "sorrel")
    page = cutting()
    page.query_params["by"] = "Cleo"
    assert marks(page) == [f"cutting_mark_{key}"]
    pressed(page, f"cutting_mark_{key}")
    cut = store.order(key).cut
    assert cut is not None
    assert cut.by
    lengths = {one.name: one.mm for one in fit(store.order(key).checks[-1].report).measures}
    assert cut.content == {**lengths, "size": ""}
    page = cutting()
    assert marks(page) == []
    assert "No accepted order fits" in page.info[0].value
    page.toggle(key="cutting_not_cut").set_value(False).run()
    pressed(page, f"cutting_undo_{key}")
    assert store.order(key).cut is None
    assert [note.what for note in store.order(key).cuts] == ["cut", "not_cut"]


@pytest.mark.slow
def test_all_that_is_shown_is_marked_at_once_but_not_what_cannot_be_cut(store: Store) -> None:
    agrees = accept(store, "sorrel")
    doubted = [accept(store, dog) for dog in ("flint", "tarn")]
    page = cutting()
    can = [key for key in (agrees, *doubted) if fit(store.order(key).checks[-1].report).measures]
    assert agrees in can
    assert len(can) < 3
    assert "does not confirm" in html(page)
    pressed(page, "cutting_all")
    assert [key for key in (agrees, *doubted) if store.order(key).cut] == can


def test_an_order_checked_again_meanwhile_is_not_marked(store: Store) -> None:
    key = accept(store, "sorrel")
    page = cutting()
    check = store.order(key).checks[-1]
    store.record_check(key, check.case, check.report, by="owner")
    assert marks(page)
    pressed(page, f"cutting_mark_{key}")
    assert store.order(key).cut is None


def test_files_hold_what_is_shown(store: Store, made) -> None:
    accept(store, "sorrel")
    page = cutting()
    names = {name for name in made if name.startswith("cutting")}
    assert names == {"cutting_pdf_a4", "cutting_pdf_letter", "cutting_xlsx", "cutting_csv"}
    book = load_workbook(io.BytesIO(made["cutting_xlsx"][0]())).active
    assert book.max_row == 2
    assert made["cutting_csv"][0]().decode("utf-8-sig").count("\r\n") == 2
    assert len(pypdfium2.PdfDocument(made["cutting_pdf_a4"][0]())) == 1
    assert not any(made[name][2] for name in names)
    pressed(page, "cutting_all")
    cutting()
    assert all(made[name][2] for name in names)  # nothing left to cut, nothing to print


@pytest.mark.slow
def test_a_wish_goes_from_the_decision_into_the_list_and_the_message(store: Store) -> None:
    key = key_of(store, "sorrel")
    page = opened(case=key)
    (field,) = [t for t in page.text_input if t.label == "Weight expected later"]
    decide(page, "accepted")
    before = str(written(page, "Message").value)
    (field,) = [t for t in page.text_input if t.label == "Weight expected later"]
    report = store.order(key).checks[-1].report
    assert report.case.dog.weight_kg is not None
    later = round(report.case.dog.weight_kg * 1.1, 1)
    field.set_value(f"{later} kg").run()
    wished = cut_rows(fit(report, (), Wish(later)))
    now = cut_rows(fit(report))
    assert wished[1][1] != now[1][1]
    after = str(written(page, "Message").value)
    assert now[1][1] in before
    assert wished[1][1] in after  # nobody had changed the draft, so it follows
    pressed(page, "decide")
    noted = store.order(key).wished
    assert noted is not None
    assert noted.content == {"weight_later_kg": later}
    assert wished[1][1] in html(cutting())
