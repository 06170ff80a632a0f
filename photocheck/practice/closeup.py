"""A close-up of one mark: the photo around it, the true mark and the one placed."""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Point

Picture = NDArray[np.uint8]

SIDE_PX: Final = 320
"""Width and height of the picture."""
LEAST_MM: Final = 90.0
"""Shown of the dog across, mm, unless the two marks lie further apart."""
ROOM: Final = 2.6
"""Shown across, in distances between the two marks."""

_TRUE: Final = (127, 227, 193)
_PLACED: Final = (255, 255, 255)
_CASING: Final = (20, 30, 34)


def closeup(rgb: Picture, true: Point, placed: Point, px_per_mm: float) -> Picture:
    """The photo around two marks: a diamond where the mark should be, a ring where it is.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
    true, placed : Point, px
    px_per_mm : float
        At the mark.

    Returns
    -------
    (`SIDE_PX`, `SIDE_PX`, 3) uint8
        Beyond the photo's edge its last pixels go on.
    """
    one, other = np.array(true), np.array(placed)
    across = max(LEAST_MM * px_per_mm, ROOM * float(np.hypot(*(other - one))))
    scale = SIDE_PX / across
    shift = 0.5 * SIDE_PX - scale * 0.5 * (one + other)
    move = np.array([[scale, 0.0, shift[0]], [0.0, scale, shift[1]]])
    drawn = cv2.warpAffine(
        rgb, move, (SIDE_PX, SIDE_PX), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    a, b = (tuple(int(v) for v in np.rint(scale * p + shift)) for p in (one, other))
    diamond = np.array(a) + 9 * np.array([[0, -1], [1, 0], [0, 1], [-1, 0]])
    for colour_line, colour_true, colour_placed, thick in (
        (_CASING, _CASING, _CASING, 6),
        (_PLACED, _TRUE, _PLACED, 3),
    ):
        cv2.line(drawn, a, b, colour_line, max(thick - 1, 1), cv2.LINE_AA)
        cv2.polylines(drawn, [diamond], True, colour_true, thick, cv2.LINE_AA)
        cv2.circle(drawn, b, 11, colour_placed, thick, cv2.LINE_AA)
    return np.asarray(drawn, dtype=np.uint8)
