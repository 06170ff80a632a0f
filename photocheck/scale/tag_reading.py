"""Whether what a tag's face was laid over is a tag: its cells, the white round it, the wedge below.

Sixteen cells are few: among ten thousand pictures of hedges and gravel some square reads like a
marker.  A tag is more than its cells.  Its border is black all round, one cell of white lies
round that, and a wedge below points to the tip; all of it in two tones of light only, however
the light falls.  What hair or tape covers is not read: a few cells may be anything, since any two
tags differ in six.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from photocheck.scale.tag_fit import TagFit

_WRONG: Final = 0.4
"""How much paler or darker than printed a cell looks that is not as printed, over white."""
_MOST_DATA: Final = 1
"""Of the 16 cells inside that may be covered: of this family any two markers differ in four."""
_MOST_BORDER: Final = 7
"""Of the 20 black cells round them: one side and a bit."""
_MOST_RING: Final = 10
"""Of the 28 white cells round the square: fur and tape lie over some of them (judgement)."""
_LEAST_GOOD: Final = 0.55
"""Share of the face that looks as it is printed, at least (judgement)."""
_MOST_UNEVEN: Final = 0.2
"""Of what the square's cells that are not covered are off, over white (judgement)."""
_MOST_WEDGE: Final = 0.25
"""RMS, over white, of what is off below the square: 0.17 in 95 of 100 rendered tags, 0.40 and more
where a marker has no wedge."""
_MOST_INK: Final = 0.5
"""Light of black over white, at most: ink on paper in focus has a tenth (judgement)."""


@dataclass(frozen=True)
class FaceRead:
    """What the parts of a face say.

    Attributes
    ----------
    data, border, ring : int
        How many cells are not as printed: inside, of the black border, of the white round it.
    wedge : float
        RMS of how far the wedge and the paper at its sides are from print, over white.
    even : float
        RMS of how far the square's other cells are off, over white.
    good : float
        Share of the face that looks as it is printed.
    ink : float
        Light of black over that of white.
    """

    data: int
    border: int
    ring: int
    wedge: float
    even: float
    good: float
    ink: float

    @property
    def sound(self) -> bool:
        """Whether it is a marker of paper with white round it, at most partly covered."""
        few = self.data <= _MOST_DATA and self.border <= _MOST_BORDER and self.ring <= _MOST_RING
        two_tones = self.even <= _MOST_UNEVEN and self.ink <= _MOST_INK
        return few and two_tones and self.good >= _LEAST_GOOD

    @property
    def whole(self) -> bool:
        """Whether nothing lies over its square."""
        return not self.data and not self.border

    @property
    def pointed(self) -> bool:
        """Whether the wedge is seen."""
        return self.wedge <= _MOST_WEDGE


def read_face(fit: TagFit) -> FaceRead:
    """What the parts of a tag's face, laid over a photo, say."""
    off = fit.agreement
    wrong = np.abs(off) > _WRONG
    square, data = wrong[1:7, 1:7], wrong[2:6, 2:6]
    seen = off[1:7, 1:7][~square]
    return FaceRead(
        data=int(data.sum()),
        border=int(square.sum() - data.sum()),
        ring=int(wrong[:8].sum() - square.sum()),
        wedge=fit.wedge,
        even=float(np.sqrt(np.mean(seen**2))) if seen.size else np.inf,
        good=fit.good,
        ink=fit.ink,
    )
