"""Sizes, shares and lists that a planting of faults left free, held by hand and by doubling."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from PIL import Image

from photocheck.body.heights import BREED_HEIGHTS_CM
from photocheck.body.outline_shapes import _Pen
from photocheck.body.outline_trust import _on_marks
from photocheck.errors import CaseError
from photocheck.judge import tape_habits
from photocheck.judge.ratios import ratios_from_dict, ratios_to_dict
from photocheck.photo import clean, whole
from photocheck.photo.whole import USER_COMMENT, note_of
from photocheck.scale import bent, shapes
from photocheck.scale.corners import _sides_cross
from photocheck.scale.sheet import sheet_points
from tests.support.learnt import learnt

# --- lists ---------------------------------------------------------------------------------------


def test_sides_of_exports_are_those() -> None:
    exports = [640, 800, 1024, 1200, 1280, 1440, 1500, 1536, 1600, 1800, 1920, 2000, 2048, 2160]
    exports += [2400, 2560, 2592, 3000, 3072, 3200, 3264, 3840, 4000, 4096]
    assert set(exports) == whole.SIDES_OF_EXPORTS
    more = [320, 333, 360, 375, 400, 480, 500, 512, 540, 600, 720, 750, 768, 900, 960, 1000, 1080]
    more += [1512, 2016, 2304, 2448, 3024]
    assert {*exports, *more} == whole.SIDES_OF_THE_WEB


@pytest.mark.parametrize(
    ("grid", "count", "low", "high"),
    [("_REPEAT", 37, 0.12, 4.0), ("_LED", 25, 0.12, 4.0), ("_FREEDOM", 8, 3.0, 50.0)],
)
def test_grids_of_tapes_rise_by_like_steps(grid: str, count: int, low: float, high: float) -> None:
    held = getattr(tape_habits, grid)
    assert (len(held), held[0], held[-1]) == (count, pytest.approx(low), pytest.approx(high))
    steps = np.diff(np.log(held))
    assert steps.min() > 0.2 * steps.max() > 0.0
    if grid == "_FREEDOM":
        assert held.tolist() == [3.0, 4.0, 5.0, 7.0, 10.0, 15.0, 25.0, 50.0]


# --- what a photo written anew says of its camera -------------------------------------------------


@pytest.mark.parametrize("make", ["", "Invented"])
def test_a_make_alone_is_kept_and_beside_it_the_note_alone(make: str) -> None:
    told = {0x010F: make} if make else {}
    picture: Any = SimpleNamespace(base=told, exif={}, rgb=None)
    facts = clean.camera_facts(told, {}, (4000, 3000))
    read = Image.Exif()
    read.load(clean._exif(picture, facts.framing))
    assert {tag: read[tag] for tag in read if tag != 0x8769} == told
    assert dict(read.get_ifd(0x8769)) == {USER_COMMENT: note_of(facts.framing)}


# --- a bent sheet in photos of two sizes ----------------------------------------------------------


def corners(scale: float, lifted: Any) -> dict[tuple[int, int], np.ndarray]:
    """Corners of all four squares, laid out at so many px per mm and moved by what is lifted."""
    _, points = sheet_points()
    moved = points + lifted(points)
    return {(n // 4, n % 4): scale * at + 900.0 for n, at in enumerate(moved)}


def crease(points: np.ndarray) -> np.ndarray:
    """No field that is smooth: corner after corner to the other side."""
    return np.column_stack([1.5 * (-1.0) ** np.arange(len(points)), 0.0 * points[:, 0]])


def bulge(points: np.ndarray) -> np.ndarray:
    r = points / np.abs(points).max()
    return np.column_stack([2.0 * r[:, 0] * r[:, 1] ** 2, 2.0 * r[:, 1] * r[:, 0] ** 2])


@pytest.mark.parametrize("lifted", [crease, bulge])
def test_a_bend_is_as_many_mm_in_a_photo_twice_as_large(lifted: Any) -> None:
    once, twice = (bent.bend_of(corners(scale, lifted)) for scale in (2.0, 4.0))
    assert once is not None
    assert twice is not None
    assert twice.off_mm == pytest.approx(once.off_mm, rel=1e-3)
    assert 0.3 < once.off_mm < 6.0
    assert twice.spread_px == pytest.approx(2.0 * once.spread_px, rel=1e-3, abs=1e-6)


# --- four corners ---------------------------------------------------------------------------------


def test_sides_that_only_touch_do_not_cross() -> None:
    touching = np.array([[0.0, 0.0], [10.0, 0.0], [5.0, 0.0], [5.0, 8.0]])
    for turn in range(4):
        rolled = np.roll(touching, turn, axis=0)
        assert not any(_sides_cross(rolled, k) for k in range(4))
    crossing = np.array([[0.0, 0.0], [10.0, 0.0], [5.0, -1.0], [5.0, 8.0]])
    assert any(_sides_cross(crossing, k) for k in range(4))


def test_the_longest_side_is_that_between_neighbours() -> None:
    """Not a diagonal, nor how far from the middle: the 3-4-5 triangle with a corner more."""
    quads = np.array([[[0.0, 0.0], [3.0, 0.0], [3.0, 4.0], [0.0, 4.0]],
                      [[0.0, 0.0], [9.0, 0.0], [9.0, 2.0], [0.0, 2.0]]])  # fmt: skip
    for at in (0.0, 1000.0):
        assert shapes._longest(quads + at).tolist() == [4.0, 9.0]


# --- outlines -------------------------------------------------------------------------------------


@pytest.mark.parametrize("shift", [2.0, 4.0, 6.0, 9.0])
def test_a_mark_off_the_outline_counts_by_a_normal_curve(shift: float) -> None:
    """Of a thirtieth of the trunk; a straight edge, of which OpenCV's smallest mask has 0.955 of
    the distance (its manual, `distanceTransform`; Borgefors, 1986)."""
    mask = np.zeros((120, 60), np.uint8)
    mask[60:] = 1
    # the gradient marks the last row outside and the first inside
    for at in (59.0 - shift, 60.0 + shift):
        found = _on_marks(mask, {"tail_base": np.array([30.0, at])}, 120.0)
        assert found == pytest.approx(np.exp(-0.5 * (0.955 * shift / 4.0) ** 2), rel=0.01)


def test_a_tail_begins_at_the_tail_base() -> None:
    marks = {"tail_base": np.array([60.0, 60.0])}
    there = 0
    for seed in range(40):
        pen = _Pen(marks, 40.0, 1.0, (120, 120), np.random.default_rng(seed))
        tail = np.asarray(pen.tail())
        if tail.any():
            there += 1
            rows, columns = np.nonzero(tail > 0.5 * tail.max())
            assert np.hypot(rows - 60.8, columns - 60.0).min() < 2.5
    assert 25 < there < 40


# --- breeds, and a file with half a letter --------------------------------------------------------


def test_a_breed_is_as_tall_as_its_standard_has_it() -> None:
    """FCI 122: dogs 56 to 57 cm, bitches 54 to 56.  And no standard's range is a third wide."""
    assert BREED_HEIGHTS_CM["labrador"] == (54.0, 57.0, "FCI 122")
    for breed, (low, high, _) in BREED_HEIGHTS_CM.items():
        assert 1.0 < high / low < 1.28, breed


def test_a_file_of_ratios_with_half_a_letter_is_refused_in_a_sentence() -> None:
    told = ratios_to_dict(learnt())
    assert ratios_from_dict(told) == learnt()
    with pytest.raises(CaseError, match="cannot be written down"):
        ratios_from_dict(told | {"current": "\ud800"})
