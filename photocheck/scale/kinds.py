"""Which kind of card or sheet four sides belong to, when nobody said.

A picture without a scale tells kinds apart by their shapes, as far as turning does not explain
them, and by their corners: a card's are rounded (ISO/IEC 7810), a sheet's are not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np

from photocheck.numerics import median
from photocheck.scale.catalogue import REFERENCES, ReferenceObject
from photocheck.scale.corners import px_per_mm_of, side_lengths
from photocheck.scale.light import SRGB_TO_LIGHT, Floats, Picture
from photocheck.scale.seen import ReferenceSeen
from photocheck.scale.shapes import shapes
from photocheck.scale.thresholds import FLAT_MM, PAPER_FLAT_MM

_CORNER_MM: Final = 3.18 * (np.sqrt(2) - 1)
"""From where a card's sides would meet to its rounded corner, mm: the middle of the standard's
2.88 to 3.48 mm of radius."""
_CORNER_SPREAD_MM: Final = 0.4
_CORNER_SPREAD_PX: Final = 0.7
_USUAL_TILT: Final = 0.3
"""Sd per axis of how far from facing the camera a reference stands, radians (judgement)."""
_OUTER: Final = 3.0  # cost of the smaller of two shapes, for each unit of ln(area over area)
_MOST_MISFIT: Final = 25.0  # more says no more: paper curls


_DISTANCE_MM: Final = 2300.0
_DISTANCE_SPREAD: Final = 0.6
"""Median and sd of ln of how far a reference beside a dog is from the camera (judgement: owners
are asked for two to three metres, small dogs are photographed from nearer)."""
_RARE_PAPER: Final = 2.0 * float(np.log(30.0))
"""Cost of the paper that is not in use where the person lives (judgement: one sheet in thirty)."""


@dataclass(frozen=True)
class BesideDog:
    """What is known of a photo of a dog, besides its pixels, that tells kinds apart.

    A sheet is three and a half times as long as a card: what looks alike is as much farther off.

    Attributes
    ----------
    focal_px : float
        Focal length, px; as good as it is known.
    paper : str
        "a4" or "letter", which is in use where the person lives; empty where not known.
    """

    focal_px: float
    paper: str = ""

    def oddness(self, kind: ReferenceObject, corners: Floats) -> float:
        """How far such a thing, corners (4, 2) px, is from where they usually stand, in sds."""
        distance = self.focal_px / px_per_mm_of(kind, corners)
        return abs(float(np.log(distance / _DISTANCE_MM))) / _DISTANCE_SPREAD

    def cost(self, kind: ReferenceObject, corners: Floats) -> float:
        """Minus twice the log likelihood of the kind by this alone, but for a constant."""
        other = bool(self.paper) and kind.kind not in (self.paper, "id_card")
        return self.oddness(kind, corners) ** 2 + _RARE_PAPER * other


def likeliest_first(
    picture: Picture, found: Sequence[ReferenceSeen], beside: BesideDog | None = None
) -> list[ReferenceSeen]:
    """Cards and sheets found at one mark, the likeliest kind first.

    Parameters
    ----------
    picture : (H, W) grey or (H, W, 3) RGB, uint8
    found : sequence of ReferenceSeen
        Of form "rectangle", one of each kind.
    beside : BesideDog or None
        Given where the photo is one of a dog.
    """
    if len(found) < 2:
        return list(found)
    return [found[k] for k in np.argsort(costs(picture, found, beside), kind="stable")]


def costs(
    picture: Picture, found: Sequence[ReferenceSeen], beside: BesideDog | None = None
) -> Floats:
    """Minus twice the log likelihood of each, (n,), but for a constant common to all.

    Parameters
    ----------
    picture, found, beside
        As for `likeliest_first`.
    """
    areas = [cv2.contourArea(one.points_px.astype(np.float32)) for one in found]
    return np.array(
        [
            _cost(picture, one)
            + _OUTER * float(np.log(max(areas) / max(area, 1.0)))
            + (beside.cost(REFERENCES[one.kind], one.points_px) if beside else 0.0)
            for one, area in zip(found, areas, strict=True)
        ]
    )


def _cost(picture: Picture, seen: ReferenceSeen) -> float:
    """Minus twice the log likelihood of the kind, but for a constant."""
    kind = REFERENCES[seen.kind]
    lengths = side_lengths(seen.points_px)
    flat_mm = FLAT_MM.get(seen.kind, PAPER_FLAT_MM)
    spread = np.hypot(0.3, flat_mm * px_per_mm_of(kind, seen.points_px))
    shape = shapes(seen.points_px[None], kind.size_mm, picture.shape, np.array([spread]))
    cost = min(float(shape.misfit[0]), _MOST_MISFIT) + (float(shape.tilt[0]) / _USUAL_TILT) ** 2
    # Whatever it is: how far its corners lie inside, measured as if it were a card.
    card_px = float(lengths.max()) / REFERENCES["id_card"].size_mm[0]
    inside = _corners_inside(picture, seen.points_px, card_px)
    if np.isfinite(inside):
        expected = _CORNER_MM * card_px if seen.kind == "id_card" else 0.0
        sd = float(np.hypot(_CORNER_SPREAD_PX, _CORNER_SPREAD_MM * card_px))
        cost += min(((inside - expected) / sd) ** 2, _MOST_MISFIT)
    return cost


def _corners_inside(picture: Picture, corners: Floats, card_px: float) -> float:
    """How far inside of where its sides meet the thing begins, median of its corners, px.

    nan where no corner tells.
    """
    along = np.roll(corners, -1, axis=0) - corners
    back = np.roll(corners, 1, axis=0) - corners
    bisector = along / np.hypot(*along.T)[:, None] + back / np.hypot(*back.T)[:, None]
    bisector /= np.maximum(np.hypot(*bisector.T), 1e-9)[:, None]
    steps = np.arange(-3.0, 6.0, 0.1) * max(card_px, 0.8)
    points = corners[:, None] + steps[None, :, None] * bisector[:, None]
    light = SRGB_TO_LIGHT[
        cv2.remap(
            picture, points[..., 0].astype(np.float32), points[..., 1].astype(np.float32),
            cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE,
        )
    ].reshape(4, len(steps), -1)  # fmt: skip
    outside = median(np.swapaxes(light[:, :12], 1, 2))
    within = median(np.swapaxes(light[:, -18:], 1, 2))
    step = within - outside
    size = np.linalg.norm(step, axis=1)
    part = np.einsum("nkc,nc->nk", light - outside[:, None], step)
    part /= np.maximum(size, 1e-9)[:, None] ** 2
    # Where it is last less than half way in.
    last = [np.flatnonzero(row < 0.5)[-1] if np.any(row < 0.5) else 0 for row in part]
    at = np.where(size > 0.06, steps[last], np.nan)
    return float(median(at))
