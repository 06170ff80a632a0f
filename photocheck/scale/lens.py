"""Taking out a calibrated lens' distortion before anything is measured."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Marking, Point
from photocheck.errors import CaseError
from photocheck.photo.camera import focal_px
from photocheck.photo.photo import Photo
from photocheck.scale.priors import FOCAL_35MM_UNKNOWN
from photocheck.scale.seen import ReferenceSeen
from photocheck.scale.tags_seen import TagSeen, TagsSeen
from photocheck.speech import tr

Array = NDArray[np.float64]


def straighten(
    seen: ReferenceSeen,
    markings: Iterable[Marking],
    distortion: tuple[float, ...],
    photo: Photo,
) -> tuple[ReferenceSeen, tuple[Marking, ...]]:
    """Reference and marks as an undistorting lens would have shown them.

    Parameters
    ----------
    distortion : tuple of 4 or 5 float
        OpenCV's k1, k2, p1, p2[, k3], for a lens whose focal length is the photo's.

    Raises
    ------
    CaseError
        When the number of coefficients is wrong or they fold the picture over.
    """
    if len(distortion) not in (4, 5) or not np.all(np.isfinite(distortion)):
        raise CaseError(
            tr("{count} lens coefficients cannot be used", count=len(distortion)),
            where="distortion",
            do=tr(
                "Give k1, k2, p1, p2 and, if you have it, k3, as OpenCV's calibration prints them"
            ),
        )

    def free(points: Array) -> Array:
        return _free(points, distortion, photo)

    def free_all(points: Iterable[Point]) -> tuple[Point, ...]:
        listed = list(points)
        if not listed:
            return ()
        return tuple((float(x), float(y)) for x, y in free(np.array(listed, float)))

    moved = []
    for marking in markings:
        marks = dict(zip(marking.marks, free_all(marking.marks.values()), strict=True))
        bends = {span: free_all(line) for span, line in marking.bends.items()}
        moved.append(replace(marking, marks=marks, bends=bends))
    points = free(seen.points_px) if len(seen.points_px) else seen.points_px
    outline = free(seen.outline_px) if len(seen.outline_px) else seen.outline_px
    return replace(seen, points_px=points, outline_px=outline), tuple(moved)


def straighten_tags(tags: TagsSeen, distortion: tuple[float, ...], photo: Photo) -> TagsSeen:
    """Tags as an undistorting lens would have shown them; their sizes by that of their squares.

    Raises
    ------
    CaseError
        When the coefficients fold the picture over.
    """

    def freed(tag: TagSeen) -> TagSeen:
        # the tip moves with its neighbourhood: its covariance turns with the local slopes
        round_it = tag.tip_px + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
        tip, right, below = _free(round_it, distortion, photo)
        slopes = np.stack([right - tip, below - tip], axis=1)
        corners = _free(tag.corners_px, distortion, photo)
        grown = np.sqrt(_area(corners) / _area(tag.corners_px))
        return replace(
            tag,
            corners_px=corners,
            tip_px=tip,
            tip_covariance=slopes @ tag.tip_covariance @ slopes.T,
            px_per_mm=float(tag.px_per_mm * grown),
        )

    return replace(tags, tags=tuple(map(freed, tags.tags)))


def _area(corners: Array) -> float:
    x, y = corners.T
    return float(0.5 * abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)))


def _free(points: Array, distortion: tuple[float, ...], photo: Photo) -> Array:
    import cv2

    width, height = photo.size
    focal = focal_px(photo.camera.focal_35mm or FOCAL_35MM_UNKNOWN, width, height)
    camera = np.array(
        [[focal, 0.0, (width - 1) / 2], [0.0, focal, (height - 1) / 2], [0.0, 0.0, 1.0]]
    )
    coefficients = np.array(distortion)
    stop = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 100, 1e-10)
    out = cv2.undistortPoints(points[:, None], camera, coefficients, P=camera, criteria=stop)[:, 0]
    rays = np.concatenate([(out - camera[:2, 2]) / focal, np.ones((len(out), 1))], axis=1)
    back = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), camera, coefficients)[0][:, 0]
    if not np.all(np.isfinite(out)) or np.abs(back - points).max() > 0.5:
        raise CaseError(
            tr("the lens coefficients fold the picture over and cannot be undone"),
            where="distortion",
            do=tr("Check them against the calibration, or leave them out"),
        )
    return np.asarray(out, float)
