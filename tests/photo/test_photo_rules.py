"""Rules of the photo room reached from both sides, each alone: what decides, and where."""

from __future__ import annotations

import io
from math import exp
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from photocheck.errors import PhotoError
from photocheck.photo import bars, blur, camera, framing, kind, load, preview, quality
from photocheck.photo.at_marks import blur_remarks
from photocheck.photo.earlier_grid import _unless_turned, periodicity
from photocheck.photo.framing import scale_remarks
from photocheck.photo.photo import CameraFacts, Framing
from photocheck.photo.preview import LEAST_ALIKE, LEAST_GAIN, MOST_SHARE, frame_in_preview
from photocheck.photo.whole import (
    NOT_NATIVE,
    framing_of,
    framing_said,
    in_camera_shift,
    note_of,
    noted,
    of_shape,
    recorded_frame,
    smallest_frame,
)

Picture = NDArray[np.uint8]
WIDE, HIGH = 0xA002, 0xA003
"""Exif's tags of the picture's own size (CIPA DC-008, 4.6.5)."""


def _recorded(width: float, height: float) -> dict[int, float]:
    return {WIDE: width, HIGH: height}


# --- whole or cut ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("off", "cut"), [(0.0085, False), (0.0115, True), (-0.0115, True)])
def test_a_recorded_shape_that_is_a_hundredth_off_is_another(off: float, cut: bool) -> None:
    """Programs round sides to whole blocks: 16 px of 1600 are a hundredth."""
    told = framing_of({}, _recorded(6000.0, 4000.0 * exp(off)), (3000, 2000))
    assert (told.why == "recorded") == cut


def test_the_recorded_frame_lies_as_the_picture_does() -> None:
    """Of the two ways round, the one within a hundredth of the picture's shape."""

    def way(of_frame: float, of_picture: float) -> bool:
        """Whether the frame stands for a picture of ln(width / height) as given; both nearly
        square, so that either way fits."""
        frame = (3000.0 * exp(of_frame), 3000.0)
        told = recorded_frame({}, _recorded(*frame), (round(1e5 * exp(of_picture)), 10**5))
        assert told in (frame, frame[::-1])
        return told != frame

    assert not way(0.0045, -0.0045)  # as it lies is 0.009 off
    assert way(0.005, -0.0065)  # 0.0115 off; turned it is 0.0015
    assert way(0.0145, -0.005)  # 0.0195 off; turned 0.0095
    assert not way(0.01575, -0.00425)  # 0.02 and 0.0115: neither, so as it lies


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_photo_on_its_side_was_recorded_lying(orientation: int) -> None:
    """Exif's orientations 5 to 8 exchange rows and columns (CIPA DC-008, 4.6.5)."""
    told = recorded_frame({0x0112: orientation}, _recorded(3000.0, 1500.0), (1000, 900))
    assert told == ((1500.0, 3000.0) if orientation > 4 else (3000.0, 1500.0))


@pytest.mark.parametrize(
    ("width", "height", "said"),
    [
        (1e6, 3000, False), (3000, 1e6, False), (999_999, 3000, True), (3000, 999_999, True),
        (0.9, 3000, False), (3000, 0.9, False), (1.0, 1.0, True),
    ],
)  # fmt: skip
def test_sides_that_no_camera_has_say_nothing(width: float, height: float, said: bool) -> None:
    assert (recorded_frame({}, _recorded(width, height), (40, 30)) is not None) == said


@pytest.mark.parametrize(
    ("size", "cut"),
    [
        ((1712, 1284), False),  # blocks of eight, and as large as old cameras' 1.9 million
        ((1284, 1712), False),
        ((1576, 1182), True),  # 1.86 million
        ((1708, 1281), True),  # no blocks
    ],
)
def test_an_old_cameras_own_picture_is_no_part(size: tuple[int, int], cut: bool) -> None:
    """The file says that the camera's picture had this very size."""
    told = framing_of({0x010F: "Maker"}, _recorded(*size), size)
    assert (told.cut == NOT_NATIVE) == cut


@pytest.mark.parametrize(("short", "slack"), [(100, 0.018), (300, 0.014), (400, 0.0135)])
def test_small_pictures_miss_a_cameras_shape_by_more(short: float, slack: float) -> None:
    """Rounding a side to whole pixels: 0.6 px of the shorter one, with a copy's and a crop's."""
    for shape in (4 / 3, 3 / 2):
        for sign in (-1.0, 1.0):
            near, far = (shape * exp(sign * slack * by) for by in (0.98, 1.02))
            assert of_shape((near * short, short)).why == ""
            assert of_shape((far * short, short)).why == "shape"


def test_what_a_camera_cuts_off_its_sensor_lengthens_its_lens() -> None:
    """16:9 out of 4:3 at full width: diagonals 5/4 and sqrt(337)/16 of it, by Pythagoras."""
    assert in_camera_shift((1600, 900)) == pytest.approx(np.log(1.25 / (np.sqrt(337) / 16)))
    assert smallest_frame((1600, 900)) == (1600, 1200)
    for shape in (4 / 3, 3 / 2):
        assert in_camera_shift((shape * exp(0.023), 1.0)) == 0.0
        assert in_camera_shift((shape * exp(0.025), 1.0)) != 0.0


def test_a_screenshots_bars_are_told_once() -> None:
    part = (0, 100, 1000, 700)
    (alone,) = framing_said(Framing(0.95, "bars", photo_px=part), (1000, 800))
    assert "has bars along its edges and what lies between" in alone
    (bars_only,) = framing_said(Framing(0.0, photo_px=part), (1000, 800))
    assert "only what lies between is measured" in bars_only


def test_a_note_longer_than_any_of_ours_is_none() -> None:
    note = note_of(Framing(0.5, "size"))
    assert noted({0x9286: note + b" " * (600 - len(note))}) == Framing(0.5, "size")
    assert noted({0x9286: note + b" " * (601 - len(note))}) is None


# --- a preview ------------------------------------------------------------------------------------


def _scenery(width: int, height: int) -> Picture:
    noise = np.random.default_rng(4).normal(0, 60, (height, width, 3))
    soft = 120 + 12 * cv2.GaussianBlur(noise, (0, 0), 6)
    return np.clip(soft, 30, 255).astype(np.uint8)


def test_a_picture_that_fills_one_side_of_its_preview_was_cut_at_the_other() -> None:
    whole = _scenery(800, 600)
    small = np.asarray(cv2.resize(whole, (160, 120), interpolation=cv2.INTER_AREA), np.uint8)
    for part, corner in (
        (whole[:, 200:650], (200.0, 0.0)),  # all of its height
        (whole[100:450], (0.0, 100.0)),  # all of its width
    ):
        found = frame_in_preview(part, small)
        assert found is not None
        frame, at = found
        assert frame == pytest.approx((800.0, 600.0), rel=0.02)
        assert at == pytest.approx(corner, abs=8.0)
    assert frame_in_preview(whole, small) is None


def test_a_part_must_be_more_alike_than_the_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    """How alike each size is, is given: the whole as in the first tries, a part as in the rest."""
    picture, small = _scenery(400, 300), _scenery(160, 120)
    told = SimpleNamespace(whole=0.9, part=0.9)
    smallest: list[int] = []

    def alike(_: Any, part: Picture, __: int) -> NDArray[np.float32]:
        smallest.append(min(part.shape[:2]))
        share = part.shape[1] / 160
        height = told.whole if share > MOST_SHARE else told.part - abs(share - 0.6)
        return np.full((1, 1), height, np.float32)

    monkeypatch.setattr(cv2, "matchTemplate", alike)
    for whole, part, seen in (
        (0.90, 0.90 + 0.5 * LEAST_GAIN, False),
        (0.90, 0.90 + 1.5 * LEAST_GAIN, True),
        (0.90, 0.90 - 0.5 * LEAST_GAIN, False),
        (0.5, LEAST_ALIKE - 0.005, False),
        (0.5, LEAST_ALIKE + 0.01, True),
    ):
        told.whole, told.part = whole, part
        assert (frame_in_preview(picture, small) is not None) == seen, (whole, part)
    assert min(smallest) >= 12
    smallest.clear()
    frame_in_preview(_scenery(1200, 100), small)  # 13 rows of the preview at most
    assert set(smallest) == {12, 13}


def test_bars_of_a_preview_are_cut_off_whatever_lies_between() -> None:
    """A dark line across and down the picture is no bar."""
    lit = np.full((90, 120), 130, np.uint8)
    lit[40] = lit[:, 60] = 3
    below = np.zeros((120, 120), np.uint8)
    below[20:110] = lit
    assert np.array_equal(preview._without_bars(below), lit)
    beside = np.zeros((90, 160), np.uint8)
    beside[:, 25:145] = lit
    assert np.array_equal(preview._without_bars(beside), lit)
    black = np.zeros((90, 160), np.uint8)
    assert np.array_equal(preview._without_bars(black), black)


def test_a_large_preview_is_not_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    for width, height, seen in ((640, 8, True), (8, 640, True), (641, 8, False), (8, 641, False)):
        content = io.BytesIO()
        Image.new("RGB", (width, height)).save(content, "JPEG")
        tags = {0x0201: 2, 0x0202: content.tell()}
        image: Any = SimpleNamespace(
            info={"exif": b"Exif\0\0II" + content.getvalue()},
            getexif=lambda tags=tags: SimpleNamespace(get_ifd=lambda _: tags),
        )
        assert (load._preview(image) is not None) == seen


# --- bars, blur, light ----------------------------------------------------------------------------


def test_a_bar_may_reach_to_the_last_row() -> None:
    rgb = np.zeros((40, 60, 3), np.uint8)
    rgb[-1] = 200
    assert bars._bar(rgb)[0] == 39
    rgb[-2:] = 200
    assert bars._bar(rgb)[0] == 38
    assert bars._bar(np.zeros((40, 60, 3), np.uint8))[0] == 0


def test_blur_is_measured_where_the_window_fits(monkeypatch: pytest.MonkeyPatch) -> None:
    shapes: list[tuple[int, ...]] = []

    def blur_of(grey: NDArray[np.float64]) -> float:
        shapes.append(grey.shape)
        return 1.0

    monkeypatch.setattr(blur, "_blur_of", blur_of)
    rgb = np.zeros((80, 120, 3), np.uint8)
    inside = [(16, 40), (15.6, 40), (103, 40), (103.4, 40), (60, 15.6), (60, 63.4)]
    assert blur.edge_blur(rgb, inside, window_px=33) == (1.0,) * 6
    assert set(shapes) == {(33, 33)}
    beside = [(15.4, 40), (103.6, 40), (60, 15.4), (60, 63.6), (130, 40), (60, 90), (np.nan, 40)]
    assert blur.edge_blur(rgb, beside, window_px=33) == (None,) * 7


@pytest.mark.parametrize(("column", "reach"), [(20, 20), (25, 15), (12, 12), (29, 11)])
def test_a_ramp_is_as_blurred_as_the_way_to_the_border(column: int, reach: int) -> None:
    """Of a straight ramp the middles of the outer fifths count as its ends; between 15.9 and
    84.1 % of the way from one to the other lie two standard deviations of a normal edge."""
    ramp = np.repeat(4.0 * np.arange(41.0)[None], 41, axis=0)
    found = blur._edge_width(ramp, np.array([column, 20.0]), np.array([1.0, 0.0]))
    places = 4 * reach + 1  # half a px apart
    assert found == pytest.approx(0.341 * 0.5 * (places - places // 5), abs=0.26)


@pytest.mark.parametrize(("sides", "judged"), [((15, 90), False), ((90, 15), False),
                                               ((16, 90), True), ((90, 16), True)])  # fmt: skip
def test_sharpness_needs_sixteen_pixels_both_ways(sides: tuple[int, int], judged: bool) -> None:
    """Eleven of a blurred look and the rims of two filters."""
    rgb = np.random.default_rng(2).integers(0, 255, (*sides, 3)).astype(np.uint8)
    (seen,) = quality.quality_at(rgb, [(7, 7)], window_px=200)
    assert (seen.blur is not None) == judged


def test_half_a_pixel_per_cm_is_a_scale_and_none_is_not() -> None:
    def told(**changed: float) -> Any:
        given: dict[str, Any] = {"px_per_cm": 0.5, "distance_mm": 0.5, "corner_px": 0.5,
                                   "offset_spread_mm": 0.0}  # fmt: skip
        return scale_remarks(
            **(given | changed), reference_px=[(0.0, 0.0), (3e3, 4e3)], yaw_deg=0.0
        )

    assert [remark.name for remark in told()] == ["coarse"]
    for wrong in ({"px_per_cm": 0.0}, {"distance_mm": 0.0}, {"corner_px": 0.0},
                  {"offset_spread_mm": -0.5}):  # fmt: skip
        with pytest.raises(ValueError, match="above zero"):
            told(**wrong)
    assert blur_remarks({}, {}, (), px_per_cm=0.5, qualities=()) == ()
    with pytest.raises(ValueError, match="above zero"):
        blur_remarks({}, {}, (), px_per_cm=0.0, qualities=())


def test_what_lies_towards_an_edge_goes_by_where_the_dog_looks() -> None:
    left = {"breastbone": (100.0, 900.0), "tail_base": (700.0, 100.0)}
    right = {"breastbone": (700.0, 100.0), "tail_base": (100.0, 900.0)}
    for side, of_left, of_right in (
        ("left", "head", "tail"), ("right", "tail", "head"),
        ("top", "back", "back"), ("bottom", "feet", "feet"),
    ):  # fmt: skip
        assert framing._cut_part(side, left) == of_left
        assert framing._cut_part(side, right) == of_right
    for one in left:
        assert framing._cut_part("left", {one: left[one]}) == "tail"


# --- files ----------------------------------------------------------------------------------------

SEGMENT = b"\xff\xe1\x00\x02"


@pytest.mark.parametrize(
    ("most", "content"),
    [
        (kind.MOST_SEGMENTS, lambda n: b"\xff\xd8" + n * SEGMENT + b"\xff\xda"),
        (kind.MOST_FILL_BYTES, lambda n: b"\xff\xd8" + n * b"\xff" + b"\xe1\x00\x02\xff\xda"),
        (kind.MOST_FILL_BYTES, lambda n: b"\xff\xd8" + SEGMENT + n * b"\xff"),
        (kind.MOST_SCANS, lambda n: b"\xff\xd8" + n * b"\xff\xda\x00\x02 "),
    ],
    ids=["segments", "fill", "nothing but fill", "scans"],
)
def test_a_jpeg_may_have_so_many_parts_and_no_more(most: int, content: Any) -> None:
    kind._refuse_costly(content(most), "photo")
    with pytest.raises(PhotoError, match="too many parts"):
        kind._refuse_costly(content(most + 1), "photo")


@pytest.mark.parametrize(("orientation", "of", "stored"), [
    (1, "JPEG", True), (6, "JPEG", False), (6, "HEIF", True), (3, "PNG", False),
])  # fmt: skip
def test_blocks_are_looked_for_in_pixels_as_they_are_stored(
    monkeypatch: pytest.MonkeyPatch, orientation: int, of: str, stored: bool
) -> None:
    """Pillow's reader of HEIC turns the pixels itself; others are turned by us."""
    monkeypatch.setattr(load, "with_traces", lambda *_, as_stored: Framing(float(as_stored)))
    facts = CameraFacts(None, "prior", "", "")
    picture = load.Decoded(np.zeros((8, 8, 3), np.uint8), {0x0112: orientation}, {}, of)
    assert load.framed(facts, picture).framing.cut == float(stored)


def test_two_pictures_in_a_file_are_one_too_many() -> None:
    frames = [Image.new("RGB", (320, 240), tone) for tone in ("red", "blue")]
    for name in ("PNG", "WEBP"):
        for count in (1, 2):
            content = io.BytesIO()
            more: dict[str, Any] = {"save_all": True, "append_images": frames[1:]}
            frames[0].save(content, name, **(more if count == 2 else {}))
            if count == 1:
                assert load.decoded(content.getvalue()).rgb.shape == (240, 320, 3)
            else:
                with pytest.raises(PhotoError, match="holds moving pictures"):
                    load.decoded(content.getvalue())


@pytest.mark.parametrize(
    ("value", "number"),
    [(1.2e-6, 1.2e-6), (0.9e-6, None), (0.9e9, 0.9e9), (1.2e9, None), ("x", None), (-5.0, None)],
)
def test_numbers_of_a_file_are_taken_as_far_as_they_make_sense(value: Any, number: Any) -> None:
    assert camera._number(value) == number


@pytest.mark.parametrize("recorded", [(4000.0, None), (None, 3000.0), (None, None)])
def test_a_sensor_is_as_large_as_its_pixels_if_the_frame_is_half_told(recorded: Any) -> None:
    """400 px per mm: 4000 x 3000 px on 10 x 7.5 mm, diagonal 12.5 (3, 4, 5)."""
    exif = {camera._PLANE_X: 400.0, camera._PLANE_UNIT: 4}
    assert camera._sensor_diagonal(exif, recorded, (4000, 3000)) == pytest.approx(12.5)
    whole = camera._sensor_diagonal(exif, (8000.0, 6000.0), (4000, 3000))
    assert whole == pytest.approx(25.0)


# --- earlier blocks -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("place", "kept"),
    [((3, 5), False), ((0, 5), False), ((3, 0), False), ((0, 4), True), ((3, 4), True),
     ((2, 5), True), ((1, 5), True), ((4, 0), True)],
)  # fmt: skip
def test_blocks_counted_from_another_corner_are_the_pictures_own(
    place: tuple[int, int], kept: bool
) -> None:
    """A picture of 8 n + 3 by 8 m + 5 px, turned about, has its blocks 3 and 5 px in."""
    rgb = np.zeros((8 * 3 + 5, 8 * 4 + 3, 3), np.uint8)
    assert _unless_turned(place, rgb) == (place if kept else None)


def _saved_before(width: int, height: int) -> Picture:
    """A picture cut out of a JPEG whose blocks begin 3 px right of its corner and 5 px below."""
    noise = np.random.default_rng(1).normal(0, 40, (height + 16, width + 16, 3))
    soft = np.clip(128 + 5 * cv2.GaussianBlur(noise, (0, 0), 2), 0, 255).astype(np.uint8)
    coded = cv2.imencode(".jpg", soft, [cv2.IMWRITE_JPEG_QUALITY, 70])[1]
    kept = np.asarray(cv2.imdecode(coded, 1))
    return np.asarray(kept[3 : 3 + height, 5 : 5 + width], np.uint8)


@pytest.mark.parametrize(
    ("width", "height", "looked"),
    [(760, 71, True), (760, 70, False), (71, 760, True), (70, 760, False)],
)
def test_grids_are_counted_over_eight_blocks_both_ways(
    width: int, height: int, looked: bool
) -> None:
    sums = periodicity(_saved_before(width, height))
    assert sums.any() == looked
    if looked:
        assert np.unravel_index(int(np.argmax(sums)), sums.shape) == (5, 3)


def test_a_file_may_have_as_many_bytes_as_are_read_and_no_more(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    file = tmp_path / "a.jpg"
    file.write_bytes(b"x" * 100)
    monkeypatch.setattr(load, "MAX_BYTES", 100)
    assert load._read(file, "photo") == b"x" * 100
    monkeypatch.setattr(load, "MAX_BYTES", 99)
    with pytest.raises(PhotoError, match="MB"):
        load._read(file, "photo")


@pytest.mark.parametrize(
    ("code", "dark", "bright"), [(7, 1, 0), (8, 0, 0), (247, 0, 0), (248, 0, 1)]
)
def test_eight_codes_at_either_end_are_clipped(code: int, dark: float, bright: float) -> None:
    """What a camera's curve leaves of shadow and of light there, a picture does not show."""
    (seen,) = quality.quality_at(np.full((60, 60, 3), code, np.uint8), [(30, 30)])
    assert seen.too_dark == pytest.approx(dark)
    assert seen.too_bright == pytest.approx(bright)
