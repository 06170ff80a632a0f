"""Ellipses: fitted to points, and how far points lie off them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from photocheck.scale.light import Floats


@dataclass(frozen=True)
class Ellipse:
    """An ellipse in the photo.

    Attributes
    ----------
    centre : (2,) float, px
    half : (2,) float
        Half axes, px.
    turn : float
        Radians from the x axis to the first half axis.
    """

    centre: Floats
    half: Floats
    turn: float

    def points(self, count: int) -> tuple[Floats, Floats]:
        """Points (n, 2) evenly spread in parameter, and outward unit normals (n, 2)."""
        angle = np.arange(count) * (2 * np.pi / count)
        axes = np.array(
            [[np.cos(self.turn), np.sin(self.turn)], [-np.sin(self.turn), np.cos(self.turn)]]
        )
        unit = np.column_stack([np.cos(angle), np.sin(angle)])
        normal = (unit / self.half) @ axes
        normal /= np.linalg.norm(normal, axis=1, keepdims=True)
        return self.centre + (unit * self.half) @ axes, normal


def fit_ellipse(points: Floats) -> Ellipse | None:
    """Direct least squares ellipse through (N, 2) points, N at least 5; None if there is none.

    Fitzgibbon, Pilu and Fisher, IEEE TPAMI 21 (1999) 476, through OpenCV; points are
    centred and scaled first, for the sake of single precision.
    """
    if len(points) < 5:
        return None
    # sums over counts: `mean` takes longer than all else on the few points of a try
    middle = np.add.reduce(points, axis=0) / len(points)
    run = points - middle
    size = float(np.add.reduce(np.hypot(run[:, 0], run[:, 1])) / len(points))
    if size < 1e-6:
        return None
    scaled = (run / size).astype(np.float32).reshape(-1, 1, 2)
    (x, y), (one, other), degrees = cv2.fitEllipseDirect(scaled)
    values = np.array([x, y, one, other, degrees], np.float64)
    if not np.all(np.isfinite(values)) or min(one, other) < 1e-3:
        return None
    return Ellipse(middle + values[:2] * size, values[2:4] * size / 2, float(np.deg2rad(values[4])))


def holds(ellipse: Ellipse, point: Floats) -> bool:
    """Whether a point (2,) lies inside."""
    return bool(levels(ellipse, point[None])[0] < 1)


def levels(ellipse: Ellipse, points: Floats) -> Floats:
    """1 on the ellipse, below 1 inside, growing in proportion to the distance from its centre."""
    cos, sin = np.cos(ellipse.turn), np.sin(ellipse.turn)
    run = points - ellipse.centre
    along = run @ np.array([[cos, -sin], [sin, cos]]) / ellipse.half
    return np.asarray(np.hypot(along[:, 0], along[:, 1]))


def distances(ellipse: Ellipse, points: Floats) -> Floats:
    """Signed distances (n,) px, first order (Sampson)."""
    return np.asarray(distances_from([ellipse], points)[0])


def distances_from(ellipses: Sequence[Ellipse], points: Floats) -> Floats:
    """`distances` of the same points from each of m ellipses, (m, n)."""
    centre = np.array([each.centre for each in ellipses])[:, None]
    half = np.array([each.half for each in ellipses])[:, None]
    turns = [(np.cos(each.turn), np.sin(each.turn)) for each in ellipses]
    run = (points - centre) @ np.array([[[cos, -sin], [sin, cos]] for cos, sin in turns])
    along, steep = run / half, run / half**2
    level = np.hypot(along[..., 0], along[..., 1])
    slope = np.hypot(steep[..., 0], steep[..., 1]) / np.maximum(level, 1e-9)
    return np.asarray((level - 1) / np.maximum(slope, 1e-9))


def fit_circle(points: Floats) -> Ellipse | None:
    """Algebraic least squares circle (Kasa) through (N, 2) points, as an ellipse; or None."""
    if len(points) < 3:
        return None
    middle = np.add.reduce(points, axis=0) / len(points)
    run = points - middle
    rows = np.ones((len(run), 3))
    rows[:, :2] = 2 * run
    squares = run**2
    (x, y, rest), _, rank, _ = np.linalg.lstsq(rows, squares[:, 0] + squares[:, 1], rcond=None)
    square = float(rest + x**2 + y**2)
    if rank < 3 or square <= 0:
        return None
    return Ellipse(middle + np.array([x, y]), np.full(2, np.sqrt(square)), 0.0)
