"""The whole job on shipped samples, and every way of asking it wrongly."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import photocheck
from photocheck.case.model import Case, Marking, PhotoEntry, Reading, Reference
from photocheck.cli.main import run
from photocheck.errors import PhotocheckError
from photocheck.words import EXIT_CODES, SPANS
from tests.support.checked_samples import checked
from tests.support.places import SAMPLES

ALL = sorted(path.name for path in SAMPLES.iterdir() if path.is_dir())


def sample(name: str) -> tuple[Case, dict]:
    truth = json.loads((SAMPLES / name / "truth.json").read_text())
    return photocheck.read_case(SAMPLES / name / "case.json"), truth


@pytest.mark.parametrize("name", ALL)
def test_samples_hold_the_truth_within_their_doubt(name: str) -> None:
    _, truth = sample(name)
    report = checked(name)
    if truth["posture_in_photo"] == "square":
        for span in report.spans:
            score = np.log(span.photo_mm / truth["spans_mm"][span.span]) / span.log_spread
            assert abs(score) < 3.0, span.sentence


FAULTY = {
    "flint": "rear_length",
    "juniper": "half_neck",
    "moss": "rear_length",
}


@pytest.mark.parametrize(("name", "reading"), FAULTY.items())
def test_a_slipped_reading_is_named(name: str, reading: str) -> None:
    _, truth = sample(name)
    assert truth["fault_in"] == reading
    report = checked(name)
    assert report.verdict == "measure_again"
    assert [s.span for s in report.spans if s.verdict == "measure_again"] == [reading]


def test_a_moved_last_rib_is_told() -> None:
    report = checked("teasel")
    assert report.verdict == "measure_again"
    assert report.explanations


@pytest.mark.parametrize("name", ["bramble", "sorrel", "rowan"])
def test_a_good_order_agrees(name: str) -> None:
    assert checked(name).verdict == "agrees"


def test_a_crouching_dog_is_to_be_photographed_again() -> None:
    report = checked("tarn")
    assert report.verdict == "retake"
    assert "crouch" in report.headline
    assert report.photos[0].stance[0].name == "crouching"
    for name in ("bramble", "sorrel", "pike", "heron", "nettle", "rowan"):
        assert not any(photo.stance for photo in checked(name).photos)


def test_the_camera_is_found_where_it_stood() -> None:
    _, truth = sample("sorrel")
    result = checked("sorrel").photos[0]
    scene = truth["photos"][0]
    away = np.subtract(scene["camera"]["position"], scene["reference"]["centre"])
    assert result.distance_mm == pytest.approx(np.linalg.norm(away), rel=0.03)


def test_budget_shares_sum_to_one_and_name_an_action() -> None:
    report = checked("bramble")
    for span in SPANS:
        assert sum(line.shares[span] for line in report.budget) == pytest.approx(1.0)
    assert report.next_step.endswith(".")
    assert all(0.3 < ratio <= 1.0 for ratio in report.one_more_photo.values())


@pytest.mark.slow
def test_fewer_readings_and_no_readings() -> None:
    case, _ = sample("bramble")
    only = replace(case, readings={"half_neck": case.readings["half_neck"]})
    report = photocheck.check(only)
    assert report.spans[0].verdict
    assert all(not s.verdict for s in report.spans[1:])
    nothing = photocheck.check(replace(case, readings={}))
    assert nothing.verdict == "cannot_tell"
    assert "no tape readings" in nothing.headline


def test_all_readings_in_the_wrong_unit_is_not_a_measuring_slip() -> None:
    case, _ = sample("sorrel")
    wrong = {n: replace(r, mm=r.mm * 2.54) for n, r in case.readings.items()}
    report = photocheck.check(replace(case, readings=wrong))
    assert report.verdict == "retake"
    assert "unit" in report.headline


def test_the_same_case_gives_the_same_digits() -> None:
    case, _ = sample("pike")
    assert photocheck.check(case) == photocheck.check(case)


# -- bad input: one sentence, never a traceback ---------------------------------------


def base() -> Case:
    return sample("bramble")[0]


def with_marks(**marks: tuple[float, float]) -> Case:
    case = base()
    photo = case.photos[0]
    marking = photo.markings[0]
    changed = replace(marking, marks={**marking.marks, **marks})
    return replace(case, photos=(replace(photo, markings=(changed,)),))


def with_reference(reference: Reference) -> Case:
    case = base()
    return replace(case, photos=(replace(case.photos[0], reference=reference),))


def no_marks() -> Case:
    case = base()
    return replace(case, photos=(replace(case.photos[0], markings=(Marking({}),)),))


def no_reference() -> Case:
    # a picture of the dog without any sheet in it: cut off below the back
    case = base()
    return replace(case, photos=(replace(case.photos[0], path=str(NO_SHEET)),))


NO_SHEET = SAMPLES / "sorrel" / "side.jpg"

BAD = {
    "no photo": (lambda: replace(base(), photos=()), "no photo"),
    "zero marks": (no_marks, "not marked"),
    "mark outside": (lambda: with_marks(breastbone=(-40.0, 100.0)), "outside the picture"),
    "mark not a number": (lambda: with_marks(breastbone=(float("nan"), 1.0)), "not a number"),
    "same spot": (
        lambda: with_marks(breastbone=base().photos[0].markings[0].marks["tail_base"]),
        "same spot",
    ),
    "unknown landmark": (lambda: with_marks(elbow=(10.0, 10.0)), "not known"),
    "collinear corners": (
        lambda: with_reference(
            Reference("a4", corners=((10, 10), (200, 10), (400, 10), (600, 10)))
        ),
        "line",
    ),
    "crossed corners": (
        lambda: with_reference(
            Reference("a4", corners=((10, 10), (400, 400), (400, 10), (10, 400)))
        ),
        "",
    ),
    "unknown reference": (lambda: with_reference(Reference("coin")), "coin"),
    "unknown place": (lambda: with_reference(Reference("marker_sheet", "moon")), "moon"),
    "length missing": (
        lambda: with_reference(Reference("two_points", ends=((10, 10), (500, 10)))),
        "",
    ),
    "no reference": (no_reference, "marker"),
    "missing file": (
        lambda: replace(base(), photos=(replace(base().photos[0], path="gone.jpg"),)),
        "gone.jpg",
    ),
}


@pytest.mark.parametrize("what", BAD)
def test_bad_input_is_one_clear_sentence(what: str) -> None:
    make, words = BAD[what]
    with pytest.raises(PhotocheckError) as caught:
        photocheck.check(make())
    text = str(caught.value)
    assert words in text
    assert "\n" not in text
    assert text.endswith(".")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"readings": {"half_neck": "abc"}}, "half neck"),
        ({"readings": {"half_neck": "-14 in"}}, "half neck"),
        ({"readings": {"half_neck": "40 in"}, "unit": "in"}, ""),
        ({"photos": []}, ""),
        ({"unit": "furlong"}, "furlong"),
    ],
)
def test_bad_case_files_end_with_a_code_and_no_traceback(
    change: dict, words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = json.loads((SAMPLES / "sorrel" / "case.json").read_text())
    data["photos"][0]["file"] = str(SAMPLES / "sorrel" / "side.jpg")
    data.update(change)
    file = tmp_path / "case.json"
    file.write_text(json.dumps(data))
    code = run(["check", str(file)])
    out, err = capsys.readouterr()
    assert code not in (0, 1)
    assert "Traceback" not in out + err
    assert words in out + err
    assert (out == "") == (code == EXIT_CODES["bad_input"])


@pytest.mark.parametrize("content", [b"", b"not a picture", b"\xff\xd8\xff\xe0 cut short"])
def test_files_that_are_no_photo(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "side.jpg"
    path.write_bytes(content)
    case = base()
    with pytest.raises(PhotocheckError):
        photocheck.check(replace(case, photos=(replace(case.photos[0], path=str(path)),)))


def test_a_truncated_photo(tmp_path: Path) -> None:
    whole = (SAMPLES / "bramble" / "side.jpg").read_bytes()
    path = tmp_path / "side.jpg"
    path.write_bytes(whole[: len(whole) // 2])
    case = base()
    with pytest.raises(PhotocheckError, match=r"cut short|damaged"):
        photocheck.check(replace(case, photos=(replace(case.photos[0], path=str(path)),)))


def test_the_command_line_answers_as_the_library(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = str(SAMPLES / "flint" / "case.json")
    picture = tmp_path / "out.jpg"
    code = run(["check", file, "--json", "--picture", str(picture)])
    told = json.loads(capsys.readouterr().out)
    report = photocheck.check(photocheck.read_case(file))
    assert code == EXIT_CODES[report.verdict]
    assert told["verdict"] == report.verdict
    assert [s["photo_mm"] for s in told["spans"]] == [s.photo_mm for s in report.spans]
    assert picture.stat().st_size > 10_000


@pytest.mark.slow
def test_flags_say_the_same_as_a_case_file(capsys: pytest.CaptureFixture[str]) -> None:
    case = base()
    photo: PhotoEntry = case.photos[0]
    arguments = ["check", "--photo", photo.path, "--reference", photo.reference.kind]
    arguments += ["--place", photo.reference.place, "--unit", "in", "--json"]
    for name, (x, y) in photo.markings[0].marks.items():
        arguments += ["--mark", f"{name}={x},{y}"]
    for name, reading in case.readings.items():
        for take in reading.takes:
            arguments += [f"--{name.replace('_', '-')}", f"{take.typed} in"]
    run(arguments)
    told = json.loads(capsys.readouterr().out)
    plain = replace(
        case,
        dog=type(case.dog)(),
        photos=(
            replace(
                photo,
                reference=Reference(photo.reference.kind, photo.reference.place),
                markings=(replace(photo.markings[0], spread_mm=None),),
            ),
        ),
    )
    report = photocheck.check(plain)
    assert told["verdict"] == report.verdict
    assert [s["photo_mm"] for s in told["spans"]] == pytest.approx(
        [s.photo_mm for s in report.spans]
    )


def test_a_reading_object_must_be_positive() -> None:
    case = base()
    with pytest.raises(PhotocheckError):
        photocheck.check(replace(case, readings={"half_neck": Reading(-3.0, "-3", "cm")}))
