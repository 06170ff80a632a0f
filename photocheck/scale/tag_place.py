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
    slopes = numbers[:, [0, 1, 3, 4]].reshape(-1, 2, 2)
    seen = numbers[:, [2, 5]][:, :, None] * numbers[:, None, 6:8]
    u = offset / focals[:, None]
    metric = np.linalg.inv(np.eye(2) + u[:, :, None] * u[:, None, :])
    slope = slopes - seen
    inner = np.swapaxes(slope, 1, 2) @ metric @ slope
    logs = 0.5 * np.log(np.linalg.eigvalsh(inner)[:, 1])
    bias = float(logs[1:].mean() - logs[0])
    return float(np.exp(logs[0] - bias)), float(logs[1:].std())


@lru_cache(maxsize=1)
def _normals() -> Floats:
    """Fixed standard normal numbers (2 n, 9), each with its opposite."""
    drawn = np.random.default_rng(0).standard_normal((_DRAWS, 9))
    return np.concatenate([drawn, -drawn])
