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

from typing import Final

import numpy as np

from photocheck.errors import ScaleError
from photocheck.scale.bent import BentSheet, bend_of
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.corners import CORNER_NAMES
from photocheck.scale.light import Floats, Picture, as_grey
from photocheck.scale.marker_detection import (
    MarkerSeen,
    agreeing_markers,
    detect_markers,
    module_px,
    places_mm,
)
from photocheck.scale.marker_plane import paired, settled
from photocheck.scale.planes import fit_homography, project
from photocheck.scale.seen import ReferenceSeen
from photocheck.scale.sheet import LAYOUT, marker_cells
from photocheck.scale.subpixel import crossing, fit_black_squares
from photocheck.speech import joined, number, tr

_LEAST_MODULE_PX: Final = 2.5  # cells smaller than this are not measured
_BAR_SPREAD_MM: Final = 0.5  # reading a ruler against the proof bar, judgement
_BAR_LIMITS_MM: Final = (100.0, 200.0)


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

    >>> factor, spread = print_scale(147.0)
    >>> factor, round(spread, 4)
    (0.98, 0.0033)
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


def find_sheet(
    picture: Picture,
    *,
    bar_mm: float | None = None,
    seen: tuple[MarkerSeen, ...] | None = None,
) -> ReferenceSeen | None:
    """Find the marker sheet by itself.

    Parameters
    ----------
    picture : (H, W) grey or (H, W, 3) RGB, uint8
    bar_mm : float or None
        What the printed proof bar measured; None when nobody measured it.
    seen : tuple of MarkerSeen, optional
        What `detect_markers` gives of the picture in grey, where it was asked already.

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
    seen = detect_markers(grey) if seen is None else seen
    agreeing = agreeing_markers(seen)
    remarks = _another_sheet(seen, agreeing)
    bent = _bent(grey, agreeing if remarks else seen)
    if bent is not None:
        measured = bent.points_mm, bent.points_px, bent.spread_px, bent.places
        spread = float(np.hypot(spread, bent.share))
        remarks.append(
            tr(
                "The marker sheet does not lie flat: by its bend its squares are up to {mm} mm "
                "from where one plane has them. Glue it on a stiff board and take the photo again",
                mm=number(f"{bent.off_mm:.1f}"),
            )
        )
    else:
        found = _measure(grey, agreeing) if agreeing else None
        if found is None:
            return None
        measured = found
    points_mm, points_px, spread_px, places = measured
    hidden = [tr(CORNER_NAMES[k]) for k in range(4) if k not in places]
    if hidden:
        remarks.append(
            tr(
                "{count} of 4 markers not seen ({names}): the rest give the scale",
                count=len(hidden),
                names=joined(*hidden, between=", "),
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


def _another_sheet(seen: tuple[MarkerSeen, ...], used: tuple[MarkerSeen, ...]) -> list[str]:
    """What is said when a second sheet is in the picture: two of its squares, one of them again."""
    rest = tuple(marker for marker in seen if not any(marker is one for one in used))
    other = agreeing_markers(rest)
    if not {marker.place for marker in other} & {marker.place for marker in used}:
        return []
    here, there = (
        float(np.mean([marker.corners_px[:, 0] for marker in group])) for group in (used, other)
    )
    leave = tr("Leave only one in it")
    if here < there:
        said = tr("Two marker sheets are in the photo: the one on the left gave the scale.")
    else:
        said = tr("Two marker sheets are in the photo: the one on the right gave the scale.")
    return [f"{said} {leave}"]


def _bent(grey: Picture, seen: tuple[MarkerSeen, ...]) -> BentSheet | None:
    """The bend of a sheet of whose markers three or four are seen, each once."""
    by_place = {marker.place: marker.corners_px for marker in seen}
    if len(by_place) < 3 or len(seen) > len(by_place):
        return None
    if min(map(module_px, by_place.values())) < _LEAST_MODULE_PX:
        return None
    return bend_of(_marker_corners(grey, by_place, 0.5))


def _marker_corners(
    grey: Picture, squares: dict[int, Floats], least_support: float
) -> dict[tuple[int, int], Floats]:
    """The corners of squares (4, 2) px, by place, that two well supported sides give.

    Keys of the result are place and corner number.
    """
    if not squares:
        return {}
    corners = np.array(list(squares.values()))
    modules = [module_px(square) for square in squares.values()]
    # One reach for all: even a marker half as large as the rest is then searched over 0.8 of
    # its cells, and the next edge inwards is a whole cell away.
    module = float(np.mean(modules))
    lines = fit_black_squares(grey, corners, module)
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
        if module_px(marker.corners_px) >= _LEAST_MODULE_PX
    }
    found = _marker_corners(grey, squares, 0.5)
    if len(found) < 6 or len({place for place, _ in found}) < 2:
        return None
    matrix = fit_homography(*paired(found))
    if matrix is None:
        return None
    unseen = set(range(4)) - {place for place, _ in found}
    hidden = {
        place: project(matrix, places_mm(place))
        for place in sorted(unseen)
        if _partly_there(grey, matrix, place)
    }
    return settled(found | _marker_corners(grey, hidden, 0.7))


def _partly_there(grey: Picture, matrix: Floats, place: int) -> bool:
    """Whether an undetected marker is nevertheless in its place, at most partly hidden."""
    cells = marker_cells(LAYOUT.marker_ids[place])
    half = LAYOUT.marker_mm / 2
    steps = (np.arange(LAYOUT.modules) + 0.5) * LAYOUT.module_mm - half
    across, down = np.meshgrid(steps, steps)
    middle = np.mean(places_mm(place), axis=0)
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
