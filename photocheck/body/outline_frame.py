"""The part of a photo around the dog, by its marks, and its small copy."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Point

Array = NDArray[np.float64]

SMALL_PX: Final = 240
"""Longer side of the copy worked on, px: 320 gave outlines no better in twice the time."""
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
        # Marks that are proposed are no seed: a check has four confirmed ones, which lie nearer,
        # and may rest on nothing that nobody confirmed (`photocheck.propose`).
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
