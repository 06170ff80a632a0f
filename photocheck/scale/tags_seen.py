"""What the scale stage saw of the tags on the dog in one photo."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class TagSeen:
    """One tag as found in one photo.

    Attributes
    ----------
    landmark : str
        A key of `photocheck.scale.tag_layout.TAG_IDS`: the point that its tip touches.
    side_mm : float
        Printed side of its black square, mm (nominal).
    corners_px : (4, 2) float
        Corners of the black square, clockwise from its own top left, upright photo, px.
    corner_spread_px : float
        Standard deviation of each corner per axis, px.
    tip_px : (2,) float
        The tip, px.
    tip_covariance : (2, 2) float
        Of the tip, px squared: what the corners leave open, and that a tag on a curved flank is
        no plane.
    px_per_mm : float
        How large a mm at the tag, facing the camera, is: its size over its printed side.
    px_per_mm_spread : float
        Standard deviation of its natural logarithm (the print's own size apart).
    remarks : tuple of str
        What a person should know ("partly covered").
    """

    landmark: str
    side_mm: float
    corners_px: Floats
    corner_spread_px: float
    tip_px: Floats
    tip_covariance: Floats
    px_per_mm: float
    px_per_mm_spread: float
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class TagsSeen:
    """All tags of one photo that can be used, and what is said of the rest.

    Attributes
    ----------
    tags : tuple of TagSeen
        Each landmark once, in the order of `TAG_IDS`.
    remarks : tuple of str
        Sentences: two sets in one photo, tags of another size, what could not be read.
    """

    tags: tuple[TagSeen, ...] = ()
    remarks: tuple[str, ...] = ()

    def of(self, landmark: str) -> TagSeen | None:
        """The tag of a landmark, or None."""
        return next((tag for tag in self.tags if tag.landmark == landmark), None)


NO_TAGS: Final = TagsSeen()
"""Of a photo in which none was found."""


def tag_to_dict(tag: TagSeen) -> dict[str, Any]:
    """What is told of a tag, for JSON: px of the upright photo, x to the right and y down."""
    return {
        "landmark": tag.landmark,
        "side_mm": tag.side_mm,
        "corners_px": tag.corners_px.tolist(),
        "tip_px": tag.tip_px.tolist(),
        "tip_covariance": tag.tip_covariance.tolist(),
        "px_per_mm": tag.px_per_mm,
        "px_per_mm_spread": tag.px_per_mm_spread,
        "remarks": list(tag.remarks),
    }
