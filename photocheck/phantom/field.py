"""Implicit bodies on a grid: smooth unions of simple masses, and how to sample them.

A field is negative inside, positive outside and close to a distance in
millimetres near its zero level, so that a coat is an offset of the level.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


class Mass(Protocol):
    """A part of the body: an implicit shape with a bounding box."""

    @property
    def blend_mm(self) -> float:
        """Radius over which it melts into what was there before, mm."""

    @property
    def box(self) -> tuple[Array, Array]:
        """Lower and upper corner of its bounding box, shapes (3,), mm."""

    def distance(self, x: Array, y: Array, z: Array) -> Array:
        """Signed distance (about), mm, on broadcastable coordinate arrays, mm."""


@dataclass(frozen=True)
class Limb:
    """A tapered capsule between two points, flattened or widened across (in z).

    ``start``, ``end`` mm (3,), ``radius_start``, ``radius_end`` mm in the side
    view, ``across`` the ratio of its half-width in z to those radii.
    """

    start: tuple[float, float, float]
    end: tuple[float, float, float]
    radius_start: float
    radius_end: float
    across: float = 1.0
    blend_mm: float = 10.0

    @property
    def box(self) -> tuple[Array, Array]:
        """Lower and upper corner of its bounding box, shapes (3,), mm."""
        ends = np.array([self.start, self.end])
        reach = max(self.radius_start, self.radius_end) * max(1.0, self.across)
        return ends.min(axis=0) - reach, ends.max(axis=0) + reach

    def distance(self, x: Array, y: Array, z: Array) -> Array:
        """Signed distance (about), mm, on broadcastable coordinate arrays, mm."""
        a = np.array(self.start)
        along = np.array(self.end) - a
        # Work in a space where the section is round, then undo the stretch to first order.
        stretch = np.array([1.0, 1.0, 1.0 / self.across])
        axis = along * stretch
        px, py, pz = x - a[0], y - a[1], (z - a[2]) / self.across
        t = np.clip((px * axis[0] + py * axis[1] + pz * axis[2]) / (axis @ axis), 0.0, 1.0)
        qx, qy, qz = px - t * axis[0], py - t * axis[1], pz - t * axis[2]
        flat = qx * qx + qy * qy
        rho = np.sqrt(flat + qz * qz)
        slope = np.sqrt(flat + (qz / self.across) ** 2)
        radius = self.radius_start + t * (self.radius_end - self.radius_start)
        return np.asarray((rho - radius) * (rho + 1e-6) / (slope + 1e-6))


@dataclass(frozen=True)
class Egg:
    """An ellipsoid, turned in the side view by ``turn_rad`` and leant over by ``lean_rad``.

    ``centre`` mm (3,), ``radii`` mm (3,): along, up and across before turning.
    Leaning turns it about its own long axis, top toward positive z.
    """

    centre: tuple[float, float, float]
    radii: tuple[float, float, float]
    turn_rad: float = 0.0
    lean_rad: float = 0.0
    blend_mm: float = 10.0

    @property
    def box(self) -> tuple[Array, Array]:
        """Lower and upper corner of its bounding box, shapes (3,), mm."""
        axes = self._axes() * np.array(self.radii)[:, None]
        reach = np.sqrt((axes**2).sum(axis=0))
        return np.array(self.centre) - reach, np.array(self.centre) + reach

    def _axes(self) -> Array:
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        cl, sl = np.cos(self.lean_rad), np.sin(self.lean_rad)
        along = np.array([c, s, 0.0])
        up = np.array([-s * cl, c * cl, sl])
        return np.stack([along, up, np.cross(along, up)])

    def distance(self, x: Array, y: Array, z: Array) -> Array:
        """Signed distance (first order), mm, on broadcastable coordinate arrays, mm."""
        px, py, pz = x - self.centre[0], y - self.centre[1], z - self.centre[2]
        first: Array = np.zeros(1)
        second: Array = np.zeros(1)
        for axis, radius in zip(self._axes(), self.radii, strict=True):
            q = (px * axis[0] + py * axis[1] + pz * axis[2]) / radius
            first = first + q * q
            second = second + (q / radius) ** 2
        k0 = np.sqrt(first)
        return np.asarray((k0 - 1.0) * (k0 + 1e-6) / (np.sqrt(second) + 1e-9))


@dataclass(frozen=True, eq=False)
class Field:
    """A sampled implicit body.

    ``values`` (nx, ny, nz) mm, ``origin`` (3,) mm of sample [0, 0, 0], ``step`` mm.
    """

    values: npt.NDArray[np.float32]
    origin: Array
    step: float
    strides: tuple[int, int] = field(init=False)

    def __post_init__(self) -> None:
        """Keep the row lengths of the flattened array for quick sampling."""
        _, ny, nz = self.values.shape
        object.__setattr__(self, "strides", (ny * nz, nz))

    def sample(self, points: Array) -> tuple[Array, Array]:
        """Value and gradient by trilinear interpolation.

        Parameters
        ----------
        points : (n, 3), mm.  Points off the grid are held at its edge.

        Returns
        -------
        value (n,) mm, gradient (n, 3).
        """
        top = np.array(self.values.shape) - 1.000001
        q = np.clip((points - self.origin) / self.step, 0.0, top)
        cell = q.astype(np.intp)
        t = q - cell
        sx, sy = self.strides
        base = cell[:, 0] * sx + cell[:, 1] * sy + cell[:, 2]
        flat = self.values.reshape(-1)
        offsets = np.array([0, 1, sy, sy + 1, sx, sx + 1, sx + sy, sx + sy + 1])
        v = flat[base[:, None] + offsets].astype(np.float64).reshape(-1, 2, 2, 2)
        tx, ty, tz = t[:, 0, None, None], t[:, 1, None], t[:, 2]
        dx = v[:, 1] - v[:, 0]
        vx = v[:, 0] + tx * dx
        dy = vx[:, 1] - vx[:, 0]
        vy = vx[:, 0] + ty * dy
        dz = vy[:, 1] - vy[:, 0]
        value = vy[:, 0] + tz * dz
        dxy = dx[:, 0] + ty * (dx[:, 1] - dx[:, 0])
        gx = dxy[:, 0] + tz * (dxy[:, 1] - dxy[:, 0])
        gy = dy[:, 0] + tz * (dy[:, 1] - dy[:, 0])
        return value, np.stack([gx, gy, dz], axis=1) / self.step

    def leave(self, start: Array, direction: Array, reach_mm: float) -> Array:
        """Where a ray from inside leaves the body for the first time.

        Parameters
        ----------
        start, direction : (3,), mm and any length.
        reach_mm : how far to look.

        Returns
        -------
        (3,) mm on the zero level.

        Raises
        ------
        ValueError
            When the start is outside or the ray does not leave within reach.
        """
        unit = direction / np.linalg.norm(direction)
        t = np.arange(0.0, reach_mm, 0.25 * self.step)
        value, _ = self.sample(start + t[:, None] * unit)
        if value[0] >= 0.0 or not (value >= 0.0).any():
            raise ValueError("the ray does not start inside and leave the body")
        k = int(np.argmax(value >= 0.0))
        near, far = t[k - 1], t[k]
        for _ in range(30):  # bisection on the interpolated field
            middle = 0.5 * (near + far)
            inside = self.sample((start + middle * unit)[None])[0][0] < 0.0
            near, far = (middle, far) if inside else (near, middle)
        return np.asarray(start + far * unit)


def smooth_union(a: Array, b: Array, blend_mm: float) -> Array:
    """Union of two fields with a fillet of about ``blend_mm`` (polynomial smooth minimum)."""
    h = np.maximum(blend_mm - np.abs(a - b), 0.0) / blend_mm
    return np.asarray(np.minimum(a, b) - 0.25 * blend_mm * h * h)


def build_field(
    masses: list[tuple[Mass, float]], step: float, *, ground: bool, margin_mm: float = 12.0
) -> Field:
    """Sample the smooth union of masses, each grown by its own coat.

    Parameters
    ----------
    masses : list of (mass, coat mm)
    step : float
        Grid step, mm.
    ground : bool
        Cut the body off at y = 0, as paws flatten on the ground.
    margin_mm : float
        Free room around the body.

    Returns
    -------
    Field
    """
    boxes = [mass.box for mass, _ in masses]
    grow = max(coat for _, coat in masses) + margin_mm + 2 * step
    low = np.min([box[0] for box in boxes], axis=0) - grow
    high = np.max([box[1] for box in boxes], axis=0) + grow
    # Samples symmetric in z, so that a symmetric dog stays symmetric.
    half = np.ceil(max(-low[2], high[2]) / step) * step
    low[2], high[2] = -half, half
    shape = np.ceil((high - low) / step).astype(int) + 1
    axes = [low[i] + step * np.arange(shape[i]) for i in range(3)]
    values = np.full(tuple(shape), 1e3)
    # Later masses melt into earlier ones, so every window leaves room for the widest fillet.
    fillet = max(mass.blend_mm for mass, _ in masses)
    for (mass, coat), (box_low, box_high) in zip(masses, boxes, strict=True):
        reach = fillet + coat + margin_mm + step
        first = np.maximum(((box_low - reach - low) / step).astype(int), 0)
        last = np.minimum(((box_high + reach - low) / step).astype(int) + 2, shape)
        window = tuple(slice(a, b) for a, b in zip(first, last, strict=True))
        x, y, z = (axes[i][first[i] : last[i]] for i in range(3))
        part = mass.distance(x[:, None, None], y[None, :, None], z[None, None, :]) - coat
        values[window] = smooth_union(values[window], part, mass.blend_mm)
    if ground:
        values = np.maximum(values, -axes[1][None, :, None])
    return Field(values.astype(np.float32), low, step)
