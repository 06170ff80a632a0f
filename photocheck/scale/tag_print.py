"""A tag's printed face as a lens shows it, at places that lie evenly on its paper.

Lengths are in cells of the marker (`photocheck.scale.tag_layout`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.scale.light import Floats
from photocheck.scale.sheet import marker_cells
from photocheck.scale.tag_layout import CELLS, SQUARE, TIP, WEDGE, WHITE

DOWN, ACROSS = 11, 8
"""Cells of the paper."""
_FINE: Final = 12
"""Pixels a cell of the drawing that is blurred."""
_BELOW: Final = 6.5
"""Down to here the paper's face is used, cells below the square's middle."""
_RIM: Final = 0.3
"""Cells at the paper's own edge that are left out: hair and what lies behind."""
_INNER: Final = 2.4
"""Half of what the first steps look at, cells, beside the wedge: tape over a side has an edge of
its own there, and once laid along that a side stays there."""
_DARK: Final = 0.15
"""How pale a place is at most at which black is read."""


@dataclass(frozen=True, eq=False)
class Grid:
    """Places on a tag, so many a cell each way.

    Attributes
    ----------
    used : (rows, columns) bool
        Which are looked at.
    every : (rows * columns, 3) float
        x to the right and y down from the square's middle, cells, and 1.
    x, y : (n,) float
        Of those that are looked at.
    share : (rows, columns) float32
        1 where one is looked at, else 0.
    """

    used: NDArray[np.bool_]
    every: Floats
    x: Floats
    y: Floats
    share: NDArray[np.float32]


@lru_cache(maxsize=16)
def grid(each: int, *, inner: bool) -> Grid:
    """`each` places a cell each way; the cells inside and the wedge only, or all of the face."""
    x, y = np.meshgrid(
        (np.arange(ACROSS * each) + 0.5) / each - WHITE,
        (np.arange(DOWN * each) + 0.5) / each - WHITE,
    )
    half = np.where(y < WHITE, WHITE, 2.5 * (TIP[1] - y) / (TIP[1] - WHITE))
    used = (np.abs(x) < half - _RIM) & (y > -WHITE + _RIM) & (y < _BELOW)
    # between square and taper the paper narrows at once
    used &= ~((y > WHITE - _RIM) & (np.abs(x) > 2.5 - _RIM))
    if inner:
        used &= (np.maximum(np.abs(x), np.abs(y)) < _INNER) | (y > WHITE)
    every = np.column_stack([x.ravel(), y.ravel(), np.ones(x.size)])
    return Grid(used, every, x[used], y[used], used.astype(np.float32))


@dataclass(frozen=True, eq=False)
class Print:
    """A blurred face at a grid's places.

    Attributes
    ----------
    pale : (rows, columns) float32
        0 black, 1 white.
    right, down, blurs : (n,) float
        At those that are looked at, how it changes with a cell to the right, a cell down, a cell of
        blur.
    edges : (n,) float
        How steep it is.
    dark : (n,) float
        1 where it is black, else 0.
    """

    pale: NDArray[np.float32]
    right: Floats
    down: Floats
    blurs: Floats
    edges: Floats
    dark: Floats


@lru_cache(maxsize=512)
def printed(code: int, hundredths: int, each: int, *, inner: bool) -> Print:
    """The face of a marker's tag, blurred by so many hundredths of a cell (standard deviation)."""
    sigma = hundredths / 100
    soft = cv2.GaussianBlur(_face(code), (0, 0), sigma * _FINE, borderType=cv2.BORDER_REPLICATE)
    right = cv2.Sobel(soft, cv2.CV_32F, 1, 0, ksize=1, scale=_FINE / 2)
    down = cv2.Sobel(soft, cv2.CV_32F, 0, 1, ksize=1, scale=_FINE / 2)
    spread = cv2.Laplacian(soft, cv2.CV_32F, ksize=1, scale=_FINE**2 * sigma)
    size = (ACROSS * each, DOWN * each)
    at = [
        cv2.resize(one, size, interpolation=cv2.INTER_AREA) for one in (soft, right, down, spread)
    ]
    used = grid(each, inner=inner).used
    pale, gx, gy, blurs = (one[used].astype(np.float64) for one in at)
    dark = (pale < _DARK).astype(np.float64)
    return Print(np.asarray(at[0], np.float32), gx, gy, blurs, np.hypot(gx, gy), dark)


@lru_cache(maxsize=16)
def _face(code: int) -> NDArray[np.float32]:
    """How pale the print is, `_FINE` px a cell, 11 cells down and 8 across; paper all round."""
    face = np.ones((DOWN * _FINE, ACROSS * _FINE), np.float32)
    start = round((WHITE - SQUARE) * _FINE)
    side = CELLS * _FINE
    black = np.kron(marker_cells(code), np.ones((_FINE, _FINE))) > 0
    face[start : start + side, start : start + side][black] = 0.0
    over = 4
    large = cv2.resize(face, None, fx=over, fy=over, interpolation=cv2.INTER_NEAREST)
    wedge = (np.array(WEDGE) + WHITE) * _FINE * over - 0.5
    cv2.fillPoly(large, [np.rint(wedge * 256).astype(np.int32)], 0.0, cv2.LINE_8, 8)
    return np.asarray(cv2.resize(large, face.shape[::-1], interpolation=cv2.INTER_AREA), np.float32)
