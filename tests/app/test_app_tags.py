"""The owner's way with tags on the dog: they place the marks, and one yes is for all of them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from photocheck.case.file import case_from_dict
from photocheck.case.samples import samples_folder
from photocheck.orders import worn_tags as finding
from photocheck.scale.catalogue import DOG_TAGS
from photocheck.server import bench
from photocheck.server.run import check_order
from photocheck.server.serving import STORE_VARIABLE
from photocheck.uploads.gate import Gate
from photocheck_app import shared, worn
from photocheck_app.doors import settings
from photocheck_app.marking import Placed
from photocheck_app.owner import marks as marks_step
from photocheck_app.shared import as_text
from tests.support.owner_at_photo import at_photo
from tests.support.tagged_photo import TURNS, by_opencv, tagged

pytestmark = pytest.mark.usefixtures("decoded_here")

Marked = Callable[[AppTest], AppTest]


@pytest.fixture(autouse=True)
def _another_finder(monkeypatch: pytest.MonkeyPatch) -> None:
    """OpenCV's own: what is tested here is what becomes of what was found."""
    monkeypatch.setattr(finding, "find_tags", by_opencv)


@pytest.fixture
def to_marks(to_photo: Callable[[bytes], AppTest]) -> Callable[[bytes], AppTest]:
    """The same with the sheet in the photo, at the step of the marks."""

    def went(content: bytes) -> AppTest:
        page = to_photo(content)
        file = photo_of(page)["file"]
        page.radio(key=f"cards_place_{file}").set_value("middle").run()
        assert not page.exception
        assert address(page, "step") == "marks"
        return page.run()

    return went


@pytest.fixture
def to_photo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[bytes], AppTest]:
    """An order with its readings and one photo, at the step of the photo."""
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "orders.sqlite3"))
    settings.close_stores()

    return at_photo


def address(page: AppTest, name: str) -> str:
    value = page.query_params[name]
    return value[0] if isinstance(value, list) else value


def order_of(page: AppTest) -> str:
    return address(page, "order")


def photo_of(page: AppTest) -> dict[str, Any]:
    draft = shared.owners_store().draft(order_of(page))
    (photo,) = draft.to_dict()["photos"]
    assert isinstance(photo, dict)
    return photo


def press(page: AppTest, key: str) -> AppTest:
    page.button(key=key).click().run()
    assert not page.exception
    return page


def keys(page: AppTest) -> set[str]:
    return {str(button.key) for button in page.button}


def said(page: AppTest) -> str:
    kinds = (page.markdown, page.caption, page.warning, page.info)
    return "\n".join(str(element.value) for kind in kinds for element in kind)


@pytest.mark.slow
def test_one_yes_is_for_all_and_leads_to_the_result(
    to_marks: Callable[[bytes], AppTest], monkeypatch: pytest.MonkeyPatch
) -> None:
    content, tips = tagged()
    monkeypatch.setattr(marks_step, "marking_surface", lambda *_, **__: pytest.fail("by hand"))
    page = to_marks(content)
    # Shown as found, and not yet taken.
    assert "breastbone, shoulder top, last rib, tail base" in said(page)
    assert photo_of(page)["markings"] == []
    at_tags = f"{order_of(page)}/at tags"
    page.checkbox(key=at_tags).check().run()
    assert shared.owners_store().draft(order_of(page)).measured_at_tags
    page = press(page, "next")
    assert address(page, "step") == "result"
    (marking,) = photo_of(page)["markings"]
    assert marking["by"] == "tags"
    for name, tip in tips.items():
        assert marking["marks"][name] == pytest.approx(tip, abs=1.0)
    page.run()
    assert not page.exception
    (verdict,) = [e.value for e in (*page.info, *page.success, *page.warning)][:1]
    assert verdict.startswith("## ")


@pytest.mark.slow
def test_how_deep_the_coat_is_is_asked_with_the_tags(to_marks: Callable[[bytes], AppTest]) -> None:
    """What is typed is said back, is there after leaving the step, and is what the check takes."""
    page = to_marks(tagged()[0])

    def field() -> Any:
        (depth,) = [one for one in page.text_input if "coat stands off the skin" in one.label]
        return depth

    assert field().value == ""
    assert "is what leaves most open in the half neck" in said(page)
    field().set_value("1.5").run()
    assert not page.exception
    assert field().value == "1.5"
    assert "15 mm" in said(page) or "1.5 cm" in said(page)
    draft = shared.owners_store().draft(order_of(page))
    assert draft.dog.coat_depth == "1.5"
    page = press(page, "next")
    assert address(page, "step") == "result"
    told = shared.owners_store().draft(order_of(page)).to_dict()
    case = case_from_dict(told, check_files=False)
    assert case.dog.coat_depth_mm == pytest.approx(15.0)


@pytest.mark.slow
def test_what_no_tag_shows_is_marked_by_hand(
    to_marks: Callable[[bytes], AppTest], monkeypatch: pytest.MonkeyPatch
) -> None:
    content, tips = tagged(
        turns={name: turn for name, turn in TURNS.items() if name != "tail_base"}
    )
    begun: list[Placed] = []

    def surface(_: object, *, start: Placed, **__: object) -> Placed:
        begun.append(start)
        return Placed({**start.marks, "tail_base": (1346.4, 640.5)}) if by_hand else start

    by_hand: list[bool] = []
    monkeypatch.setattr(marks_step, "marking_surface", surface)
    page = to_marks(content)
    assert as_text("Then still to mark by hand: tail base.") in said(page)
    assert not begun
    page = press(page, "next")
    assert address(page, "step") == "marks"
    assert set(begun[-1].marks) == set(tips)
    assert as_text("Still to mark: tail base.") in said(page)
    assert "The tags placed these marks" in said(page)
    by_hand.append(True)
    page.run()
    page.run()
    (marking,) = photo_of(page)["markings"]
    assert marking["by"] == "tags and owner"
    assert set(marking["marks"]) == set(TURNS)
    assert "The tags placed some of these marks" in said(page)
    assert address(press(page, "next"), "step") == "result"


@pytest.mark.slow
def test_without_a_sheet_the_tags_are_what_is_of_known_size(
    to_photo: Callable[[bytes], AppTest], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(marks_step, "marking_surface", lambda *_, **__: pytest.fail("by hand"))
    page = to_photo(tagged(sheet=False)[0])
    assert photo_of(page)["reference"] == {"kind": DOG_TAGS}
    assert "the tags tell how large things are" in said(page)
    # Where they are is known: on the dog.
    assert not [radio for radio in page.radio if "cards_place" in str(radio.key)]
    page = press(page, "next")
    assert address(page, "step") == "marks"
    page.radio(key=f"{order_of(page)}/tag set").set_value("small").run()
    assert photo_of(page)["tags"] == "small"
    page.radio(key=f"{order_of(page)}/tag set").set_value("usual").run()
    assert "tags" not in photo_of(page)
    page = press(page, "next")
    assert address(page, "step") == "result"
    verdicts = [e.value for e in (*page.info, *page.success, *page.warning)]
    assert verdicts[0].startswith("## Nothing stands out")


@pytest.mark.slow
def test_no_leads_to_the_marks_by_hand_and_keeps_nothing(
    to_marks: Callable[[bytes], AppTest], monkeypatch: pytest.MonkeyPatch
) -> None:
    begun: list[Placed] = []

    def surface(_: object, *, start: Placed, **__: object) -> Placed:
        begun.append(start)
        return start

    monkeypatch.setattr(marks_step, "marking_surface", surface)
    page = press(to_marks(tagged()[0]), "tags_wrong")
    assert not begun[-1].marks
    assert photo_of(page)["markings"] == []
    assert "tags_wrong" not in keys(page.run())


@pytest.mark.slow
def test_without_tags_nothing_is_asked_of_them(
    to_marks: Callable[[bytes], AppTest], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(marks_step, "marking_surface", lambda *_, start, **__: start)
    page = to_marks((samples_folder() / "flint" / "side.jpg").read_bytes())
    assert "tags_wrong" not in keys(page)


@pytest.mark.slow
def test_a_busy_server_is_told_and_the_tags_are_asked_of_later(
    to_marks: Callable[[bytes], AppTest], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(marks_step, "marking_surface", lambda *_, start, **__: start)
    page = to_marks(tagged()[0])
    file = photo_of(page)["file"]
    gate = Gate(places=1, waiting=0, patience_s=0)
    bench.drop()
    worn._found.clear()
    with monkeypatch.context() as patch, gate.place():
        patch.setattr(bench, "GATE", gate)
        page.run()
        assert any("Wait a minute" in warning.value for warning in page.warning)
        assert "tags_wrong" not in keys(page)
    page.run()
    assert "tags_wrong" in keys(page)
    assert photo_of(page)["file"] == file


@pytest.mark.slow
def test_declined_tags_are_not_used_until_they_are_asked_for_again(
    to_marks: Callable[[bytes], AppTest], monkeypatch: pytest.MonkeyPatch
) -> None:
    content, tips = tagged()
    by_hand = {name: (x + 25.0, y) for name, (x, y) in tips.items()}
    placed: list[Placed] = [Placed()]
    monkeypatch.setattr(marks_step, "marking_surface", lambda *_, **__: placed[-1])
    page = to_marks(content)
    page.checkbox(key=f"{order_of(page)}/at tags").check().run()
    page = press(page, "tags_wrong")
    assert photo_of(page)["tags"] == "unused"
    assert not shared.owners_store().draft(order_of(page)).measured_at_tags
    assert "not used" in said(page)
    placed.append(Placed(by_hand))
    page.run()
    page = press(page.run(), "next")
    assert address(page, "step") == "result"
    key = order_of(page)
    report = check_order(shared.owners_store(), key)
    (marking,) = report.case.photos[0].markings
    assert (marking.by, dict(marking.marks)) == ("owner", by_hand)
    page = press(press(page, "back"), "tags_after_all")
    assert "tags" not in photo_of(page)
    page = press(page.run(), "next")
    report = check_order(shared.owners_store(), key)
    assert [one.by for one in report.case.photos[0].markings] == ["tags"]


@pytest.mark.slow
def test_declined_tags_that_gave_the_scale_leave_the_photo_to_be_pointed_at(
    to_photo: Callable[[bytes], AppTest], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(marks_step, "marking_surface", lambda *_, start, **__: start)
    page = press(to_photo(tagged(sheet=False)[0]), "next")
    page = press(page, "tags_wrong")
    assert address(page, "step") == "photo"
    assert photo_of(page)["reference"] == {}
    assert photo_of(page)["tags"] == "unused"
