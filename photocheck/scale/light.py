"""Linear light across an edge: strips sampled from a picture, their gradient, its peak.

A lens blurs light, not the encoded values a picture file holds; in encoded values the
half-way level of a blurred edge sits on the dark side of it, and every dark thing looks
too small.
"""

from __future__ import annotations

from typing import Final, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.numerics import median

Floats = NDArray[np.float64]
Picture = NDArray[np.uint8]
Pixels = TypeVar("Pixels", NDArray[np.uint8], NDArray[np.float32])


def _srgb_table() -> NDArray[np.float32]:
    code = np.arange(256) / 255.0
    light = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return light.astype(np.float32)


SRGB_TO_LIGHT: Final = _srgb_table()
"""(256,) linear light 0..1 of each 8-bit code: IEC 61966-2-1 (sRGB), from memory.

Phones bend the curve further to taste; what is left of the error is a common
growth or shrinking of dark shapes of a few hundredths of a pixel.
"""
STEP_PX: Final = 0.5  # px between samples across an edge
LEAST_STEP_LIGHT: Final = 0.01
"""An edge fainter than this share of white is noise."""


def sample_rows(
    picture: Picture, points: Floats, normals: Floats, across: Floats
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Linear light along a short line through each point.

    Parameters
    ----------
    picture : (H, W) or (H, W, 3) uint8
    points, normals : (n, 2) float
        px; unit normals.
    across : (k,) float
        Distances along the normal, px.

    Returns
    -------
    light : (n, k, c) float32
    inside : (n,) bool
        Whether the whole row lies in the picture.
    """
    xs = points[:, :1] + normals[:, :1] * across[None, :]
    ys = points[:, 1:] + normals[:, 1:] * across[None, :]
    height, width = picture.shape[:2]
    inside = np.all((xs >= 0) & (ys >= 0) & (xs <= width - 1) & (ys <= height - 1), axis=1)
    left = int(np.clip(np.floor(xs.min()) - 2, 0, width - 1))
    top = int(np.clip(np.floor(ys.min()) - 2, 0, height - 1))
    right = int(np.clip(np.ceil(xs.max()) + 3, left + 1, width))
    bottom = int(np.clip(np.ceil(ys.max()) + 3, top + 1, height))
    crop = SRGB_TO_LIGHT[picture[top:bottom, left:right]]
    light = cv2.remap(
        crop,
        (xs - left).astype(np.float32),
        (ys - top).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    rows = np.asarray(light, dtype=np.float32).reshape(xs.shape[0], xs.shape[1], -1)
    return rows, np.asarray(inside)


def one_channel(light: NDArray[np.float32]) -> tuple[Floats, float]:
    """Colour samples (n, k, c) on the direction that tells inside from outside best.

    Returns the (n, k) projection and the contrast, inside minus outside as a share of
    the brighter (for grey its sign is that of the step; for colour it is positive).
    """
    colour, contrast = colour_direction(light)
    return (light @ colour).astype(np.float64), contrast


def colour_direction(light: NDArray[np.float32]) -> tuple[NDArray[np.float32], float]:
    """`one_channel`'s direction, a unit vector (c,), and contrast."""
    third = max(light.shape[1] // 3, 1)
    channels = light.shape[2]
    inner = median(light[:, :third].reshape(-1, channels).T)
    outer = median(light[:, -third:].reshape(-1, channels).T)
    brighter = max(float(np.linalg.norm(inner)), float(np.linalg.norm(outer)), 0.01)
    if channels == 1:
        return np.ones(1, np.float32), float(inner[0] - outer[0]) / brighter
    step = inner - outer
    size = float(np.linalg.norm(step))
    contrast = size / brighter
    if size < LEAST_STEP_LIGHT:
        step, size = np.full(channels, 1.0), float(np.sqrt(channels))
    return np.asarray(step / size, dtype=np.float32), contrast


def gradient_across(
    scalar: NDArray[np.float32] | Floats, sigma_px: float = 1.0, step_px: float = STEP_PX
) -> Floats:
    """Derivative of (n, k) samples along their second axis after a Gaussian, light per px."""
    sigma = sigma_px / step_px
    reach = int(np.ceil(3 * sigma))
    u = np.arange(-reach, reach + 1)
    kernel = -u * np.exp(-0.5 * (u / sigma) ** 2)
    kernel = kernel / np.sum(kernel * -u) / step_px
    # filter2D correlates, so the kernel is turned round to get a derivative.
    return np.asarray(
        cv2.filter2D(
            np.asarray(scalar, np.float64),
            cv2.CV_64F,
            kernel[::-1][None, :],
            borderType=cv2.BORDER_REPLICATE,
        )
    )


def peak_position(rows: Floats, centre: int, half: int) -> tuple[Floats, Floats]:
    """Sub-sample position and height of the largest value of each row near a column.

    Parameters
    ----------
    rows : (n, k) float
    centre, half : int
        Columns ``centre - half`` to ``centre + half`` are searched.

    Returns
    -------
    position : (n,) float
        Columns from `centre`, from the parabola through the peak and its neighbours;
        nan where the largest value lies at the border of the search.
    height : (n,) float
    """
    low, high = max(centre - half, 1), min(centre + half, rows.shape[1] - 2)
    window = rows[:, low : high + 1]
    best = np.argmax(window, axis=1) + low
    index = np.arange(rows.shape[0])
    before, at, after = rows[index, best - 1], rows[index, best], rows[index, best + 1]
    bend = before - 2 * at + after
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.where(bend < 0, 0.5 * (before - after) / bend, np.nan)
    edge = (best == low) | (best == high) | (np.abs(shift) > 1)
    return np.where(edge, np.nan, best + shift - centre), at


def as_grey(picture: Picture) -> Picture:
    """Grey (H, W) uint8 of a grey or RGB picture."""
    if picture.ndim == 2:
        return picture
    return np.asarray(cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY), dtype=np.uint8)


def half_of(picture: Pixels) -> Pixels:
    """A picture (H, W) or (H, W, c) half as large, a last row or column without its pair left out.

    A pixel's centre is at (p + 0.5) / 2 - 0.5 of the last.  Halving is many times quicker than any
    other way of averaging pixels, as long as both sides are even.
    """
    size = (max(picture.shape[1] // 2, 1), max(picture.shape[0] // 2, 1))
    even = picture[: 2 * size[1], : 2 * size[0]]
    return np.asarray(cv2.resize(even, size, interpolation=cv2.INTER_AREA), picture.dtype)


def halved(grey: Picture, most_px: float) -> tuple[Picture, int]:
    """A picture (H, W) halved until its longer side has at most `most_px`; how often smaller."""
    small, shrink = grey, 1
    while max(small.shape) > most_px and min(small.shape) > 1:
        small, shrink = half_of(small), 2 * shrink
    return small, shrink


class Halved:
    """A picture at full size, half, a quarter and so on, each made when first asked for.

    Attributes
    ----------
    picture : (H, W) or (H, W, 3) uint8
        At full size.

    Examples
    --------
    >>> pictures = Halved(np.zeros((300, 401, 3), np.uint8))
    >>> pictures.at(2).shape
    (75, 100, 3)
    """

    def __init__(self, picture: Picture) -> None:
        self.picture = picture
        self._levels = [picture]

    def at(self, level: int) -> Picture:
        """The picture halved so often, as by `half_of`."""
        while len(self._levels) <= level:
            self._levels.append(half_of(self._levels[-1]))
        return self._levels[level]
