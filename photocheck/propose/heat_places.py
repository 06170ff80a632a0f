"""Places read off the heat maps of several looks at one photo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Point
from photocheck.propose.looks import Frame, SquareLook

Floats = NDArray[np.float32]

CELLS: Final = 128
"""Of the map in which looks are averaged, each way; half as wide again as the dog, it then has two
cells for one of a look at the dog."""
WIDE: Final = 1.5
"""Side of that map over the longer side of the dog's frame."""
ABOUT: Final = 0.08
"""How far about a peak its middle is taken of, over the longer side of the frame: some 13 % of the
trunk, beyond which a peak is another (judgement)."""
SURE: Final = 0.05
"""How far about that middle the mass is counted that tells how sure the place is (judgement: within
`ABOUT` nearly all places have nearly all of it)."""
SMOOTH: Final = 0.02
"""By how much maps are smoothed before their peak is looked for, over the same: a cell of a look
(standard deviation; judgement)."""


_ROWS: Final = np.arange(CELLS, dtype=np.float32)[:, None]
_COLUMNS: Final = np.arange(CELLS, dtype=np.float32)[None, :]


@dataclass(frozen=True)
class HeatPlace:
    """Where a point seems to be.

    Attributes
    ----------
    xy : Point
        Px of the upright photo.
    mass : float
        Share of the averaged distributions that lies about it: what tells how sure it is, once
        calibrated.
    """

    xy: Point
    mass: float


def distributions(heat: Floats) -> Floats:
    """Softmax of each map (K, cells, cells) over its cells."""
    flat = heat.reshape(len(heat), -1).astype(np.float64)
    powers = np.exp(flat - flat.max(axis=1, keepdims=True))
    shares = powers / powers.sum(axis=1, keepdims=True)
    return np.asarray(shares.reshape(heat.shape), np.float32)


def places(looks: Sequence[tuple[SquareLook, Floats]], frame: Frame) -> list[HeatPlace]:
    """The place of each point, by all looks together.

    Parameters
    ----------
    looks : sequence of (SquareLook, (K, cells, cells) float32)
        Distributions, as `distributions` gives them.
    frame : Frame
        Of the dog, px of the photo.

    Returns
    -------
    list of HeatPlace
        One for each of the K points: the middle of the mass about the highest peak of the mean.
    """
    longer = max(frame[2] - frame[0], frame[3] - frame[1], 1.0)
    cell = WIDE * longer / CELLS
    corner = np.array([frame[0] + frame[2], frame[1] + frame[3]]) / 2 - WIDE * longer / 2
    # Px of the photo of a cell's centre is then corner + cell * (index + 0.5).
    averaged = np.mean([_laid_out(look, maps, corner, cell) for look, maps in looks], axis=0)
    return [_place(one, corner, cell, longer) for one in averaged]


def _laid_out(look: SquareLook, maps: Floats, corner: NDArray[np.float64], cell: float) -> Floats:
    """A look's distributions in the common map: mass of each of its cells."""
    if look.mirrored:
        maps = maps[:, :, ::-1]
    of_look = look.side / maps.shape[-1]
    scale = cell / of_look
    # Centres of the common cells in cells of the look, whose corner is half a px before (0, 0).
    first = (corner + 0.5 * cell - (np.array([look.left, look.top]) - 0.5)) / of_look - 0.5
    matrix = np.array([[scale, 0.0, first[0]], [0.0, scale, first[1]]])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    laid = [cv2.warpAffine(one, matrix, (CELLS, CELLS), flags=flags) for one in maps]
    return np.asarray(laid, np.float32) * np.float32(scale**2)


def _place(
    mass: NDArray[np.floating], corner: NDArray[np.float64], cell: float, longer: float
) -> HeatPlace:
    smooth = cv2.GaussianBlur(np.asarray(mass, np.float32), (0, 0), SMOOTH * longer / cell)
    at = np.array(np.unravel_index(int(np.argmax(smooth)), smooth.shape), float)
    rows, columns = _ROWS, _COLUMNS

    def within(radius: float) -> NDArray[np.floating]:
        gap = (rows - at[0]) ** 2 + (columns - at[1]) ** 2
        return np.where(gap <= (radius * longer / cell) ** 2, mass, 0.0)

    for _ in range(2):  # about the peak, then about the middle of that
        near = within(ABOUT)
        whole = float(near.sum())
        if whole <= 0.0:
            break
        at = np.array([float((near * rows).sum()), float((near * columns).sum())]) / whole
    x, y = corner + cell * (at[::-1] + 0.5)
    return HeatPlace((float(x), float(y)), float(min(within(SURE).sum(), 1.0)))
