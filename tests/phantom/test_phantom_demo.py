"""The sample cases: readable, true to their story, invented and small."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageOps

from photocheck.case.file import read_case
from photocheck.case.model import PhotoEntry
from photocheck.phantom.demo import main, readings, readme, typed, write_sample
from photocheck.phantom.demo_samples import CLUB, SAMPLES
from photocheck.phantom.shape_figures import FIGURES, between_dog, shape_figures, spread
from photocheck.words import FRONT_LANDMARKS, LANDMARKS, SPANS
from tests.support.places import SAMPLES as SHIPPED
from tests.support.tagged_photo import by_opencv


def blank(scene, look, tags):
    width, height = scene.camera.size_px
    return np.zeros((height, width, 3), np.uint8)


@pytest.mark.parametrize(
    ("mm", "unit", "text"),
    [(368.3, "in", "14 1/2"), (254.0, "in", "10"), (366.0, "cm", "36.5"), (401.0, "cm", "40")],
)
def test_typed_like_an_owner(mm: float, unit: str, text: str):
    assert typed(mm, unit) == text


def test_faults_are_where_they_are_said_to_be():
    truth = {
        "half_neck": 380.0,
        "front_length": 472.0,
        "rear_length": 291.0,
        "full_length": 763.0,
    }
    for sample in SAMPLES:
        text, where = readings(truth, sample, np.random.default_rng(0))
        assert (where == "") == (sample.fault == "none")
        for span in SPANS:
            told = text[span]
            takes = [told] if isinstance(told, str) else told
            assert len(takes) == (2 if sample.careful else 1)
            for take in takes:
                number = float(sum(_value(part) for part in take.split()))
                mm = number * (10.0 if sample.unit == "cm" else 25.4)
                wrong = abs(mm / truth[span] - 1.0) > 0.05
                assert wrong == (span in where), (sample.folder, span, text)


def _value(part: str) -> float:
    if "/" in part:
        above, below = part.split("/")
        return int(above) / int(below)
    return float(part)


@pytest.mark.slow
def test_a_sample_can_be_made_and_read(tmp_path: Path):
    sample = next(s for s in SAMPLES if s.folder == "juniper")
    write_sample(sample, tmp_path / "one", draw=blank)
    write_sample(sample, tmp_path / "two", draw=blank)
    for name in ("case.json", "truth.json"):
        assert (tmp_path / "one" / name).read_text() == (tmp_path / "two" / name).read_text()
    case = read_case(tmp_path / "one" / "case.json")
    truth = json.loads((tmp_path / "one" / "truth.json").read_text())
    assert truth["fault"] == "doubled_neck"
    got = case.readings["half_neck"].mm / truth["spans_mm"]["half_neck"]
    assert got == pytest.approx(2.0, rel=0.04)
    assert case.unit == "in"


def test_usage_without_a_folder(capsys: pytest.CaptureFixture[str]):
    assert main([]) == 2
    assert "OUTDIR" in capsys.readouterr().out


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda s: s.folder)
def test_shipped_samples_agree_with_their_truth(sample):
    folder = SHIPPED / sample.folder
    case = read_case(folder / "case.json")
    truth = json.loads((folder / "truth.json").read_text())
    assert case.name.startswith(CLUB)
    assert "Invented" in truth["note"]
    fronts = 1 if sample.front else 0
    assert len(case.photos) == len(sample.shots) + fronts == len(truth["photos"])
    for photo, fact in zip(case.photos, truth["photos"], strict=True):
        if sample.tagged:
            _tags_lie_where_they_are(photo, fact)
            continue
        marks = photo.markings[0].marks
        assert set(FRONT_LANDMARKS if photo.view == "front" else LANDMARKS) <= set(marks)
        scale = fact["focal_px"] / 2500.0  # px per mm, roughly
        for name, xy in marks.items():
            gap = np.hypot(*np.subtract(xy, fact["landmarks_px"][name])) / scale
            assert gap < 25.0, name
        with Image.open(photo.path) as picture:
            assert ImageOps.exif_transpose(picture).size == tuple(fact["camera"]["size_px"])
            assert picture.getexif()[0x010E].startswith("Rendered phantom")


def _tags_lie_where_they_are(photo: PhotoEntry, fact: dict[str, Any]) -> None:
    """Nobody marked it; OpenCV's own detector finds most of the tags that are in view."""
    assert not photo.markings
    seen = [tag for tag in fact["tags"] if tag["hidden"] < 0.02]
    with Image.open(photo.path) as picture:
        found = by_opencv(np.asarray(ImageOps.exif_transpose(picture).convert("RGB")))
    near = 0
    for tag in seen:
        if told := found.of(tag["landmark"]):
            near += bool(np.hypot(*np.subtract(told.tip_px, tag["tip_px"])) < 3.0)
    assert near >= 0.5 * len(seen) > 0


def test_shipped_samples_are_small_and_called_invented():
    size = sum(p.stat().st_size for p in SHIPPED.rglob("*") if p.is_file())
    assert size < 10_000_000
    text = (SHIPPED / "README.md").read_text()
    assert text == readme()
    assert "invented" in text
    assert len(re.findall(r"^\| `", text, flags=re.M)) == len(SAMPLES) >= 8


@pytest.mark.slow
def test_population_figures():
    rows = [shape_figures(dog) for dog in between_dog(np.random.default_rng(0), 5)]
    table = spread(rows)
    assert set(table) == set(FIGURES)
    assert all(mean > 0 and 0 < sd < 0.3 for mean, sd in table.values())
    dog = next(between_dog(np.random.default_rng(0), 1))
    bare = shape_figures(dog, on="tape")
    assert bare["half_neck_over_chord"] > rows[0]["half_neck_over_chord"]
    with pytest.raises(ValueError, match="tape"):
        shape_figures(dog, on="skin")
