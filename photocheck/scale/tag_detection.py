"""Markers of the tags' family as first detected: good to a few pixels, on a shrunken picture."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import cv2
import numpy as np

from photocheck.scale.light import Floats, Picture
from photocheck.scale.tag_layout import CELLS

_SIDE: Final = 2100
"""Px, longer side of the picture looked at, at most: a tag of 40 mm is then 24 px wide where a dog
of a metre fills half of it."""
_ENLARGED_BELOW: Final = 1100
"""Px: pictures with a longer side below are looked at twice as large, their cells are few px."""


@dataclass(frozen=True)
class CodeSeen:
    """A marker of the family as first detected.

    Attributes
    ----------
    code : int
        Its number in DICT_4X4_50, whoever's it is.
    corners_px : (4, 2) float
        Clockwise from the marker's own top left, px, good to a few pixels.
    """

    code: int
    corners_px: Floats

    @property
    def cell_px(self) -> float:
        """Mean side of a cell, px."""
        sides = np.linalg.norm(self.corners_px - np.roll(self.corners_px, -1, axis=0), axis=1)
        return float(np.mean(sides)) / CELLS


def detect_codes(grey: Picture) -> tuple[CodeSeen, ...]:
    """All markers of the family in a grey picture (H, W), each by itself."""
    small, shrink = grey, 1.0
    # Halving is many times quicker than any other way of averaging pixels.
    while max(small.shape) > _SIDE and min(small.shape) > 1:
        height, width = small.shape[0] // 2, small.shape[1] // 2
        even = small[: 2 * height, : 2 * width]
        halved = cv2.resize(even, (width, height), interpolation=cv2.INTER_AREA)
        small, shrink = np.asarray(halved, dtype=np.uint8), 2.0 * shrink
    if max(small.shape) < _ENLARGED_BELOW and shrink == 1.0:
        doubled = (2 * small.shape[1], 2 * small.shape[0])
        small = np.asarray(cv2.resize(small, doubled, interpolation=cv2.INTER_CUBIC), np.uint8)
        shrink = 0.5
    corners, codes, _ = _detector().detectMarkers(small)
    if codes is None:
        return ()
    return tuple(
        # Pixel centres are at integers, so the scale is about (-1/2, -1/2).
        CodeSeen(int(code), (np.asarray(square[0], np.float64) + 0.5) * shrink - 0.5)
        for square, code in zip(corners, np.ravel(codes), strict=True)
    )


@lru_cache(maxsize=1)
def _detector() -> cv2.aruco.ArucoDetector:
    # The whole family: a marker that is no tag's is said to be another's, not taken for one.
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    settings.adaptiveThreshWinSizeMin = settings.adaptiveThreshWinSizeMax = 15
    settings.minMarkerPerimeterRate = 0.02
    settings.errorCorrectionRate = 0.0
    # Blur fills the rim of a cell from its neighbours: read its middle only.
    settings.perspectiveRemovePixelPerCell = 8
    settings.perspectiveRemoveIgnoredMarginPerCell = 0.25
    return cv2.aruco.ArucoDetector(family, settings)
