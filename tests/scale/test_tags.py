"""Tags in a photo, against what OpenCV projects and what was pasted; and no tag where none is."""

from __future__ import annotations

import io
from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage
from numpy.typing import NDArray
from PIL import Image

from photocheck.case.samples import samples_folder
from photocheck.scale import tag_detection
from photocheck.scale.tag_layout import (
    CELLS,
    PAPER_TAPER,
    TAG_IDS,
    WEDGE,
    WHITE,
    square_mm,
    tip_mm,
)
from photocheck.scale.tags import find_tags
from photocheck.scale.tips import _sentence
from photocheck.speech import speaking
from photocheck.words import TAGS
from tests.support.tagged_photo import tagged

Array = NDArray[np.float64]

FINE = 20
"""Pixels a cell of the drawing that is projected."""
FOCAL = 1100.0
SIZE = (1200, 900)
CAMERA = np.array([[FOCAL, 0.0, SIZE[0] / 2], [0.0, FOCAL, SIZE[1] / 2], [0.0, 0.0, 1.0]])


def face(code: int, *, wedge: bool = True) -> NDArray[np.float32]:
    """A tag 8 cells wide and 11 high, by OpenCV's own drawing of its marker; light of 0 to 255."""
    drawn = np.full((11 * FINE, 8 * FINE), 120, np.uint8)
    drawn[: 8 * FINE] = 255
    for shape, tone in ((PAPER_TAPER, 255), (WEDGE, 0 if wedge else 255)):
        corners = (np.array(shape) + WHITE) * FINE
        cv2.fillPoly(drawn, [np.rint(corners).astype(np.int32)], tone)
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    drawn[FINE : 7 * FINE, FINE : 7 * FINE] = cv2.aruco.generateImageMarker(family, code, 6 * FINE)
    return (0.8 * drawn + 8.0).astype(np.float32)


def seen_at(points_mm: Array, turn: Array, shift: Array) -> Array:
    """Where OpenCV's camera sees points (n, 2) of a tag, (n, 2) px."""
    flat = np.column_stack([points_mm, np.zeros(len(points_mm))])
    found, _ = cv2.projectPoints(flat, turn, shift, CAMERA, None)
    return np.asarray(found.reshape(-1, 2), np.float64)


def laid(
    picture: NDArray[np.float32], drawn: NDArray[np.float32], turn: Array, shift: Array, side: float
) -> NDArray[np.float32]:
    """A picture with a drawing in it as the camera sees it, each pixel the mean of 16."""
    cell = side / CELLS
    corners = np.array([[-4.0, -4.0], [4.0, -4.0], [4.0, 7.0], [-4.0, 7.0]]) * cell
    pixels = seen_at(corners, turn, shift)
    height, width = drawn.shape
    own = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32) - 0.5
    fine = 4
    matrix = cv2.getPerspectiveTransform(own, ((pixels + 0.5) * fine - 0.5).astype(np.float32))
    size = (picture.shape[1] * fine, picture.shape[0] * fine)
    large = cv2.resize(picture, size, interpolation=cv2.INTER_NEAREST)
    cv2.warpPerspective(drawn, matrix, size, large, cv2.INTER_AREA, cv2.BORDER_TRANSPARENT)
    small = cv2.resize(large, picture.shape[::-1], interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32)


def ground(seed: int = 0) -> NDArray[np.float32]:
    rng = np.random.default_rng(seed)
    noise = cv2.GaussianBlur(rng.normal(0.0, 60.0, SIZE[::-1]), (0, 0), 3.0)
    return np.clip(60 + noise, 5, 255).astype(np.float32)


def soft(picture: NDArray[np.float32], seed: int = 1) -> NDArray[np.uint8]:
    """As a phone writes it: blurred in light, encoded (IEC 61966-2-1), with noise."""
    noise = np.random.default_rng(seed).normal(0.0, 2.0, picture.shape)
    light = cv2.GaussianBlur(picture, (0, 0), 0.7) / 255.0
    code = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.clip(np.rint(255.0 * code + noise), 0, 255).astype(np.uint8)


@pytest.mark.parametrize(
    ("turn", "shift", "side"),
    [
        ((0.0, 0.0, 0.0), (0.0, 0.0, 1000.0), 40.0),
        ((0.0, 0.25, 0.3), (350.0, -100.0, 1000.0), 40.0),
        ((0.2, -0.3, -1.5), (-300.0, 150.0, 1300.0), 40.0),
        ((0.0, -0.2, 3.0), (250.0, 200.0, 700.0), 30.0),
    ],
)
def test_tip_corners_and_scale_are_what_the_camera_has(
    turn: tuple[float, ...], shift: tuple[float, ...], side: float
) -> None:
    """OpenCV's pinhole (`cv2.projectPoints`) is the judge; a mm at depth Z has focal / Z px."""
    at, gone = np.array(turn), np.array(shift)
    picture = soft(laid(ground(), face(TAG_IDS["tail_base"]), at, gone, side))
    (tag,) = find_tags(picture, small=side == 30.0, focal_px=FOCAL).tags
    assert tag.landmark == "tail_base"
    assert np.abs(tag.corners_px - seen_at(square_mm(side), at, gone)).max() < 0.25
    miss = tag.tip_px - seen_at(tip_mm(side)[None], at, gone)[0]
    assert np.hypot(*miss) < 0.8
    assert miss @ np.linalg.inv(tag.tip_covariance) @ miss < 9.2  # 99 % of two normal errors
    assert np.log(tag.px_per_mm * shift[2] / FOCAL) == pytest.approx(0.0, abs=0.02)
    assert abs(np.log(tag.px_per_mm * shift[2] / FOCAL)) < 3.0 * tag.px_per_mm_spread


def covered(side: str, cells: float, tone: float) -> NDArray[np.float32]:
    """A tag over whose paper something lies, so many cells from that edge of it."""
    drawn = face(TAG_IDS["shoulder_top"])
    deep = round(cells * FINE)
    if side == "above":
        drawn[:deep] = tone
    elif side == "left":
        drawn[: 8 * FINE, :deep] = tone
    else:
        drawn[: 8 * FINE, 8 * FINE - deep :] = tone
    return drawn


@pytest.mark.parametrize("side", ["above", "left", "right"])
@pytest.mark.parametrize(("cells", "tone"), [(1.6, 140.0), (0.9, 12.0)])
def test_tape_and_hair_over_a_side_move_no_tip(side: str, cells: float, tone: float) -> None:
    """Pale tape into the black border, dark fur over the white: a false edge beside the true."""
    at, gone = np.array([0.05, 0.1, 0.2]), np.array([40.0, -30.0, 1400.0])
    picture = soft(laid(ground(), covered(side, cells, tone), at, gone, 40.0))
    (tag,) = find_tags(picture, focal_px=FOCAL).tags
    miss = tag.tip_px - seen_at(tip_mm(40.0)[None], at, gone)[0]
    assert np.hypot(*miss) < 1.0 * FOCAL / gone[2]  # a mm
    assert np.log(tag.px_per_mm * gone[2] / FOCAL) == pytest.approx(0.0, abs=0.02)


def test_tags_on_a_dog_are_found_where_they_were_pasted() -> None:
    content, tips = tagged()
    rgb = np.asarray(Image.open(io.BytesIO(content)).convert("RGB"))
    seen = find_tags(rgb)
    assert {tag.landmark for tag in seen.tags} == set(tips)
    assert seen.remarks == ()
    for tag in seen.tags:
        assert np.hypot(*(tag.tip_px - np.array(tips[tag.landmark]))) < 1.5


def many(*placed: tuple[int, float, float], **more: bool) -> NDArray[np.uint8]:
    """Faces (code, right of the middle in mm, distance in mm) in one picture."""
    picture = ground()
    for code, right, away in placed:
        gone = np.array([right, 0.0, away])
        picture = laid(picture, face(code, **more), np.zeros(3), gone, 40.0)
    return soft(picture)


def test_two_of_one_point_are_said_and_neither_is_used() -> None:
    rib, tail = TAG_IDS["last_rib"], TAG_IDS["tail_base"]
    seen = find_tags(many((rib, -200.0, 1000.0), (rib, 0.0, 1000.0), (tail, 200.0, 1000.0)))
    assert [tag.landmark for tag in seen.tags] == ["tail_base"]
    assert "Two tags “last rib”" in seen.remarks[0]


@pytest.mark.slow
def test_what_is_of_another_set_by_its_look_is_not_used() -> None:
    points = ("breastbone", "shoulder_top", "last_rib")
    three = [(TAG_IDS[name], 150.0 * k - 300.0, 1000.0) for k, name in enumerate(points)]
    seen = find_tags(many(*three, (TAG_IDS["tail_base"], 130.0, 560.0)))
    assert [tag.landmark for tag in seen.tags] == list(points)
    assert "tail base" in seen.remarks[0]
    two = find_tags(many(three[0], (TAG_IDS["tail_base"], 130.0, 560.0)))
    assert two.tags == ()
    assert two.remarks


def test_others_markers_are_said_and_never_taken() -> None:
    seen = find_tags(many((40, -200.0, 1000.0), (TAG_IDS["tail_base"], 0.0, 1000.0)))
    assert [tag.landmark for tag in seen.tags] == ["tail_base"]
    assert "neither a tag's nor the marker sheet's" in seen.remarks[0]


@pytest.mark.slow
def test_after_a_tag_is_found_little_else_is_searched(monkeypatch: pytest.MonkeyPatch) -> None:
    """Faint gravel all over 12 megapixels: only where, and as large as, the dog's tags can be."""
    rng = np.random.default_rng(4)
    gravel = cv2.GaussianBlur(rng.normal(0.0, 1.0, (3000, 4000)), (0, 0), 5.0)
    ground = np.clip(120 + 40 * gravel / gravel.std(), 0, 255).astype(np.uint8)
    face = cv2.resize(many((TAG_IDS["tail_base"], 0.0, 1000.0)), None, fx=0.7, fy=0.7)
    ground[200 : 200 + face.shape[0], 200 : 200 + face.shape[1]] = face
    looked = []
    quads = tag_detection._quads

    def counted(part, *rest):
        looked.append(part.size)
        return quads(part, *rest)

    monkeypatch.setattr(tag_detection, "_quads", counted)
    assert [tag.landmark for tag in find_tags(ground).tags] == ["tail_base"]
    assert sum(looked) < 0.4 * ground.size  # 0.78 of it before


def test_cells_alone_are_no_tag() -> None:
    """A marker without its wedge is used only beside two tags that show theirs."""
    assert find_tags(many((TAG_IDS["tail_base"], 0.0, 1000.0), wedge=False)).tags == ()


def test_what_lies_below_a_marker_by_chance_is_no_wedge() -> None:
    """Another's marker of a tag's number with something dark where the wedge would be."""
    drawn = face(TAG_IDS["tail_base"], wedge=False)
    drawn[round(8.3 * FINE) :, : 5 * FINE] = 8.0
    picture = laid(ground(), drawn, np.zeros(3), np.array([0.0, 0.0, 1000.0]), 40.0)
    assert find_tags(soft(picture)).tags == ()


def test_a_marker_sheet_is_no_tag() -> None:
    content = (samples_folder() / "flint" / "side.jpg").read_bytes()
    seen = find_tags(np.asarray(Image.open(io.BytesIO(content)).convert("RGB")))
    assert (seen.tags, seen.remarks) == ((), ())


@pytest.mark.parametrize(
    ("by", "said"),
    [("owner", "von Halter"), ("staff", "von Werkstatt"), ("Ida Nord", "von Ida Nord")],
)
def test_who_marked_elsewhere_than_a_tag_is_named_in_the_language_spoken(
    by: str, said: str
) -> None:
    with speaking("de"):
        assert said in _sentence("breastbone", by)
    assert f" of {by} " in _sentence("breastbone", by)
    assert "moved" in _sentence("breastbone", TAGS)  # nobody marked it by hand


def test_pictures_without_tags_have_none() -> None:
    """The pictures that scikit-image ships in its wheel (BSD-3-Clause and public domain)."""
    folder = Path(skimage.__file__).parent / "data"
    files = [file for file in sorted(folder.iterdir()) if file.suffix in (".png", ".jpg")]
    assert len(files) > 5
    for file in files:
        picture = cv2.imread(str(file), cv2.IMREAD_GRAYSCALE)
        assert picture is not None
        for turned in (picture, picture[::-1, ::-1].T):
            assert find_tags(np.ascontiguousarray(turned, np.uint8)).tags == (), file.name
