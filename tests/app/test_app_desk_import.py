"""The desk's way in for tables: looked at, chosen, brought in, and nothing lost on the way."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from photocheck.case.samples import samples_folder
from photocheck.orders.intake import bring as bring_module
from photocheck.orders.intake import columns as columns_module
from photocheck.orders.intake import entries as entries_module
from photocheck.orders.intake.columns import recall
from photocheck.orders.model import Store, StoreError
from photocheck.orders.store.database import DatabaseStore
from photocheck_app.desk import import_done, set_aside
from tests.support import desk_pages
from tests.support.desk_pages import HELD, html, opened, pressed

held = desk_pages.held
store = desk_pages.store

pytestmark = pytest.mark.usefixtures("checked_here", "decoded_here")

FLINT = samples_folder() / "flint" / "side.jpg"
TABLE = (
    "Nr;Hund;Halber Hals;vorn;hinten;Gesamtlänge (cm);Einheit;Alter;E-Mail;Mail;Brustbein;"
    "Widerrist;letzte Rippe;Schwanzansatz;Bogenmaß\r\n"
    "2041;Flint;42,5;46;28;73;cm;5;anna@example.org;;807,6 773,9;964.3 553;1122.5 709.5;"
    "1300 596.6;147,5 mm\r\n"
    "2042;Moss;40,5;45;26;71;cm;;;;;;;;\r\n"
    ";;40,5;45;26;71;cm;;;;;;;;\r\n"
)
PHOTO = ("2041-flint.jpg", FLINT.read_bytes(), "image/jpeg")


@pytest.fixture(autouse=True)
def _memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(columns_module, "memory_file", lambda: tmp_path / "columns.json")


def looked_at(text: str = TABLE, *photos: tuple[str, bytes, str]) -> AppTest:
    page = opened(do="import", by="Ines")
    page.file_uploader(key="import_table_0").set_value(("t.csv", text.encode(), "text/csv"))
    page.file_uploader(key="import_photos_0").set_value(list(photos))
    page.run()
    assert not page.exception
    return page


def column(page: AppTest, heading: str) -> str:
    """Key of the field in which one says what a column holds."""
    (box,) = [box for box in page.selectbox if box.label == heading]
    return box.key or ""


def choose(page: AppTest, heading: str, field: str) -> AppTest:
    page.selectbox(key=column(page, heading)).set_value(field).run()
    assert not page.exception
    return page


@pytest.mark.slow
def test_a_table_is_looked_at_before_anything_comes_in(store: Store) -> None:
    page = looked_at(TABLE, PHOTO)
    said = html(page)
    assert "2 orders come in, 1 of them to wait for a photo" in said
    assert "1 are held back" in said
    assert "comes in, waits for a photo" in said
    assert "2041-flint.jpg" in said
    assert "Nothing says whose order this is" in said
    assert "Column &#x27;Alter&#x27;" in said
    # of two columns that seem to hold the same the first is believed, and it is said
    assert page.selectbox(key=column(page, "E-Mail")).value == "email"
    assert page.selectbox(key=column(page, "Mail")).value == ""
    assert "perhaps: e-mail" in said
    assert len(store.lines()) == len(HELD)


@pytest.mark.slow
def test_rows_are_understood_once_and_held_against_orders_only_when_those_changed(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A page is run at every press, and 19,000 rows take seconds."""
    told: list[object] = []
    asked: list[object] = []

    def counted(calls: list[object], function: Callable[..., object]) -> Callable[..., object]:
        def call(*of: object) -> object:
            calls.append(of)
            return function(*of)

        return call

    monkeypatch.setattr(entries_module, "told_by", counted(told, entries_module.told_by))
    monkeypatch.setattr(bring_module, "all_brought", counted(asked, bring_module.all_brought))
    page = looked_at(TABLE, PHOTO)
    first = html(page)
    assert (len(told), len(asked)) == (3, 1)
    page.run()
    assert html(page) == first
    assert (len(told), len(asked)) == (3, 1)
    # what another desk brings in meanwhile is seen
    key = store.open()
    page.run()
    assert (len(told), len(asked)) == (3, 2)
    store.forget(key)
    page.run()
    assert (len(told), len(asked)) == (3, 3)
    # and what is chosen anew is read anew
    choose(page, "Bogenmaß", "bar")
    assert (len(told), len(asked)) == (6, 4)


@pytest.mark.slow
def test_one_press_brings_all_in_and_checks_what_is_whole(store: Store) -> None:
    page = choose(looked_at(TABLE, PHOTO), "Bogenmaß", "bar")
    pressed(page, "import_go")
    said = html(page)
    assert "2 new, 0 completed, 0 there already, 1 held back. 1 order was checked." in said
    assert "Waiting for a photo: 1." in said
    by_name = {line.name: line for line in store.lines()}
    assert by_name["2041, Flint"].state == "waiting"
    assert by_name["2042, Moss"].state == "being_filled_in"
    order = store.order(by_name["2041, Flint"].key)
    assert order.checks[0].by == "Ines"
    assert order.draft.owner.notes == "Alter: 5"
    assert order.draft.photos[0].reference.bar == "147,5 mm"
    # as the command remembers it
    assert recall() == {"bogenmass": "bar"}
    # what was uploaded is still there, and the same press doubles nothing
    assert "there already" in said
    assert page.button(key="import_go").disabled
    pressed(page, "import_to_drafts")
    assert desk_pages.shown(page) == ["Moss"]


@pytest.mark.slow
def test_two_columns_chosen_for_the_same_are_told_and_nothing_is_lost(store: Store) -> None:
    page = choose(looked_at(TABLE, PHOTO), "Mail", "email")
    assert "both chosen for" in page.error[0].value
    choose(page, "E-Mail", "")
    assert not page.error
    pressed(page, "import_go")
    assert recall()["email"] == ""


@pytest.mark.slow
def test_a_photo_that_comes_later_completes_the_order(store: Store) -> None:
    pressed(looked_at(TABLE), "import_go")
    page = looked_at(TABLE, PHOTO)
    assert "0 orders come in, 0 of them to wait for a photo; 1 are completed, 1 are there" in html(
        page
    )
    pressed(page, "import_go")
    assert "0 new, 1 completed, 1 there already, 1 held back." in html(page)
    assert len(store.lines()) == len(HELD) + 2


@pytest.mark.slow
def test_a_store_that_fails_in_the_middle_loses_nothing(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, calls = bring_module.put_order, iter([True, False, True, True])

    def put(kept: DatabaseStore, *given: object, **more: object) -> object:
        if not next(calls):
            raise StoreError("the disk is full")
        return real(kept, *given, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(bring_module, "put_order", put)
    page = pressed(looked_at(TABLE, PHOTO), "import_go")
    assert "the disk is full" in page.error[0].value
    assert len(store.lines()) == len(HELD) + 1
    assert "1 orders come in" in html(page)
    pressed(page, "import_go")
    assert not page.error
    assert len(store.lines()) == len(HELD) + 2
    # what came in before and was not checked then is checked now
    assert {line.name: line.state for line in store.lines()}["2041, Flint"] == "waiting"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"PK\x03\x04broken", "cannot be read"),
        (b"", "empty"),
        (b"a;b\n1;2\n", "no column is headed"),
        (bytes(range(256)), "plain text"),
    ],
)
def test_what_is_no_table_is_answered_in_words(store: Store, content: bytes, said: str) -> None:
    page = opened(do="import", by="Ines")
    page.file_uploader(key="import_table_0").set_value(("t.xlsx", content, "text/csv"))
    page.run()
    assert not page.exception
    assert said in page.error[0].value


def test_what_a_table_says_is_shown_as_text(store: Store) -> None:
    text = 'Nr,"<b>Hund</b>",Halber Hals (cm),Alter\n"<script>x</script>",Bo,41,"<i>5</i>"\n'
    said = html(looked_at(text))
    assert "<script>x" not in said
    assert "<i>5" not in said
    assert "&lt;script&gt;x" in said


@pytest.mark.slow
def test_a_run_that_is_ended_by_another_is_gone_on_with(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a connection that is gone for a second ends it, in the middle of a long table."""
    real_put, real_check = bring_module.put_order, import_done.checked_by_shop
    ends = iter([False, True, False, True, False])

    def put(kept: DatabaseStore, *given: object, **more: object) -> object:
        if next(ends):
            st.rerun()
        return real_put(kept, *given, **more)  # type: ignore[arg-type]

    def check(key: str, who: str) -> object:
        if next(ends):
            st.rerun()
        return real_check(key, who)

    monkeypatch.setattr(bring_module, "put_order", put)
    monkeypatch.setattr(import_done, "checked_by_shop", check)
    page = pressed(looked_at(TABLE, PHOTO), "import_go")
    assert not list(ends)
    assert "2 new, 0 completed, 0 there already, 1 held back. 1 order was checked." in html(page)
    assert len(store.lines()) == len(HELD) + 2
    assert store.order({line.name: line.key for line in store.lines()}["2041, Flint"]).checks


def test_a_table_put_away_in_the_middle_says_how_far_it_came(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, calls = bring_module.put_order, iter([False, True])

    def put(kept: DatabaseStore, *given: object, **more: object) -> object:
        if next(calls):
            st.stop()
        return real(kept, *given, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(bring_module, "put_order", put)
    page = pressed(looked_at(TABLE, PHOTO), "import_go")
    page.file_uploader(key="import_table_0").set_value(None)
    page.run()
    assert "put away before all of it had come in" in page.error[0].value
    assert "1 new" in html(page)
    assert len(store.lines()) == len(HELD) + 1


def reloaded(by: str = "Ines") -> AppTest:
    """The page as a browser has it after it was loaded again: its uploaders are empty."""
    page = opened(do="import", by=by)
    assert not page.exception
    return page


@pytest.mark.slow
def test_a_reload_loses_neither_table_nor_photos(store: Store) -> None:
    looked_at(TABLE, PHOTO)
    page = reloaded()
    assert "2 orders come in, 1 of them to wait for a photo" in html(page)
    assert any("t.csv, 1 photo." in one.value for one in page.caption)
    assert "orders come in" not in html(reloaded(by="Jo"))  # nobody else's
    more = ("2042.jpg", (samples_folder() / "moss" / "side.jpg").read_bytes(), "image/jpeg")
    page.file_uploader(key="import_photos_0").set_value([more]).run()
    assert "2 orders come in, 0 of them to wait for a photo" in html(page)
    assert "0 of them to wait for a photo" in html(reloaded())
    pressed(page, "import_go")
    assert "2 new" in html(page)
    assert len(store.lines()) == len(HELD) + 2
    # what came in is held no longer
    assert "orders come in" not in html(reloaded())


@pytest.mark.slow
def test_a_reload_loses_no_choice_of_columns(store: Store) -> None:
    page = looked_at(TABLE, PHOTO)
    heading, other = "Alter", "Mail"
    choose(page, heading, "")
    choose(page, other, "girth")
    page.selectbox(key="import_unit").set_value("in").run()
    page.selectbox(key="import_language").set_value("de").run()
    page.checkbox(key="import_update").set_value(True).run()
    for again in (reloaded(), reloaded()):  # also of one that was loaded again before
        assert not again.warning
        assert again.selectbox(key=column(again, heading)).value == ""
        assert again.selectbox(key=column(again, other)).value == "girth"
        assert again.selectbox(key="import_unit").value == "in"
        assert again.selectbox(key="import_language").value == "de"
        assert again.checkbox(key="import_update").value is True
    choose(again, other, "weight")
    assert reloaded().selectbox(key=column(again, other)).value == "weight"
    # another table has its own
    again.file_uploader(key="import_table_0").set_value(("u.csv", TABLE.encode(), "text/csv"))
    again.run()
    assert again.selectbox(key=column(again, heading)).value != ""
    pressed(again, "import_clear")
    assert "orders come in" not in html(reloaded())


def test_what_was_put_away_or_taken_out_does_not_come_back(store: Store) -> None:
    page = looked_at(TABLE, PHOTO)
    page.file_uploader(key="import_table_0").set_value(None).run()
    again = reloaded()
    assert "orders come in" not in html(again)
    assert any("Still here" in one.value for one in again.caption)
    looked_at(TABLE)
    pressed(reloaded(), "import_clear")
    assert "orders come in" not in html(reloaded())


def test_what_is_set_aside_is_bounded_in_time_and_size(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked_at(TABLE)
    monkeypatch.setattr(set_aside, "KEPT_S", -1.0)
    assert "orders come in" not in html(reloaded())
    monkeypatch.setattr(set_aside, "KEPT_S", 3600.0)
    monkeypatch.setattr(set_aside, "MOST_BYTES", len(TABLE.encode()) + 100)
    looked_at(TABLE)
    assert "orders come in" in html(reloaded())
    looked_at(TABLE, PHOTO)
    assert "orders come in" not in html(reloaded())


def test_an_unreadable_table_can_be_put_away_after_a_reload(store: Store) -> None:
    page = opened(do="import", by="Ines")
    page.file_uploader(key="import_table_0").set_value(("t.xlsx", b"PK\x03\x04no", "text/csv"))
    page.run()
    assert page.error
    page = reloaded()
    assert page.error
    assert not pressed(page, "import_clear").error


@pytest.mark.slow
def test_a_case_file_outlasts_a_reload(store: Store) -> None:
    folder = samples_folder() / "flint"
    content = (folder / "case.json").read_bytes()
    page = opened(do="import", by="Ines")
    page.file_uploader(key="desk_case_file_0").set_value(("case.json", content, "application/json"))
    page.file_uploader(key="desk_photos_0").set_value([("side.jpg", FLINT.read_bytes(), "x")])
    page.run()
    page = reloaded()
    pressed(page, "desk_bring_in")
    assert not page.error
    assert len(store.lines()) == len(HELD) + 1
    assert not any("before this page" in one.value for one in reloaded().caption)


def test_figures_of_what_is_set_aside() -> None:
    assert set_aside.KEPT_S == 3600.0
    assert set_aside.MOST_BYTES == 300_000_000
