"""Whether four corners can be a rectangle of known sides, seen by some ordinary camera.

Four corners hold eight numbers, a pose six and a focal length one: a rectangle whose sides are
known leaves one number over, two where the focal length is about known.  A stripe taken for the
edge of a card makes it the wrong shape; to be explained by turning the card, the sides would
have to draw together, and they do not.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.scale.light import Floats

_FOCALS: Final = np.geomspace(0.5, 6.0, 9)
"""Focal lengths tried, over the picture's longer side."""
_USUAL_FOCAL: Final = 0.9
_FOCAL_SPREAD: Final = 0.5
"""Median and sd of ln of them (judgement): phones' main cameras have 0.64 to 0.78 (23 to 28 mm
equivalent over 36 mm), their longer lenses 1.4 to 3.5; whatever was cropped has more."""
_CENTRE_SPREAD: Final = 0.06
"""Of the lens' axis from the picture's middle, over the longer side, for a few are cropped
(judgement)."""


@dataclass(frozen=True)
class SeenShapes:
    """How n sets of corners stand as one rectangle.

    Attributes
    ----------
    misfit : (n,) float
        What is left over, in standard deviations squared (two numbers, and how odd the
        focal length would be).
    tilt : (n,) float
        Radians from facing the camera, with the focal length that fits best.
    upright : (n,) bool
        Whether the first side (corner 0 to 1) is the shorter one.
    """

    misfit: Floats
    tilt: Floats
    upright: NDArray[np.bool_]


def shapes(
    corners: Floats, size_mm: tuple[float, float], picture: tuple[int, ...], spread_px: Floats
) -> SeenShapes:
    """Judge (n, 4, 2) corners, clockwise, px, each known to (n,) px.

    Parameters
    ----------
    corners : (n, 4, 2)
    size_mm : longer and shorter side
    picture : (rows, columns, ...) of the photo
    spread_px : (n,)

    >>> square_on = np.array([[[0, 0], [856, 0], [856, 540], [0, 540]]]) + 500.0
    >>> judged = shapes(square_on, (85.6, 53.98), (2000, 2000), np.ones(1))
    >>> bool(judged.misfit[0] < 0.5), bool(judged.tilt[0] < 0.2)
    (True, True)
    """
    centre = (np.array([picture[1], picture[0]], np.float64) - 1) / 2
    focals = _FOCALS * max(picture[:2])
    # Student's tails, one degree of freedom: what was cropped much has any focal length.
    odd = 2.0 * np.log1p((np.log(_FOCALS / _USUAL_FOCAL) / _FOCAL_SPREAD) ** 2)
    best_misfit = np.full(len(corners), np.inf)
    best_tilt = np.zeros(len(corners))
    upright = np.zeros(len(corners), np.bool_)
    step = 1e-3 * np.maximum(_longest(corners), 1.0)
    # Each of the eight numbers, and all corners together: as the picture's centre moves.
    together = np.tile(np.eye(2), (1, 4))
    moves = np.concatenate([np.zeros((1, 8)), np.eye(8), together]).reshape(11, 4, 2)
    known = np.repeat(spread_px[:, None], 10, axis=1)
    known[:, 8:] = _CENTRE_SPREAD * max(picture[:2])
    moved = corners[:, None] + moves[None] * step[:, None, None, None]
    for turned, (across, down) in enumerate((size_mm, size_mm[::-1])):
        residual, tilt = _residuals(moved - centre, across, down, focals)
        # (n, 10, f, 2): how the two residuals answer to each
        answer = (residual[:, 1:] - residual[:, :1]) / step[:, None, None, None]
        answer *= known[:, :, None, None]
        spread = np.einsum("nkfi,nkfj->nfij", answer, answer)
        spread[..., 0, 0] += 1e-6
        spread[..., 1, 1] += 1e-6
        left = residual[:, 0]
        solved = np.linalg.solve(spread, left[..., None])[..., 0]
        misfit = np.sum(left * solved, axis=2) + odd
        index = np.arange(len(corners))
        chosen = np.argmin(misfit, axis=1)
        misfit, tilt = misfit[index, chosen], tilt[index, 0, chosen]
        better = misfit + _turn_cost(tilt) < best_misfit + _turn_cost(best_tilt)
        better |= ~np.isfinite(best_misfit)
        best_misfit = np.where(better, misfit, best_misfit)
        best_tilt = np.where(better, tilt, best_tilt)
        upright = np.where(better, bool(turned), upright)
    return SeenShapes(best_misfit, best_tilt, upright)


def _turn_cost(tilt: Floats) -> Floats:
    return np.asarray((np.log(np.maximum(np.cos(tilt), 0.05)) / 0.35) ** 2)


def _longest(corners: Floats) -> Floats:
    run = np.roll(corners, -1, axis=1) - corners
    return np.asarray(np.max(np.hypot(run[..., 0], run[..., 1]), axis=1))


def _residuals(
    corners: Floats, across: float, down: float, focals: Floats
) -> tuple[Floats, Floats]:
    """Residuals (n, k, f, 2) and tilts (n, k, f) of corners (n, k, 4, 2) from the picture's centre.

    The two columns of the homography from the unit square (Heckbert, Fundamentals of texture
    mapping, 1989) must be at right angles and as long as the sides when seen from the camera.
    """
    p0, p1, p2, p3 = (corners[..., i, :] for i in range(4))
    one, other, rest = p1 - p2, p3 - p2, p0 - p1 + p2 - p3
    below = _cross(one, other)
    below = np.where(np.abs(below) < 1e-9, 1e-9, below)
    g, h = _cross(rest, other) / below, _cross(one, rest) / below
    first = (p1 - p0 + g[..., None] * p1) / across
    second = (p3 - p0 + h[..., None] * p3) / down
    g, h = g[..., None] / across, h[..., None] / down
    f = focals
    third = (*g.shape[:-1], f.size)
    u = np.stack([first[..., :1] / f, first[..., 1:] / f, np.broadcast_to(g, third)], axis=-1)
    v = np.stack([second[..., :1] / f, second[..., 1:] / f, np.broadcast_to(h, third)], axis=-1)
    long_u, long_v = np.linalg.norm(u, axis=-1), np.linalg.norm(v, axis=-1)
    cosine = np.sum(u * v, axis=-1) / np.maximum(long_u * long_v, 1e-30)
    ratio = np.log(np.maximum(long_u, 1e-30) / np.maximum(long_v, 1e-30))
    normal = np.cross(u, v)
    middle = np.mean(corners, axis=-2)[..., None, :]
    sight = np.concatenate([middle / f[:, None], np.ones((*middle.shape[:-2], f.size, 1))], axis=-1)
    facing = np.abs(np.sum(normal * sight, axis=-1)) / np.maximum(
        np.linalg.norm(normal, axis=-1) * np.linalg.norm(sight, axis=-1), 1e-30
    )
    tilt = np.arccos(np.clip(facing, 0.0, 1.0))
    return np.stack([cosine, ratio], axis=-1), tilt


def _cross(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])
