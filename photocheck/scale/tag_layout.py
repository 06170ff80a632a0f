"""Tags that are stuck to the dog: which point each is for, and its shape.

Each is a square marker of the same open family as the sheet's (DICT_4X4_50 of OpenCV's ArUco
module), with a tip below it that touches the point.  Lengths are in cells of the marker, so that
one description serves both sizes; the origin is the middle of the square, x to the right and y
down as its own marker is read.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

TAG_IDS: Final = MappingProxyType(
    {
        "breastbone": 1,
        "shoulder_top": 4,
        "last_rib": 7,
        "tail_base": 9,
        "back_top": 5,
        "chest_bottom": 14,
        "neck_left": 32,
        "neck_right": 34,
    }
)
"""The marker of each landmark.

Any two differ in 6 of 16 cells at least, in any turn; from the sheet's in 5, and from themselves
turned in 6.  Found by search over the 50 (`tests/scale/test_tag_layout.py` counts them).
"""

TAG_MM: Final = MappingProxyType({"usual": 40.0, "small": 30.0})
"""Side of the black square, mm: for most dogs, and for small ones."""

CELLS: Final = 6
"""Cells along the side of the square, its black border included."""

STANDING: Final = ("breastbone", "shoulder_top", "tail_base", "back_top", "chest_bottom")
"""Points that the camera sees edge-on from the side: their tags stand up from the dog."""

SQUARE: Final = 3.0
"""Half the side of the black square, cells."""
WHITE: Final = 4.0
"""Half the side of the paper round it: one cell of white, cells."""
TIP: Final = (0.0, 7.0)
"""Where the paper's tip is, which touches the point, cells."""
PAPER_TAPER: Final = ((-2.5, 4.0), (0.0, 7.0), (2.5, 4.0))
"""The paper below the square narrows to the tip, cells."""
WEDGE: Final = ((-1.5, 4.0), (1.5, 4.0), (0.0, 6.2))
"""The black wedge that points to the tip, cells."""


def square_mm(side_mm: float) -> NDArray[np.float64]:
    """Corners of the black square, clockwise from its own top left, (4, 2) mm.

    >>> square_mm(40.0)[0]
    array([-20., -20.])
    """
    half = side_mm / 2.0
    return np.array([[-half, -half], [half, -half], [half, half], [-half, half]])


def tip_mm(side_mm: float) -> NDArray[np.float64]:
    """The tip, (2,) mm.

    >>> tip_mm(30.0)
    array([ 0., 35.])
    """
    return np.asarray(TIP) * (side_mm / CELLS)
