"""The sheet's markers as first detected: good to a few pixels, on a shrunken picture."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from typing import Final

import cv2
import numpy as np

from photocheck.scale.crowds import least_perimeter_px
from photocheck.scale.light import Floats, Picture, halved
from photocheck.scale.planes import fit_homography, project
from photocheck.scale.sheet import LAYOUT, sheet_points

_GLANCE_SIDE: Final = 1100  # px, longer side, to a factor of 1.4, of the picture looked at first
_SMALL_SIDE: Final = 1400  # px, longer side of the picture a thorough search starts on
_LARGEST: Final = 4200
"""Px, longer side of the largest picture a thorough search looks at, about: what phones write with
12 megapixels is looked at as it is.  Of 80 megapixels it takes seconds, and shows no smaller cell:
what is looked for is a share of the picture."""
MOST_MARKERS: Final = 16
"""Of one look, the largest: four sheets have as many.  What lies on one plane is asked of every two
of them, so a picture papered with a thousand would otherwise be looked at for days."""


@dataclass(frozen=True)
class MarkerSeen:
    """One marker as first detected.

    Attributes
    ----------
    place : int
        Index into `photocheck.scale.corners.CORNER_NAMES`, as in `SheetLayout.marker_ids`.
    corners_px : (4, 2) float
        Clockwise from the marker's own top left, px, good to a few pixels.
    """

    place: int
    corners_px: Floats


Counted = dict[tuple[int, ...], float]
"""How long the way around a square must be at least, px, by the size of a copy."""


def detect_markers(grey: Picture, counted: Counted | None = None) -> tuple[MarkerSeen, ...]:
    """The sheet's markers in a grey picture (H, W), each by itself, at several sizes.

    A glance at a small picture is enough for most sheets that are whole, at a small part
    of the cost.  Otherwise the search stops at the first size at which two or more agree
    on one plane; else it returns the most that any one size gave (possibly lone or
    contradictory ones).

    What was counted to keep crowds away is put into `counted`, and not counted again where it is
    there: of the same picture in a mirror it is the same.
    """
    counted = {} if counted is None else counted
    most = glanced = _glance(grey, counted)
    agreed = len(agreeing_markers(glanced))
    if agreed == len(LAYOUT.marker_ids):
        return glanced
    longer = max(grey.shape)
    first = max(round(longer / _SMALL_SIDE), 1)
    shrinks = [float(first)]
    if first > 1:
        shrinks.append(float(max(round(longer / _LARGEST), 1)))
    if longer / first > 700:
        shrinks.append(2.0 * first)
    if longer < 2000:
        shrinks.append(0.5)
    for shrink in shrinks:
        seen = _detect_at(grey, shrink, counted)
        more = len(agreeing_markers(seen))
        if more or agreed:
            return seen if more >= agreed else glanced
        if len(seen) > len(most):
            most = seen
    return most


@lru_cache(maxsize=1)
def _ours() -> cv2.aruco.Dictionary:
    whole = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    # Only the sheet's four codes: a toy or poster with other markers cannot interfere.
    return cv2.aruco.Dictionary(whole.bytesList[list(LAYOUT.marker_ids)], 4, 1)


def _detector(
    small: Picture, *, thorough: bool, counted: Counted | None = None
) -> cv2.aruco.ArucoDetector:
    """One for this picture: settings are its own, for photos are looked at beside each other."""
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    settings.adaptiveThreshWinSizeMin = 5 if thorough else 15
    settings.adaptiveThreshWinSizeMax = 35 if thorough else 15
    settings.adaptiveThreshWinSizeStep = 15
    # A glance leaves alone what it could not read anyhow: cells of under 2 px.
    longest = max(small.shape)
    least_px = (0.02 if thorough else 0.05) * longest
    counted, copy = {} if counted is None else counted, (*small.shape, thorough)
    if copy not in counted:
        counted[copy] = least_perimeter_px(small, settings, least_px)
    settings.minMarkerPerimeterRate = counted[copy] / longest
    # Blur fills the rim of a cell from its neighbours: read its middle only.  On simulated
    # blurred pictures this doubles what is found.
    settings.perspectiveRemovePixelPerCell = 8
    settings.perspectiveRemoveIgnoredMarginPerCell = 0.25
    return cv2.aruco.ArucoDetector(_ours(), settings)


def _glance(grey: Picture, counted: Counted) -> tuple[MarkerSeen, ...]:
    """Markers seen in a much smaller picture with one threshold only."""
    small, shrink = halved(grey, _GLANCE_SIDE * float(np.sqrt(2)))
    return _seen_in(small, np.array([shrink, shrink], np.float64), counted, thorough=False)


def _detect_at(
    grey: Picture, shrink: float, counted: Counted | None = None
) -> tuple[MarkerSeen, ...]:
    if shrink == 1:
        small = grey
    else:
        size = (max(round(grey.shape[1] / shrink), 1), max(round(grey.shape[0] / shrink), 1))
        method = cv2.INTER_AREA if shrink > 1 else cv2.INTER_LINEAR
        small = np.asarray(cv2.resize(grey, size, interpolation=method), dtype=np.uint8)
    scale = np.array([grey.shape[1] / small.shape[1], grey.shape[0] / small.shape[0]])
    return _seen_in(small, scale, counted, thorough=True)


def _seen_in(
    small: Picture, scale: Floats, counted: Counted | None, *, thorough: bool
) -> tuple[MarkerSeen, ...]:
    """Markers in a picture `scale` (x, y) times smaller than the one they are given in."""
    corners, places, _ = _detector(small, thorough=thorough, counted=counted).detectMarkers(small)
    if places is None:
        return ()
    seen = [
        # Pixel centres are at integers, so the scale is about (-1/2, -1/2).
        MarkerSeen(int(place), (np.asarray(square[0], np.float64) + 0.5) * scale - 0.5)
        for square, place in zip(corners, np.ravel(places), strict=True)
    ]
    return _largest(seen)


def _largest(seen: list[MarkerSeen]) -> tuple[MarkerSeen, ...]:
    if len(seen) <= MOST_MARKERS:
        return tuple(seen)
    by_size = sorted(seen, key=lambda marker: -module_px(marker.corners_px))
    return tuple(by_size[:MOST_MARKERS])


@lru_cache(maxsize=4)
def places_mm(place: int) -> Floats:
    """The corners of one marker on the sheet, (4, 2) mm."""
    return sheet_points()[1][4 * place : 4 * place + 4]


def module_px(corners: Floats) -> float:
    """Mean side of a cell of a marker with these corners, px."""
    sides = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
    return float(np.mean(sides)) / LAYOUT.modules


def agreeing_markers(seen: tuple[MarkerSeen, ...]) -> tuple[MarkerSeen, ...]:
    """The largest group of different markers that lie on one sheet; () if under two."""
    best: tuple[MarkerSeen, ...] = ()
    best_miss = np.inf
    for first, second in combinations(seen, 2):
        if first.place == second.place:
            continue
        source = np.vstack([places_mm(first.place), places_mm(second.place)])
        target = np.vstack([first.corners_px, second.corners_px])
        matrix = fit_homography(source, target)
        if matrix is None or not _looks_forward(matrix):
            continue
        group: dict[int, MarkerSeen] = {}
        misses: dict[int, float] = {}
        for marker in seen:
            miss = project(matrix, places_mm(marker.place)) - marker.corners_px
            # A cell is 13 mm: detection is good to a small part of one, and so must be this.
            share = float(np.max(np.hypot(miss[:, 0], miss[:, 1]))) / module_px(marker.corners_px)
            limit = 0.3 if marker is first or marker is second else 0.6
            if share < limit and share < misses.get(marker.place, np.inf):
                group[marker.place], misses[marker.place] = marker, share
        total = sum(misses.values())
        if first.place in group and second.place in group:
            better = len(group) > len(best) or (len(group) == len(best) and total < best_miss)
            if better:
                best, best_miss = tuple(group.values()), total
        if len(best) == len(seen):
            break  # no other pair can gather more
    return best


def _looks_forward(matrix: Floats) -> bool:
    """Whether the whole sheet lies in front of the camera and is not mirrored."""
    points = sheet_points()[1]
    depth = points @ matrix[2, :2] + matrix[2, 2]
    if not (np.all(depth > 0) or np.all(depth < 0)):
        return False
    half = np.array(LAYOUT.outer_mm) / 2
    corners = project(matrix, half * [[-1, -1], [1, -1], [1, 1], [-1, 1]])
    following = np.roll(corners, -1, axis=0)
    area = np.sum(corners[:, 0] * following[:, 1] - corners[:, 1] * following[:, 0])
    return bool(area > 0)
