"""The cut that agrees best with what every pixel says and runs along edges.

The shortest outline weighed by edges, as a convex problem that has one answer (Chan,
Esedoglu and Nikolova 2006, SIAM Journal on Applied Mathematics 66: 1632-1648), by the
primal-dual steps of Chambolle and Pock (2011, Journal of Mathematical Imaging and Vision
40: 120-145); both from memory.
"""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

Map = NDArray[np.float32]

SPEAKS: Final = 0.4
"""What a pixel's odds count against a pixel's length of outline; twice that changed little."""
STEP: Final = 0.35
"""Step of both updates; their product must stay below 1/8, the gradient's squared norm."""
FREE: Final = 0.05
"""Price of the outline along the sharpest edge; 1 where there is none."""


def edges(lab: Map) -> Map:
    """What outline costs at each pixel, `FREE` to 1, (h, w): little where colours change.

    Parameters
    ----------
    lab : (h, w, 3) float32
        CIE L, a, b.
    """
    soft = cv2.GaussianBlur(lab, (0, 0), 0.8)
    change = np.zeros(lab.shape[:2], np.float32)
    change[:, :-1] += np.sum((soft[:, 1:] - soft[:, :-1]) ** 2, axis=-1)
    change[:-1] += np.sum((soft[1:] - soft[:-1]) ** 2, axis=-1)
    mean = max(float(change.mean()), 1e-6)
    return np.asarray(FREE + (1.0 - FREE) * np.exp(-change / (2.0 * mean)), np.float32)


def cut(odds: Map, price: Map, start: Map, steps: int) -> Map:
    """How surely each pixel lies inside, 0 to 1, (h, w); the outline is its half.

    Parameters
    ----------
    odds : (h, w) float32
        ln of the odds for the dog.
    price : (h, w) float32
        See `edges`.
    start : (h, w) float32
        Where to begin.
    steps : int
    """
    push = (-SPEAKS * odds).astype(np.float32)
    inside, lead = start.copy(), start.copy()
    across, along = np.zeros_like(start), np.zeros_like(start)
    for _ in range(steps):
        across[:, :-1] += STEP * (lead[:, 1:] - lead[:, :-1])
        along[:-1] += STEP * (lead[1:] - lead[:-1])
        over = np.maximum(np.sqrt(across * across + along * along) / price, 1.0)
        across /= over
        along /= over
        flow = across + along
        flow[:, 1:] -= across[:, :-1]
        flow[1:] -= along[:-1]
        new = np.clip(inside + STEP * (flow - push), 0.0, 1.0).astype(np.float32)
        lead = 2.0 * new - inside
        inside = new
    return inside
