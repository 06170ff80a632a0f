"""Stands in until the finder is merged: OpenCV's own detector, each tag a plane."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.scale.tag_layout import TAG_IDS, square_mm, tip_mm
from photocheck.scale.tags_seen import TagSeen, TagsSeen


def find_tags(picture: NDArray[np.uint8]) -> TagsSeen:
    """Tags."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    found, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(grey)
    corners = {} if ids is None else dict(zip(np.ravel(ids).tolist(), found, strict=True))
    return TagsSeen(
        tuple(
            _seen(name, np.asarray(corners[marker][0], np.float64))
            for name, marker in TAG_IDS.items()
            if marker in corners
        )
    )


def _seen(name: str, corners: NDArray[np.float64]) -> TagSeen:
    plane = cv2.getPerspectiveTransform(
        square_mm(40.0).astype(np.float32), corners.astype(np.float32)
    )
    tip = np.asarray(cv2.perspectiveTransform(tip_mm(40.0).reshape(1, 1, 2), plane)[0, 0])
    size = np.sqrt(cv2.contourArea(corners.astype(np.float32))) / 40.0
    return TagSeen(name, 40.0, corners, 0.3, tip, np.eye(2), float(size), 0.01)
