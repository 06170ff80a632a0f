"""Whether a picture is all that the camera took: sizes, tags, preview, bars, earlier blocks."""

from __future__ import annotations

import io
import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from photocheck.photo.bars import photo_between_bars
from photocheck.photo.clean import clean
from photocheck.photo.earlier_grid import earlier_grid
from photocheck.photo.load import load_photo
from photocheck.photo.photo import WHOLE, Framing
from photocheck.photo.preview import frame_in_preview
from photocheck.photo.whole import (
    NAMED_FROM,
    USER_COMMENT,
    WEIGHED_FROM,
    framing_of,
    framing_said,
    in_camera_shift,
    note_of,
    noted,
    smallest_frame,
)
from tests.support.places import SAMPLES

MAKE = {0x010F: "Maker"}

# Sizes that cameras write, from makers' specifications and files met (from memory): phones of
# 12, 13, 16, 24, 48 and 50 million pixels, compact and single-lens cameras.
NATIVE = (
    (4032, 3024), (3024, 4032), (4000, 3000), (4160, 3120), (4208, 3120), (4608, 3456),
    (4080, 3072), (4624, 3468), (4656, 3492), (3264, 2448), (5712, 4284), (8064, 6048),
    (8000, 6000), (9248, 6936), (6000, 4000), (6016, 4016), (5184, 3456), (4928, 3264),
    (5472, 3648), (4288, 2848), (2592, 1944),
)  # fmt: skip


@pytest.mark.parametrize("size", NATIVE)
def test_what_cameras_write_is_whole(size: tuple[int, int]) -> None:
    assert framing_of(MAKE, {}, size) == WHOLE
    # the tags follow the stored pixels, or the turned ones
    for recorded in (size, size[::-1]):
        assert framing_of(MAKE, {0xA002: recorded[0], 0xA003: recorded[1]}, size) == WHOLE


@pytest.mark.parametrize(
    "size",
    [(1600, 1200), (1200, 1600), (2048, 1536), (1280, 960), (2000, 1500), (1600, 1067), (640, 480)],
)
def test_what_programs_make_smaller_is_not_called_cropped(size: tuple[int, int]) -> None:
    framing = framing_of(MAKE, {}, size)
    assert WEIGHED_FROM < framing.cut < NAMED_FROM
    assert framing_said(framing, size) == ()


@pytest.mark.parametrize(
    ("size", "why"),
    [
        ((2621, 1966), "size"),
        ((1300, 975), "size"),
        ((2016, 1512), "size"),
        ((3225, 2419), "size"),
        ((2611, 1743), "size"),
        ((2800, 1700), "shape"),
        ((2100, 2000), "shape"),
        ((1080, 1350), "shape"),
        ((6000, 2000), "panorama"),
    ],
)
def test_sizes_that_nothing_makes_are_called_cropped(size: tuple[int, int], why: str) -> None:
    framing = framing_of(MAKE, {}, size)
    assert framing.cut >= NAMED_FROM
    assert framing.why == why
    (said,) = framing_said(framing, size)
    assert "crop" in said
    assert "Send the whole photo" in said


@pytest.mark.parametrize("share", [0.8, 0.65, 0.5])
def test_crops_of_any_shape_are_named_and_whole_ones_are_not(share: float) -> None:
    rng = np.random.default_rng(31)
    named = []
    for _ in range(300):
        width, height = NATIVE[rng.integers(len(NATIVE))]
        bend = np.exp(rng.uniform(-0.15, 0.15))
        size = (round(width * share * bend), round(height * share / bend))
        named.append(framing_of(MAKE, {}, size).cut >= NAMED_FROM)
    assert np.mean(named) > 0.9


def test_a_camera_mode_is_no_crop_and_its_focal_length_is_between_the_two_meanings() -> None:
    for size in ((4032, 2268), (3024, 3024), (4000, 1800), (4608, 1976)):
        assert framing_of(MAKE, {}, size).cut < NAMED_FROM
    # by hand: a 4:3 sensor 4 wide has diagonal 5, its 16:9 part sqrt(16 + 2.25^2) = 4.5894,
    # its square sqrt(18) = 4.2426
    assert in_camera_shift((4000, 2250)) == pytest.approx(np.log(5 / 4.58939), abs=1e-4)
    assert in_camera_shift((3000, 3000)) == pytest.approx(np.log(5 / 4.24264), abs=1e-4)
    assert in_camera_shift((4000, 3000)) == 0.0
    assert smallest_frame((1500, 3000)) == (2250.0, 3000)


def test_the_recorded_size_tells_the_frame_whichever_way_it_was_turned() -> None:
    tags = {0xA002: 4032, 0xA003: 3024}
    upright = framing_of({0x0112: 6}, tags, (2566, 3313))
    assert (upright.why, upright.frame_px) == ("recorded", (3024.0, 4032.0))
    assert framing_of({}, tags, (2566, 3313)).frame_px == (3024.0, 4032.0)
    assert framing_of({}, tags, (2600, 1500)).frame_px == (4032.0, 3024.0)
    assert framing_of({}, tags, (5000, 1500)).frame_px is None  # larger than what is recorded
    smaller = framing_of(MAKE, tags, (1010, 757))
    assert smaller.why == "smaller"
    # an old camera's odd size, said to be the camera's own
    assert framing_of(MAKE, {0xA002: 2272, 0xA003: 1704}, (2272, 1704)).cut < NAMED_FROM


def test_apples_panorama_tag_is_read() -> None:
    assert framing_of(MAKE, {0xA401: 6}, (4032, 3024)).why == "panorama"


@pytest.mark.parametrize(
    "framing",
    [
        WHOLE,
        Framing(0.97, "recorded", (4032.0, 3024.0)),
        Framing(0.99, "preview", (4000.5, 3000.25), (-1.5, 200.0)),
        Framing(0.15, photo_px=(0, 300, 1080, 1740)),
    ],
)
def test_a_note_tells_what_was_noted(framing: Framing) -> None:
    assert noted({USER_COMMENT: note_of(framing)}) == framing


@pytest.mark.parametrize(
    "told",
    [
        {"cut": 2.0},
        {"cut": float("nan")},
        {"why": "nonsense"},
        {"frame_px": [float("nan"), 1.0]},
        {"frame_px": [1.0]},
        {"frame_px": [1e9, 1e9]},
        {"photo_px": [5, 5, 5, 9]},
        {"photo_px": "abc"},
        {"corner_px": {"a": 1}},
    ],
)
def test_a_spoilt_note_tells_nothing(told: dict[str, object]) -> None:
    whole = {"cut": 0.9, "why": "", "frame_px": None, "corner_px": None, "photo_px": None}
    note = note_of(WHOLE).split(b"{")[0] + json.dumps(whole | told).encode()
    framing = noted({USER_COMMENT: note})
    assert framing is None


def sample(name: str) -> np.ndarray:
    return load_photo(SAMPLES / name / "side.jpg").rgb


def saved(rgb: np.ndarray, quality: int) -> bytes:
    held = io.BytesIO()
    Image.fromarray(rgb).save(held, "JPEG", quality=quality)
    return held.getvalue()


@pytest.mark.parametrize("quality", [92, 95])
@pytest.mark.parametrize("name", ["flint", "nettle"])
def test_blocks_of_the_picture_it_was_cut_from_are_found(name: str, quality: int) -> None:
    rgb = sample(name)
    cut = saved(rgb[131 : 131 + 750, 202 : 202 + 1000], quality)
    # 8 - 202 mod 8 = 6 and 8 - 131 mod 8 = 5, by hand
    photo = load_photo(cut)
    assert earlier_grid(photo.rgb) == (6, 5)
    assert photo.camera.framing.cut > NAMED_FROM
    assert "grid" in photo.camera.framing.why or photo.size == (1000, 750)


@pytest.mark.slow
@pytest.mark.parametrize("quality", [80, 92, 95])
def test_whole_pictures_saved_again_or_turned_have_no_such_blocks(quality: int) -> None:
    for name in ("flint", "moss", "sorrel"):
        rgb = sample(name)
        for whole in (rgb, rgb[::-1, ::-1], np.swapaxes(rgb, 0, 1), rgb[:, ::-1]):
            again = load_photo(saved(np.ascontiguousarray(whole), quality)).rgb
            assert earlier_grid(again) is None


def test_a_preview_that_shows_more_tells_frame_and_place() -> None:
    rgb = sample("flint")
    preview = np.asarray(Image.fromarray(rgb).resize((160, 120), Image.Resampling.BOX))
    found = frame_in_preview(rgb[300:1250, 500:1700], preview)
    assert found is not None
    (width, height), (left, top) = found
    assert (width, height) == pytest.approx((2000, 1500), rel=0.03)
    assert (left, top) == pytest.approx((500, 300), abs=40)
    assert frame_in_preview(rgb, preview) is None
    assert frame_in_preview(rgb[10:1490, 13:1987], preview) is None  # straightened a little
    assert frame_in_preview(sample("moss"), preview) is None


def with_preview(rgb: np.ndarray, whole: np.ndarray) -> bytes:
    """A JPEG whose EXIF block holds a preview, written byte by byte (CIPA DC-008, 4.6)."""
    small = io.BytesIO()
    Image.fromarray(whole).resize((160, 120), Image.Resampling.BOX).save(small, "JPEG")
    jpeg = small.getvalue()
    short, long = 3, 4

    def entry(tag: int, kind: int, value: int) -> bytes:
        return b"".join(
            (tag.to_bytes(2, "big"), kind.to_bytes(2, "big"), (1).to_bytes(4, "big"))
        ) + (value.to_bytes(2, "big") + b"\0\0" if kind == short else value.to_bytes(4, "big"))

    first = (1).to_bytes(2, "big") + entry(0x0112, short, 1) + (26).to_bytes(4, "big")
    at = 26 + 2 + 3 * 12 + 4
    second = (3).to_bytes(2, "big") + entry(0x0103, short, 6)
    second += entry(0x0201, long, at) + entry(0x0202, long, len(jpeg)) + bytes(4)
    block = b"Exif\0\0MM\0\x2a\0\0\0\x08" + first + second + jpeg
    held = io.BytesIO()
    Image.fromarray(rgb).save(held, "JPEG", quality=90, exif=block)
    return held.getvalue()


def test_what_told_the_framing_goes_on_when_the_file_is_written_anew() -> None:
    rgb = sample("flint")
    photo = load_photo(with_preview(rgb[300:1250, 500:1700], rgb))
    assert photo.camera.framing.why == "preview"
    done = clean(with_preview(rgb[300:1250, 500:1700], rgb))
    assert done.camera.framing == photo.camera.framing
    assert load_photo(done.content).camera == done.camera
    assert b"preview" in done.content  # the note; the preview itself is gone
    with Image.open(io.BytesIO(done.content)) as image:
        assert image.getexif().get_ifd(-1) == {}


def test_bars_of_a_screenshot_are_found_and_skies_are_not() -> None:
    rgb = sample("flint")
    screen = np.zeros((2340, 1080, 3), np.uint8)
    shown = np.asarray(Image.fromarray(rgb).resize((1080, 810)))
    screen[765 : 765 + 810] = shown
    screen[20:60, 40:200] = 255  # the time
    inside = photo_between_bars(screen)
    assert inside is not None
    assert np.abs(np.subtract(inside, (0, 765, 1080, 1575))).max() <= 2
    told = load_photo(saved(screen, 90)).camera.framing
    assert told.cut < NAMED_FROM
    assert told.photo_px is not None
    (said,) = framing_said(told, (1080, 2340))
    assert "screenshot" in said
    part = screen.copy()
    part[1300:] = 0
    assert load_photo(saved(part, 90)).camera.framing.why == "bars"
    assert photo_between_bars(rgb) is None
    rng = np.random.default_rng(4)
    sky = np.clip(rng.normal(235, 3, (600, 800, 3)), 0, 255).astype(np.uint8)
    sky[300:400] = 60
    assert photo_between_bars(sky) is None
    burnt = np.full((600, 800, 3), 255, np.uint8)
    slope = np.linspace(0.2, 0.8, 800)[None, :] * 600
    burnt[np.arange(600)[:, None] > slope] = 90
    assert photo_between_bars(burnt) is None


@pytest.mark.parametrize("path", sorted(SAMPLES.glob("*/*.jpg")), ids=lambda path: path.parent.name)
def test_no_sample_is_called_cropped(path: Path) -> None:
    if path.stem in ("side", "front") or path.stem.startswith("side_"):
        assert load_photo(path).camera.framing.cut < NAMED_FROM
