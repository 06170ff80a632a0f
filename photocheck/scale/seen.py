"""What the scale stage saw of the reference in one photo."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class ReferenceSeen:
    """The reference as found in one photo.

    Attributes
    ----------
    kind : str
        A key of `photocheck.scale.catalogue.REFERENCES`.
    how : str
        "markers", "found", "marked": detected by itself, found from a rough
        mark, or placed by hand.
    points_mm : (N, 2) float
        Points of the object in its own plane, mm, x right and y down, origin at
        its centre (nominal size).  Empty for a disc or ball.
    points_px : (N, 2) float
        The same points in the upright photo, px.  Empty for a disc or ball.
    outline_px : (M, 2) float
        Points on the outline of a disc or ball, px; empty otherwise.
    diameter_mm : float or None
        Of a disc or ball.
    spread_px : float
        Standard deviation per axis of the points (or, for an outline, across it), px.
    size_spread : float
        Standard deviation of the true size over the nominal, a fraction.
    size_factor : float
        True size over nominal as far as known (from the proof bar), usually 1.
    remarks : tuple of str
        What a person should know ("1 of 4 markers hidden").
    """

    kind: str
    how: str
    points_mm: NDArray[np.float64]
    points_px: NDArray[np.float64]
    spread_px: float
    size_spread: float
    size_factor: float = 1.0
    outline_px: NDArray[np.float64] = field(default_factory=lambda: np.zeros((0, 2)))
    diameter_mm: float | None = None
    remarks: tuple[str, ...] = ()

    @property
    def used_px(self) -> NDArray[np.float64]:
        """What the scale rests on in the photo, (K, 2) px: the points, or the outline."""
        return self.points_px if len(self.points_px) else self.outline_px
