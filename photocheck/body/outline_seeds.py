"""Where the dog must, may and cannot be by its marks: what its outline's cut starts from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Point

Array = NDArray[np.float64]
Mask = NDArray[np.uint8]

SMALL_PX: Final = 360
"""Longer side of the copy worked on, px."""
# How far the dog may reach beyond its marks, over the length breastbone - tail base
# (judgement; a head held out is about half the height long).
AHEAD: Final = 0.75
BEHIND: Final = 0.60
ABOVE: Final = 0.75
BELOW: Final = 1.05
BELOW_FEET: Final = 0.08


@dataclass(frozen=True)
class CloseUp:
    """The part of the photo around the dog and its small copy."""

    left: int
    top: int
    right: int
    bottom: int
    scale: float
    photo: tuple[int, int]
    ahead: float
    trunk: float

    @classmethod
    def around(cls, rgb: NDArray[np.uint8], marks: Mapping[str, Point]) -> CloseUp | None:
        """The part of the photo around all marks; None when they coincide or leave nothing."""
        height, width = rgb.shape[:2]
        points = np.array(list(marks.values()), float)
        tail, breast = (np.asarray(marks[n], float) for n in ("tail_base", "breastbone"))
        trunk = float(np.linalg.norm(tail - breast))
        if trunk < 20.0 or not np.isfinite(points).all():
            return None
        ahead = float(np.sign(breast[0] - tail[0]) or -1.0)
        front, back = (AHEAD, BEHIND) if ahead < 0 else (BEHIND, AHEAD)
        low, high = points.min(axis=0), points.max(axis=0)
        feet = [marks[n][1] for n in ("front_foot", "rear_foot") if n in marks]
        floor = max(feet) + BELOW_FEET * trunk if feet else marks["shoulder_top"][1] + BELOW * trunk
        box = [low[0] - front * trunk, low[1] - ABOVE * trunk, high[0] + back * trunk, floor]
        left, top = max(int(box[0]), 0), max(int(box[1]), 0)
        right, bottom = min(int(box[2]) + 1, width), min(int(box[3]) + 1, height)
        if right - left < 16 or bottom - top < 16:
            return None
        scale = min(1.0, SMALL_PX / max(right - left, bottom - top))
        return cls(left, top, right, bottom, scale, (width, height), ahead, trunk * scale)

    def copy(self, rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """The small copy of an (H, W, 3) photo, RGB."""
        part = rgb[self.top : self.bottom, self.left : self.right]
        size = (
            max(1, round(part.shape[1] * self.scale)),
            max(1, round(part.shape[0] * self.scale)),
        )
        return np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)

    def into(self, xy: Point) -> Array:
        """From px of the photo to px of the copy."""
        return (np.asarray(xy, float) - (self.left, self.top) + 0.5) * self.scale - 0.5

    def back(self, xy: Array) -> Point:
        """From px of the copy to px of the photo."""
        x, y = (xy + 0.5) / self.scale - 0.5 + (self.left, self.top)
        return float(x), float(y)

    def open_edges(self) -> dict[str, bool]:
        """Which sides of the copy are edges of the photo itself."""
        return {
            "left": self.left == 0,
            "top": self.top == 0,
            "right": self.right == self.photo[0],
            "bottom": self.bottom == self.photo[1],
        }


def seeds_of(
    shape: tuple[int, ...], marks: Mapping[str, Array], reference: list[Array], frame: CloseUp
) -> Mask:
    """What is surely, probably, probably not and surely not the dog."""
    trunk, ahead = frame.trunk, frame.ahead
    down = np.array([0.0, 1.0])
    breast, withers, rib, tail = (
        marks[n] for n in ("breastbone", "shoulder_top", "last_rib", "tail_base")
    )
    belly = marks.get("chest_bottom", 0.5 * (breast + rib) + 0.20 * trunk * down)
    seeds = np.full(shape, cv2.GC_BGD, np.uint8)

    # Where the dog may be: a hull around the trunk, the head ahead and above, the tail behind.
    front_foot = marks.get("front_foot", np.array([withers[0], withers[1] + 1.0 * trunk]))
    rear_foot = marks.get("rear_foot", np.array([tail[0], withers[1] + 1.0 * trunk]))
    reach = np.array([ahead * trunk, 0.0])
    may = [
        breast + 0.62 * reach + 0.15 * trunk * down,
        breast + 0.62 * reach - 0.70 * trunk * down,
        withers - 0.70 * trunk * down,
        withers - 0.15 * trunk * down,
        tail - 0.15 * trunk * down,
        tail - 0.45 * reach - 0.45 * trunk * down,
        tail - 0.50 * reach + 0.40 * trunk * down,
        rear_foot - 0.25 * reach + 0.05 * trunk * down,
        front_foot + 0.20 * reach + 0.05 * trunk * down,
        breast + 0.20 * reach + 0.20 * trunk * down,
    ]
    _fill(seeds, may, cv2.GC_PR_BGD)
    if len(reference) >= 3:
        ring = np.array(reference)
        hull = cv2.convexHull(ring.astype(np.float32))
        grown = ring.mean(axis=0) + 1.25 * (hull[:, 0] - ring.mean(axis=0))
        _fill(seeds, list(grown), cv2.GC_BGD)

    # Where it probably is: neck and skull, thighs, the legs down to the feet.
    skull = withers + 0.42 * reach - 0.22 * trunk * down
    _line(seeds, 0.5 * (breast + withers), skull, 0.20 * trunk, cv2.GC_PR_FGD)
    hip = tail + 0.12 * reach + 0.12 * trunk * down
    for start, foot in ((belly, front_foot), (hip, rear_foot)):
        _line(seeds, start, foot, 0.10 * trunk, cv2.GC_PR_FGD)
    body = [breast, withers, tail, tail + 0.25 * trunk * down, rib + 0.15 * trunk * down, belly]
    _fill(seeds, body, cv2.GC_PR_FGD)

    # Daylight between the legs, from well below the belly to the ground.
    under = 0.5 * (belly + rib + 0.2 * trunk * down) + 0.10 * trunk * down
    low = 0.5 * (front_foot + rear_foot)
    if low[1] > under[1]:
        aside = 0.28 * (rear_foot - front_foot)
        _fill(seeds, [under - 0.5 * aside, under + 0.5 * aside, low + aside, low - aside], 0)

    # Where it surely is: the trunk, a little inside its marks.
    middle = np.mean([breast, withers, tail, belly], axis=0)
    loin = rib + 0.05 * trunk * down
    sure = [at + 0.12 * (middle - at) for at in (breast, withers, tail + 0.04 * trunk * down, loin)]
    sure.append(belly + 0.25 * (middle - belly))
    _fill(seeds, sure, cv2.GC_FGD)
    # Marked feet teach the colour of the legs: the pasterns stand about upright above them.
    for name in ("front_foot", "rear_foot"):
        if name in marks:
            sole = marks[name] - 0.02 * reach
            ends = sole - 0.03 * trunk * down, sole - 0.02 * reach - 0.14 * trunk * down
            _line(seeds, *ends, 0.025 * trunk, cv2.GC_FGD)
    return seeds


def _fill(seeds: Mask, ring: Sequence[Array], value: int) -> None:
    cv2.fillPoly(seeds, [np.rint(np.array(ring)).astype(np.int32)], value)


def _line(seeds: Mask, start: Array, end: Array, width: float, value: int) -> None:
    ends = [tuple(int(v) for v in np.rint(at)) for at in (start, end)]
    cv2.line(seeds, ends[0], ends[1], value, max(1, round(width)))
