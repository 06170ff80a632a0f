"""The small preview inside a file, where it still shows what was cut off since.

Cameras put a picture of some 160 px into the file (CIPA DC-008, the thumbnail of the second
directory).  Programs that cut a picture and keep its data as they found it leave the old one.
"""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]

LEAST_ALIKE: Final = 0.9
"""Correlation from which a part of the preview is this picture (judgement)."""
LEAST_GAIN: Final = 0.03
"""By which that part must be more like the picture than the whole preview is (judgement)."""
MOST_SHARE: Final = 0.94
"""A picture that fills more of the preview's width and height is all that it shows."""
LEAST_SHARE: Final = 0.25
_STEPS = 40
_DARK = 20
_LEAST_SIDE = 60


def frame_in_preview(
    rgb: Picture, preview: Picture
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """Width and height of the frame the preview shows, and where the picture lies in it.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
    preview : (h, w, 3) uint8
        Turned as the picture is.

    Returns
    -------
    ((float, float), (float, float)) or None
        In px of the picture; None where the preview shows no more than the picture, or another.
    """
    small = _without_bars(np.asarray(cv2.cvtColor(preview, cv2.COLOR_RGB2GRAY), np.uint8))
    height, width = small.shape
    if min(height, width) < _LEAST_SIDE:
        return None
    most = min(width / rgb.shape[1], height / rgb.shape[0])
    half = np.asarray(
        cv2.resize(rgb, None, fx=2.0 * most, fy=2.0 * most, interpolation=cv2.INTER_AREA), np.uint8
    )
    grey = np.asarray(cv2.cvtColor(half, cv2.COLOR_RGB2GRAY), np.uint8)
    best, share, corner = -1.0, 1.0, (0, 0)
    whole = -1.0
    for each in np.geomspace(1.0, LEAST_SHARE, _STEPS):
        size = (round(each * most * rgb.shape[1]), round(each * most * rgb.shape[0]))
        if min(size) < 12:
            break
        part = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
        alike = cv2.matchTemplate(small, part, cv2.TM_CCOEFF_NORMED)
        _, top, _, place = cv2.minMaxLoc(alike)
        if each > MOST_SHARE:
            whole = max(whole, top)
        if top > best:
            best, share, corner = top, float(each), (int(place[0]), int(place[1]))
    scale = 1.0 / (share * most)
    frame = (width * scale, height * scale)
    fills = rgb.shape[1] / frame[0] > MOST_SHARE and rgb.shape[0] / frame[1] > MOST_SHARE
    seen_before = share <= MOST_SHARE and best < whole + LEAST_GAIN
    if best < LEAST_ALIKE or fills or seen_before:
        return None
    return frame, (corner[0] * scale, corner[1] * scale)


def _without_bars(small: Picture) -> Picture:
    """Cut off the black bars that fill a preview up to 4:3."""
    rows, columns = small.max(axis=1) > _DARK, small.max(axis=0) > _DARK
    if not rows.any() or not columns.any():
        return small
    (top, bottom), (left, right) = (
        (int(np.argmax(lit)), len(lit) - int(np.argmax(lit[::-1]))) for lit in (rows, columns)
    )
    return small[top:bottom, left:right]
