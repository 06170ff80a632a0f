"""How large a mm is at a tag, from how its face lies in the photo.

How strong perspective is within so small a square is mostly noise, but it is known: a mm is ``s``
px and the focal length is about that of a phone, so the distance is about ``focal / s``
(`photocheck.scale.tag_fit` fits with that as a prior).
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np

from photocheck.scale.light import Floats

USUAL_FOCAL: Final = 0.78
"""Over the picture's longer side: phones' main cameras have 0.64 to 0.78, what was cropped more."""
_FOCAL_SPREAD: Final = 0.35
"""Of its natural logarithm, when nobody said (judgement)."""
_DRAWS: Final = 64


def scale_at(
    matrix: Floats,
    inverse: Floats,
    middle: Floats,
    size_px: tuple[int, int],
    focal_px: float | None = None,
) -> tuple[float, float]:
    """Units of a tag facing the camera, px, and the spread of the logarithm.

    Parameters
    ----------
    matrix : (3, 3) float
        Homography from places on the tag, in any unit, to px from `middle`.
    inverse : (8, 8) float
        Covariance of its first eight numbers, row by row.
    middle : (2,) float
        Px of the photo.
    size_px : (int, int)
        Width and height of the photo.
    focal_px : float or None
        When it is known.

    Notes
    -----
    Of the matrix' slope A at the tag's middle, A = (f / Z) P R with P = [I | -u], u the place in
    the picture from its middle over the focal length, R two columns of a rotation.  As
    R R' = I - n n' with the tag's normal n, I + u u' - (Z / f)^2 A A' has rank one: f / Z is the
    larger singular value of (I + u u')^(-1/2) A, whatever the tilt.

    Of two singular values that are nearly one, noise makes the larger too large: what is drawn
    around the fit is larger by as much again, and that is taken off.
    """
    focal = USUAL_FOCAL * max(size_px) if focal_px is None else focal_px
    draws = _normals()
    moves = draws[:, :8] @ np.linalg.cholesky(inverse + 1e-18 * np.eye(8)).T
    numbers = matrix.ravel()[:8] + np.concatenate([np.zeros((1, 8)), moves])
    focals = focal * np.exp(_FOCAL_SPREAD * (focal_px is None) * np.append(0.0, draws[:, 8]))
    offset = middle - (np.array(size_px) - 1) / 2
    u, v = offset[0] / focals, offset[1] / focals
    # of each draw the slope's columns, along and across the tag
    xx, xy, x, yx, yy, y, left, down = numbers.T
    along_x, along_y = xx - x * left, yx - y * left
    across_x, across_y = xy - x * down, yy - y * down
    # by the inverse of I + u u', which is I - u u' / (1 + u'u) (Sherman and Morrison, 1950, from
    # memory); written out, for two by two
    off = 1.0 + u * u + v * v
    on_along, on_across = u * along_x + v * along_y, u * across_x + v * across_y
    first = along_x**2 + along_y**2 - on_along**2 / off
    last = across_x**2 + across_y**2 - on_across**2 / off
    both = along_x * across_x + along_y * across_y - on_along * on_across / off
    logs = 0.5 * np.log((first + last) / 2 + np.hypot((first - last) / 2, both))
    bias = float(logs[1:].mean() - logs[0])
    return float(np.exp(logs[0] - bias)), float(logs[1:].std())


@lru_cache(maxsize=1)
def _normals() -> Floats:
    """Fixed standard normal numbers (2 n, 9), each with its opposite."""
    drawn = np.random.default_rng(0).standard_normal((_DRAWS, 9))
    return np.concatenate([drawn, -drawn])
