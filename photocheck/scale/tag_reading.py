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
_MOST_UNEVEN: Final = 0.2
"""Of what the cells' light leaves over against two tones, over their step (judgement)."""
_RING_SHARE: Final = 0.8
"""Of the white round the square, at least: fur and tape lie over some of it."""
_INSIDE: Final = np.array([-0.25, 0.0, 0.25])
"""Where in a cell its light is read, cells from its middle."""
_WEDGE_DARK: Final = ((0.0, 4.35), (0.0, 4.8), (-0.4, 4.35), (0.4, 4.35))
_WEDGE_PALE: Final = (((-1.75, 4.3), (-1.45, 4.9)), ((1.75, 4.3), (1.45, 4.9)))
_LEAST_WEDGE: Final = 0.3
"""How much darker than the paper at either side of it the wedge is, over a cell's step."""


@dataclass(frozen=True)
class MarkerRead:
    """What the cells of one marker say.

    Attributes
    ----------
    code : int
        Its number in DICT_4X4_50.
    turn : int
        Which of the corners it was read from is its own top left.
    ring : float
        Share (0..1) of the 28 cells round it that are white.
    step : float
        Natural logarithm of the light of white over that of black.
    even : float
        What the light of the marker's 36 cells leaves over against two tones, over `step`.
    wedge : float
        How much darker the wedge is than the paper at the side of it that is less pale, over
        `step`; about 1 where it is seen, and nothing where it is hidden.
    """

    code: int
    turn: int
    ring: float
    step: float
    even: float
    wedge: float

    @property
    def sound(self) -> bool:
        """Whether it is a marker of paper with white round it."""
        white = self.ring >= _RING_SHARE and self.step >= _LEAST_STEP
        return white and self.even <= _MOST_UNEVEN

    @property
    def pointed(self) -> bool:
        """Whether the wedge is seen."""
        return self.wedge >= _LEAST_WEDGE


def read_marker(grey: Picture, corners_px: Floats) -> MarkerRead | None:
    """Read a marker's cells; None where there is none, or where it does not lie in the picture.

    Parameters
    ----------
    grey : (H, W) uint8
    corners_px : (4, 2) float
        Of the black square, clockwise from any of them, px.
    """
    square = SQUARE * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    matrix = fit_homography(square, corners_px)
    if matrix is None:
        return None
    light = _logs(grey, project(matrix, _PLACES.reshape(-1, 2)))
    if light is None:
        return None
    cells = light.reshape(len(_PLACES), -1).mean(axis=1)
    middle = _PLACES.mean(axis=1)
    # The border is black whatever the marker, and what lies round it white.
    slope = np.column_stack([np.ones(len(middle)), middle])
    black_at = slope @ np.linalg.lstsq(slope[_BORDER], cells[_BORDER], rcond=None)[0]
    step = float(np.median((cells - black_at)[_RING]))
    dark = cells < black_at + step / 2
    named = _codes().get(np.packbits(dark[_DATA]).tobytes()) if step > 0 else None
    if named is None or not dark[_BORDER].all():
        return None
    code, turn = named
    # Light falls off over a tag: both tones share one slope.
    inner = ~_RING
    terms = np.column_stack([slope, ~dark])
    fitted, *_ = np.linalg.lstsq(terms[inner], cells[inner], rcond=None)
    left = cells - terms @ fitted
    step = float(fitted[3])
    turned = matrix @ _turned(turn)
    pale = cells > terms[:, :3] @ fitted[:3] + step / 2
    return MarkerRead(
        code=code,
        turn=turn,
        ring=float(np.mean(pale[_RING])),
        step=step,
        even=float(np.sqrt(np.mean(left[inner] ** 2))) / step if step > 0 else np.inf,
        wedge=_wedge(grey, turned, np.append(fitted[0], fitted[1:3] @ _turned(turn)[:2, :2]), step)
        if step > 0
        else 0.0,
    )


def _wedge(grey: Picture, matrix: Floats, slope: Floats, step: float) -> float:
    tones = []
    for points in (_WEDGE_DARK, *_WEDGE_PALE):
        places = np.array(points)
        light = _logs(grey, project(matrix, places))
        if light is None:
            return 0.0
        tones.append(float(np.mean(light - places @ slope[1:])))
    return (min(tones[1:]) - tones[0]) / step


def _turned(turn: int) -> Floats:
    """A matrix (3, 3) that turns the marker's own axes into those it was read in."""
    c, s = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[turn]
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _grid() -> Floats:
    """Places (64, 9, 2) in the marker's cells and those round it, row by row, cells."""
    at = np.arange(CELLS + 2) - (CELLS + 1) / 2
    y, x, dy, dx = np.meshgrid(at, at, _INSIDE, _INSIDE, indexing="ij")
    return np.stack([x + dx, y + dy], axis=-1).reshape((CELLS + 2) ** 2, -1, 2)


_PLACES: Final = _grid()
_OUT: Final = np.max(np.abs(_PLACES.mean(axis=1)), axis=1)
_RING: Final = _OUT > SQUARE
_BORDER: Final = ~_RING & (_OUT > SQUARE - 1)
_DATA: Final = _OUT < SQUARE - 1


@lru_cache(maxsize=1)
def _codes() -> dict[bytes, tuple[int, int]]:
    """Each marker by the cells of it in each turn: its number, and the turn."""
    known = {}
    for code in range(len(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50).bytesList)):
        data = marker_cells(code)[1:-1, 1:-1]
        for turn in range(4):
            known[np.packbits(np.rot90(data, -turn).ravel()).tobytes()] = code, turn
    return known


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
