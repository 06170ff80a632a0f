"""The owner's way in the app: what is typed stays, and the answer is `photocheck.check`'s own."""

from __future__ import annotations

import ast
import json
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from streamlit.testing.v1 import AppTest
from streamlit.testing.v1.element_tree import FileUploader

from photocheck.case.samples import samples_folder
from photocheck.errors import CaseError
from photocheck.orders.draft import DraftPhoto, ReferenceTold
from photocheck.orders.intake.bring_in import bring_in
from photocheck.orders.screens import ASKED
from photocheck.orders.taking import FirstLook
from photocheck.report.file import report_to_dict
from photocheck.server import bench
from photocheck.server.access.passes import link_for
from photocheck.server.access.rates import TooOftenError
from photocheck.server.serving import STORE_VARIABLE
from photocheck.uploads import BusyError
from photocheck.uploads.gate import Gate
from photocheck.words import READING_TITLES
from photocheck_app import shared, sheet_page
from photocheck_app.doors import settings
from photocheck_app.marking import Placed
from photocheck_app.owner import marks as marks_step
from photocheck_app.owner import photos as photo_step
from photocheck_app.owner import result as result_step
from photocheck_app.owner import way as way_module
from photocheck_app.shared import as_text
from tests.support.checked_samples import checked
from tests.support.command_line import by_command
from tests.support.places import APP, ROOT
from tests.support.typed_takes import only_typed, rounds

pytestmark = pytest.mark.usefixtures("decoded_here")

Opened = Callable[..., AppTest]


@pytest.fixture
def opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Opened:
    """Open the app as a new visitor, perhaps at an address; one store a test."""
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "orders.sqlite3"))
    settings.close_stores()

    def visit(**address: str) -> AppTest:
        page = AppTest.from_file(str(APP / "main.py"), default_timeout=60)
        for name, value in address.items():
            page.query_params[name] = value
        page.run()
        assert not page.exception
        return page

    return visit


def at(page: AppTest, name: str) -> str:
    value = page.query_params[name]
    return value[0] if isinstance(value, list) else value


def press(page: AppTest, key: str) -> AppTest:
    page.button(key=key).click().run()
    assert not page.exception
    return page


def begun(opened: Opened, unit: str = "cm") -> AppTest:
    """A new order, at the page with all readings."""
    page = press(opened(), "begin")
    page.radio(key=f"{at(page, 'order')}/unit").set_value(unit).run()
    return press(page, "go_readings")


def typed(page: AppTest, path: str, text: str) -> AppTest:
    page.text_input(key=f"{at(page, 'order')}/{path}").set_value(text).run()
    assert not page.exception
    return page


def flint() -> tuple[str, str]:
    """The invented order of Flint in the app's store: its key, and a link to it."""
    folder = samples_folder() / "flint"
    key = bring_in(
        shared.store(),
        ("case.json", (folder / "case.json").read_bytes()),
        [("side.jpg", (folder / "side.jpg").read_bytes())],
    ).key
    return key, link_for(shared.store(), key, by="Robin")


def shown(page: AppTest) -> str:
    kinds = (page.markdown, page.caption, page.error, page.warning, page.success, page.info)
    return "\n".join(str(element.value) for kind in kinds for element in kind)


@pytest.mark.slow
def test_a_sample_is_checked_by_the_first_click(opened: Opened) -> None:
    report = checked("flint")
    page = press(opened(), "see_sample")
    assert page.warning[0].value == f"## {as_text(report.headline)}"
    assert as_text(report.next_step) in shown(page)
    page.selectbox(key="sample").select("sorrel").run()
    assert page.success[0].value == f"## {as_text(checked('sorrel').headline)}"


def test_what_was_typed_survives_going_back_and_a_reload(opened: Opened) -> None:
    page = typed(begun(opened), "readings/half_neck", "36,8")
    page = typed(page, "readings/front_length", "4o cm")
    key = at(page, "order")
    assert "36.8 cm = 14 1/2 in" in shown(page)
    assert "'4o cm'" in page.error[0].value
    page = typed(press(page, "go_dog"), "dog/weight", "62 lb")
    # 62 x 0.45359237 = 28.1227 (the pound of 1959)
    assert "28.1 kg = 62.0 lb" in shown(page)
    page = press(page, "go_readings")
    for again in (page, opened(order=key, step="readings")):
        assert again.text_input(key=f"{key}/readings/half_neck").value == "36,8"
        assert again.text_input(key=f"{key}/readings/front_length").value == "4o cm"
    result = opened(order=key, step="result")
    assert "'4o cm'" in shown(result)
    result = press(result, "gap_readings")
    assert at(result, "step") == "front_length"


@pytest.mark.slow
def test_the_second_round_hides_the_first_numbers_until_its_own_are_in(opened: Opened) -> None:
    page = typed(typed(begun(opened), "readings/half_neck", "41"), "readings/rear_length", "33,3")
    key = at(page, "order")
    page = press(page, "to_again")
    assert at(page, "step") == "again"
    assert [field.key for field in page.text_input] == [
        f"{key}/readings/half_neck/2",
        f"{key}/readings/rear_length/2",
    ]
    assert [field.value for field in page.text_input] == ["", ""]
    assert "41" not in shown(page)
    page = typed(page, "readings/half_neck/2", "41.5")
    assert "41.0 cm · 41.5 cm" in shown(page)
    assert "They fit each other" in shown(page)
    assert "33.3" not in shown(page)
    page = typed(page, "readings/rear_length/2", "23")
    assert "33.3 cm · 23.0 cm" in shown(page)
    assert "measure the rear length a third time" in page.warning[0].value
    page = typed(page, "readings/rear_length/3", "33")
    assert not page.warning
    assert "23.0 cm does not fit the others. It is kept" in shown(page)
    takes = shared.owners_store().draft(key).to_dict()["readings"]["rear_length"]
    assert [(take["typed"], take["by"]) for take in takes] == [
        ("33,3", "owner"),
        ("23", "owner"),
        ("33", "owner"),
    ]
    page = press(press(page, "back"), "next")
    assert at(page, "step") == "photo"


def test_a_third_number_may_be_added_though_two_fit_and_is_taken_blindly(opened: Opened) -> None:
    page = typed(begun(opened), "readings/half_neck", "41")
    key = at(page, "order")
    page = typed(press(page, "to_again"), "readings/half_neck/2", "41.5")
    page = press(page, "more_half_neck")
    assert [field.key for field in page.text_input] == [f"{key}/readings/half_neck/3"]
    assert "41" not in shown(page)
    page = typed(page, "readings/half_neck/3", "41.2")
    assert "41.0 cm · 41.5 cm · 41.2 cm" in shown(page)
    takes = shared.owners_store().draft(key).to_dict()["readings"]["half_neck"]
    assert [take["typed"] for take in takes] == ["41", "41.5", "41.2"]


@pytest.mark.slow
def test_an_offer_to_measure_again_leads_to_an_empty_field_for_each(opened: Opened) -> None:
    """Nettle's order, each reading taken twice: what could hide is asked for a third time."""
    folder = samples_folder() / "nettle"
    told = json.loads((folder / "case.json").read_text(encoding="utf-8"))
    second = ("15 1/4", "18 1/2", "9 3/4", "26 3/4", "26 3/4")
    told["readings"] = {
        name: [text, other]
        for (name, text), other in zip(told["readings"].items(), second, strict=True)
    }
    key = bring_in(
        shared.store(),
        ("case.json", json.dumps(told).encode()),
        [("side.jpg", (folder / "side.jpg").read_bytes())],
    ).key
    link = link_for(shared.store(), key, by="Robin")
    typed(opened(order=link, step="dog"), "dog/name", "Nettle the Second")  # not as it was sent
    page = opened(order=link, step="result")
    (asked,) = [said.value for said in page.markdown if "**Measure these once" in said.value]
    names = [name for name, title in READING_TITLES.items() if title in asked]
    assert set(names) == {"half_neck", "front_length", "neck_ring"}
    page = press(page, "offer_again")
    assert at(page, "step") == "again"
    fields = page.text_input[: len(names)]
    assert [field.key for field in fields] == [
        f"{link}/readings/{name}/3" for name in ASKED if name in names
    ]
    assert [field.value for field in fields] == [""] * len(names)


def test_a_second_number_survives_a_reload_and_a_wrong_one_leads_back(opened: Opened) -> None:
    page = press(typed(begun(opened), "readings/half_neck", "41"), "to_again")
    key = at(page, "order")
    page = typed(page, "readings/half_neck/2", "4o cm")
    assert "'4o cm'" in page.error[0].value
    assert "41" not in shown(page)
    again = opened(order=key, step="again")
    assert again.text_input(key=f"{key}/readings/half_neck/2").value == "4o cm"
    result = press(opened(order=key, step="result"), "gap_again")
    assert at(result, "step") == "again_half_neck"
    page = typed(result, "readings/half_neck/2", "")
    assert shared.owners_store().draft(key).to_dict()["readings"]["half_neck"][0]["typed"] == "41"
    assert len(shared.owners_store().draft(key).to_dict()["readings"]["half_neck"]) == 1


@pytest.mark.slow
def test_a_helpers_hands_are_kept_with_the_second_number(opened: Opened) -> None:
    page = typed(typed(begun(opened), "readings/half_neck", "41"), "readings/rear_length", "33")
    key = at(page, "order")
    page = typed(press(page, "to_again"), "readings/half_neck/2", "41.5")

    def hands(name: str) -> list[str]:
        takes = shared.owners_store().draft(key).to_dict()["readings"][name]
        return [take["by"] for take in takes]

    page.toggle(key=f"{key}/helper").set_value(True).run()
    page = typed(page, "readings/rear_length/2", "33.5")
    assert (hands("half_neck"), hands("rear_length")) == (["owner", "helper"], ["owner", "helper"])
    again = opened(order=key, step="again")
    assert again.toggle(key=f"{key}/helper").value is True
    again = typed(again, "readings/half_neck/2", "")
    again = typed(again, "readings/half_neck/2", "41.2")  # after a reload, with the same hands
    assert hands("half_neck") == ["owner", "helper"]
    again.toggle(key=f"{key}/helper").set_value(False).run()
    again.run()
    assert hands("half_neck") == ["owner", "owner"]
    assert not again.toggle(key=f"{key}/helper").value


def test_ring_and_full_length_are_asked_for_with_the_others(opened: Opened) -> None:
    page = begun(opened)
    fields = [str(field.key).rpartition("/")[2] for field in page.text_input]
    assert fields == ["half_neck", "neck_ring", "front_length", "rear_length", "full_length"]
    assert shown(page).count("Please take this one too") == 2
    assert page.button(key="to_again").disabled
    # and still nobody has to
    assert at(press(typed(page, "readings/half_neck", "41"), "next"), "step") == "front_length"


def test_inches_are_read_and_said_back(opened: Opened) -> None:
    page = typed(begun(opened, "in"), "readings/half_neck", "14 1/2")
    # 14.5 x 2.54 = 36.83
    assert "14 1/2 in = 36.8 cm" in shown(page)
    page.radio(key=f"{at(page, 'order')}/unit").set_value("cm").run()
    assert page.text_input(key=f"{at(page, 'order')}/readings/half_neck").value == "14 1/2"


def test_visitors_come_only_to_their_own_order(opened: Opened) -> None:
    first = typed(begun(opened), "readings/half_neck", "36.8")
    second = begun(opened)
    keys = at(first, "order"), at(second, "order")
    assert keys[0] != keys[1]
    assert second.text_input(key=f"{keys[1]}/readings/half_neck").value == ""
    # the last letter of a signature carries four bits of it: A to D are the same signature
    stranger = opened(order=keys[0][:-1] + ("A" if keys[0][-1] not in "ABCD" else "Q"))
    assert "no order" in stranger.error[0].value
    assert not stranger.text_input
    assert opened().button(key="begin")


def test_the_language_keeps_step_and_order(opened: Opened) -> None:
    page = typed(begun(opened), "readings/half_neck", "36.8")
    key = at(page, "order")
    page = press(page, "go_dog")
    page.segmented_control(key="language_choice").set_value("de").run()
    page.run()
    assert (at(page, "order"), at(page, "step"), at(page, "language")) == (key, "dog", "de")
    assert page.text_input(key=f"{key}/dog/weight")


def upload(page: AppTest, *files: tuple[str, bytes]) -> AppTest:
    (uploader,) = page.get("file_uploader")
    assert isinstance(uploader, FileUploader)
    uploader.set_value([(name, content, "image/jpeg") for name, content in files]).run()
    assert not page.exception
    return page


def photos(page: AppTest) -> list[dict[str, Any]]:
    return shared.owners_store().order(at(page, "order")).draft.to_dict()["photos"]


@pytest.mark.slow
def test_what_is_no_photo_is_told_and_the_others_stay(opened: Opened) -> None:
    good = (samples_folder() / "flint" / "side.jpg").read_bytes()
    page = opened(order=at(begun(opened), "order"), step="photo")
    page = upload(page, ("side.jpg", good))
    assert len(photos(page)) == 1
    page = upload(page, ("notes.jpg", b"words"), ("half.jpg", good[:9000]), ("again.jpg", good))
    assert len(photos(page)) == 1
    assert [error.value.split("\\:")[0] for error in page.error] == ["notes.jpg", "half.jpg"]
    assert "Found, where it is outlined" in shown(page)


@pytest.mark.slow
def test_a_cropped_photo_is_asked_for_whole_where_it_was_uploaded(opened: Opened) -> None:
    with Image.open(samples_folder() / "flint" / "side.jpg") as whole:
        out = BytesIO()
        whole.crop((130, 90, 1903, 1401)).save(out, "JPEG", quality=92, exif=whole.getexif())
    page = opened(order=at(begun(opened), "order"), step="photo")
    page = upload(page, ("side.jpg", out.getvalue()))
    assert any("Send the whole photo" in warning.value for warning in page.warning)


def test_a_photo_is_looked_at_once_whatever_was_told_of_it_comes_from(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    looked: list[ReferenceTold] = []

    def look(store: Any, key: str, name: str, reference: ReferenceTold, *more: str) -> FirstLook:
        looked.append(reference)
        return FirstLook(True, (), "", ())

    monkeypatch.setattr(photo_step.bench, "look", look)
    told = ReferenceTold(kind="marker_sheet", bar="100")
    kept = ReferenceTold.from_dict(json.loads(json.dumps(told.to_dict())))
    for one in (told, kept, ReferenceTold(kind="marker_sheet")):
        photo_step._look("a link", "a photo", one, "cm", "en", "side")
    assert looked == [told, ReferenceTold(kind="marker_sheet")]


@pytest.mark.slow
def test_whoever_meets_a_busy_server_tries_again_and_loses_nothing(
    opened: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    good = (samples_folder() / "flint" / "side.jpg").read_bytes()
    page = opened(order=at(begun(opened), "order"), step="photo")
    take, busy = photo_step.take_photo, [True]

    def taken(*args: Any, name: str, **more: Any) -> str:
        if name == "second.jpg" and busy:
            raise BusyError("many photos are being read just now", do="Wait a minute")
        return take(*args, name=name, **more)

    monkeypatch.setattr(photo_step, "take_photo", taken)
    other = (samples_folder() / "moss" / "side.jpg").read_bytes()
    page = upload(page, ("side.jpg", good), ("notes.jpg", b"words"), ("second.jpg", other))
    assert len(photos(page)) == 1
    assert "notes.jpg" in page.error[0].value
    assert "many photos are being read" in page.error[1].value
    busy.clear()
    page = press(page, "try_again")
    assert len(photos(page)) == 2
    assert [error.value.split("\\:")[0] for error in page.error] == ["notes.jpg"]
    assert not [button for button in page.button if button.key == "try_again"]


@pytest.mark.slow
def test_a_busy_server_is_told_at_the_marks_and_the_result(
    opened: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened()
    _, link = flint()
    gate = Gate(places=1, waiting=0, patience_s=0)
    monkeypatch.setattr(bench, "GATE", gate)
    with gate.place():
        for step in ("marks", "result"):
            page = opened(order=link, step=step)
            assert any("Wait a minute" in warning.value for warning in page.warning)
            assert page.button(key="try_again")
    page = press(page, "try_again")
    assert page.warning[0].value.startswith("## ")


@pytest.mark.slow
def test_what_keeps_a_check_from_being_made_is_asked_at_each_new_page(
    opened: Opened, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No result is shown that was made for another, and none is made that may not be."""
    opened()
    _, link = flint()
    counted, made = list[str](), list[str]()

    class Counts:
        def count(self, what: str, who: str) -> None:
            counted.append(what)
            if what == "checks of link" and len(counted) <= 4:
                raise TooOftenError("Too many checks")

    def check_order(store: Any, key: str, **_: Any) -> Any:
        made.append(key)
        raise CaseError("made")

    monkeypatch.setattr(result_step, "COUNTS", Counts())
    monkeypatch.setattr(result_step, "check_order", check_order)
    said = [opened(order=link, step="result").error[0].value for _ in range(3)]
    assert ["Too many checks" in one for one in said] == [True, True, False]
    assert counted == ["checks from address", "checks of link"] * 3
    assert made == [link]


@pytest.mark.slow
@pytest.mark.parametrize(
    "name",
    [
        *("bramble", "heron", "rowan", "wren"),
        *(pytest.param(name, marks=pytest.mark.slow) for name in ("flint", "sorrel")),
    ],
)
def test_the_result_is_the_command_lines_to_the_last_digit(
    opened: Opened, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    data = json.loads((samples_folder() / name / "case.json").read_text(encoding="utf-8"))
    page = begun(opened, data["unit"])
    key = at(page, "order")
    first, *later = rounds(data["readings"])
    for reading, text in first.items():
        page = typed(page, f"readings/{reading}", text)
    if later:
        page = press(page, "to_again")
    for number, texts in enumerate(later, start=2):
        for reading, text in texts.items():
            page = typed(page, f"readings/{reading}/{number}", text)
    page = press(page, "go_dog")
    for fact in ("name", "breed", "weight", "girth", "neck_width", "chest_width"):
        page = typed(page, f"dog/{fact}", data["dog"].get(fact, ""))
    page.number_input(key=f"{key}/dog/age_months").set_value(data["dog"]["age_months"]).run()
    for fact in ("coat", "build"):
        page.radio(key=f"{key}/dog/{fact}").set_value(data["dog"][fact]).run()
    kept: list[str] = []
    for told in data["photos"]:
        page = press(page, "go_front" if told.get("view") == "front" else "go_photo")
        file = told["file"]
        page = upload(page, (file, (samples_folder() / name / file).read_bytes()))
        file = photos(page)[-1]["file"]
        kept.append(file)
        kind = told["reference"]["kind"]
        if kind != "marker_sheet":
            if any(one.key == f"not_right/{file}" for one in page.button):
                # the sample tells by hand what and where it is, and that is compared
                page = press(page, f"not_right/{file}")
            page.radio(key=f"{key}/photos/{file}/reference/kind").set_value(kind).run()
        page.radio(key=f"cards_place_{file}").set_value(told["reference"]["place"]).run()
        page = press(page, "go_front" if told.get("view") == "front" else "go_photo")
        for detail in ("bar", "offset"):
            if detail in told["reference"]:
                page = typed(
                    page,
                    f"photos/{file}/reference/{detail}",
                    told["reference"][detail].lstrip("-"),
                )
    # No browser here: the surface "returns" what the sample has, photo by photo.
    told_of = dict(zip(kept, data["photos"], strict=True))

    def surface(_: object, *, key: str, reference_shape: str, **__: object) -> Placed:
        whole = marks_step._start(DraftPhoto.from_dict(told_of[key.split("/")[1]]), "corners")
        if reference_shape == "near":
            inside = [sum(c) / 4 for c in zip(*whole.reference, strict=True)]
            return Placed(reference=(tuple(inside),))
        return whole

    monkeypatch.setattr(marks_step, "marking_surface", surface)
    page = press(page, "go_marks")
    for file in kept[1:]:
        page.segmented_control(key="photo_choice").set_value(file).run()
    page.run()
    page = press(page, "next")
    press(press(page, "to_send"), "send")
    (check,) = shared.owners_store().order(key).checks
    mine = without_names(report_to_dict(check.report))
    for photo in data["photos"]:
        photo["markings"][0].pop("spread_mm", None)
    alone = shared.owners_store().draft(key).to_dict()
    assert without_names(only_typed(alone)) == without_names(data)
    folder = Path(str(shared.store().engine.url.database)).parent
    assert mine == without_names(by_command(shared.owners_store(), key, folder))
    assert as_text(check.report.headline) in shown(page)


NAMES = ("file", "path", "near", "owner", "declined")


def without_names(value: Any) -> Any:
    """Without what the case and its photos are called, who orders, and what only the page asks.

    That is the tap on a card, and the no to what was found by itself.
    """
    if isinstance(value, dict):
        return {
            name: without_names(item)
            for name, item in value.items()
            if name not in NAMES and not (name == "name" and "unit" in value)
        }
    return [without_names(item) for item in value] if isinstance(value, (list, tuple)) else value


@pytest.mark.slow
def test_a_problem_leads_back_and_an_answer_of_the_workshop_is_shown(opened: Opened) -> None:
    opened()
    key, link = flint()
    page = press(press(opened(order=link, step="result"), "to_send"), "send")
    assert "Sent" in shown(page)
    # It need not wait for the workshop to ask.
    assert page.button(key="to_rear_length")
    shared.store().decide(
        key, "asked_again", by="Robin", reason="rear", message="Please measure the rear again."
    )
    page = opened(order=link, step="result")
    assert "Please measure the rear again." in page.warning[0].value
    page = press(page, "to_rear_length")
    assert at(page, "step") == "rear_length"
    page = typed(page, "readings/rear_length", "27")
    page = opened(order=link, step="result")
    # one photo and one reading each: nothing stands out, and it says what could hide
    assert page.info[0].value.startswith("## Nothing stands out, but")
    assert page.button(key="to_send")


def test_the_sheet_is_offered_for_both_papers() -> None:
    def alone() -> None:
        from photocheck_app.sheet_page import page

        page()

    page = AppTest.from_function(alone, default_timeout=60).run()
    for paper in ("a4", "letter"):
        page.radio(key="paper").set_value(paper).run()
        assert not page.exception
        assert sheet_page._pdf(paper, "en").startswith(b"%PDF")
        for size in ("usual", "small"):
            page.radio(key="tag_size").set_value(size).run()
            assert not page.exception
            assert sheet_page._tags_pdf(paper, size, "en").startswith(b"%PDF")
        assert len(page.get("download_button")) == 2
    assert "ask a vet" in shown(page)


def test_text_is_shown_as_it_is() -> None:
    assert as_text("a_b *c* [d](e) $f$ :red[g]") == (r"a\_b \*c\* \[d\](e) \$f\$ \:red\[g\]")
    # tests/browser/test_text_shown.py has a browser show them
    assert as_text("see HTTPS://x.example") == "see HTTPS\u2060\\://x.example"
    assert as_text("www.x.example, swww.y") == "www\u2060.x.example, swww.y"


def test_the_package_never_imports_the_page() -> None:
    for path in (ROOT / "photocheck").rglob("*.py"):
        source = path.read_text(encoding="utf-8")
        if "streamlit" not in source and "photocheck_app" not in source:
            continue
        for node in ast.walk(ast.parse(source)):
            names = (
                [alias.name for alias in node.names]
                if isinstance(node, ast.Import)
                else [node.module or ""]
                if isinstance(node, ast.ImportFrom)
                else []
            )
            for name in names:
                assert not name.startswith(("streamlit", "photocheck_app")), path


def test_the_owners_pages_do_no_arithmetic() -> None:
    pages = [
        *(APP / "owner").glob("*.py"),
        *map(Path, (shared.__file__, way_module.__file__)),
    ]
    for path in pages:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.BinOp):
                right = node.right.value if isinstance(node.right, ast.Constant) else None
                joins_paths = isinstance(node.op, ast.Div) and isinstance(right, str)
                plain = isinstance(node.op, (ast.Add, ast.Sub, ast.BitOr))
                assert plain or joins_paths or "svg" in ast.dump(node), (path, node.lineno)
            if isinstance(node, ast.ImportFrom):
                assert node.module not in ("math", "scipy", "cv2"), path


@pytest.mark.slow
def test_a_link_without_a_page_stays_where_it_led_while_one_types(opened: Opened) -> None:
    """Else what was typed would change the screen under the finger that presses next."""
    key = at(begun(opened), "order")
    page = opened(order=key)
    field = f"{key}/readings/half_neck"
    page.text_input(key=field).set_value("38,4").run()
    assert page.text_input(key=field).value == "38,4"
    page = press(page, "next")
    assert at(page, "step") == "front_length"
    assert opened(order=key).text_input(key=f"{key}/readings/front_length").value == ""


@pytest.mark.slow
def test_two_points_are_asked_how_far_apart_they_are(opened: Opened) -> None:
    """Nothing of them is found by itself; size and place are asked for all the same."""
    page = opened(order=at(begun(opened), "order"), step="photo")
    page = upload(page, ("side.jpg", (samples_folder() / "flint" / "side.jpg").read_bytes()))
    key, file = at(page, "order"), photos(page)[0]["file"]
    page.radio(key=f"{key}/photos/{file}/reference/kind").set_value("two_points").run()
    page = typed(page, f"photos/{file}/reference/length", "50")
    page.radio(key=f"cards_place_{file}").set_value("near_feet").run()
    reference = photos(page)[0]["reference"]
    assert (reference["length"], reference["place"]) == ("50", "near_feet")
    assert at(page, "step") == "marks"
