"""The rest of the job at the desk: what to cut, files out, deletion, and what others do."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Callable
from dataclasses import replace
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook
from streamlit.testing.v1 import AppTest

import photocheck
from photocheck.fit.answer import GROWTH, Wish, fit
from photocheck.fit.shelf import demo_table, read_shelf
from photocheck.judge.ratios import write_ratios
from photocheck.orders.filling import new_draft
from photocheck.orders.model import OrderError, Store
from photocheck.schemas.complaints import complaint
from photocheck.server.shop import RATIOS_VARIABLE, SHELF_VARIABLE, TEMPLATES_VARIABLE
from photocheck.shown.plain_fit import cut_rows
from photocheck_app.desk import downloads, session
from photocheck_app.desk.shop_files import shop_ratios
from tests.support import desk_pages
from tests.support.desk_pages import (
    GERMAN_DESK,
    SAMPLES,
    decide,
    html,
    key_of,
    opened,
    pressed,
    shown,
    written,
)
from tests.support.kept_photos import as_kept
from tests.support.learnt import learnt

store = desk_pages.store

pytestmark = pytest.mark.usefixtures("decoded_here")


@pytest.fixture
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    file = tmp_path / "sizes.csv"
    file.write_text(demo_table(), encoding="utf-8")
    monkeypatch.setenv(SHELF_VARIABLE, str(file))
    return file


def later_weight(page: AppTest, text: str) -> AppTest:
    (field,) = [t for t in page.text_input if t.label == "Weight expected later"]
    field.set_value(text).run()
    assert not page.exception
    return page


# -- what to cut ---------------------------------------------------------------------


@pytest.mark.slow
def test_an_order_that_agrees_shows_what_to_cut_and_which_size_fits(
    store: Store, shelf: Path
) -> None:
    key = key_of(store, "sorrel")
    report = store.order(key).checks[-1].report
    sizes = read_shelf(shelf)
    page = opened(case=key, by="Ines")
    for asked, wish in (("", Wish()), ("62 lb", Wish(62 * 0.45359237)), ("", Wish())):
        # The pound is 0.45359237 kg exactly (NIST SP 811, B.8).
        later_weight(page, asked)
        answer = fit(report, sizes, wish)
        text = unescape(html(page))
        assert answer.headline in text
        for row in cut_rows(answer):
            assert all(cell in text for cell in row)
        for size in answer.sizes[:2]:  # the one to take, and its runner-up
            assert f'<th scope="row">{size.name}</th>' in text
        for said in (*answer.remarks, *answer.cautions):
            assert said in text


def test_a_weight_that_cannot_be_meant_is_answered_and_nothing_is_cut(
    store: Store, shelf: Path
) -> None:
    key = key_of(store, "sorrel")
    page = later_weight(opened(case=key), "a bit more")
    assert any("Weight expected later" in error.value for error in page.error)
    assert "neck opening" not in html(page)
    page = later_weight(page, "60 kg")
    assert "question for a vet" in html(page)
    assert "neck opening" not in html(page)
    assert "neck opening" in html(later_weight(page, ""))


def test_readings_in_doubt_give_the_reason_and_no_length_to_cut(store: Store, shelf: Path) -> None:
    key = key_of(store, "flint")
    page = opened(case=key)
    answer = fit(store.order(key).checks[-1].report, read_shelf(shelf))
    text = unescape(html(page))
    assert answer.headline in text
    assert all(reason in text for reason in answer.reasons)
    assert "neck opening" not in text
    assert not [t for t in page.text_input if t.label == "Weight expected later"]


@pytest.mark.slow
def test_room_for_a_puppys_growth_is_a_question_for_a_vet(store: Store, shelf: Path) -> None:
    key = key_of(store, "sorrel")
    check = store.order(key).checks[-1]
    puppy = replace(check.report.case, dog=replace(check.report.case.dog, age_months=6.0))
    store.record_check(key, check.case, replace(check.report, case=puppy), by="owner")
    page = opened(case=key)
    assert "still grows" in html(page)
    (wish,) = [r for r in page.radio if r.label == "A dog that may still grow"]
    wish.set_value(GROWTH[1]).run()
    assert "A vet can place the dog on a growth chart" in html(page)
    assert "neck opening" not in html(page)
    (adult,) = [t for t in page.text_input if t.label == "Weight expected when grown"]
    adult.set_value("30-26 kg").run()
    assert any("neither a weight nor a range" in error.value for error in page.error)
    (adult,) = [t for t in page.text_input if t.label == "Weight expected when grown"]
    adult.set_value("29-33 kg").run()
    assert not page.exception
    assert "Looked ahead: 95 of 100 such dogs lie between" in html(page)
    assert "neck opening" in html(page)
    assert "a dog can slip out of it" in html(page)


def test_what_to_cut_is_told_of_the_latest_check_only(store: Store) -> None:
    key = key_of(store, "sorrel")
    first = store.order(key).checks[-1]
    store.record_check(key, first.case, first.report, by="Ines")
    assert "neck opening" in html(opened(case=key))
    assert "neck opening" not in html(opened(case=key, check=str(first.number)))


def test_a_shelf_that_became_broken_is_told_and_stands_in_for_nothing(
    store: Store, shelf: Path
) -> None:
    key = key_of(store, "sorrel")
    shelf.write_text("size;middle\n", encoding="utf-8")
    for page in (opened(), opened(case=key)):
        assert str(shelf.name) in page.error[0].value.replace("\\", "")
        assert "no size and no cut is given" in page.error[0].value
    assert "neck opening" not in html(page)
    shelf.write_text(demo_table(), encoding="utf-8")
    page = opened(case=key)
    assert not page.error
    assert "neck opening" in html(page)


# -- the shop's ratios and messages --------------------------------------------------


def reread(page: AppTest) -> AppTest:
    return pressed(page, "check_readings")


@pytest.mark.slow
def test_a_check_at_the_desk_uses_what_the_shop_has_learnt(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    key = key_of(store, "sorrel")
    file = tmp_path / "ratios.json"
    write_ratios(file, learnt())
    monkeypatch.setenv(RATIOS_VARIABLE, str(file))
    assert shop_ratios() == learnt()
    assert "Shape ratios of this check: as shipped." in html(opened(case=key))
    page = reread(opened(case=key, by="Ines"))
    before, after = store.order(key).checks
    assert (before.ratios, after.ratios) == ("", learnt().current)
    assert f"Shape ratios of this check: {learnt().current}." in html(page)
    case = photocheck.read_case(SAMPLES / "sorrel" / "case.json")
    asked = photocheck.check(case, photos=as_kept(store, key, case), ratios=learnt())
    assert after.report.spans == asked.spans
    assert before.report.spans != after.report.spans


def test_ratios_that_became_broken_stop_every_check(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    key = key_of(store, "sorrel")
    file = tmp_path / "ratios.json"
    monkeypatch.setenv(RATIOS_VARIABLE, str(file))
    page = reread(opened(case=key))
    assert all("ratios" in error.value for error in page.error)
    assert "nothing can be checked" in page.error[0].value
    assert len(store.order(key).checks) == 1
    count = len(store.lines())
    page = opened()
    page.button(key="desk_samples").click().run()
    assert len(store.lines()) == count
    assert not page.exception


def test_messages_are_drafted_from_the_shops_own_templates(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "ours" / "en").mkdir(parents=True)
    template = tmp_path / "ours" / "en" / "refused.txt"
    template.write_text("Not this time, {{ dog }}.", encoding="utf-8")
    monkeypatch.setenv(TEMPLATES_VARIABLE, str(tmp_path / "ours"))
    page = decide(opened(case=key_of(store, "flint")), "refused")
    assert str(written(page, "Message").value).startswith("Not this time")
    template.write_text("{{ nobody }}", encoding="utf-8")
    page = decide(opened(case=key_of(store, "tarn")), "refused")
    assert "refused.txt, line 1" in page.warning[0].value.replace("\\", "")
    assert written(page, "Message").value == ""


# -- files ---------------------------------------------------------------------------


@pytest.fixture
def offered(monkeypatch: pytest.MonkeyPatch) -> dict[str, tuple[Callable[[], bytes], str, bool]]:
    """What the page's buttons would make, by their keys; the browser's part is tested there."""
    found = {}

    def button(label: str, data: Callable[[], bytes], **told: Any) -> None:
        found[str(told["key"])] = (data, told["file_name"], told["disabled"])

    monkeypatch.setattr(downloads.st, "download_button", button)
    return found


def test_nothing_is_made_before_somebody_asks_for_it(store: Store, offered, monkeypatch) -> None:
    files = ("record_file", "record_pdf_file", "table_file", "table_workbook", "json_file")
    for name in (*files, "held_zip"):
        monkeypatch.setattr(downloads, name, lambda *_, **__: pytest.fail("it was made"))
    opened()
    opened(case=key_of(store, "sorrel"))
    of_order = {"desk_record", "desk_record_pdf", "desk_order_json", "desk_held"}
    assert set(offered) == {"desk_export_file", *of_order}


def test_the_orders_that_the_list_shows_are_exported(store: Store, offered) -> None:
    page = opened()
    page.text_input(key="desk_find").set_value("measure again").run()
    make, name, _ = offered["desk_export_file"]
    (row,) = csv.DictReader(io.StringIO(make().decode("utf-8-sig"), newline=""))
    assert (name, row["order"]) == ("orders.csv", key_of(store, "flint"))
    page.segmented_control(key="desk_export_delimiter").set_value(";").run()
    text = offered["desk_export_file"][0]().decode("utf-8-sig")
    assert len(list(csv.DictReader(io.StringIO(text, newline=""), delimiter=";"))) == 1
    page.text_input(key="desk_find").set_value("").run()
    page.radio(key="desk_export_kind").set_value("workbook").run()
    make, name, _ = offered["desk_export_file"]
    assert name == "orders.xlsx"
    assert load_workbook(io.BytesIO(make())).active.max_row == 4
    page.radio(key="desk_export_kind").set_value("json").run()
    make, name, _ = offered["desk_export_file"]
    told = json.loads(make())
    assert name == "orders.json"
    assert complaint(told, "orders") is None
    assert len(told["orders"]) == len(shown(page)) == 3
    page.text_input(key="desk_find").set_value("no such dog").run()
    assert offered["desk_export_file"][2]


@pytest.mark.slow
def test_the_record_holds_the_cut_and_is_refused_while_it_is_not_known(
    store: Store, shelf: Path, offered
) -> None:
    key = key_of(store, "sorrel")
    store.decide(key, "accepted", by="Ann at the desk", reason="fits")
    page = opened(case=key, language="de")
    make, name, disabled = offered["desk_record_pdf"]
    assert not disabled
    assert name.startswith("record-")
    assert make().startswith(b"%PDF")
    make, name, disabled = offered["desk_record"]
    assert not disabled
    assert name.startswith("record-")
    record = make().decode()
    answer = fit(store.order(key).checks[-1].report, read_shelf(shelf))
    assert answer.sizes[0].name in record
    assert "Ann at the desk" in record
    later_weight(page, "a bit more")
    assert offered["desk_record"][2]
    unsent = store.open()
    store.save_draft(unsent, new_draft("cm"))
    opened(case=unsent)
    assert offered["desk_record"][2]


def test_an_empty_table_to_fill_in_is_at_hand_where_one_is_brought_in(
    store: Store, offered
) -> None:
    opened(GERMAN_DESK, do="import")
    make, name, disabled = offered["import_blank"]
    assert (name, disabled) == ("orders-to-bring-in.xlsx", False)
    heads = [cell.value for cell in next(load_workbook(io.BytesIO(make())).active.rows)]
    assert heads[:3] == ["Auftragsnummer", "Halter", "Name des Hundes"]


def test_everything_held_about_an_owner(store: Store, offered) -> None:
    key = key_of(store, "flint")
    opened(case=key)
    with zipfile.ZipFile(io.BytesIO(offered["desk_held"][0]())) as archive:
        assert archive.testzip() is None
        told = json.loads(archive.read("order.json"))
        names = {photo["name"] for photo in told["photos"]}
        assert {f"photos/{name}" for name in names} < set(archive.namelist())
        for name in names:
            assert archive.read(f"photos/{name}") == store.photo(key, name)
    (order,) = json.loads(offered["desk_order_json"][0]())["orders"]
    assert order["order"] == told["order"] == key


def test_deleting_asks_first_and_leaves_nothing(store: Store) -> None:
    key = key_of(store, "flint")
    page = decide(opened(case=key, by="Ines"), "refused")
    written(page, "Reason").set_value("half a thought").run()
    assert page.button(key="desk_delete").disabled
    (sure,) = page.checkbox
    sure.check().run()
    assert len(store.lines()) == 3
    pressed(page, "desk_delete")
    with pytest.raises(OrderError):
        store.order(key)
    assert "The order is deleted" in html(page)
    assert "Flint" not in shown(page)
    assert not page.query_params.get("case")
    assert session.unsent_words("Ines", key, "") == {}


# -- what others do ------------------------------------------------------------------


def sent_anew(store: Store, key: str, by: str = "owner") -> None:
    check = store.order(key).checks[-1]
    store.record_check(key, check.case, check.report, by=by)


@pytest.mark.slow
def test_words_begun_before_the_owner_sent_anew_are_not_lost(store: Store) -> None:
    key = key_of(store, "flint")
    page = decide(opened(case=key, by="Ines"), "refused")
    written(page, "Message").set_value("Dear owner, no.").run()
    sent_anew(store, key)
    # Left by the Tab key at the very moment: the browser sends what was typed.
    written(page, "Reason").set_value("half a thought").run()
    assert not page.exception
    assert "This order was sent anew" in html(page)
    assert not [a for a in page.text_area if a.label.startswith("Reason")]
    assert {c.value for c in page.code} == {"Dear owner, no.", "half a thought"}
    assert store.order(key).decisions == ()
    page = pressed(decide(page, "asked_again"), "decide")
    assert "Recorded" in html(page)
    pressed(page, "back_to")
    # Of what was written nothing is left but the decision's own message.
    assert [c.value for c in page.code] == [store.order(key).decisions[0].message]


def test_a_draft_that_nobody_changed_is_not_kept_as_somebodys_words(store: Store) -> None:
    key = key_of(store, "flint")
    page = decide(opened(case=key, by="Ines"), "refused")
    sent_anew(store, key)
    page.run()
    assert [e.label for e in page.expander if "had written" in e.label] == []


@pytest.mark.parametrize(("by", "said"), [("Olga", True), ("Ines", False)])
def test_what_a_colleague_did_is_said_and_what_one_did_oneself_is_not(
    store: Store, by: str, said: bool
) -> None:
    key = key_of(store, "sorrel")
    page = opened(case=key, by="Ines")
    store.decide(key, "accepted", by=by, reason="")
    page.run()
    assert (f"{by} decided on this order meanwhile: accepted." in html(page)) == said
    page.run()
    assert "meanwhile" not in html(page)


def test_an_order_opened_for_the_first_time_has_no_news(store: Store) -> None:
    page = opened(case=key_of(store, "sorrel"))
    sent_anew(store, key_of(store, "flint"))
    page.query_params["case"] = key_of(store, "flint")
    page.run()
    assert "sent anew" not in html(page)
