"""A pinhole camera of the phantom's own, with OpenCV's lens distortion.

World: x from the dog's head to its tail, y up, z toward the camera's side; mm.
Picture: x right, y down, the centre of the top left pixel at (0, 0); px.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from photocheck.phantom.field import Array
from photocheck.photo.camera import FRAME_DIAGONAL_MM


@dataclass(frozen=True)
class Camera:
    """Where the camera stood and what it was.

    Attributes
    ----------
    position, aim : (float, float, float)
        World, mm; the aim falls on the principal point.
    focal_35mm : float
        True focal length in 35 mm equivalent (by the diagonal), mm.
    size_px : (int, int)
        Width and height of the upright picture, px.
    roll_deg : float
        Turn about the line of sight; positive turns the picture's content clockwise.
    distortion : tuple of float
        OpenCV's k1, k2, p1, p2[, k3].
    """

    position: tuple[float, float, float]
    aim: tuple[float, float, float]
    focal_35mm: float = 26.0
    size_px: tuple[int, int] = (4032, 3024)
    roll_deg: float = 0.0
    distortion: tuple[float, ...] = ()

    @cached_property
    def focal_px(self) -> float:
        """Focal length, px."""
        return self.focal_35mm * float(np.hypot(*self.size_px)) / FRAME_DIAGONAL_MM

    @cached_property
    def matrix(self) -> Array:
        """Camera matrix, (3, 3), px."""
        w, h = self.size_px
        f = self.focal_px
        return np.array([[f, 0.0, 0.5 * (w - 1)], [0.0, f, 0.5 * (h - 1)], [0.0, 0.0, 1.0]])

    @cached_property
    def axes(self) -> Array:
        """Rows: right, down and forward in the world, (3, 3)."""
        forward = np.subtract(self.aim, self.position)
        forward = forward / np.linalg.norm(forward)
        right = np.cross(forward, [0.0, 1.0, 0.0])
        right = right / np.linalg.norm(right)
        down = np.cross(forward, right)
        c, s = np.cos(np.radians(self.roll_deg)), np.sin(np.radians(self.roll_deg))
        return np.stack([c * right - s * down, s * right + c * down, forward])

    def depth(self, points: Array) -> Array:
        """Distance along the line of sight of (n, 3) world points, (n,) mm."""
        return np.asarray((points - np.array(self.position)) @ self.axes[2])

    def project(self, points: Array) -> Array:
        """Where (n, 3) world points (mm) appear, (n, 2) px.

        Raises
        ------
        ValueError
            When a point lies behind the camera.
        """
        points = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        if (self.depth(points) <= 1.0).any():
            raise ValueError("a point lies behind the camera")
        rotation, _ = cv2.Rodrigues(self.axes)
        shift = -self.axes @ np.array(self.position)
        bent = np.array(self.distortion) if self.distortion else np.zeros(5)
        seen, _ = cv2.projectPoints(points, rotation, shift, self.matrix, bent)
        return np.asarray(seen.reshape(-1, 2), dtype=np.float64)

    def px_per_mm(self, points: Array) -> Array:
        """Scale across the line of sight at (n, 3) world points, without distortion, (n,)."""
        return np.asarray(self.focal_px / self.depth(np.asarray(points).reshape(-1, 3)))

    def sees(self, points: Array, margin: float = 0.01) -> bool:
        """Whether all (n, 3) points fall into the picture, ``margin`` of its width inside."""
        points = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        if (self.depth(points) <= 1.0).any():
            return False
        seen = self.project(points)
        edge = margin * self.size_px[0]
        room = np.array(self.size_px) - 1 - edge
        return bool((seen >= edge).all() and (seen <= room).all())
