"""Whether a marker sheet lies flat: what its corners leave over against one plane, and how.

What a cover, a shadow or a badly found side does to corners has no shape; what a curl or a fold
does is smooth over the whole sheet.  So the corners' misses are weighed with and without a smooth
field of second and third order, by an F ratio.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from photocheck.scale.light import Floats
from photocheck.scale.marker_detection import places_mm
from photocheck.scale.marker_plane import fit_with_growth, paired
from photocheck.scale.planes import fit_homography, jacobian, project
from photocheck.scale.sheet import LAYOUT

LEAST_RATIO: Final = 12.0
"""F ratio from which the field is believed where all four squares are seen.  Chosen on seeds that
``photocheck.benchmark sheets`` does not report on: of 120 flat sheets 119 gave at most 3.4."""

LEAST_RATIO_OF_THREE: Final = 25.0
"""The same for three squares and a field of second order, of which fewer corners are left over
(judgement: chance gives it once in some thousand)."""

LEAST_MM: Final = 0.6
"""How far the field moves some corner at least, mm in the sheet's plane: less than that is 0.3 %
of the sheet, and paper that was glued on with care does as much."""

CREASED_MM: Final = 0.4
_CREASED_CORNERS: Final = 6
"""So many of twelve corners lie so far off a plane where a fold runs through squares (judgement: of
a flat sheet none does, and a thing that lies over one square moves two)."""

MOST_MM: Final = 60.0
"""Beyond it a square belongs to something else."""

LEAST_MODULE_PX: Final = 7.0
"""Cells smaller than this tell of no bend: what a finder of sides leaves over at their size is
smooth as well (flat sheets drawn at 4.6 and 5.8 px a cell were told bent in 18 and 11 of 40; on
other seeds at 7 to 13 px in 2 of 280)."""

MOST_OF_SIDE: Final = 0.25
"""A corner that is farther off than this part of a marker's side belongs to no sheet, however bent:
the four codes in each other's places would pass for one that is folded over."""

_LEAST_CORNERS: Final = {4: 14, 3: 11}
"""Of so many squares."""


@dataclass(frozen=True)
class BentSheet:
    """A sheet that does not lie flat.

    Attributes
    ----------
    points_mm, points_px : (N, 2) float
        All its corners; where they would lie on one plane as well as they can.
    spread_px : float
        What they miss it by, per axis, px.
    places : set of int
        Of the markers used.
    off_mm : float
        The largest of what the bend does to a corner, mm in the sheet's plane.
    """

    points_mm: Floats
    points_px: Floats
    spread_px: float
    places: set[int]
    off_mm: float

    @property
    def share(self) -> float:
        """How much of the sheet's size that is: the doubt that the bend brings to the scale."""
        return self.off_mm / (0.5 * float(np.hypot(*LAYOUT.outer_mm)))


def bend_of(found: dict[tuple[int, int], Floats]) -> BentSheet | None:
    """The bend that the corners of three or four markers show; None for a sheet that lies flat.

    Parameters
    ----------
    found : dict
        Corners, px, by marker's place and corner's number.
    """
    keys = sorted(found)
    squares = len({place for place, _ in keys})
    if len(keys) < _LEAST_CORNERS.get(squares, 17):
        return None
    source, target = paired(found)
    outward = np.array([np.sign(places_mm(p)[k] - places_mm(p).mean(axis=0)) for p, k in keys])
    fitted = fit_with_growth(source, target, outward)
    if fitted is None:
        return None
    matrix, growth_mm, base = fitted
    grown = project(matrix, source + growth_mm * outward)
    miss = target - grown
    field = _smooth(source, base, squares)
    part = field.T @ miss.ravel()
    total, gain, size = float(np.sum(miss**2)), float(part @ part), field.shape[1]
    free = miss.size - base.shape[1] - size
    if free < 4:
        return None
    ratio = (gain / size) / (max(total - gain, 1e-9) / free)
    px_per_mm = float(np.sqrt(abs(np.linalg.det(jacobian(matrix, source.mean(axis=0))))))
    side_px = _least_side_px(found)
    if side_px < LEAST_MODULE_PX * LAYOUT.modules:
        return None
    if float(np.hypot(*miss.T).max()) > MOST_OF_SIDE * side_px:
        return None
    off_mm = float(np.hypot(*(field @ part).reshape(-1, 2).T).max()) / px_per_mm
    least = LEAST_RATIO if squares == 4 else LEAST_RATIO_OF_THREE
    if ratio < least and squares == len(LAYOUT.marker_ids) and _creased(found):
        off_mm = max(off_mm, float(np.hypot(*miss.T).max()) / px_per_mm)
    elif ratio < least:
        return None
    if not LEAST_MM <= off_mm <= MOST_MM:
        return None
    spread = float(np.sqrt(total / (miss.size - base.shape[1])))
    flat = target - (grown - project(matrix, source))
    return BentSheet(source, flat, spread, {place for place, _ in keys}, off_mm)


def _least_side_px(found: dict[tuple[int, int], Floats]) -> float:
    """The shortest side of a marker both of whose ends were found, px."""
    sides = [
        float(np.hypot(*(found[place, (corner + 1) % 4] - at)))
        for (place, corner), at in found.items()
        if (place, (corner + 1) % 4) in found
    ]
    return min(sides, default=0.0)


def _creased(found: dict[tuple[int, int], Floats]) -> bool:
    """Whether corners lie off one plane that no smooth field has, whichever square is left out.

    So a fold shows that runs through squares; something that covers one does not.
    """
    for left_out in range(len(LAYOUT.marker_ids)):
        keys = [key for key in sorted(found) if key[0] != left_out]
        source, target = paired({key: found[key] for key in keys})
        matrix = fit_homography(source, target)
        if matrix is None:
            return False
        px_per_mm = np.sqrt(abs(np.linalg.det(jacobian(matrix, source.mean(axis=0)))))
        off = np.hypot(*(target - project(matrix, source)).T) / px_per_mm
        if np.count_nonzero(off > CREASED_MM) < _CREASED_CORNERS:
            return False
    return True


def _smooth(source: Floats, base: Floats, squares: int) -> Floats:
    """Fields of second and third order over the sheet, (2 N, k), orthonormal, clear of `base`.

    Of the second only where three squares are seen.
    """
    x, y = source.T / (0.5 * max(LAYOUT.outer_mm))
    shapes = [x * x, x * y, y * y]
    if squares == len(LAYOUT.marker_ids):
        shapes += [x**3, x * x * y, x * y * y, y**3]
    fields = np.zeros((2 * len(source), 2 * len(shapes)))
    for k, shape in enumerate(shapes):
        fields[0::2, 2 * k] = shape
        fields[1::2, 2 * k + 1] = shape
    # what another plane, or growing black, does as well
    fields -= base @ (base.T @ fields)
    left, sizes, _ = np.linalg.svd(fields, full_matrices=False)
    return np.asarray(left[:, sizes > 1e-3 * sizes[0]])
