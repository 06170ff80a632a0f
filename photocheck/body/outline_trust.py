"""How far an outline can be trusted, from what the photo itself shows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.body.outline_shapes import Map, Mask, Shapes

Array = NDArray[np.float64]

# Chosen on 18 photographs of standing horses with outlines by their authors, every second of
# those named in FIGURES.md ("outlines"), each with eight marks and with four.
NO_CONTRAST, CONTRAST = 0.30, 0.70
"""Mean sharpness along the outline, 0 to 1, that deserves no trust and all of it."""
UNDECIDED: Final = 0.06
"""Share of the dog that a slightly other threshold adds or takes, from which none is left."""
PART: Final = 0.30
"""A part covered less than this share is missing, and the gap under the belly is closed."""
MARKS: Final = 0.60
"""Agreement with the marks on the outline below which trust falls."""
ON_OUTLINE: Final = ("breastbone", "shoulder_top", "tail_base", "back_top", "chest_bottom")


def trust_in(
    mask: Mask,
    inside: Map,
    price: Map,
    shapes: Shapes,
    marks: Mapping[str, Array],
    trunk: float,
) -> float:
    """Trust in an outline, 0 to 1; it orders outlines, and 0.6 is the least to be read.

    A product: the outline runs along edges; a slightly other threshold changes little; head
    and both pairs of legs are there and the gap between them is open; the marks lie on it.

    Parameters
    ----------
    mask : (h, w) uint8
    inside : (h, w) float32
        How surely each pixel lies inside, before it was decided.
    price : (h, w) float32
        See `photocheck.body.outline_cut.edges`.
    shapes : Shapes
        As weighed by the photo.
    marks : mapping of landmark name to (x, y)
        In px of the small copy.
    trunk : float
        Length breastbone - tail base, px.
    """
    if not mask.any():
        return 0.0
    rim = cv2.morphologyEx(mask, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8)) > 0
    if not rim.any():
        return 0.0
    contrast = (1.0 - float(price[rim].mean()) - NO_CONTRAST) / (CONTRAST - NO_CONTRAST)
    moved = 1.0 - float((inside > 0.75).sum() + 1) / float((inside > 0.25).sum() + 1)
    decided = 1.0 - moved / UNDECIDED
    parts = min(min(share / PART, 1.0) for share in _parts(mask, shapes, marks, trunk))
    on_marks = min(_on_marks(mask, marks, trunk) / MARKS, 1.0)
    terms = np.clip([contrast, decided, parts, on_marks], 0.0, 1.0)
    return float(np.sqrt(terms[0] * terms[1]) * terms[2] * terms[3])


def _parts(mask: Mask, shapes: Shapes, marks: Mapping[str, Array], trunk: float) -> list[float]:
    """Shares of head and both pairs of legs that are covered, and of the gap that is open."""
    height, width = mask.shape

    def grown(coarse: Map) -> Map:
        return np.asarray(cv2.resize(coarse, (width, height)), np.float32)

    free = 1.0 - grown(shapes.part("trunk"))
    shares = []
    for name in ("head", "fore", "hind"):
        where = grown(shapes.part(name)) * free
        shares.append(float((mask * where).sum() / max(float(where.sum()), 1e-6)))
    legs = sum(grown(shapes.part(name)) for name in ("fore", "far_fore", "hind", "far_hind"))
    gap = np.zeros(mask.shape, np.uint8)
    cv2.fillPoly(gap, [np.rint(_under_the_belly(marks, trunk)).astype(np.int32)], 1)
    weight = gap * np.clip(1.0 - legs, 0.0, 1.0)
    if float(weight.sum()) > 4.0:
        shares.append(1.0 - float((mask * weight).sum() / float(weight.sum())))
    return shares


def _under_the_belly(marks: Mapping[str, Array], trunk: float) -> Array:
    """The field between the legs, well below the belly and above the ground, (4, 2)."""
    withers, tail, rib = (marks[name] for name in ("shoulder_top", "tail_base", "last_rib"))
    ground = withers[1] + trunk
    fore = marks.get("front_foot", np.array([withers[0], ground]))
    hind = marks.get("rear_foot", np.array([tail[0], ground]))
    chest = marks.get("chest_bottom", np.array([withers[0], withers[1] + 0.5 * trunk]))
    upper = max(float(chest[1]), float(rib[1])) + 0.12 * trunk
    lower = max(min(float(fore[1]), float(hind[1])) - 0.12 * trunk, upper)
    left, right = fore[0] + 0.3 * (hind[0] - fore[0]), fore[0] + 0.7 * (hind[0] - fore[0])
    return np.array([[left, upper], [right, upper], [right, lower], [left, lower]])


def _on_marks(mask: Mask, marks: Mapping[str, Array], trunk: float) -> float:
    """Share of the marks on the outline that it passes within a thirtieth of the trunk of."""
    edge = cv2.morphologyEx(mask, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    if not edge.any():
        return 0.0
    away = cv2.distanceTransform((1 - np.minimum(edge, 1)).astype(np.uint8), cv2.DIST_L2, 3)
    scores = []
    for name in ON_OUTLINE:
        if name in marks:
            column, row = (int(v) for v in np.rint(marks[name]))
            if 0 <= row < mask.shape[0] and 0 <= column < mask.shape[1]:
                near = max(2.5, trunk / 30.0)
                scores.append(float(np.exp(-0.5 * (away[row, column] / near) ** 2)))
            else:
                scores.append(0.0)
    return float(np.mean(scores))
