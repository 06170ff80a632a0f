"""Squares that may be tags, as first detected: good to a few pixels, on a shrunken picture.

What is read here is not relied on: corners that are half a pixel off misread small cells.  Squares
whose cells are at all like a marker's are kept, and read again once their sides are measured
(`photocheck.scale.tag_reading`).  On simulated tags of 24 px a side, of which an exact reading
here finds 95 %, this leaves out none, and of those of 20 px two in a hundred and not 35.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import cv2
import numpy as np

from photocheck.scale.light import Floats, Picture, halved
from photocheck.scale.tag_layout import CELLS

_SIDE: Final = 2100
"""Px, longer side of the picture looked at, at most: a tag of 40 mm is then 24 px wide where a dog
of a metre fills half of it."""
_ENLARGED_BELOW: Final = 1100
"""Px: pictures with a longer side below are looked at twice as large, their cells are few px."""


_MISREAD: Final = 3
"""Cells of 16 that may be misread here."""


def detect_squares(grey: Picture) -> Floats:
    """Corners of what may be markers in a grey picture (H, W), clockwise, (n, 4, 2) px."""
    small, times = halved(grey, _SIDE)
    shrink = float(times)
    if max(small.shape) < _ENLARGED_BELOW and shrink == 1.0:
        doubled = (2 * small.shape[1], 2 * small.shape[0])
        larger = cv2.resize(small, doubled, interpolation=cv2.INTER_CUBIC)
        small, shrink = np.asarray(larger, dtype=np.uint8), 0.5
    corners, _, _ = _detector().detectMarkers(small)
    # Pixel centres are at integers, so the scale is about (-1/2, -1/2).
    found = np.asarray(corners, np.float64).reshape(-1, 4, 2)
    return np.asarray((found + 0.5) * shrink - 0.5)


def cell_px(corners: Floats) -> float:
    """Mean side of a cell of a marker with these corners (4, 2), px."""
    sides = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
    return float(np.mean(sides)) / CELLS


@lru_cache(maxsize=1)
def _detector() -> cv2.aruco.ArucoDetector:
    whole = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    # All of them: a marker that is no tag's is said to be another's, not taken for one.
    family = cv2.aruco.Dictionary(whole.bytesList, whole.markerSize, _MISREAD)
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    settings.adaptiveThreshWinSizeMin = settings.adaptiveThreshWinSizeMax = 15
    # A side that hair or tape bites into is still a side.
    settings.adaptiveThreshConstant = 12
    settings.polygonalApproxAccuracyRate = 0.05
    settings.minMarkerPerimeterRate = 0.02
    settings.errorCorrectionRate = 1.0
    settings.maxErroneousBitsInBorderRate = 0.5
    # Blur fills the rim of a cell from its neighbours: read its middle only.
    settings.perspectiveRemovePixelPerCell = 8
    settings.perspectiveRemoveIgnoredMarginPerCell = 0.25
    return cv2.aruco.ArucoDetector(family, settings)
