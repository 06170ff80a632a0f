"""Where each tag lies on its page, and where it is cut and folded.

Lengths are mm from the middle of the page, x to the right and y down, as in
`photocheck.scale.sheet`; the tags themselves are as `photocheck.scale.tag_layout` has them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.scale.tag_layout import CELLS, PAPER_TAPER, STANDING, TAG_MM, TIP, WEDGE, WHITE
from photocheck.words import FRONT_LANDMARKS

PAGES: Final = (
    (
        *(("breastbone", False), ("shoulder_top", False), ("last_rib", False)),
        *(("tail_base", False), ("back_top", False), ("chest_bottom", False)),
    ),
    (
        *((landmark, False) for landmark in FRONT_LANDMARKS),
        *(("breastbone", True), ("last_rib", True)),
    ),
)
"""The tags of each page, row by row, and whether they are spare ones."""

COLUMNS: Final = 3
LEFT: Final = -95.0
COLUMN_MM: Final = 56.0
"""Left edge of the first column, and from one to the next."""
TOP: Final = -88.0
"""Upper edge of the first row; above it are the title and the bars."""
HINT_MM: Final = 9.0
"""Below each tag: which point it is for."""

NAME_MM: Final = 11.0
"""Paper above the white round the square, for the name."""
FOOT: Final = 2.25
"""Length of a foot beyond the fold, cells."""
LEG: Final = 1.0
"""From the tip to the leg beside it, cells: the point is seen between the legs."""

Outline = NDArray[np.float64]


@dataclass(frozen=True)
class PrintedTag:
    """One tag on its page.

    Attributes
    ----------
    landmark : str
    side_mm : float
        Of the black square, mm.
    middle : (float, float)
        Of the square, mm.
    spare : bool
        Whether there is another of the same marker.
    """

    landmark: str
    side_mm: float
    middle: tuple[float, float]
    spare: bool = False

    @property
    def cell(self) -> float:
        """Side of a cell, mm."""
        return self.side_mm / CELLS

    @property
    def stands(self) -> bool:
        """Whether it stands up from the dog: the camera sees its point edge-on."""
        return self.landmark in STANDING or self.landmark in FRONT_LANDMARKS

    def on_page(self, cells: object) -> Outline:
        """Points of the tag, (N, 2) cells from the middle of its square, as (N, 2) mm."""
        points = np.asarray(cells, dtype=np.float64).reshape(-1, 2)
        return np.asarray(points * self.cell + np.asarray(self.middle))

    @property
    def square(self) -> Outline:
        """Corners of the black square, clockwise from its own top left, (4, 2) mm."""
        half = CELLS / 2
        return self.on_page([(-half, -half), (half, -half), (half, half), (-half, half)])

    @property
    def tip(self) -> Outline:
        """The paper's tip, (2,) mm."""
        return np.asarray(self.on_page(TIP)[0])

    @property
    def wedge(self) -> Outline:
        """The black wedge that points to the tip, (3, 2) mm."""
        return self.on_page(WEDGE)

    @property
    def taper(self) -> Outline:
        """Where the paper narrows to the tip, (3, 2) mm."""
        return self.on_page(PAPER_TAPER)

    @property
    def cut(self) -> Outline:
        """Where it is cut out, a closed shape: name, square, two legs and between them the tip.

        (N, 2) mm.
        """
        (left, shoulder), (_, tip), (right, _) = PAPER_TAPER
        down = tip + FOOT
        points = self.on_page(
            (
                *((-WHITE, -WHITE), (WHITE, -WHITE), (WHITE, down), (LEG, down), (LEG, tip)),
                *((right, shoulder), (0.0, tip), (left, shoulder)),
                *((-LEG, tip), (-LEG, down), (-WHITE, down)),
            )
        )
        points[:2, 1] -= NAME_MM
        return points

    @property
    def folds(self) -> tuple[Outline, ...]:
        """Where its feet are folded, level with the tip; none where it lies flat.

        (2, 2) mm each.
        """
        if not self.stands:
            return ()
        tip = TIP[1]
        return (
            self.on_page([(-WHITE, tip), (-LEG, tip)]),
            self.on_page([(LEG, tip), (WHITE, tip)]),
        )

    @property
    def feet(self) -> tuple[Outline, Outline]:
        """Middles of the left and the right foot, (2,) mm each."""
        across, down = (WHITE + LEG) / 2, TIP[1] + FOOT / 2
        return self.on_page((-across, down))[0], self.on_page((across, down))[0]


def row_mm(side_mm: float) -> float:
    """From one row to the next, mm."""
    cell = side_mm / CELLS
    return NAME_MM + (WHITE + TIP[1] + FOOT) * cell + HINT_MM


def tag_places(size: str) -> tuple[tuple[PrintedTag, ...], ...]:
    """The tags of each page.

    Parameters
    ----------
    size : str
        A key of `photocheck.scale.tag_layout.TAG_MM`.

    >>> [len(page) for page in tag_places("usual")]
    [6, 4]
    """
    side = TAG_MM[size]
    cell = side / CELLS

    def at(number: int) -> tuple[float, float]:
        row, column = divmod(number, COLUMNS)
        x = LEFT + column * COLUMN_MM + WHITE * cell
        return x, TOP + row * row_mm(side) + NAME_MM + WHITE * cell

    return tuple(
        tuple(
            PrintedTag(name, side, at(number), spare) for number, (name, spare) in enumerate(page)
        )
        for page in PAGES
    )
