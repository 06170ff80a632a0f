"""A printed tag's face: black square, white round it, paper that narrows to the tip, wedge."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.phantom.field import Array
from photocheck.scale.sheet import marker_cells
from photocheck.scale.tag_layout import CELLS, PAPER_TAPER, SQUARE, TAG_IDS, WEDGE, WHITE

ABOVE, BELOW = 4.0, 7.0
"""How far the paper reaches above and below the square's middle, cells."""

_OVER = 4


def tag_face(landmark: str, cell_px: int) -> tuple[Array, Array]:
    """How pale the print is and where there is paper, each (rows, columns) 0 to 1.

    Parameters
    ----------
    landmark : str
        A key of `photocheck.scale.tag_layout.TAG_IDS`.
    cell_px : int
        Pixels a cell.

    Returns
    -------
    ink, paper
        Of 11 by 8 cells; the square's middle is four cells from the left and from the top.
    """
    fine = cell_px * _OVER
    shape = int((ABOVE + BELOW) * fine), int(2 * WHITE * fine)
    paper = np.zeros(shape)
    paper[: int(2 * WHITE * fine)] = 1.0
    ink = np.ones(shape)
    _fill(paper, PAPER_TAPER, fine, 1.0)
    _fill(ink, WEDGE, fine, 0.0)
    start = int((WHITE - SQUARE) * fine)
    for (row, column), black in np.ndenumerate(marker_cells(TAG_IDS[landmark])):
        if black:
            top, left = start + row * fine, start + column * fine
            ink[top : top + fine, left : left + fine] = 0.0
    assert CELLS * fine == int(2 * SQUARE * fine)
    size = shape[1] // _OVER, shape[0] // _OVER
    return _shrunk(ink, size), _shrunk(paper, size)


def _shrunk(face: NDArray[np.floating[Any]], size: tuple[int, int]) -> Array:
    return np.asarray(cv2.resize(face, size, interpolation=cv2.INTER_AREA), np.float64)


def _fill(
    face: NDArray[np.floating[Any]], shape: tuple[tuple[float, float], ...], fine: int, value: float
) -> None:
    corners = (np.array(shape) + np.array([WHITE, ABOVE])) * fine - 0.5
    bits = 8
    cv2.fillPoly(face, [np.rint(corners * 2**bits).astype(np.int32)], value, cv2.LINE_8, bits)
