"""What every way of finding a reference shares: the least size, a hand's doubt, the border."""

from __future__ import annotations

from typing import Final

LEAST_ACROSS_PX: Final = 20.0
"""A reference narrower than this gives no useful scale (one px is 5 %)."""

HAND_SPREAD_PX: Final = 4.0
"""Standard deviation of points placed by hand when nobody said: judgement, after
marks set on a phone's screen with a magnifier, in a 12 megapixel photo."""

FLOOR_PX: Final = 0.15
"""No edge is known better than this, px (judgement)."""

FLAT_MM: Final = {"id_card": 0.2}
PAPER_FLAT_MM: Final = 1.0
"""How well the corners of a card and of a sheet of paper are those of a flat rectangle, per axis,
mm.  A card is 0.76 mm thick, shows its side at an angle and is bent a little by use; paper curls.
Judgement; on four photographs of loose letter sheets, corners marked by eye, corners lay
0.9 to 1.5 mm off where the straight sides meet."""

LEAST_CONTRAST: Final = 0.03
"""Of the faintest edge that counts, a share of the brighter side (judgement)."""


def lies_inside(x: float, y: float, shape: tuple[int, ...]) -> bool:
    """Whether a point, px, lies in a picture of that shape; pixel centres are at integers.

    >>> lies_inside(-0.5, 0.0, (480, 640)), lies_inside(640.0, 0.0, (480, 640))
    (True, False)
    """
    height, width = shape[:2]
    return bool(-0.5 <= x <= width - 0.5 and -0.5 <= y <= height - 0.5)
