"""Sides of shapes, and strips of linear light across lines near them."""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.scale.light import SRGB_TO_LIGHT, Floats, Picture
from photocheck.scale.robust_lines import between

_LEAST_ROW_PX: Final = 2.0


class Sides:
    """Sides of shapes, and the linear light around them.

    Attributes
    ----------
    normals : (S, 2) float
        Unit vectors out of the shape, which is walked clockwise as seen.
    middle : (blocks,) float
        Fraction of the way along a side of the middle of each block of rows.
    """

    def __init__(
        self,
        picture: Picture,
        starts: Floats,
        ends: Floats,
        *,
        blocks: int,
        margin_px: float,
        trim: tuple[float, float],
    ) -> None:
        self._trim = trim
        self._starts = starts.reshape(-1, 2)
        self._runs = ends.reshape(-1, 2) - self._starts
        self._grouped = starts.shape[1]
        self._size = np.array([picture.shape[1], picture.shape[0]])
        lengths = np.hypot(self._runs[:, :1], self._runs[:, 1:])
        self.normals: Floats = self._runs[:, ::-1] * [1.0, -1.0] / np.maximum(lengths, 1e-9)
        self.blocks = blocks
        self.middle: Floats = self.along(1)
        self._windows: list[tuple[NDArray[np.float32], np.float32, np.float32]] = []
        for start, end in zip(starts, ends, strict=True):
            both = np.vstack([start, end])
            left, top = np.clip(np.floor(both.min(0) - margin_px), 0, self._size - 1).astype(int)
            right, bottom = np.clip(
                np.ceil(both.max(0) + margin_px) + 1, [left + 1, top + 1], self._size
            ).astype(int)
            crop = np.ascontiguousarray(picture[top:bottom, left:right])
            light = np.asarray(cv2.LUT(crop, SRGB_TO_LIGHT), dtype=np.float32)
            self._windows.append((light, np.float32(left), np.float32(top)))

    def along(self, rows: int) -> Floats:
        """Fractions of the way along a side of ``rows`` rows in each block, evenly spread."""
        count = self.blocks * rows
        part = (np.arange(count) + 0.5) / count
        return np.asarray(self._trim[0] + part * (1.0 - sum(self._trim)))

    def sample(
        self, offsets: Floats, across: Floats, rows: int
    ) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
        """Light (S, blocks * rows, k, c) across lines at `offsets` (S, 2) px from the sides.

        The second is (S, blocks * rows): whether the row lies in the picture, a few px of it to
        either side of the line being enough; beyond the border it goes on as at the border.
        """
        along = self.along(rows)
        centre = self._starts[:, None, :] + along[None, :, None] * self._runs[:, None, :]
        centre = centre + between(offsets, along)[:, :, None] * self.normals[:, None, :]
        reach = self.normals[:, None, :] * min(float(across[-1]), _LEAST_ROW_PX)
        inside = np.all(
            (np.minimum(centre - reach, centre + reach) >= 0)
            & (np.maximum(centre - reach, centre + reach) <= self._size - 1),
            axis=2,
        )
        shift = (self.normals[:, :, None] * across).astype(np.float32)
        flat = centre.astype(np.float32)
        xs = flat[:, :, 0, None] + shift[:, None, 0]
        ys = flat[:, :, 1, None] + shift[:, None, 1]
        parts = []
        for k, (light, left, top) in enumerate(self._windows):
            own = slice(k * self._grouped, (k + 1) * self._grouped)
            seen = cv2.remap(
                light,
                xs[own].reshape(-1, across.size) - left,
                ys[own].reshape(-1, across.size) - top,
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            )
            parts.append(np.asarray(seen, dtype=np.float32))
        together = parts[0] if len(parts) == 1 else np.concatenate(parts)
        return together.reshape(*xs.shape, -1), inside
