"""Edges where a shape's corners should be: an arc on a card, two sides to the very end on a sheet.

A stripe, a picture or a tile has sides as plain as a card's, and corners that are square; what
shines through a gap between things has sides that do not end where they meet.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from photocheck.scale.candidates import Window, edge_share, slope_across
from photocheck.scale.light import Floats

CARD_CORNER_MM: Final = 3.18
"""Radius of a card's corners (ISO/IEC 7810:2019, 2.88 to 3.48 mm)."""
_ARC: Final = np.linspace(0.15, 0.85, 7) * np.pi / 2
_TIP: Final = np.linspace(0.0, 0.5, 4)  # of the radius, from where the sides would meet
_END_MM: Final = 5.0  # of a sheet's side, next to a corner
_END: Final = np.linspace(0.1, 1.0, 6)
_BESIDE_PX: Final = (-1.0, 0.0, 1.0)


def corner_marks(window: Window, corners: Floats, px_per_mm: float, rounded: bool) -> Floats:
    """Edge at corners (4, 2) px of a window as that kind's run, and beyond an arc; 0 to 1, (4, 2).

    The second is how much edge there is where sides would meet that a card's corner cuts off; 0
    for a sheet.
    """
    run = np.roll(corners, -1, axis=0) - corners
    unit = run / np.maximum(np.hypot(*run.T), 1e-9)[:, None]
    back, ahead = -np.roll(unit, 1, axis=0), unit
    across = [np.stack([way[:, 1], -way[:, 0]], axis=1) for way in (back, ahead)]
    if not rounded:
        ends = _END[:, None] * _END_MM * px_per_mm
        both = [
            _edge(window, corners[:, None] + ends * way[:, None], normal[:, None])
            for way, normal in zip((back, ahead), across, strict=True)
        ]
        return np.column_stack([np.minimum(*both), np.zeros(4)])
    radius = CARD_CORNER_MM * px_per_mm
    out = -(np.cos(_ARC)[:, None] * back[:, None] + np.sin(_ARC)[:, None] * ahead[:, None])
    at = (corners + radius * (back + ahead))[:, None] + radius * out
    arc = _edge(window, at, out / np.maximum(np.hypot(*np.moveaxis(out, 2, 0)), 1e-9)[..., None])
    tip = _TIP[:, None] * radius
    tips = [
        _edge(window, corners[:, None] + tip * way[:, None], normal[:, None], (0.0,))
        for way, normal in zip((back, ahead), across, strict=True)
    ]
    return np.column_stack([arc, 0.5 * (tips[0] + tips[1])])


def _edge(
    window: Window, points: Floats, normal: Floats, beside: tuple[float, ...] = _BESIDE_PX
) -> Floats:
    """Mean share of edge at points (4, n, 2) along normals that broadcast to them, (4,)."""
    normal = np.broadcast_to(normal, points.shape)
    best = np.zeros(points.shape[:-1])
    for shift in beside:
        at = points + shift * normal
        slope = slope_across(window, at[..., 0], at[..., 1], normal[..., 0], normal[..., 1])
        best = np.maximum(best, slope)
    return np.asarray(edge_share(best).mean(axis=-1))
