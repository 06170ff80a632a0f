"""Pictures papered with squares: how many are looked at has a bound, whatever is drawn.

How many there are is known, for they are drawn here; a pattern of squares has no other outlines.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest

from photocheck.case.model import Reference
from photocheck.errors import ScaleError
from photocheck.scale import (
    crowds,
    marker_detection,
    tag_detection,
    tags,
    unaided,
    unaided_rounds,
)
from photocheck.scale.crowds import largest_outlines, least_perimeter_px
from photocheck.scale.find import see_reference
from photocheck.scale.marker_detection import agreeing_markers, detect_markers
from photocheck.scale.sheet import LAYOUT, marker_cells
from photocheck.scale.tag_detection import Search
from photocheck.scale.tag_layout import TAG_IDS


def papered(ids: tuple[int, ...], cells: list[int], wide: int) -> np.ndarray:
    """Rows of markers, each row's cells so many px, with as much white as two cells between."""
    rows, many = [], 0
    for cell in cells:
        row = np.full((8 * cell, wide), 255, np.uint8)
        for left in range(cell, wide - 7 * cell, 8 * cell):
            marker = np.where(marker_cells(ids[many % len(ids)]), 0, 255).astype(np.uint8)
            row[cell : 7 * cell, left : left + 6 * cell] = np.kron(marker, np.ones((cell, cell)))
            many += 1
        rows.append(row)
    return np.vstack(rows)


def squares(side: int, many: int) -> np.ndarray:
    picture = np.full((2 * side * many, 2 * side * many), 255, np.uint8)
    tile = np.full((2 * side, 2 * side), 255, np.uint8)
    tile[side // 2 : side // 2 + side, side // 2 : side // 2 + side] = 0
    picture[:] = np.tile(tile, (many, many))
    return picture


def told(accuracy: float) -> cv2.aruco.DetectorParameters:
    """One neighbourhood of 15 px, ink 7 codes darker than it."""
    settings = cv2.aruco.DetectorParameters()
    settings.adaptiveThreshWinSizeMin = settings.adaptiveThreshWinSizeMax = 15
    settings.adaptiveThreshConstant, settings.polygonalApproxAccuracyRate = 7, accuracy
    return settings


def test_of_a_picture_papered_with_markers_the_largest_are_looked_at() -> None:
    grey = papered(LAYOUT.marker_ids, [*[8] * 4, 12, 12], 1200)
    seen = detect_markers(grey)
    assert len(seen) == marker_detection.MOST_MARKERS == 16
    sides = [float(np.linalg.norm(one.corners_px[1] - one.corners_px[0])) for one in seen]
    assert min(sides) > 6 * 10  # of both rows of the larger ones there are 24
    assert len(agreeing_markers(seen)) <= len(LAYOUT.marker_ids)


def test_four_sheets_are_all_there() -> None:
    grey = papered(LAYOUT.marker_ids, [10, 10], 8 * 10 * 8 + 20)
    assert len(marker_detection._detect_at(grey, 1.0)) == 16


def test_squares_are_counted_as_they_are_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    grey = squares(12, 10)  # the way around each: 4 times 12 px, less its corners counted twice
    least = 30.0
    monkeypatch.setattr(crowds, "MOST_SQUARES", 100)
    assert least_perimeter_px(grey, told(0.05), least) == least
    monkeypatch.setattr(crowds, "MOST_SQUARES", 99)
    # all are of one size: with any of them there would be too many
    assert 44 < least_perimeter_px(grey, told(0.05), least) < 49
    larger = np.hstack([grey, np.pad(squares(24, 2), ((0, 144), (0, 0)), constant_values=255)])
    bound = least_perimeter_px(larger, told(0.05), least)
    assert 44 < bound < 49
    assert least_perimeter_px(grey, told(0.05), 60.0) == 60.0


def test_what_is_no_square_is_no_crowd(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(crowds, "MOST_SQUARES", 20)
    grey = np.full((480, 480), 255, np.uint8)
    for x in range(30, 480, 60):
        for y in range(30, 480, 60):
            cv2.circle(grey, (x, y), 20, 0, -1)
    assert least_perimeter_px(grey, told(0.03), 30.0) == 30.0


class _Counting:
    """OpenCV's detector, with how many squares it compared."""

    def __init__(self, detector: cv2.aruco.ArucoDetector, found: list[int]) -> None:
        self._detector, self._found = detector, found

    def detectMarkers(self, picture: np.ndarray) -> Any:
        taken, ids, left = self._detector.detectMarkers(picture)
        self._found.append(len(taken) + len(left))
        return taken, ids, left


def as_a_part(grey: np.ndarray) -> None:
    tag_detection._quads(grey, (13.0, np.inf), thorough=True)


@pytest.mark.parametrize("module", [marker_detection, tag_detection])
def test_no_detector_is_given_a_crowd(module: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    found: list[int] = []
    true = module._detector
    monkeypatch.setattr(
        module, "_detector", lambda *args, **more: _Counting(true(*args, **more), found)
    )
    grey = papered(tuple(TAG_IDS.values()), [*[8] * 8, 10, 12], 700)
    look = detect_markers if module is marker_detection else as_a_part
    look(grey)
    assert max(found) > 100
    monkeypatch.setattr(crowds, "MOST_SQUARES", 100)
    found.clear()
    look(grey)
    assert found
    assert max(found) <= 100


def test_of_what_looks_like_tags_the_likeliest_are_looked_at(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    grey = papered(tuple(TAG_IDS.values()), [6] * 12, 1000)
    many = len(Search(grey).squares)
    assert many > 100
    monkeypatch.setattr(tag_detection, "MOST_SQUARES", 30)
    few = Search(grey).squares
    assert len(few) == 30
    assert min(one.likeness for one in few) >= 0.9
    fitted: list[int] = []
    monkeypatch.setattr(tags, "fit_tag", lambda *asked, **_: fitted.append(asked[2]))
    tags.find_tags(grey)
    assert len(fitted) == 30


def test_what_is_shipped_is_this() -> None:
    assert (crowds.MOST_SQUARES, tag_detection.MOST_SQUARES) == (2000, 400)
    assert (crowds.MOST_OUTLINES, crowds._FEW_REGIONS) == (10_000, 50_000)
    assert (unaided._MOST_QUADS, unaided._JUDGED_AT_ONCE) == (2000, 250)
    assert marker_detection._LARGEST == 4200


def test_of_a_crowd_of_outlines_the_largest_are_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    masks = [255 - squares(12, 6), 255 - squares(24, 3)]
    all_of_them = largest_outlines(masks, cv2.CHAIN_APPROX_SIMPLE, 8.0)
    assert len(all_of_them) == 36 + 9
    monkeypatch.setattr(crowds, "MOST_OUTLINES", 11)
    largest = largest_outlines(masks, cv2.CHAIN_APPROX_SIMPLE, 8.0)
    assert [cv2.boundingRect(one)[2] for one in largest] == [12] * 2 + [24] * 9
    monkeypatch.setattr(crowds, "MOST_OUTLINES", 9)
    assert len(largest_outlines(masks, cv2.CHAIN_APPROX_SIMPLE, 20.0)) == 9


def test_no_look_for_what_nobody_pointed_at_is_given_a_crowd(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A picture papered with rectangles as a card is seen: each is a place of its own."""
    monkeypatch.setattr(crowds, "MOST_OUTLINES", 60)
    monkeypatch.setattr(unaided, "_MOST_QUADS", 20)
    picture = np.full((600, 800, 3), 60, np.uint8)
    for top in range(10, 560, 40):
        for left in range(10, 740, 56):
            picture[top : top + 24, left : left + 38] = 220
    judged: list[int] = []
    could_be, fit = unaided._could_be, unaided_rounds.fit_ellipse
    fitted: list[int] = []

    def judging(quads: np.ndarray, shape: tuple[int, ...]) -> Any:
        judged.append(len(quads))
        return could_be(quads, shape)

    def fitting(points: np.ndarray) -> Any:
        fitted.append(len(points))
        return fit(points)

    monkeypatch.setattr(unaided, "_could_be", judging)
    monkeypatch.setattr(unaided_rounds, "fit_ellipse", fitting)
    assert len(unaided.places(picture, 10)) == 10
    assert 0 < sum(judged) <= 2 * 20
    unaided_rounds.round_places(np.repeat(squares(40, 9)[..., None], 3, axis=2), 8)
    assert 0 < len(fitted) <= 60


@pytest.mark.parametrize("seed", range(6))
def test_there_are_no_more_regions_than_are_told(seed: int) -> None:
    """OpenCV's own count of dark regions (of 8 neighbours) and light ones (of 4)."""
    random = np.random.default_rng(seed)
    blotches = cv2.GaussianBlur(random.normal(0, 1, (90, 120)), (0, 0), 0.5 + seed)
    dark = np.where(blotches > 0.02, 255, 0).astype(np.uint8)
    regions = cv2.connectedComponents(dark, connectivity=8)[0] - 1
    light = cv2.connectedComponents(255 - dark, connectivity=4)[0] - 1
    assert regions + light <= crowds._most_regions(dark)


def test_of_plain_squares_each_region_is_counted_once() -> None:
    assert crowds._most_regions(255 - squares(12, 10)) == 101


def test_a_search_at_full_size_is_of_so_many_px_at_most(monkeypatch: pytest.MonkeyPatch) -> None:
    """Twelve megapixels as they are, eighty a third as large."""
    looked: list[float] = []

    def look(grey: np.ndarray, shrink: float, counted: Any) -> tuple[()]:
        looked.append(shrink)
        return ()

    monkeypatch.setattr(marker_detection, "_detect_at", look)
    for side, shrinks in ((4032, [3.0, 1.0, 6.0]), (10950, [8.0, 3.0, 16.0])):
        looked.clear()
        assert detect_markers(np.full((20, side), 255, np.uint8)) == ()
        assert looked == shrinks


def outlines(dark: np.ndarray, least_px: float) -> set[bytes]:
    """OpenCV's own of what is at least so wide and high together, px by px."""
    found, _ = cv2.findContours(dark, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    boxes = [cv2.boundingRect(outline) for outline in found]
    return {
        outline.tobytes()
        for outline, (_, _, wide, high) in zip(found, boxes, strict=True)
        if wide + high >= least_px
    }


@pytest.mark.parametrize("seed", range(6))
def test_without_what_is_small_all_other_outlines_are_as_they_were(seed: int) -> None:
    random = np.random.default_rng(seed)
    blotches = cv2.GaussianBlur(random.normal(0, 1, (300, 400)), (0, 0), 0.4 + seed / 2)
    dark = np.where(blotches > 0.02, 255, 0).astype(np.uint8)
    left, many = crowds._larger(dark, 60.0)
    # of holes OpenCV follows the px around, which make the box larger by one on each side
    assert outlines(dark, 24.0) == outlines(left, 24.0)
    assert len(outlines(left, 0.0)) < len(outlines(dark, 0.0)) or seed > 2
    assert many >= len(outlines(dark, 34.0))


def test_of_noise_few_outlines_are_followed(monkeypatch: pytest.MonkeyPatch) -> None:
    """What white noise has most of goes before any outline is: 22 s of 12 megapixels were that."""
    random = np.random.default_rng(4)
    grey = random.integers(0, 256, (700, 900)).astype(np.uint8)
    followed: list[int] = []
    true = cv2.findContours

    def following(mask: Any, mode: int, method: int) -> Any:
        found = true(mask, mode, method)
        followed.append(len(found[0]))
        return found

    monkeypatch.setattr(crowds, "_FEW_REGIONS", 1000)
    monkeypatch.setattr(crowds.cv2, "findContours", following)
    least_perimeter_px(grey, told(0.03), 60.0)
    all_of_it = cv2.adaptiveThreshold(grey, 255, 0, cv2.THRESH_BINARY_INV, 15, 7)
    assert 0 < sum(followed) < 0.1 * len(true(all_of_it, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)[0])


def test_a_sheet_that_is_not_there_is_counted_for_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Looked for as it is, and once more in a mirror, where its squares are as many."""
    random = np.random.default_rng(4)
    photo = random.integers(0, 256, (900, 1600, 3)).astype(np.uint8)
    copies: list[tuple[int, ...]] = []

    def counting(grey: np.ndarray, settings: Any, least_px: float) -> float:
        copies.append((*grey.shape, settings.adaptiveThreshWinSizeMin))
        return least_perimeter_px(grey, settings, least_px)

    monkeypatch.setattr(marker_detection, "least_perimeter_px", counting)
    with pytest.raises(ScaleError):
        see_reference(photo, Reference(kind="marker_sheet"))
    assert len(copies) == len(set(copies)) > 1
