"""How far a mark lies from where it should be, on the dog and not in the picture."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Point
from photocheck.practice.dogs import PracticeDog

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Miss:
    """One mark against another, mm on the dog: toward its head, and upward."""

    forward_mm: float
    up_mm: float

    @property
    def distance_mm(self) -> float:
        """Straight from one to the other, mm."""
        return float(np.hypot(self.forward_mm, self.up_mm))


def on_plane(to_pixels: Array, place: Point) -> Array:
    """Where the ray through a place in the picture meets a plane.

    Parameters
    ----------
    to_pixels : (3, 3)
        Homography from (forward, up, 1), mm, to px.
    place : Point, px

    Returns
    -------
    (2,) mm
    """
    a, b, w = np.linalg.solve(to_pixels, np.array([place[0], place[1], 1.0]))
    return np.array([a / w, b / w])


def between(to_pixels: Array, should: Point, placed: Point) -> Miss:
    """How far `placed` lies from `should` in one plane of the dog."""
    forward, up = on_plane(to_pixels, placed) - on_plane(to_pixels, should)
    return Miss(float(forward), float(up))


def misses(dog: PracticeDog, placed: Mapping[str, Point]) -> dict[str, Miss]:
    """The miss of each landmark that was placed, at that landmark's own plane."""
    return {
        name: between(dog.to_pixels[name], true, placed[name])
        for name, true in dog.marks.items()
        if name in placed
    }


def px_per_mm(to_pixels: Array) -> float:
    """Pixels a millimetre takes at a plane's own origin, by area."""
    u, v, w = to_pixels[:, 2]
    at = np.array([u / w, v / w])
    jacobian = (to_pixels[:2, :2] - np.outer(at, to_pixels[2, :2])) / w
    return float(np.sqrt(abs(np.linalg.det(jacobian))))
