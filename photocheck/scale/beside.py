"""Edges that run beside a side: a thin shadow, a printed border, the rim of what lies under.

Two edges a few millimetres apart are nearly alike in length and place, and what was taken for the
side may be the other.  Which it is can often be told: a shadow is its ground with less light, of
the same colour.  A strip outside the side that is no shadow may be the thing's own border; a strip
inside it that is one, the shadow that it casts.  What is left is doubt.
"""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.numerics import median
from photocheck.scale.light import STEP_PX, Floats, Picture
from photocheck.scale.sides import Sides

_REACH_MM: Final = 4.0
"""How wide such strips are at most (judgement: shadows of things held by hand or laid down, and
borders as printed)."""
_LEAST_PX: Final = 2.5  # nearer ones are one edge, blurred
_AS_STEEP: Final = 0.4  # of the side's own edge: less is print or dirt
_SHADE: Final = (0.1, 0.92)  # of the ground's light that is left in a shadow
_SAME_COLOUR: Final = (1.25, 2.0)
"""Most over least of that, channel by channel: of a wide strip, and what is more by px of width,
for blur mixes a narrow one with what lies on either side."""
_BLOCKS: Final = 24
_SHARE: Final = 0.5  # of how far the other edge is: what a doubtful side may be off by


def strips_beside(
    part: Picture, corners: Floats, px_per_mm: float, trim: tuple[float, float]
) -> Floats:
    """How far each side of corners (4, 2) px may be off for an edge beside it, sd (4,) px."""
    reach = min(_REACH_MM * px_per_mm, 40.0)
    if reach < _LEAST_PX:
        return np.zeros(4)
    half = int(np.ceil((reach + 4.0) / STEP_PX))
    across: Floats = np.arange(-half, half + 1, dtype=np.float64) * STEP_PX
    ends = np.roll(corners, -1, axis=0)
    sides = Sides(part, corners[None], ends[None], blocks=_BLOCKS, margin_px=reach + 8.0, trim=trim)
    light, inside = sides.sample(np.zeros((4, 2)), across, 2)
    return np.array([_off(light[k][inside[k]], across, reach) for k in range(4)])


def _off(rows: NDArray[np.float32], across: Floats, reach: float) -> float:
    """The same of one side, by its light (n, k, c) from inside to outside."""
    if len(rows) < 8:
        return 0.0
    typical = median(np.moveaxis(rows, 0, 2).astype(np.float64))  # print is in few of the rows
    smooth = cv2.GaussianBlur(typical, (1, 0), sigmaX=0.01, sigmaY=1.0 / STEP_PX)
    smooth = np.asarray(smooth, np.float64).reshape(typical.shape)
    steep = np.linalg.norm(np.gradient(smooth, axis=0), axis=1)
    own = float(steep[np.abs(across) <= 1.5].max())
    peak = np.r_[False, (steep[1:-1] >= steep[:-2]) & (steep[1:-1] > steep[2:]), False]
    peak &= (np.abs(across) >= _LEAST_PX) & (np.abs(across) <= reach) & (steep > _AS_STEEP * own)
    worst = 0.0
    for k in np.flatnonzero(peak):
        far = float(across[k])
        low, high = min(far, 0.0), max(far, 0.0)
        strip = _tone(smooth, across, low, high)
        ground = _tone(smooth, across, high + 1.5, high + 4.0)
        left = strip / np.maximum(ground, 1e-3)
        shadow = bool(
            left.max() < _SHADE[1]
            and left.min() > _SHADE[0]
            and left.max() < (_SAME_COLOUR[0] + _SAME_COLOUR[1] / abs(far)) * left.min()
        )
        if shadow == (far < 0):
            worst = max(worst, _SHARE * abs(far))
    return worst


def _tone(profile: Floats, across: Floats, low: float, high: float) -> Floats:
    """Light (c,) in the middle of a strip."""
    middle, room = 0.5 * (low + high), max(0.25 * (high - low), STEP_PX)
    return np.asarray(median(profile[np.abs(across - middle) <= room].T))
