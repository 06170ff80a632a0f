"""Pictures that are papered with squares or other outlines: how many of them are looked at.

OpenCV compares every square that it finds with every other; of tens of thousands, which a picture
of a few megapixels has room for, that takes minutes, and nothing can break it off.  No photo of a
dog has so many.  So they are counted first, as OpenCV finds them, and where there are too many only
the largest are looked for.  Of outlines, each of which is looked at by itself, the largest are
taken in the same way.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.scale.light import Picture

MOST_SQUARES: Final = 2000
"""Of one look: gravel and grass have hundreds, and so many are compared in a tenth of a second
(measured; 18,000 take 5 s, and four times as long for twice as many)."""
MOST_OUTLINES: Final = 10_000
"""Of one look for what nobody has pointed at, in all its masks: of 160 composites and 27 photos
those on hedges and gravel had most, 7,100 (measured); so many take 0.5 s."""
_FEW_REGIONS: Final = 50_000
"""At most, of which the outlines themselves are sooner there than how large each is (measured on
80 million pixels: 0.2 s for 2.5)."""


def largest_outlines(
    masks: Iterable[Picture], way: int, least_px: float
) -> list[NDArray[np.int32]]:
    """Outlines (n, 1, 2) px of what is not 0 in masks, in their order; of a crowd the largest.

    Parameters
    ----------
    masks : iterable of (H, W) uint8
    way : int
        As OpenCV's ``findContours`` has it: which points of an outline are kept.
    least_px : float
        What is less wide or high is left out.
    """
    found: list[NDArray[np.int32]] = []
    across: list[int] = []
    for mask in masks:
        outlines, _ = cv2.findContours(mask, cv2.RETR_LIST, way)
        for outline in outlines:
            _, _, wide, high = cv2.boundingRect(outline)
            if min(wide, high) >= least_px:
                found.append(np.asarray(outline, np.int32))
                across.append(wide + high)
    if len(found) <= MOST_OUTLINES:
        return found
    largest = np.argsort(-np.array(across), kind="stable")[:MOST_OUTLINES]
    return [found[k] for k in np.sort(largest)]


def least_perimeter_px(
    grey: Picture, settings: cv2.aruco.DetectorParameters, least_px: float
) -> float:
    """How long the way around a square must be at least, px, for few enough to be left.

    Parameters
    ----------
    grey : (H, W) uint8
    settings : cv2.aruco.DetectorParameters
        Of the look: the neighbourhoods with whose mean light each pixel's is compared, how much
        darker ink is, and how far a side may be from straight.
    least_px : float
        What is asked for where there is no crowd.
    """
    windows_px = range(
        settings.adaptiveThreshWinSizeMin,
        settings.adaptiveThreshWinSizeMax + 1,
        settings.adaptiveThreshWinSizeStep,
    )
    # Each has its own px, dark or light, along the way around.
    if 2 * len(windows_px) * grey.size <= MOST_SQUARES * least_px:
        return least_px
    # One threshold's regions and their holes: of each look, whatever is counted in any.
    around = [
        length
        for window_px in windows_px
        for length in _perimeters(grey, window_px, settings, least_px)
    ]
    if len(around) <= MOST_SQUARES:
        return least_px
    return float(np.partition(around, -MOST_SQUARES)[-MOST_SQUARES]) + 1.0


def _perimeters(
    grey: Picture, window_px: int, settings: cv2.aruco.DetectorParameters, least_px: float
) -> Iterator[int]:
    odd = max(window_px, 3) | 1  # as OpenCV does
    ways = cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV
    dark = np.asarray(
        cv2.adaptiveThreshold(grey, 255, *ways, odd, settings.adaptiveThreshConstant), np.uint8
    )
    if _most_regions(dark) > _FEW_REGIONS:
        dark, many = _larger(dark, least_px)
        if many <= MOST_SQUARES // 8:
            return
    accuracy = settings.polygonalApproxAccuracyRate
    contours, _ = cv2.findContours(dark, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    for contour in contours:
        if len(contour) >= least_px:
            corners = cv2.approxPolyDP(contour, accuracy * len(contour), True)
            if len(corners) == 4 and cv2.isContourConvex(corners):
                yield len(contour)


def _most_regions(dark: Picture) -> int:
    """How many dark regions and holes there are, at most: by the first px of each from the top."""
    here, before, above = dark[1:, 1:] > 0, dark[1:, :-1] > 0, dark[:-1, 1:] > 0
    tops = np.count_nonzero(here & ~before & ~above) + np.count_nonzero(~here & before & above)
    # along the first row and column every change may be one
    border = np.count_nonzero(np.diff(dark[0])) + np.count_nonzero(np.diff(dark[:, 0]))
    return int(tops + border) + 1


def _larger(dark: Picture, least_px: float) -> tuple[Picture, int]:
    """The same without its small regions and holes, and how many are large enough, at most.

    Quicker than their outlines, and of noise nearly all are small.  What goes leaves the outlines
    of all else as they were: a region lies in one hole, and a hole in one region.
    """
    regions, many = _of_size(dark, 8, least_px, holes=False)
    between = np.asarray(cv2.bitwise_not(regions), np.uint8)
    left, more = _of_size(between, 4, least_px, holes=True)
    return np.asarray(cv2.bitwise_not(left), np.uint8), many + more


def _of_size(
    mask: Picture, neighbours: int, least_px: float, *, holes: bool
) -> tuple[Picture, int]:
    """The larger parts of a mask, and how many of them are large enough, at most.

    Of holes what reaches the border stays whatever its size: it is the outside, and no hole.
    """
    _, labels, boxes, _ = cv2.connectedComponentsWithStats(mask, connectivity=neighbours)
    across = boxes[:, cv2.CC_STAT_WIDTH] + boxes[:, cv2.CC_STAT_HEIGHT]
    # the way around what has four sides is no longer than around its box
    many = int(np.count_nonzero(across[1:] >= least_px / 2))
    # jagged ones are longer, if not by half
    large = across >= least_px / 3
    if holes:
        large |= _at_border(np.asarray(boxes), mask.shape)
    kept = np.where(large, 255, 0).astype(np.uint8)
    kept[0] = 0
    return kept[labels], many


def _at_border(boxes: NDArray[Any], shape: tuple[int, ...]) -> NDArray[np.bool_]:
    left, top = boxes[:, cv2.CC_STAT_LEFT], boxes[:, cv2.CC_STAT_TOP]
    right, bottom = left + boxes[:, cv2.CC_STAT_WIDTH], top + boxes[:, cv2.CC_STAT_HEIGHT]
    reach = (left == 0) | (top == 0) | (right == shape[1]) | (bottom == shape[0])
    return np.asarray(reach)
