"""Whether a marker in a photo is a tag: its cells, the white round it, the wedge below it.

Sixteen cells are few: among ten thousand pictures of hedges and gravel some square reads like a
marker.  A tag is more than its cells.  Its border is black all round, one cell of white lies
round that, and a wedge below points to the tip; all of it in two tones of light only, however
the light falls.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import cv2
import numpy as np

from photocheck.scale.light import SRGB_TO_LIGHT, Floats, Picture
from photocheck.scale.planes import fit_homography, project
from photocheck.scale.sheet import marker_cells
from photocheck.scale.tag_layout import CELLS, SQUARE

_DARK: Final = 0.004
"""Light added before logarithms: below it all is noise."""
_LEAST_STEP: Final = float(np.log(2.0))
"""Of ln light from black to white, at least; ink on paper in focus has 2 and more (judgement)."""
_RING_SHARE: Final = 0.8
"""Of the white round the square, at least: fur and tape lie over some of it."""
_INSIDE: Final = np.array([-0.25, 0.0, 0.25])
"""Where in a cell its light is read, cells from its middle."""
_WEDGE_DARK: Final = ((0.0, 4.35), (0.0, 4.8), (-0.4, 4.35), (0.4, 4.35))
_WEDGE_PALE: Final = (((-1.75, 4.3), (-1.45, 4.9)), ((1.75, 4.3), (1.45, 4.9)))
_LEAST_WEDGE: Final = 0.3
"""How much darker than the paper at either side of it the wedge is, over a cell's step."""


@dataclass(frozen=True)
class Reading:
    """What the cells of one marker say.

    Attributes
    ----------
    wrong : int
        Of the 36 cells, how many have the other tone.
    ring : float
        Share (0..1) of the 28 cells round it that are white.
    step : float
        Natural logarithm of the light of white over that of black.
    wedge : float
        How much darker the wedge is than the paper at the side of it that is less pale, over
        `step`; about 1 where it is seen, and nothing where it is hidden.
    """

    wrong: int
    ring: float
    step: float
    wedge: float

    @property
    def sound(self) -> bool:
        """Whether it is a marker of paper with white round it."""
        return self.wrong == 0 and self.ring >= _RING_SHARE and self.step >= _LEAST_STEP

    @property
    def pointed(self) -> bool:
        """Whether the wedge is seen."""
        return self.wedge >= _LEAST_WEDGE


def read_marker(grey: Picture, corners_px: Floats, code: int) -> Reading | None:
    """Read a marker's cells; None where it does not lie whole in the picture.

    Parameters
    ----------
    grey : (H, W) uint8
    corners_px : (4, 2) float
        Of the black square, clockwise from its own top left, px.
    code : int
        Of DICT_4X4_50.
    """
    square = SQUARE * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    matrix = fit_homography(square, corners_px)
    if matrix is None:
        return None
    places, black, inner = _grid(code)
    light = _logs(grey, project(matrix, places))
    if light is None:
        return None
    cells = light.reshape(len(black), -1).mean(axis=1)
    middle = places.reshape(len(black), -1, 2).mean(axis=1)
    # Light falls off over a tag: both tones share one slope.
    terms = np.column_stack([np.ones(len(black)), middle, ~black])
    fitted = np.linalg.lstsq(terms[inner], cells[inner], rcond=None)[0]
    step = float(fitted[3])
    half_way = terms[:, :3] @ fitted[:3] + step / 2
    dark = cells < half_way
    wrong = int(np.count_nonzero(dark[inner] != black[inner])) if step > 0 else CELLS**2
    return Reading(
        wrong=wrong,
        ring=float(np.mean(~dark[~inner])),
        step=step,
        wedge=_wedge(grey, matrix, fitted) if step > 0 else 0.0,
    )


def _wedge(grey: Picture, matrix: Floats, fitted: Floats) -> float:
    tones = []
    for points in (_WEDGE_DARK, *_WEDGE_PALE):
        places = np.array(points)
        light = _logs(grey, project(matrix, places))
        if light is None:
            return 0.0
        tones.append(float(np.mean(light - places @ fitted[1:3])))
    return (min(tones[1:]) - tones[0]) / float(fitted[3])


@lru_cache(maxsize=64)
def _grid(code: int) -> tuple[Floats, np.ndarray, np.ndarray]:
    """Places (64 * 9, 2) in 8 x 8 cells, which cells (64,) are black, and which are the marker's."""
    black = np.zeros((CELLS + 2, CELLS + 2), np.bool_)
    black[1:-1, 1:-1] = marker_cells(code)
    inner = np.zeros_like(black)
    inner[1:-1, 1:-1] = True
    at = np.arange(CELLS + 2) - (CELLS + 1) / 2
    y, x, dy, dx = np.meshgrid(at, at, _INSIDE, _INSIDE, indexing="ij")
    return np.stack([(x + dx).ravel(), (y + dy).ravel()], axis=1), black.ravel(), inner.ravel()


def _logs(grey: Picture, points: Floats) -> Floats | None:
    """ln light at points (n, 2) px; None when one lies outside the picture."""
    height, width = grey.shape
    low, high = points.min(axis=0), points.max(axis=0)
    if not np.all(np.isfinite(points)) or low.min() < 0:
        return None
    if high[0] > width - 1 or high[1] > height - 1:
        return None
    left, top = np.floor(low).astype(int)
    right, bottom = np.ceil(high).astype(int) + 1
    crop = SRGB_TO_LIGHT[grey[top:bottom, left:right]]
    at = (points - (left, top)).astype(np.float32)
    seen = cv2.remap(
        crop, at[None, :, 0], at[None, :, 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    return np.log(np.asarray(seen, np.float64).ravel() + _DARK)
