"""Where a tag's tip is and how large a mm is there, from the four corners of its square.

A small square hardly shows perspective: from its corners alone, what tells a near side from a far
one is mostly noise, which the tip, lying outside the square, would magnify.  How strong
perspective can be is known, however: a mm is ``s`` px and the focal length is about that of a
phone, so the distance is about ``focal / s``, and the square's own foreshortening tells its tilt.
The homography is fitted with that as a prior on its last row.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from photocheck.scale.light import Floats
from photocheck.scale.tag_layout import square_mm, tip_mm

USUAL_FOCAL: Final = 0.78
"""Over the picture's longer side: phones' main cameras have 0.64 to 0.78, what was cropped more."""
_FOCAL_SPREAD: Final = 0.35
"""Of its natural logarithm, when nobody said (judgement)."""
_LEAST_TILT: Final = 0.15
"""Sine of the tilt that a square seen as one may have all the same."""
_GROWTH_PX: Final = 0.05
"""Spread of how far all sides of a black square lie too far out or in together (tone curve)."""
_DRAWS: Final = 256


@dataclass(frozen=True, eq=False)
class TagPlace:
    """What four corners tell.

    Attributes
    ----------
    matrix : (3, 3) float
        Homography from mm on the tag (`photocheck.scale.tag_layout`) to px.
    tip_px : (2,) float
    tip_covariance : (2, 2) float
        What the corners leave open, px squared, for a flat tag.
    px_per_mm : float
        Focal length over depth: a mm that faces the camera.
    px_per_mm_spread : float
        Of its natural logarithm.
    """

    matrix: Floats
    tip_px: Floats
    tip_covariance: Floats
    px_per_mm: float
    px_per_mm_spread: float


def place_tag(
    corners_px: Floats,
    spread_px: float,
    side_mm: float,
    size_px: tuple[int, int],
    focal_px: float | None = None,
) -> TagPlace:
    """Tip and scale of a flat tag.

    Parameters
    ----------
    corners_px : (4, 2) float
        Of its black square, clockwise from its own top left, px.
    spread_px : float
        Standard deviation of each per axis, px.
    side_mm : float
    size_px : (int, int)
        Width and height of the photo.
    focal_px : float or None
        When it is known.
    """
    square, tip = square_mm(side_mm), tip_mm(side_mm)
    focal = USUAL_FOCAL * max(size_px) if focal_px is None else focal_px
    middle = corners_px.mean(axis=0)
    matrix, rows = _fitted(square, corners_px - middle, spread_px, focal)
    # Gaussian propagation: the tip by the posterior of the eight numbers.
    inverse: Floats = np.asarray(np.linalg.inv(rows.T @ rows), np.float64)
    arms = _rows(matrix, tip[None])
    covariance = arms @ inverse @ arms.T
    tip_at = _through(matrix, tip[None])[0]
    outward = (_through(matrix, (square * (1 + 1e-3)))[2] - _through(matrix, square)[2]) / 1e-3
    # black that is larger or smaller than printed moves the square's own unit
    grown = _GROWTH_PX / max(float(np.hypot(*outward)) / np.sqrt(2.0), 1e-9)
    moved = (tip_at - _through(matrix, np.zeros((1, 2)))[0]) * grown
    covariance = covariance + np.outer(moved, moved)
    scale, spread = _scale(matrix, inverse, middle, size_px, focal, focal_px is None)
    whole = np.array([[1.0, 0.0, middle[0]], [0.0, 1.0, middle[1]], [0.0, 0.0, 1.0]]) @ matrix
    return TagPlace(
        matrix=whole,
        tip_px=tip_at + middle,
        tip_covariance=covariance,
        px_per_mm=scale,
        px_per_mm_spread=float(np.hypot(spread, grown)),
    )


def _through(matrix: Floats, points: Floats) -> Floats:
    down = points @ matrix[2, :2] + matrix[2, 2]
    return np.asarray((points @ matrix[:2, :2].T + matrix[:2, 2]) / down[:, None])


def _rows(matrix: Floats, points: Floats) -> Floats:
    """Derivatives (2 n, 8) of where points (n, 2) are seen by the eight numbers of a matrix."""
    ones = np.column_stack([points, np.ones(len(points))])
    down = ones @ matrix[2]
    now = _through(matrix, points)
    rows = np.zeros((2 * len(points), 8))
    rows[0::2, 0:3] = rows[1::2, 3:6] = ones / down[:, None]
    rows[0::2, 6:8] = -now[:, :1] * points / down[:, None]
    rows[1::2, 6:8] = -now[:, 1:] * points / down[:, None]
    return rows


def _fitted(
    square: Floats, corners: Floats, spread_px: float, focal: float
) -> tuple[Floats, Floats]:
    """The matrix, and the weighted rows (10, 8) of the fit at it."""
    affine, *_ = np.linalg.lstsq(np.column_stack([square, np.ones(4)]), corners, rcond=None)
    matrix = np.vstack([affine.T, [0.0, 0.0, 1.0]])
    far, near = np.linalg.svd(matrix[:2, :2], compute_uv=False)
    tilt = np.sqrt(max(1.0 - (near / max(far, 1e-12)) ** 2, 0.0))
    # the last row is the depth's slope over the depth
    strength = max(float(tilt), _LEAST_TILT) * far / focal
    weights = np.array([1.0 / strength, 1.0 / strength])
    rows = np.zeros((10, 8))
    left = np.zeros(10)
    for _ in range(6):
        rows[:8] = _rows(matrix, square) / spread_px
        left[:8] = (corners - _through(matrix, square)).ravel() / spread_px
        rows[8, 6], rows[9, 7] = weights
        left[8:] = -matrix[2, :2] * weights
        size = np.linalg.norm(rows, axis=0)
        step = np.linalg.lstsq(rows / size, left, rcond=None)[0] / size
        matrix = matrix + np.append(step, 0.0).reshape(3, 3)
        if float(np.max(np.abs(step * size))) < 1e-6:
            break
    return matrix, rows


@lru_cache(maxsize=1)
def _normals() -> Floats:
    """Fixed standard normal numbers (2 n, 9), each with its opposite."""
    drawn = np.random.default_rng(0).standard_normal((_DRAWS, 9))
    return np.concatenate([drawn, -drawn])


def _scale(
    matrix: Floats,
    inverse: Floats,
    middle: Floats,
    size_px: tuple[int, int],
    focal: float,
    guessed: bool,
) -> tuple[float, float]:
    """Px a mm facing the camera, and the spread of its logarithm.

    Of the matrix' slope A at the tag's middle, A = (f / Z) P R with P = [I | -u], u the place in
    the picture from its middle over the focal length, R two columns of a rotation.  As
    R R' = I - n n' with the tag's normal n, I + u u' - (Z / f)^2 A A' has rank one: f / Z is the
    larger singular value of (I + u u')^(-1/2) A, whatever the tilt.

    Of two singular values that are nearly one, noise makes the larger too large: what is drawn
    around the fit is larger by as much again, and that is taken off.
    """
    draws = _normals()
    moves = draws[:, :8] @ np.linalg.cholesky(inverse + 1e-18 * np.eye(8)).T
    numbers = matrix.ravel()[:8] + np.concatenate([np.zeros((1, 8)), moves])
    focals = focal * np.exp(_FOCAL_SPREAD * guessed * np.append(0.0, draws[:, 8]))
    offset = middle - (np.array(size_px) - 1) / 2
    slopes = numbers[:, [0, 1, 3, 4]].reshape(-1, 2, 2)
    seen = numbers[:, [2, 5]][:, :, None] * numbers[:, None, 6:8]
    u = offset / focals[:, None]
    metric = np.linalg.inv(np.eye(2) + u[:, :, None] * u[:, None, :])
    slope = slopes - seen
    inner = np.swapaxes(slope, 1, 2) @ metric @ slope
    logs = 0.5 * np.log(np.linalg.eigvalsh(inner)[:, 1])
    bias = float(logs[1:].mean() - logs[0])
    return float(np.exp(logs[0] - bias)), float(logs[1:].std())
