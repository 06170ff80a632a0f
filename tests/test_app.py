"""The page: what it shows is what `photocheck.check` says, and bad input is answered."""

import json
import sys
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

import photocheck
from photocheck.errors import CaseError, PhotocheckError
from photocheck.lengths import format_length
from photocheck.words import SPAN_TITLES, VERDICT_TITLES

ROOT = Path(__file__).parents[1]
# As `streamlit run` does with the folder of the page.
sys.path.insert(0, str(ROOT / "app"))

import intake  # noqa: E402
from answer import as_text  # noqa: E402
from strings import English as say  # noqa: E402


def opened() -> AppTest:
    page = AppTest.from_file(str(ROOT / "app" / "main.py"), default_timeout=30).run()
    assert not page.exception
    return page


def checked(name: str) -> AppTest:
    page = opened()
    page.selectbox(key="sample").select(name)
    page.button(key="check_sample").click().run()
    assert not page.exception
    return page


@pytest.mark.parametrize("name", ["sorrel", "flint"])
def test_a_sample_gives_what_check_gives(name: str) -> None:
    case = photocheck.read_case(intake.SAMPLES / name / "case.json")
    report = photocheck.check(case)
    page = checked(name)
    box = page.success if report.verdict == "agrees" else page.warning
    assert [b.value for b in box] == [as_text(report.headline)]
    readings, doubt = page.table
    assert list(readings.value.index) == [SPAN_TITLES[s.span] for s in report.spans]
    for span, row in zip(report.spans, readings.value.itertuples(index=False), strict=True):
        low, high = format_length(span.low_mm, case.unit), format_length(span.high_mm, case.unit)
        assert tuple(row) == (
            format_length(span.reading_mm, case.unit),
            format_length(span.photo_mm, case.unit),
            f"{low.removesuffix(' cm')} to {high}",
            VERDICT_TITLES[span.verdict],
        )
    assert doubt.value.index[0] == report.budget[0].title
    shown = "\n".join(m.value for m in page.markdown)
    flagged = [s.sentence for s in report.spans if s.verdict != "agrees"]
    for sentence in (*flagged, report.next_step, *report.redundancy, *report.cautions):
        assert as_text(sentence) in shown


def test_an_outcome_stays_with_what_was_asked() -> None:
    page = checked("sorrel")
    page.run()
    assert page.success
    page.selectbox(key="sample").select("flint").run()
    assert not page.success
    page.selectbox(key="sample").select("sorrel").run()
    assert page.success


def test_a_bad_sample_is_answered_in_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(intake, "SAMPLES", tmp_path)
    for name, text in {"broken": '{"format": ', "strange_one": '{"format": "other"}'}.items():
        (tmp_path / name).mkdir()
        (tmp_path / name / "case.json").write_text(text)
    (tmp_path / "empty").mkdir()
    for name, said in {"broken": "not JSON", "strange_one": "other", "empty": "complete"}.items():
        page = checked(name)
        (error,) = page.error
        assert said in error.value
        assert page.selectbox(key="sample").value == name
        assert not page.table


def test_a_fault_of_the_program_is_no_traceback(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise ZeroDivisionError("inside")

    monkeypatch.setattr(photocheck, "check", fail, raising=False)
    page = checked("sorrel")
    assert [e.value for e in page.error] == [as_text(say.failed)]


def test_missing_samples_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(intake, "SAMPLES", tmp_path / "gone")
    page = opened()
    assert "missing" in page.info[0].value
    page.button(key="check_own").click().run()
    assert page.info[-1].value == say.case_file_first


# -- files in memory -----------------------------------------------------------------


def rowan() -> tuple[dict, list[intake.File]]:
    (_, content), photos = intake.sample_files("rowan")
    return json.loads(content), photos


def as_file(data: dict) -> intake.File:
    return "order.json", json.dumps(data).encode()


def test_uploaded_files_give_what_files_on_disk_give() -> None:
    data, photos = rowan()
    taken = intake.take_in(as_file(data), [*photos, ("cat.jpg", b"never opened")])
    assert taken.unused == ("cat.jpg",)
    report = photocheck.check(taken.case, photos=taken.photos)
    asked = photocheck.check(photocheck.read_case(intake.SAMPLES / "rowan" / "case.json"))
    assert report.spans == asked.spans
    assert [p.sha256 for p in report.photos] == [p.sha256 for p in asked.photos]
    assert [p.path for p in report.photos] == ["side_1.jpg", "side_2.jpg", "side_3.jpg"]


def test_folders_and_capitals_of_photo_names_do_not_matter() -> None:
    data, photos = rowan()
    data["photos"] = data["photos"][:1]
    for path in ("dogs/rowan/SIDE_1.JPG", "C:\\dogs\\side_1.jpg"):
        data["photos"][0]["file"] = path
        assert set(intake.take_in(as_file(data), photos[:1]).photos) == {path}


def test_a_photo_on_disk_is_never_read() -> None:
    data, photos = rowan()
    data["photos"][1]["file"] = str(intake.SAMPLES / "flint" / "side.jpg")
    with pytest.raises(CaseError, match="not uploaded"):
        intake.take_in(as_file(data), photos)


def alike_in_case() -> tuple[intake.File, list[intake.File]]:
    data, photos = rowan()
    data["photos"][1]["file"] = "other/side_1.jpg"
    return as_file(data), photos


BAD = {
    "a photo missing": (lambda: (as_file(rowan()[0]), rowan()[1][:2]), "side_3.jpg"),
    "photos alike": (lambda: (as_file(rowan()[0]), rowan()[1] * 2), "share the name"),
    "alike in the case": (alike_in_case, "share the name"),
    "not a picture": (
        lambda: (as_file(rowan()[0]), [(name, b"words") for name, _ in rowan()[1]]),
        "side_1.jpg: this is not a picture",
    ),
    "nothing in it": (lambda: (("order.json", b""), []), "order.json: this is not JSON"),
    "a picture as case": (lambda: (("x.jpg", b"\xff\xd8\xff"), []), "x.jpg: .* not text"),
    "a misspelt name": (lambda: (as_file(rowan()[0] | {"dgo": {}}), []), "order.json: .*dgo"),
}


@pytest.mark.parametrize(("made", "said"), BAD.values(), ids=BAD)
def test_bad_files_are_answered_in_a_sentence(made, said: str) -> None:
    with pytest.raises(PhotocheckError, match=said) as caught:
        intake.take_in(*made())
    assert str(caught.value).endswith(".")


@pytest.mark.skipif(not hasattr(AppTest, "file_uploader"), reason="older test harness")
def test_an_upload_is_checked_and_outlives_an_error() -> None:
    data, photos = rowan()
    name, content = as_file(data)
    page = opened()
    page.file_uploader(key="case_file").set_value((name, content, "application/json"))
    files = [(photo, content, "image/jpeg") for photo, content in photos]
    page.file_uploader(key="photos").set_value(files[:2])
    page.button(key="check_own").click().run()
    assert "not uploaded" in page.error[0].value
    assert page.file_uploader(key="case_file").value.name == name
    page.file_uploader(key="photos").set_value(files)
    page.button(key="check_own").click().run()
    assert page.success
    assert not page.error


def test_text_is_shown_as_it_is() -> None:
    assert as_text("a_b *c* [d](e) $f$ :red[g]") == (r"a\_b \*c\* \[d\](e) \$f\$ \:red\[g\]")


def test_the_package_never_imports_the_page() -> None:
    for path in (ROOT / "photocheck").rglob("*.py"):
        assert "streamlit" not in path.read_text(encoding="utf-8"), path
