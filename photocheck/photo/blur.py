"""How blurred a photo is, measured at its edges."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

EDGES: Final = 6
"""How many edges near a mark are looked at."""


def edge_blur(
    rgb: NDArray[np.uint8], points_px: ArrayLike, *, window_px: int | None = None
) -> tuple[float | None, ...]:
    """Radius of the blur near each point, by the sharpest of the strong edges there.

    The grey values are averaged along an edge's own direction, and the width of their
    slope is measured: an ideal edge blurred by a Gaussian has a Gaussian as its slope, whose
    standard deviation is the blur's (the line spread function of ISO 12233, slanted edge).
    Shadows and folds are soft in a sharp photo too: the sharpest edge tells.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
    points_px : (N, 2)
        Marks (x, y), px.
    window_px : int or None
        Side of the window, px; by default a twenty-fifth of the picture's longer side, at
        least 33.  Blurs up to about an eighth of it can be measured.

    Returns
    -------
    tuple of float or None
        Standard deviation of the blur, px, with the pixel's own width in it (0.3 to 0.8 for
        a sharp photo); None where there is no clear edge.
    """
    height, width = rgb.shape[:2]
    half = (window_px or max(33, max(height, width) // 25)) // 2
    found: list[float | None] = []
    for x, y in np.asarray(points_px, float).reshape(-1, 2):
        # the window lies about the nearest pixel, and all of it in the picture
        across, down = half - 0.5 < x < width - half - 0.5, half - 0.5 < y < height - half - 0.5
        if not (across and down):
            found.append(None)
            continue
        column, row = round(x), round(y)
        window = rgb[row - half : row + half + 1, column - half : column + half + 1]
        found.append(_blur_of(window.astype(np.float64) @ np.array([0.299, 0.587, 0.114])))
    return tuple(found)


def _blur_of(grey: Array) -> float | None:
    """Blur of the sharpest of the strongest edges of a square window, px."""
    import cv2

    smooth = cv2.GaussianBlur(grey, (0, 0), 1.5)
    gx = np.asarray(cv2.Sobel(smooth, cv2.CV_64F, 1, 0, ksize=3)) / 8.0
    gy = np.asarray(cv2.Sobel(smooth, cv2.CV_64F, 0, 1, ksize=3)) / 8.0
    strength = np.hypot(gx, gy)
    # An edge needs room for its slope on both sides.
    rim = max(6, len(grey) // 5)
    strength[:rim] = strength[-rim:] = 0.0
    strength[:, :rim] = strength[:, -rim:] = 0.0
    blurs = []
    for _ in range(EDGES):
        top, left = np.unravel_index(int(np.argmax(strength)), strength.shape)
        size = float(strength[top, left])
        if size <= 0.0:
            break
        normal = np.array([gx[top, left], gy[top, left]]) / size
        blur = _edge_width(grey, np.array([left, top], float), normal)
        if blur is not None:
            blurs.append(blur)
        apart = max(3, len(grey) // 12)
        strength[max(top - apart, 0) : top + apart + 1, max(left - apart, 0) : left + apart + 1] = 0
    return min(blurs) if blurs else None


def _edge_width(grey: Array, at: Array, normal: Array) -> float | None:
    """Blur of one edge, px; None when it is no clear step."""
    import cv2

    reach = float(min(at.min(), (np.array(grey.shape[::-1]) - 1 - at).min()))
    steps = np.linspace(-reach, reach, 4 * int(reach) + 1)
    along = np.linspace(-3.0, 3.0, 7)
    spots = (
        at
        + steps[:, None, None] * normal
        + along[None, :, None] * np.array([-normal[1], normal[0]])
    ).astype(np.float32)
    samples = cv2.remap(grey.astype(np.float32), spots[..., 0], spots[..., 1], cv2.INTER_LINEAR)
    profile = samples.mean(axis=1).astype(np.float64)
    count = max(len(profile) // 5, 2)
    dark, light = float(profile[:count].mean()), float(profile[-count:].mean())
    noise = float(np.std(profile[:count]) + np.std(profile[-count:])) / 2.0
    step = light - dark
    if step < max(8.0, 4.0 * noise):
        return None
    # Where the risen share crosses 16 and 84 % lies one standard deviation either side.
    share = np.maximum.accumulate(np.clip((profile - dark) / step, 0.0, 1.0))
    low, high = (float(steps[int(np.argmax(share >= level))]) for level in (0.159, 0.841))
    return max((high - low) / 2.0, 0.3)
