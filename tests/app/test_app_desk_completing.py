"""Staff complete an order on its one screen: what they tell is kept, checked, and not lost."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from photocheck.orders import worn_tags as finding
from photocheck.orders.completing import (
    filled_in,
    is_being_told,
    keep_completed,
    still_lacking,
    unchecked_changes,
    with_photo_replaced,
    working_copy,
)
from photocheck.orders.draft import DraftMarking, reading_text
from photocheck.orders.filling import Blank, new_draft, new_photo, with_photo
from photocheck.orders.model import OrderError, Store
from photocheck.server.run import run_check
from photocheck_app.desk import photo_changes, staff_marks
from photocheck_app.desk.filling_in import PICTURES
from photocheck_app.marking import Placed
from tests.support import desk_pages
from tests.support.desk_pages import html, key_of, opened, pressed, sample_files
from tests.support.tagged_photo import by_opencv, order_with_tags

store = desk_pages.store

pytestmark = pytest.mark.usefixtures("decoded_here")


def field(page: AppTest, label: str) -> str:
    (found,) = [one for one in page.text_input if one.label == label]
    return str(found.value)


def type_in(page: AppTest, label: str, text: str) -> None:
    (found,) = [one for one in page.text_input if one.label == label]
    found.set_value(text).run()
    assert not page.exception


def last_uploader(page: AppTest) -> Any:
    return page.get("file_uploader")[-1]


def with_pictures(**query: str) -> AppTest:
    page = opened(**query)
    page.session_state[PICTURES] = True
    page.run()
    assert not page.exception
    return page


# -- what staff go on with -----------------------------------------------------------


def test_staff_go_on_with_what_was_told_last(store: Store) -> None:
    key = key_of(store, "flint")
    assert working_copy(store.order(key)) == store.order(key).draft
    mine = store.draft(key).but("name", "as staff had it checked")
    run_check(store, key, by="Ines", draft=mine)
    order = store.order(key)
    assert working_copy(order) == mine
    assert unchecked_changes(order) == ()
    assert not is_being_told(order)
    store.save_draft(key, order.draft.but("readings", {"half_neck": "40"}))
    order = store.order(key)
    assert working_copy(order) == order.draft
    assert any("rear length" in change for change in unchecked_changes(order))
    assert is_being_told(order)


def test_a_blank_is_filled_in_and_emptied() -> None:
    age, coat = Blank("dog", "age_months"), Blank("dog", "coat")
    draft = filled_in(new_draft("cm"), {age: " 18,5 ", coat: "short", Blank("dog", "name"): "Fen"})
    assert (draft.dog.age_months, draft.dog.coat, draft.dog.name) == (18.5, "short", "Fen")
    assert filled_in(draft, {age: "", coat: ""}).dog.age_months is None
    for wrong in ("five", "1.2.3", "-4", "1e3", "\u00b2"):
        with pytest.raises(OrderError, match="no number of months"):
            filled_in(draft, {age: wrong})


def test_a_replaced_photo_keeps_what_was_told_of_its_reference() -> None:
    draft = with_photo(new_draft("cm"), "photo-1.jpg", kind="a4")
    draft = with_photo(draft, "photo-2.jpg")
    first = draft.photos[0]
    told = replace(first.reference, place="middle", near=(3.0, 4.0), diameter="7")
    marked = new_photo("photo-1.jpg", told, (DraftMarking({"last_rib": (1.0, 2.0)}),))
    draft = draft.with_photo_changed(0, marked)
    changed = with_photo_replaced(draft, "photo-1.jpg", "photo-3.jpg")
    assert [photo.file for photo in changed.photos] == ["photo-3.jpg", "photo-2.jpg"]
    new = changed.photos[0]
    assert (new.reference.kind, new.reference.place) == ("a4", "middle")
    assert new.reference.near is None
    assert not new.first.marks
    assert with_photo_replaced(draft, "photo-1.jpg", "photo-2.jpg") == draft
    assert with_photo_replaced(draft, "photo-9.jpg", "photo-3.jpg") == draft


def test_what_the_owner_tells_meanwhile_is_not_overwritten(store: Store) -> None:
    key = key_of(store, "flint")
    seen = store.order(key)
    keep_completed(store, seen, seen.draft.but("name", "by staff"))
    owners = seen.draft.but("name", "by the owner")
    store.save_draft(key, owners)
    with pytest.raises(OrderError, match="by somebody else meanwhile"):
        keep_completed(store, seen, seen.draft.but("name", "by staff again"))
    assert store.draft(key) == owners


# -- on the page ---------------------------------------------------------------------


@pytest.mark.slow
def test_the_dog_and_the_owner_are_told_and_checked_on_the_orders_page(store: Store) -> None:
    key = key_of(store, "sorrel")
    before = len(store.order(key).checks)
    page = opened(case=key, by="Ines")
    type_in(page, "girth (cm)", "71")
    type_in(page, "How to reach them", "by telephone, after six")
    type_in(page, "Age in months", "30")
    pressed(page, "keep_facts")
    order = store.order(key)
    assert len(order.checks) == before + 1
    assert order.checks[-1].by == "Ines"
    for told in (order.draft, order.told):
        assert (told.dog.girth, told.dog.age_months) == ("71", 30.0)
        assert told.owner.reach == "by telephone, after six"
    assert "by telephone, after six" in html(page)


@pytest.mark.slow
def test_what_cannot_be_understood_stays_and_is_said(store: Store) -> None:
    key = key_of(store, "sorrel")
    checks = len(store.order(key).checks)
    page = opened(case=key, by="Ines")
    type_in(page, "Age in months", "grown up")
    pressed(page, "keep_facts")
    assert "no number of months" in page.error[0].value
    assert field(page, "Age in months") == "grown up"
    type_in(page, "Age in months", "")
    type_in(page, "girth (cm)", "wide")
    pressed(page, "keep_facts")
    assert "wide" in html(page) + "".join(one.value for one in page.error)
    assert len(store.order(key).checks) == checks
    assert field(opened(case=key, by="Ines"), "girth (cm)") == "wide"


def test_an_order_of_which_nothing_is_told_is_filled_in_by_staff(store: Store) -> None:
    key = store.open("de")
    page = opened(case=key, by="Ines")
    (unit,) = [one for one in page.radio if one.label == "The tape shows"]
    unit.set_value("in").run()
    type_in(page, "rear length (in)", "16 1/2")
    pressed(page, "check_readings")
    draft = store.draft(key)
    assert draft.unit == "in"
    assert reading_text(draft.readings["rear_length"]) == "16 1/2"
    assert "No photo is there yet." in html(page)


@pytest.mark.slow
def test_what_would_fit_is_one_press_from_the_reading(store: Store) -> None:
    key = key_of(store, "flint")
    found = store.order(key).checks[-1].report.explanations
    name, text, _ = next(value for one in found for value in one.candidates)
    page = opened(case=key, by="Ines")
    pressed(page, f"would_fit {name} {text}")
    assert text in [one.value for one in page.text_input]
    assert page.session_state["desk_correct"] is True
    pressed(page, "check_readings")
    assert reading_text(store.order(key).told.readings[name]) == text


@pytest.mark.slow
def test_photos_are_added_replaced_and_taken_out_and_never_lost(store: Store) -> None:
    key = key_of(store, "flint")
    page = with_pictures(case=key, by="Ines")
    _, ((name, content), *_) = sample_files("sorrel")
    last_uploader(page).set_value((name, content, "image/jpeg")).run()
    assert not page.exception
    order = store.order(key)
    assert len(order.draft.photos) == len(order.told.photos) + 1
    new = order.draft.photos[-1]
    assert store.photo(key, new.file)
    assert any("still to mark" in one for one in still_lacking(order.draft))
    assert any("new" in change for change in unchecked_changes(order))
    assert "new" in "".join(one.value for one in page.info)
    again = with_pictures(case=key, by="Ines")
    pressed(again, f"desk_out {new.file}")
    order = store.order(key)
    assert order.draft == order.told
    assert not unchecked_changes(order)


def test_a_file_that_is_no_photo_is_refused_in_words(store: Store) -> None:
    key = key_of(store, "flint")
    page = with_pictures(case=key, by="Ines")
    last_uploader(page).set_value(("dog.jpg", b"not a photo", "image/jpeg")).run()
    assert not page.exception
    assert page.error
    assert store.order(key).draft == store.order(key).told


@pytest.mark.slow
def test_where_the_reference_stood_is_told_and_checked(store: Store) -> None:
    key = key_of(store, "sorrel")
    page = with_pictures(case=key, by="Ines")
    place = next(one for one in page.selectbox if one.label == "Where was it?")
    now = store.order(key).told.photos[0].reference.place
    other = next(one for one in ("near_feet", "middle") if one != now)
    place.set_value(other).run()
    pressed(page, "keep_photos")
    order = store.order(key)
    assert order.told.photos[0].reference.place == other
    assert order.draft == order.told
    assert order.checks[-1].report.photos


def test_a_refused_file_is_looked_at_once(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    page = with_pictures(case=key_of(store, "flint"), by="Ines")
    last_uploader(page).set_value(("dog.jpg", b"not a photo", "image/jpeg")).run()
    (told,) = [one.value for one in page.error]
    monkeypatch.setattr(photo_changes, "take_photo", lambda *_, **__: pytest.fail("once more"))
    page.run()
    assert not page.exception
    assert [one.value for one in page.error] == [told]


@pytest.mark.slow
def test_notes_are_typed_once_and_kept(store: Store) -> None:
    key = key_of(store, "flint")
    page = opened(case=key, by="Ines")
    (notes,) = [area for area in page.text_area if area.label == "Notes"]
    notes.set_value("Pulls to the left.\nRed, please.").run()
    pressed(page, "keep_facts")
    assert store.draft(key).owner.notes == "Pulls to the left.\nRed, please."


# -- tags on the dog -----------------------------------------------------------------


@pytest.fixture
def another_finder(monkeypatch: pytest.MonkeyPatch) -> None:
    """OpenCV's own: what is tested here is what becomes of what was found."""
    monkeypatch.setattr(finding, "find_tags", by_opencv)


@pytest.mark.slow
@pytest.mark.usefixtures("another_finder")
def test_tags_mark_what_nobody_has_marked(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    key = order_with_tags(store)
    began: list[Placed] = []

    def surface(*_: object, start: Placed, **__: object) -> Placed:
        began.append(start)
        return start

    monkeypatch.setattr(staff_marks, "marking_surface", surface)
    page = opened(case=key, do="marks", by="Ines")
    (photo,) = store.draft(key).photos
    assert set(began[-1].marks) == set(photo.needed)
    assert any("Tags were found" in one.value for one in page.caption)
    pressed(page, "check_marks")
    (check,) = store.order(key).checks
    assert not check.case.measured_at_tags
    (marking,) = check.case.photos[0].markings
    assert marking.by == "tags"
    assert store.draft(key).photos[0].markings == (marking,)
    page = opened(case=key, do="marks", by="Ines")
    page.checkbox[1].check().run()
    pressed(page, "check_marks")
    assert store.order(key).checks[-1].case.measured_at_tags
    # Whose tag has slipped is marked by hand, and its tags are not looked for.
    page = opened(case=key, do="marks", by="Ines")
    unused, _ = page.checkbox
    unused.check().run()
    moved = {name: (x + 40.0, y) for name, (x, y) in marking.marks.items()}
    monkeypatch.setattr(staff_marks, "marking_surface", lambda *_, **__: Placed(marks=moved))
    pressed(page, "check_marks")
    last = store.order(key).checks[-1]
    assert last.case.photos[0].tags == "unused"
    assert not last.case.measured_at_tags
    assert [(one.by, one.marks) for one in last.report.case.photos[0].markings] == [("Ines", moved)]


@pytest.mark.slow
@pytest.mark.usefixtures("another_finder")
def test_an_order_with_tags_is_checked_once_the_rest_is_told(store: Store) -> None:
    key = order_with_tags(store)
    draft = store.draft(key)
    store.save_draft(key, draft.but("readings", {}))
    page = opened(case=key, by="Ines")
    for label, text in (("half neck (cm)", "36"), ("full length (cm)", "79.5")):
        type_in(page, label, text)
    pressed(page, "check_readings")
    (check,) = store.order(key).checks
    assert [one.by for one in check.case.photos[0].markings] == ["tags"]
