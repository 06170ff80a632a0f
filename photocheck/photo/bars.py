"""Bars along a picture's edges, as a screenshot or a film on television has them.

A bar is drawn, not photographed: its pixels are all but one colour to the last digit, where a
photographed wall or sky has noise; it ends along one straight line; and there is one on the other
side as well.  What a telephone writes over it (time, buttons) covers less than a third of a row.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.numerics import median

Picture = NDArray[np.uint8]

OF_A_ROW: Final = 0.7
"""Share of a row that must have the bar's colour (judgement)."""
NO_LONGER: Final = 0.4
"""Share below which a row is no bar's any more; in between, the end is no straight line."""
SAME: Final = 2
"""Codes by which a bar's pixels may differ: what JPEG at quality 75 leaves in a plain area."""
ALIKE: Final = 24
"""Codes by which the two bars' colours may differ (judgement)."""
LEAST: Final = 0.012
"""A bar is at least this share of the side it lies across (judgement)."""
MOST: Final = 0.8
"""Bars that leave less than the rest of a side are no photo's."""
_COLUMNS = 400


def photo_between_bars(rgb: Picture) -> tuple[int, int, int, int] | None:
    """Left, top, right and bottom of what lies between bars, px; None where there are none.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
    """
    top, bottom = _between(rgb)
    left, right = _between(np.swapaxes(rgb[top:bottom], 0, 1))
    if (left, top, right, bottom) == (0, 0, rgb.shape[1], rgb.shape[0]):
        return None
    return left, top, right, bottom


def _between(rgb: Picture) -> tuple[int, int]:
    """First row, and the first row after it, of what lies between bars above and below."""
    height = rgb.shape[0]
    above, its = _bar(rgb)
    below, other = _bar(rgb[::-1])
    least = max(LEAST * height, 3.0)
    alike = np.all(np.abs(its.astype(int) - other.astype(int)) <= ALIKE)
    if above < least or below < least or above + below > MOST * height or not alike:
        return 0, height
    return above, height - below


def _bar(rgb: Picture) -> tuple[int, NDArray[np.uint8]]:
    """How many rows from the first are one bar, 0 for none, and its colour."""
    thin = rgb[:, :: max(rgb.shape[1] // _COLUMNS, 1)]
    colour = median(thin[0].T.astype(np.float64)).astype(np.uint8)

    def share(row: int) -> float:
        off = np.abs(thin[row].astype(np.int16) - colour.astype(np.int16))
        return float(np.mean(np.all(off <= SAME, axis=-1)))

    for row in range(len(thin)):
        if (now := share(row)) < OF_A_ROW:
            # the row of the end itself may be a blend of both
            after = min(row + 2, len(thin) - 1)
            return (row, colour) if min(now, share(after)) < NO_LONGER else (0, colour)
    return 0, colour
