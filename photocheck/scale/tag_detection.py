"""Squares that may be tags, as first detected: good to a cell.

Black on white is where light and dark lie close together, over an area: most of a picture is not,
and is not looked at.  What is left is searched at its full size, for small cells that are smeared
in a smaller picture, at little cost.  Gravel, grass and fur are full of such places: there the
strongest come first, and a photo with no tag among them is left at that.  What is read here is not
relied on: it says which tag to lay over the photo (`photocheck.scale.tag_fit`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.scale.crowds import least_perimeter_px
from photocheck.scale.light import Floats, Picture, halved
from photocheck.scale.sheet import marker_cells
from photocheck.scale.tag_layout import CELLS

_LARGEST: Final = 4200
"""Px, longer side of the picture looked at, at most."""
_SMALLEST: Final = 500
"""Px, longer side of the smallest copy looked at: a square then fills a tenth of it."""
_STEP: Final = 60
"""Codes of 255 between paper and ink nearby, at least: 90 and more in the shade."""
_CLEAR: Final = 110
"""The same of places that come first where there are many: of 36 rendered tags that were found,
one in twenty has less, and a dog wears several."""
_MANY: Final = 0.02
"""Share of a copy that places may fill before the faint ones are kept for later (judgement: ten
tags of 40 mm, of a dog that fills half a photo, fill as much)."""
_APART_SIDES: Final = 27.0
"""Sides of a tag that any two tags of one dog are apart, at most: 1.1 m, of the small set
0.8 m (judgement: from breastbone to tail base a dog is little longer than high)."""
_SMALLER, _LARGER = 0.7, 1.5
"""Side of the dog's least tag over the least that was found, at least, and of its largest over the
largest (judgement: tags of one set on one dog, one of them turned by 45 degrees)."""
_AROUND: Final = 14
"""Px that are looked at around a place."""
_THOROUGH: Final = 0.15
"""Share of a copy that is looked at larger and with several thresholds, if the places fill no
more: gravel and grass are full of places, and none is a tag's."""
_SMALL_PLACE: Final = 160
"""Px, longer side of such a place at most: a tag alone of 14 px a cell."""
_LEAST_SIDE_PX: Final = 13.0
"""Of a black square that is looked for: cells of 2.2 px."""
_LEAST_LIKENESS: Final = 0.6
"""Correlation of the 36 cells of a square with a tag's, at least: one with a fifth of it covered
has 0.7."""
MOST_SQUARES: Final = 400
"""That look like markers, the likeliest: a photo of gravel has some dozens, and to lay the face of
a tag over each takes milliseconds."""

_Box: TypeAlias = tuple[int, int, int, int]
"""Left, top, right, bottom, px."""


@dataclass(frozen=True, eq=False)
class Square:
    """What may be a marker.

    Attributes
    ----------
    corners_px : (4, 2) float
        Clockwise from its own top left, if it is what it looks like, px.
    code : int
        What it looks like most, in DICT_4X4_50.
    likeness : float
        Correlation of its cells with that marker's.
    """

    corners_px: Floats
    code: int
    likeness: float


@dataclass(frozen=True, eq=False)
class _Shrunk:
    """A copy of the picture, so many times smaller, and its places that are left for later."""

    copy: Picture
    shrink: float
    faint: list[_Box]


class Search:
    """What may be markers in a grey picture (H, W).

    Attributes
    ----------
    squares : list of Square
        Those of places where light and dark differ most, the likeliest first.
    """

    def __init__(self, grey: Picture) -> None:
        copy, times = halved(grey, _LARGEST)
        shrink, least = float(times), _LEAST_SIDE_PX
        found: list[Floats] = []
        self._grey = grey
        self._levels: list[_Shrunk] = []
        while True:
            half, _ = halved(copy, max(copy.shape) / 1.5)
            first, faint = _places(half)
            size = least, np.inf
            found += _squares_in(copy, first, size, shrink, quick=bool(faint))
            self._levels.append(_Shrunk(copy, shrink, faint))
            if max(half.shape) < _SMALLEST:
                break
            # smaller ones were looked for before
            copy, shrink, least = half, 2 * shrink, 1.5 * _LEAST_SIDE_PX
        self.squares = _named(grey, np.array(found).reshape(-1, 4, 2), [])

    def faint_near(self, tags: Sequence[Floats]) -> list[Square]:
        """Those of the other places where tags of the same set may be.

        Parameters
        ----------
        tags : sequence of (4, 2) float
            Corners of tags that were found, px; at least one.
        """
        sides = [CELLS * cell_px(tag) for tag in tags]
        middles = np.array([tag.mean(axis=0) for tag in tags])
        low = middles.max(axis=0) - _APART_SIDES * max(sides)
        high = middles.min(axis=0) + _APART_SIDES * max(sides)
        least, most = _SMALLER * min(sides), _LARGER * max(sides)
        # the smallest copy in which they are still large enough: of the rest nothing is gained
        fit = [level for level in self._levels if least >= level.shrink * _LEAST_SIDE_PX]
        level = fit[-1] if fit else self._levels[0]
        near = _near(level, low, high, least)
        size = max(least / level.shrink, _LEAST_SIDE_PX), most / level.shrink
        found = _squares_in(level.copy, near, size, level.shrink)
        return _named(self._grey, np.array(found).reshape(-1, 4, 2), self.squares)


def _near(level: _Shrunk, low: Floats, high: Floats, least: float) -> list[_Box]:
    """Faint places of a copy that may hold a side of `least` px, cut to where tags may be, px."""
    reach = _AROUND * level.shrink
    first, last = (low - least - reach) / level.shrink, (high + least + reach) / level.shrink
    cut = [
        (
            max(left, int(first[0])),
            max(top, int(first[1])),
            min(right, int(last[0])),
            min(bottom, int(last[1])),
        )
        for left, top, right, bottom in level.faint
        if max(right - left, bottom - top) - 2 * _AROUND >= 0.8 * least / level.shrink
    ]
    return [box for box in cut if box[2] > box[0] and box[3] > box[1]]


def cell_px(corners: Floats) -> float:
    """Mean side of a cell of a marker with these corners (4, 2), px."""
    sides = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
    return float(np.mean(sides)) / CELLS


def _places(half: Picture) -> tuple[list[_Box], list[_Box]]:
    """Where light and dark lie close together, in twice as large: to be looked at first, later."""
    height, width = half.shape[0] // 2, half.shape[1] // 2
    if min(height, width) < 5:
        return [(0, 0, 2 * half.shape[1], 2 * half.shape[0])], []
    near = np.ones((5, 5), np.uint8)
    steep = np.asarray(cv2.morphologyEx(half, cv2.MORPH_GRADIENT, near), np.uint8)
    spread = steep[: 2 * height, : 2 * width]
    every = _boxes(_wide(spread, _STEP))
    area = sum((right - left) * (bottom - top) for left, top, right, bottom in every)
    if area <= _MANY * 4 * half.size:
        return every, []
    return _boxes(_wide(spread, _CLEAR)), every


def _wide(spread: Picture, step: int) -> Picture:
    """Where a spread of light reaches a step over an area, at half the size: 255, else 0."""
    _, there = cv2.threshold(spread, step, 255, cv2.THRESH_BINARY)
    size = (spread.shape[1] // 2, spread.shape[0] // 2)
    small = cv2.resize(there, size, interpolation=cv2.INTER_AREA)
    _, small = cv2.threshold(small, 127, 255, cv2.THRESH_BINARY)
    # an edge alone is thin
    wide = cv2.morphologyEx(small, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    return np.asarray(wide, np.uint8)


def _boxes(wide: Picture) -> list[_Box]:
    outlines, _ = cv2.findContours(wide, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    boxes = [cv2.boundingRect(outline) for outline in outlines]
    return [
        (4 * x - _AROUND, 4 * y - _AROUND, 4 * (x + w) + _AROUND, 4 * (y + h) + _AROUND)
        for x, y, w, h in boxes
    ]


def _squares_in(
    copy: Picture,
    places: list[_Box],
    size_px: tuple[float, float],
    shrink: float,
    *,
    quick: bool = False,
) -> list[Floats]:
    """Quadrilaterals in places of a copy that is `shrink` times smaller, px of the picture.

    `size_px` are the least side that is looked for and the largest, px of the copy.
    """
    least_px, most_px = size_px
    height, width = copy.shape
    inside = [
        (max(left, 0), max(top, 0), min(right, width), min(bottom, height))
        for left, top, right, bottom in places
    ]
    area = sum((right - left) * (bottom - top) for left, top, right, bottom in inside)
    few = area <= _THOROUGH * copy.size and not quick
    found = []
    for left, top, right, bottom in inside:
        part = copy[top:bottom, left:right]
        if min(part.shape) < least_px:
            continue
        thorough = few and max(part.shape) <= _SMALL_PLACE
        larger = 1
        if thorough and least_px < 1.1 * _LEAST_SIDE_PX:
            larger = 2
            size = (2 * part.shape[1], 2 * part.shape[0])
            part = np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_CUBIC), np.uint8)
        for corners in _quads(part, (least_px * larger, most_px * larger), thorough):
            at = (corners + 0.5) / larger - 0.5 + (left, top)
            found.append((at + 0.5) * shrink - 0.5)
    return found


def _quads(part: Picture, size_px: tuple[float, float], thorough: bool) -> Floats:
    taken, _, left = _detector(part, size_px, thorough).detectMarkers(part)
    both = [np.asarray(some, np.float64).reshape(-1, 4, 2) for some in (taken, left)]
    return np.concatenate(both)


@lru_cache(maxsize=1)
def _whole() -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)


def _detector(
    part: Picture, size_px: tuple[float, float], thorough: bool
) -> cv2.aruco.ArucoDetector:
    """One for this part: settings are its own, for photos are looked at beside each other."""
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    settings.adaptiveThreshWinSizeMin = 15
    settings.adaptiveThreshWinSizeMax = 39 if thorough else 15
    settings.adaptiveThreshWinSizeStep = 24
    # A side that hair or tape bites into is still a side.
    settings.adaptiveThreshConstant = 12
    settings.polygonalApproxAccuracyRate = 0.05
    settings.minDistanceToBorder = 1
    longest = max(part.shape)
    least, most = (4 * side for side in size_px)
    least = least_perimeter_px(part, settings, least)
    settings.minMarkerPerimeterRate = min(least / longest, 2.0)
    settings.maxMarkerPerimeterRate = min(most / longest, 4.0)
    return cv2.aruco.ArucoDetector(_whole(), settings)


@lru_cache(maxsize=1)
def _looks() -> tuple[NDArray[np.int_], Floats]:
    """Each marker of the family in each turn: its number and turn (n, 2), its cells (n, 36)."""
    codes = range(len(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50).bytesList))
    names = np.array([(code, turn) for code in codes for turn in range(4)])
    cells = np.array([np.rot90(~marker_cells(c), -t).ravel() for c, t in names], np.float64)
    cells -= cells.mean(axis=1, keepdims=True)
    return names, cells / np.linalg.norm(cells, axis=1, keepdims=True)


def _named(grey: Picture, squares: Floats, before: list[Square]) -> list[Square]:
    """Squares that look like markers, each place once and none of `before`, the likeliest first."""
    if not len(squares):
        return []
    names, looks = _looks()
    at = (np.arange(CELLS) + 0.5) / CELLS
    across, down = (part.ravel()[:, None] for part in np.meshgrid(at, at))
    weights = np.stack(
        [(1 - across) * (1 - down), across * (1 - down), across * down, (1 - across) * down]
    )
    # Squares are small and seen from afar: within a cell, sides are halved evenly.
    points = np.einsum("kpo,nkd->npd", weights, squares)
    seen = cv2.remap(
        grey,
        points[..., 0].astype(np.float32),
        points[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    ).astype(np.float64)
    seen -= seen.mean(axis=1, keepdims=True)
    seen /= np.maximum(np.linalg.norm(seen, axis=1, keepdims=True), 1e-9)
    likeness = seen @ looks.T
    best = np.argmax(likeness, axis=1)
    most = likeness[np.arange(len(best)), best]
    order = np.argsort(-most)
    middles = squares.mean(axis=1)
    cells = np.linalg.norm(squares - np.roll(squares, -1, axis=1), axis=2).mean(axis=1) / CELLS
    taken = np.full((len(before) + MOST_SQUARES, 2), np.inf)
    taken[: len(before)] = np.array([one.corners_px.mean(axis=0) for one in before]).reshape(-1, 2)
    kept: list[Square] = []
    for n in order[most[order] >= _LEAST_LIKENESS]:
        run = middles[n] - taken[: len(before) + len(kept)]
        if np.all(np.hypot(run[:, 0], run[:, 1]) > 2 * cells[n]):
            code, turn = names[best[n]]
            taken[len(before) + len(kept)] = middles[n]
            kept.append(Square(np.roll(squares[n], -int(turn), axis=0), int(code), float(most[n])))
            if len(kept) == MOST_SQUARES:
                break
    return kept
