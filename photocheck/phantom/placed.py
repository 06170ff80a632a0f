"""A reference object where it truly stood: its points in the world."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np

from photocheck.phantom.field import Array
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.sheet import page_mm, sheet_points

CARD_CORNER_MM: Final = 3.18
"""Corner radius of a card, mm: the middle of the range of ISO/IEC 7810 ID-1, 2.88 to 3.48."""


@dataclass(frozen=True)
class PlacedReference:
    """A reference in the world.

    Attributes
    ----------
    kind : str
        A key of `photocheck.scale.catalogue.REFERENCES`.
    place : str
        One of `photocheck.words.PLACES`, as the owner says.
    offset_mm : float
        True distance from the dog's middle plane, positive toward the camera, mm.
    centre : (float, float, float)
        World, mm.
    told_offset_mm : float or None
        What the owner measured of the offset, mm; None when only the place was said.
    turn_deg : float
        In its plane, clockwise as seen from the camera's side; 90 turns the long
        side of a sheet or card upright (a marker sheet is printed upright).
    swing_deg, lean_deg : float
        About the upright and about the level axis of its plane, degrees.
    size_factor : float
        True size over nominal.
    length_mm, diameter_mm : float or None
        What the owner says of two points, a disc or a ball.
    bar_mm : float or None
        What the owner measured of a marker sheet's proof bar.
    paper : str
        Of a marker sheet, "a4" or "letter".
    """

    kind: str
    place: str
    offset_mm: float
    centre: tuple[float, float, float]
    told_offset_mm: float | None = None
    turn_deg: float = 0.0
    swing_deg: float = 0.0
    lean_deg: float = 0.0
    size_factor: float = 1.0
    length_mm: float | None = None
    diameter_mm: float | None = None
    bar_mm: float | None = None
    paper: str = "a4"

    @property
    def form(self) -> str:
        """The form from the catalogue: "markers", "rectangle", "points", "disc" or "ball"."""
        return REFERENCES[self.kind].form

    @property
    def outer_mm(self) -> tuple[float, float]:
        """Nominal width and height of the whole object before turning, mm."""
        item = REFERENCES[self.kind]
        if item.form == "markers":
            return page_mm(self.paper)
        if item.width_mm is not None and item.height_mm is not None:
            return item.width_mm, item.height_mm
        if item.form == "points":
            return self.length_mm or 0.0, 0.0
        return self.diameter_mm or 0.0, self.diameter_mm or 0.0

    @cached_property
    def axes(self) -> Array:
        """Rows: the object's right, down and its normal away from the viewer, (3, 3)."""
        a, b, c = np.radians([self.swing_deg, self.lean_deg, self.turn_deg])
        right = np.array([np.cos(a), 0.0, -np.sin(a)])
        ahead = np.array([-np.sin(a), 0.0, -np.cos(a)])
        down = -np.cos(b) * np.array([0.0, 1.0, 0.0]) - np.sin(b) * ahead
        turned_right = np.cos(c) * right + np.sin(c) * down
        turned_down = -np.sin(c) * right + np.cos(c) * down
        return np.stack([turned_right, turned_down, np.cross(turned_right, turned_down)])

    def place_points(self, flat: Array) -> Array:
        """World places of (n, 2) true points of its plane (x right, y down, mm), (n, 3) mm."""
        return np.asarray(np.array(self.centre) + np.asarray(flat) @ self.axes[:2])

    def nominal_points(self) -> Array:
        """Nominal (n, 2) mm: 16 marker corners, 4 corners or 2 ends; empty for disc and ball."""
        if self.form == "markers":
            return np.asarray(sheet_points()[1], dtype=np.float64)
        if self.form == "points":
            half = 0.5 * (self.length_mm or 0.0)
            return np.array([[-half, 0.0], [half, 0.0]])
        if self.form == "rectangle":
            return self._rectangle()
        return np.zeros((0, 2))

    def _rectangle(self) -> Array:
        w, h = self.outer_mm
        return 0.5 * np.array([[-w, -h], [w, -h], [w, h], [-w, h]])

    def points(self) -> Array:
        """The true world places of `nominal_points`, (n, 3) mm."""
        return self.place_points(self.size_factor * self.nominal_points())

    def outer_corners(self) -> Array:
        """True outer corners of a sheet or card, (4, 3) mm."""
        return self.place_points(self.size_factor * self._rectangle())

    def hull_points(self) -> Array:
        """Points that must be in the picture for the whole object to be, (n, 3) mm."""
        if self.form == "points":
            return self.points()
        if self.form == "ball":
            r = 0.5 * self.size_factor * (self.diameter_mm or 0.0)
            moves = r * np.concatenate([np.eye(3), -np.eye(3)])
            return np.asarray(np.array(self.centre) + moves)
        return self.outer_corners()

    def outline(self, eye: tuple[float, float, float], count: int) -> Array:
        """The outline of a disc or ball as seen from ``eye``, (count, 3) mm in the world."""
        r = 0.5 * self.size_factor * (self.diameter_mm or 0.0)
        t = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
        ring = np.stack([np.cos(t), np.sin(t)], axis=1)
        if self.form == "disc":
            return self.place_points(r * ring)
        centre = np.array(self.centre)
        sight = np.array(eye) - centre
        far = float(np.linalg.norm(sight))
        sight = sight / far
        one = np.cross(sight, [0.0, 1.0, 0.0])
        one = one / np.linalg.norm(one)
        two = np.cross(sight, one)
        # A ball is seen up to the circle where lines of sight touch it.
        middle = centre + sight * r * r / far
        rim = r * np.sqrt(1.0 - (r / far) ** 2)
        return np.asarray(middle + rim * (ring @ np.stack([one, two])))
