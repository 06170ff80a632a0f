"""How sharp and how well lit the photo is at the marks.

For remarks only: no number here enters the estimate.  The doubt of a mark comes
from people placing it, and a blurred edge is only a reason to look again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

BLURRED: Final = 0.85
"""Blur above this is remarked on.  Judgement from drawn edges in slight noise: 0.42 sharp,
0.63 smeared by a Gaussian of 1 px, 0.76 by 2 px, 0.88 by 4 px, 0.94 by 6 px."""

FLAT: Final = 4.0
"""Standard deviation of grey below which a window has no edge to judge by, grey levels."""

CLIPPED: Final = 0.5
"""Share of the window at black or white above which a remark is made."""

_ROUNDED: Final = 1e-9  # the weights of the three colours add up to a little less than one


@dataclass(frozen=True)
class MarkQuality:
    """What the picture is like around one mark.

    Attributes
    ----------
    blur : float or None
        0 sharp to 1 blurred (Crété-Roffet et al. 2007); None when the window is too flat to
        tell or off the picture.
    contrast : float
        Standard deviation of grey in the window, grey levels 0 to 255.
    brightness : float
        Mean grey of the window, 0 to 255.
    too_dark, too_bright : float
        Share of the window's pixels at black (below 8) and at white (above 247).
    """

    blur: float | None
    contrast: float
    brightness: float
    too_dark: float
    too_bright: float


def quality_at(
    rgb: NDArray[np.uint8], points_px: ArrayLike, *, window_px: int | None = None
) -> tuple[MarkQuality, ...]:
    """Sharpness and exposure in a window around each mark.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
    points_px : (N, 2)
        Marks (x, y), px.
    window_px : int or None
        Side of the window, px; by default a fiftieth of the picture's longer
        side, at least 33.

    Returns
    -------
    tuple of MarkQuality, one per mark
        A mark outside the picture gives no blur and a contrast of zero.
    """
    height, width = rgb.shape[:2]
    half = (window_px or max(33, max(height, width) // 50)) // 2
    found = []
    for x, y in np.asarray(points_px, dtype=float).reshape(-1, 2):
        if not (0 <= x < width and 0 <= y < height):
            found.append(MarkQuality(None, 0.0, 0.0, 0.0, 0.0))
            continue
        column, row = round(x), round(y)
        window = rgb[
            max(row - half, 0) : row + half + 1, max(column - half, 0) : column + half + 1
        ].astype(np.float64)
        grey = window @ np.array([0.299, 0.587, 0.114])  # ITU-R BT.601 luma
        contrast = float(grey.std())
        judged = contrast >= FLAT and min(grey.shape) >= 16
        found.append(
            MarkQuality(
                _blur(grey) if judged else None,
                contrast,
                float(grey.mean()),
                float((grey < 8 - _ROUNDED).mean()),
                float((grey > 247 + _ROUNDED).mean()),
            )
        )
    return tuple(found)


def _blur(grey: NDArray[np.float64]) -> float:
    """How little the picture loses by being blurred again: 0 sharp, 1 blurred.

    F. Crété-Roffet, T. Dolmiere, P. Ladret, M. Nicolas: The blur effect (Proc. SPIE 6492,
    2007), with a window of eleven pixels; the larger of both axes, as scikit-image's
    `blur_effect` has it, which takes long to load.
    """
    found = []
    for dx, dy, window in ((1, 0, (11, 1)), (0, 1, (1, 11))):
        again = cv2.blur(grey, window, borderType=cv2.BORDER_REFLECT)
        sharp, soft = (
            np.abs(cv2.Sobel(each, cv2.CV_64F, dx, dy, borderType=cv2.BORDER_REFLECT))[2:-1, 2:-1]
            for each in (grey, again)
        )
        found.append(1.0 - np.maximum(sharp - soft, 0.0).sum() / max(sharp.sum(), 1e-9))
    return float(max(found))
