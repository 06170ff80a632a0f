"""The marker sheet in a photo: found small, measured at full resolution.

Detection runs on a shrunken picture, where it is quick and noise is averaged.
The corners are then measured at full resolution as the crossings of lines
fitted to the sides of each marker's black square, in linear light.

Measured on simulated photos (sRGB, Gaussian blur of sd 0.6 / 1.0 / 1.6 px, noise
of sd 1 / 3 / 5 codes, JPEG 92, obliqueness to 30 degrees, markers of 28 to 96 px
a side), error per axis of one corner, and its bias outward from the marker's
centre::

    line crossings          0.01 to 0.03 / 0.01 to 0.04 / 0.05 to 0.14 px, bias under 0.03
                            (0.10 at 28 px and the strongest blur)
    cv2.cornerSubPix        0.4 / 0.6 / 0.9 to 1.1 px, bias -0.6 to -1.4 (whatever window)
    contour lines (OpenCV)  0.8 to 1.4 px, bias -1.1 to -2.0
    AprilTag method         0.6 to 0.9 px, bias -0.5 to -1.1

The others settle inside the black corner because blur rounds it and because
they work on encoded values.  What a printer or an unusual tone curve leaves over,
a growth of all black shapes alike, is fitted with the homography and taken off.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from typing import Final

import cv2
import numpy as np

from photocheck.errors import ScaleError
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.planes import fit_homography, jacobian, project
from photocheck.scale.seen import ReferenceSeen
from photocheck.scale.sheet import LAYOUT, marker_cells, sheet_points
from photocheck.scale.subpixel import Floats, Picture, crossing, fit_sides
from photocheck.speech import later, tr

_GLANCE_SIDE: Final = 1100  # px, longer side, to a factor of 1.4, of the picture looked at first
_SMALL_SIDE: Final = 1400  # px, longer side of the picture a thorough search starts on
_LEAST_MODULE_PX: Final = 2.5  # cells smaller than this are not measured
_SPREAD_FLOOR_PX: Final = 0.10
"""Judgement: simulated pictures do better, paper that is not quite flat does not."""
_BAR_SPREAD_MM: Final = 0.5  # reading a ruler against the proof bar, judgement
_BAR_LIMITS_MM: Final = (100.0, 200.0)

MARKER_NAMES: Final = (
    later("top left"),
    later("top right"),
    later("bottom right"),
    later("bottom left"),
)
"""Of the markers, in the order of `SheetLayout.marker_ids`."""


@dataclass(frozen=True)
class MarkerSeen:
    """One marker as first detected.

    Attributes
    ----------
    place : int
        Index into `MARKER_NAMES`.
    corners_px : (4, 2) float
        Clockwise from the marker's own top left, px, good to a few pixels.
    """

    place: int
    corners_px: Floats


def print_scale(bar_mm: float | None) -> tuple[float, float]:
    """True size of a printed sheet over nominal, and the spread of that as a fraction.

    Parameters
    ----------
    bar_mm : float or None
        What the proof bar measured; None when nobody measured it.

    Raises
    ------
    ScaleError
        When the bar is not between 100 and 200 mm.
    """
    if bar_mm is None:
        return 1.0, REFERENCES["marker_sheet"].size_spread
    low, high = _BAR_LIMITS_MM
    if not low <= bar_mm <= high:
        raise ScaleError(
            tr(
                "A proof bar of {bar_mm:g} mm cannot be right: it is printed {bar_mm2:g} "
                "mm long, and between {low:g} and {high:g} mm is accepted",
                bar_mm=bar_mm,
                bar_mm2=LAYOUT.bar_mm,
                low=low,
                high=high,
            ),
            where=tr("proof bar"),
            do=tr("Measure the bar again with a ruler, or print the sheet again at 100 %"),
        )
    return bar_mm / LAYOUT.bar_mm, _BAR_SPREAD_MM / LAYOUT.bar_mm


def detect_markers(grey: Picture) -> tuple[MarkerSeen, ...]:
    """The sheet's markers in a grey picture (H, W), each by itself, at several sizes.

    A glance at a small picture is enough for most sheets that are whole, at a small part
    of the cost.  Otherwise the search stops at the first size at which two or more agree
    on one plane; else it returns the most that any one size gave (possibly lone or
    contradictory ones).
    """
    most = glanced = _glance(grey)
    agreed = len(_agreeing(glanced))
    if agreed == len(MARKER_NAMES):
        return glanced
    longer = max(grey.shape)
    first = max(round(longer / _SMALL_SIDE), 1)
    shrinks = [float(first)]
    if first > 1:
        shrinks.append(1.0)
    if longer / first > 700:
        shrinks.append(2.0 * first)
    if longer < 2000:
        shrinks.append(0.5)
    for shrink in shrinks:
        seen = _detect_at(grey, shrink)
        more = len(_agreeing(seen))
        if more or agreed:
            return seen if more >= agreed else glanced
        if len(seen) > len(most):
            most = seen
    return most


def find_sheet(picture: Picture, *, bar_mm: float | None = None) -> ReferenceSeen | None:
    """Find the marker sheet by itself.

    Parameters
    ----------
    picture : (H, W) grey or (H, W, 3) RGB, uint8
    bar_mm : float or None
        What the printed proof bar measured; None when nobody measured it.

    Returns
    -------
    ReferenceSeen or None
        `points_mm` and `points_px` are corners of markers (8 to 16 of them), how
        "markers"; None unless at least two markers agree on one plane.
        `spread_px` comes from what the corners leave over against one
        homography, and is at least 0.1 px.

    Raises
    ------
    ScaleError
        When `bar_mm` is not between 100 and 200 mm.
    """
    factor, spread = print_scale(bar_mm)
    grey = as_grey(picture)
    agreeing = _agreeing(detect_markers(grey))
    if not agreeing:
        return None
    measured = _measure(grey, agreeing)
    if measured is None:
        return None
    points_mm, points_px, spread_px, places = measured
    remarks = []
    hidden = [tr(MARKER_NAMES[k]) for k in range(4) if k not in places]
    if hidden:
        remarks.append(
            tr(
                "{count} of 4 markers not seen ({names}): the rest give the scale",
                count=len(hidden),
                names=", ".join(hidden),
            )
        )
    if bar_mm is None:
        remarks.append(tr("The proof bar was not measured: the print may be a per cent off"))
    return ReferenceSeen(
        kind="marker_sheet",
        how="markers",
        points_mm=points_mm,
        points_px=points_px,
        spread_px=spread_px,
        size_spread=spread,
        size_factor=factor,
        remarks=tuple(remarks),
    )


def as_grey(picture: Picture) -> Picture:
    """Grey (H, W) uint8 of a grey or RGB picture."""
    if picture.ndim == 2:
        return picture
    return np.asarray(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), dtype=np.uint8)


@lru_cache(maxsize=2)
def _detector(thorough: bool) -> cv2.aruco.ArucoDetector:
    whole = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    # Only the sheet's four codes: a toy or poster with other markers cannot interfere.
    ours = cv2.aruco.Dictionary(whole.bytesList[list(LAYOUT.marker_ids)], 4, 1)
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    settings.adaptiveThreshWinSizeMin = 5 if thorough else 15
    settings.adaptiveThreshWinSizeMax = 35 if thorough else 15
    settings.adaptiveThreshWinSizeStep = 15
    # A glance leaves alone what it could not read anyhow: cells of under 2 px.
    settings.minMarkerPerimeterRate = 0.02 if thorough else 0.05
    # Blur fills the rim of a cell from its neighbours: read its middle only.  On simulated
    # blurred pictures this doubles what is found.
    settings.perspectiveRemovePixelPerCell = 8
    settings.perspectiveRemoveIgnoredMarginPerCell = 0.25
    return cv2.aruco.ArucoDetector(ours, settings)


def _glance(grey: Picture) -> tuple[MarkerSeen, ...]:
    """Markers seen in a much smaller picture with one threshold only."""
    small, shrink = grey, 1
    # Halving is many times quicker than any other way of averaging pixels, as long as both
    # sides are even.
    while max(small.shape) > _GLANCE_SIDE * np.sqrt(2) and min(small.shape) > 1:
        height, width = small.shape[0] // 2, small.shape[1] // 2
        small = np.asarray(
            cv2.resize(
                small[: 2 * height, : 2 * width], (width, height), interpolation=cv2.INTER_AREA
            ),
            dtype=np.uint8,
        )
        shrink *= 2
    return _seen_in(small, np.array([shrink, shrink], np.float64), thorough=False)


def _detect_at(grey: Picture, shrink: float) -> tuple[MarkerSeen, ...]:
    if shrink == 1:
        small = grey
    else:
        size = (max(round(grey.shape[1] / shrink), 1), max(round(grey.shape[0] / shrink), 1))
        method = cv2.INTER_AREA if shrink > 1 else cv2.INTER_LINEAR
        small = np.asarray(cv2.resize(grey, size, interpolation=method), dtype=np.uint8)
    scale = np.array([grey.shape[1] / small.shape[1], grey.shape[0] / small.shape[0]])
    return _seen_in(small, scale, thorough=True)


def _seen_in(small: Picture, scale: Floats, *, thorough: bool) -> tuple[MarkerSeen, ...]:
    """Markers in a picture `scale` (x, y) times smaller than the one they are given in."""
    corners, places, _ = _detector(thorough).detectMarkers(small)
    if places is None:
        return ()
    return tuple(
        # Pixel centres are at integers, so the scale is about (-1/2, -1/2).
        MarkerSeen(int(place), (np.asarray(square[0], np.float64) + 0.5) * scale - 0.5)
        for square, place in zip(corners, np.ravel(places), strict=True)
    )


@lru_cache(maxsize=4)
def _places_mm(place: int) -> Floats:
    return sheet_points()[1][4 * place : 4 * place + 4]


def _module_px(corners: Floats) -> float:
    sides = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
    return float(np.mean(sides)) / LAYOUT.modules


def _agreeing(seen: tuple[MarkerSeen, ...]) -> tuple[MarkerSeen, ...]:
    """The largest group of different markers that lie on one sheet; () if under two."""
    best: tuple[MarkerSeen, ...] = ()
    best_miss = np.inf
    for first, second in combinations(seen, 2):
        if first.place == second.place:
            continue
        source = np.vstack([_places_mm(first.place), _places_mm(second.place)])
        target = np.vstack([first.corners_px, second.corners_px])
        matrix = fit_homography(source, target)
        if matrix is None or not _looks_forward(matrix):
            continue
        group: dict[int, MarkerSeen] = {}
        misses: dict[int, float] = {}
        for marker in seen:
            miss = project(matrix, _places_mm(marker.place)) - marker.corners_px
            # A cell is 13 mm: detection is good to a small part of one, and so must be this.
            share = float(np.max(np.hypot(miss[:, 0], miss[:, 1]))) / _module_px(marker.corners_px)
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
    corners = project(matrix, np.array([[-90.0, -122.5], [90, -122.5], [90, 122.5], [-90, 122.5]]))
    following = np.roll(corners, -1, axis=0)
    area = np.sum(corners[:, 0] * following[:, 1] - corners[:, 1] * following[:, 0])
    return bool(area > 0)


def _marker_corners(
    grey: Picture, squares: dict[int, Floats], least_support: float
) -> dict[tuple[int, int], Floats]:
    """The corners of squares (4, 2) px, by place, that two well supported sides give.

    Keys of the result are place and corner number.
    """
    if not squares:
        return {}
    corners = np.array(list(squares.values()))
    modules = [_module_px(square) for square in squares.values()]
    # One reach for all: even a marker half as large as the rest is then searched over 0.8 of
    # its cells, and the next edge inwards is a whole cell away.
    module = float(np.mean(modules))
    lines = fit_sides(
        grey,
        corners,
        np.roll(corners, -1, axis=1),
        reach_px=max(0.4 * module, 1.5),
        trim=(0.08, 0.08),
        window_px=float(np.clip(0.3 * module, 1.5, 3.0)),
        polarity=-1,
    )
    found: dict[tuple[int, int], Floats] = {}
    for i, (place, square) in enumerate(squares.items()):
        for k in range(4):
            before, after = lines[4 * i + (k - 1) % 4], lines[4 * i + k]
            if before is None or after is None:
                continue
            if min(before.support, after.support) < least_support:
                continue
            point = crossing(before, after)
            if point is not None:
                moved = float(np.hypot(*(point - square[k])))
                if moved < max(modules[i], 3.0):
                    found[place, k] = point
    return found


def _measure(
    grey: Picture, agreeing: tuple[MarkerSeen, ...]
) -> tuple[Floats, Floats, float, set[int]] | None:
    """Corner positions (mm and px), their spread in px, and the places of markers used."""
    squares = {
        marker.place: marker.corners_px
        for marker in agreeing
        if _module_px(marker.corners_px) >= _LEAST_MODULE_PX
    }
    found = _marker_corners(grey, squares, 0.5)
    if len(found) < 6 or len({place for place, _ in found}) < 2:
        return None
    matrix = fit_homography(*_paired(found))
    if matrix is None:
        return None
    unseen = set(range(4)) - {place for place, _ in found}
    hidden = {
        place: project(matrix, _places_mm(place))
        for place in sorted(unseen)
        if _partly_there(grey, matrix, place)
    }
    return _settle(found | _marker_corners(grey, hidden, 0.7))


def _paired(found: dict[tuple[int, int], Floats]) -> tuple[Floats, Floats]:
    keys = sorted(found)
    source = np.array([_places_mm(place)[k] for place, k in keys])
    return source, np.array([found[key] for key in keys])


def _partly_there(grey: Picture, matrix: Floats, place: int) -> bool:
    """Whether an undetected marker is nevertheless in its place, at most partly hidden."""
    cells = marker_cells(LAYOUT.marker_ids[place])
    half = LAYOUT.marker_mm / 2
    steps = (np.arange(LAYOUT.modules) + 0.5) * LAYOUT.module_mm - half
    across, down = np.meshgrid(steps, steps)
    middle = np.mean(_places_mm(place), axis=0)
    points = project(matrix, np.column_stack([across.ravel(), down.ravel()]) + middle)
    height, width = grey.shape
    column, row = np.rint(points[:, 0]).astype(int), np.rint(points[:, 1]).astype(int)
    inside = (column >= 1) & (row >= 1) & (column < width - 1) & (row < height - 1)
    if np.count_nonzero(inside) < 24:
        return False
    light = grey[row[inside], column[inside]].astype(np.float64)
    black = cells.ravel()[inside]
    if np.count_nonzero(~black) < 3:
        return False
    dark, bright = float(np.median(light[black])), float(np.median(light[~black]))
    if bright - dark < 25:
        return False
    agrees = (light < (dark + bright) / 2) == black
    return bool(np.mean(agrees) >= 0.75)


def _settle(
    found: dict[tuple[int, int], Floats],
) -> tuple[Floats, Floats, float, set[int]] | None:
    """Drop corners that contradict the rest, take off the growth of black, estimate spread."""
    keys = sorted(found)
    while True:
        kept = {key: found[key] for key in keys}
        places = {place for place, _ in keys}
        if len(keys) < 6 or len(places) < 2:
            return None
        source, target = _paired(kept)
        outward = np.array(
            [np.sign(_places_mm(p)[k] - _places_mm(p).mean(axis=0)) for p, k in keys]
        )
        fitted = _fit_with_growth(source, target, outward)
        if fitted is None:
            return None
        matrix, growth_mm, base = fitted
        corrected = target - (
            project(matrix, source + growth_mm * outward) - project(matrix, source)
        )
        miss = corrected - project(matrix, source)
        wrong = _contradicting(keys, miss, base)
        if wrong and len(keys) - len(wrong) >= 7:
            keys = [key for i, key in enumerate(keys) if i not in wrong]
            continue
        free = max(2 * len(keys) - 9, 1)
        spread = float(np.sqrt(np.sum(miss**2) / free))
        return source, corrected, max(spread, _SPREAD_FLOOR_PX), places


def _contradicting(keys: list[tuple[int, int]], miss: Floats, base: Floats) -> tuple[int, ...]:
    """The corner, or the two corners of one side, without which the fit is far better.

    Parameters
    ----------
    keys : (place, corner number) of each corner
    miss : (N, 2) float
        Residuals, px.
    base : (2 N, 9) float
        Orthonormal columns; ``base @ base.T`` is the hat matrix.

    A thing lying over a marker spoils a side's line and so both its corners.
    Deletion is judged by an F ratio of 25 with at least 0.25 px to be gained
    (judgement: at 2 and 21 degrees of freedom chance gives that ratio once in 10^5).
    """
    index = {key: i for i, key in enumerate(keys)}
    singles = [(i,) for i in range(len(keys))]
    sides = [
        (i, index[place, (k + 1) % 4])
        for (place, k), i in index.items()
        if (place, (k + 1) % 4) in index
    ]
    total = float(np.sum(miss**2))
    best: tuple[int, ...] = ()
    best_ratio = 25.0
    for group in (*singles, *sides):
        rows = np.array([2 * i + axis for i in group for axis in (0, 1)])
        part = miss[list(group)].ravel()
        hat = base[rows] @ base[rows].T
        deleted = np.linalg.solve(np.eye(rows.size) * (1 + 1e-9) - hat, part)
        drop = float(part @ deleted)
        free = max(2 * len(miss) - 9 - rows.size, 1)
        ratio = (drop / rows.size) / (max(total - drop, 1e-12) / free)
        large = float(np.max(np.hypot(*deleted.reshape(-1, 2).T))) > 0.25
        if large and ratio > best_ratio:
            best, best_ratio = group, ratio
    return best


def _fit_with_growth(
    source: Floats, target: Floats, outward: Floats
) -> tuple[Floats, float, Floats] | None:
    """Homography and common growth (mm) of black: target = H(source + growth * outward).

    The third is `_contradicting`'s `base`.

    Gauss-Newton on the nine numbers, from the plain homography; the growth is
    held near 0 by half a pixel, so that two small markers cannot run away with it.
    """
    start = fit_homography(source, target)
    if start is None:
        return None
    growth = 0.0
    matrix = start / start[2, 2]
    rows, size = np.zeros((2 * len(source) + 1, 9)), np.ones(9)
    scale = float(np.sqrt(abs(np.linalg.det(jacobian(matrix, source.mean(axis=0))))))
    for _ in range(6):
        moved = source + growth * outward
        ones = np.column_stack([moved, np.ones(len(moved))])
        down = ones @ matrix[2]
        now = (ones @ matrix[:2].T) / down[:, None]
        rows = np.zeros_like(rows)
        left = np.zeros(2 * len(moved) + 1)
        rows[0:-1:2, 0:3] = ones / down[:, None]
        rows[1:-1:2, 3:6] = ones / down[:, None]
        rows[0:-1:2, 6:8] = -now[:, :1] * moved / down[:, None]
        rows[1:-1:2, 6:8] = -now[:, 1:] * moved / down[:, None]
        slope = np.array([jacobian(matrix, point) for point in moved])
        rows[:-1, 8] = np.einsum("nij,nj->ni", slope, outward).ravel()
        left[:-1] = (target - now).ravel()
        rows[-1, 8] = 0.2 * scale  # residuals of about 0.1 px against a prior of 0.5 px
        left[-1] = -0.2 * scale * growth
        size = np.linalg.norm(rows, axis=0)
        step = np.linalg.lstsq(rows / size, left, rcond=None)[0] / size
        matrix = matrix + np.append(step[:8], 0.0).reshape(3, 3)
        growth += float(step[8])
        if float(np.max(np.abs(step * size))) < 1e-6:
            break
    if not np.all(np.isfinite(matrix)):
        return None
    return matrix, growth, np.asarray(np.linalg.qr(rows / size)[0][:-1])
