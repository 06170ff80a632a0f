"""The spine, which can bend in the side view, and the trunk's sections strung along it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter, gaussian_filter1d

from photocheck.phantom.field import Array


@dataclass(frozen=True, eq=False)
class Spine:
    """A curve in the mirror plane, given by its angle along its length.

    Parameters
    ----------
    origin : (2,) mm, where station 0 lies.
    stations : (n,) mm, rest stations, increasing.
    angles : (n,) rad, direction of the curve (head to tail) against the x axis.
    stretch : (n,) length of the curve per rest length.
    """

    origin: tuple[float, float]
    stations: Array
    angles: Array
    stretch: Array
    points: Array = field(init=False)

    def __post_init__(self) -> None:
        """Integrate the curve."""
        ds = np.diff(self.stations)
        middle = 0.5 * (self.angles[1:] + self.angles[:-1])
        factor = 0.5 * (self.stretch[1:] + self.stretch[:-1])
        steps = np.stack([np.cos(middle), np.sin(middle)], axis=1) * (ds * factor)[:, None]
        curve = np.concatenate([np.zeros((1, 2)), np.cumsum(steps, axis=0)])
        anchor = [np.interp(0.0, self.stations, curve[:, i]) for i in range(2)]
        object.__setattr__(self, "points", curve - anchor + np.array(self.origin))

    def angle(self, s: float) -> float:
        """Direction of the curve at rest station ``s`` mm, rad."""
        return float(np.interp(s, self.stations, self.angles))

    def place(self, s: float, n: float, z: float = 0.0) -> Array:
        """The point ``n`` mm above the spine at rest station ``s`` mm, (3,) mm."""
        phi = self.angle(s)
        x = np.interp(s, self.stations, self.points[:, 0]) - n * np.sin(phi)
        y = np.interp(s, self.stations, self.points[:, 1]) + n * np.cos(phi)
        return np.array([x, y, z])

    def locate(self, x: Array, y: Array) -> tuple[Array, Array]:
        """Rest station and height above the spine of points in the mirror plane, mm.

        ``x``, ``y`` of one shape, mm; the answers have the same shape.
        """
        px, py = x.ravel(), y.ravel()
        some = self.points[::4]
        gap = (px[:, None] - some[None, :, 0]) ** 2 + (py[:, None] - some[None, :, 1]) ** 2
        s = self.stations[::4][np.argmin(gap, axis=1)]
        curvature = np.gradient(self.angles, self.stations)
        for _ in range(3):  # Newton on the foot of the perpendicular
            cx = np.interp(s, self.stations, self.points[:, 0])
            cy = np.interp(s, self.stations, self.points[:, 1])
            phi = np.interp(s, self.stations, self.angles)
            n = -(px - cx) * np.sin(phi) + (py - cy) * np.cos(phi)
            ahead = (px - cx) * np.cos(phi) + (py - cy) * np.sin(phi)
            factor = np.interp(s, self.stations, self.stretch)
            bend = np.interp(s, self.stations, curvature)
            s = s + ahead / np.clip(factor - n * bend, 0.3, None)
            s = np.clip(s, self.stations[0], self.stations[-1])
        return s.reshape(x.shape), n.reshape(x.shape)


@dataclass(frozen=True, eq=False)
class SectionedTrunk:
    """The barrel from forechest to buttocks.

    All knots are rest stations and lengths in mm: ``top`` and ``bottom`` are
    heights of the outline over the spine, ``width`` half-widths, ``level`` the
    height of the widest place.  ``power_top`` and ``power_bottom`` are the
    exponents of the superellipse above and below that level (2 is an ellipse).
    Beyond the first and the last knot the barrel is closed by caps.
    """

    spine: Spine
    knots: Array
    top: Array
    bottom: Array
    width: Array
    level: Array
    power_top: Array
    power_bottom: Array
    caps_mm: tuple[float, float]
    blend_mm: float = 10.0

    @property
    def box(self) -> tuple[Array, Array]:
        """Lower and upper corner of its bounding box, shapes (3,), mm."""
        s = np.linspace(self.knots[0] - self.caps_mm[0], self.knots[-1] + self.caps_mm[1], 40)
        inner = np.clip(s, self.knots[0], self.knots[-1])
        high, low = self._curve(self.top, inner), self._curve(self.bottom, inner)
        outline = [self.spine.place(a, n) for a, n in zip(s, high, strict=True)]
        outline += [self.spine.place(a, n) for a, n in zip(s, low, strict=True)]
        corners = np.array(outline)
        wide = 1.05 * float(self.width.max())
        lower, upper = corners.min(axis=0), corners.max(axis=0)
        lower[2], upper[2] = -wide, wide
        return lower, upper

    def _curve(self, values: Array, s: Array) -> Array:
        # Smoothed after interpolation: skin has no kinks where knots happen to lie.
        fine = np.linspace(self.knots[0], self.knots[-1], 241)
        smooth = gaussian_filter1d(PchipInterpolator(self.knots, values)(fine), 6.0, mode="nearest")
        return np.asarray(np.interp(s, fine, smooth))

    def distance(self, x: Array, y: Array, z: Array) -> Array:
        """Signed distance (first order), mm, on open coordinate arrays, mm.

        ``x`` (nx, 1, 1), ``y`` (1, ny, 1), ``z`` (1, 1, nz), evenly spaced.
        """
        flat_x, flat_y = np.broadcast_arrays(x[:, :, 0], y[:, :, 0])
        s, n = self.spine.locate(flat_x, flat_y)
        inner = np.clip(s, self.knots[0], self.knots[-1])
        level = self._curve(self.level, inner)
        above = n >= level
        half = np.where(above, self._curve(self.top, inner) - level, 0.0)
        half = np.where(above, half, level - self._curve(self.bottom, inner))
        power = np.where(
            above, self._curve(self.power_top, inner), self._curve(self.power_bottom, inner)
        )
        width = self._curve(self.width, inner)
        cap = np.where(s < inner, self.caps_mm[0], self.caps_mm[1])
        along = np.abs(s - inner) / cap
        upright = (np.abs(n - level) / half) ** power
        across = (np.abs(z) / width[:, :, None]) ** power[:, :, None]
        gauge = (upright[:, :, None] + across) ** (1.0 / power[:, :, None])
        gauge = np.sqrt(gauge**2 + along[:, :, None] ** 2)
        value = gauge - 1.0
        # Divide by the slope: the level is kept, its neighbourhood becomes millimetres.
        gx, gy, gz = np.gradient(value, x[:, 0, 0], y[0, :, 0], z[0, 0, :])
        slope = np.sqrt(gx * gx + gy * gy + gz * gz)
        # Evened out along the body, or a thick coat has a step wherever the slope jumps, as it
        # does where the caps begin.
        step = float(x[1, 0, 0] - x[0, 0, 0])
        slope = gaussian_filter(slope, 0.3 * float(self.width.max()) / step, mode="nearest")
        return np.asarray(value / np.maximum(slope, 0.2 / float(self.width.max())))
