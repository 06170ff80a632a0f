"""Straight lines through many sides' points at once, of which up to half may be wrong."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.numerics import median
from photocheck.scale.light import Floats

_PAIRS: Final = 100  # of blocks, to draw first lines through


def normal_matrix(weights: Floats | NDArray[np.bool_], along: Floats) -> tuple[Floats, ...]:
    """The three numbers, (S,) each, of the 2 x 2 normal matrices of lines' two ends.

    One corner, the one off the diagonal, the other corner; `weights` is (S, n).
    """
    near, far = 1 - along, along
    return weights @ (near * near), weights @ (near * far), weights @ (far * far)


def between(offsets: Floats, along: Floats) -> Floats:
    """Offsets (..., 2) at start and end, drawn straight: (..., n) at the fractions `along`."""
    return offsets[..., :1] * (1 - along) + offsets[..., 1:] * along


@lru_cache(maxsize=64)
def _pairs(blocks: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Pairs of blocks a good way apart, to draw first lines through; a fixed choice of them.

    With half the blocks wrong, a quarter of any hundred pairs is still right.
    """
    first, second = np.triu_indices(blocks, k=1)
    apart = second - first > 0.3 * (blocks - 1)
    first, second = first[apart], second[apart]
    order = np.random.default_rng(0).permutation(first.size)[:_PAIRS]
    return first[order], second[order]


def robust_lines(along: Floats, found: Floats) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Lines through (along (n,), found (S, n), nan where nothing was) by Tukey's biweight.

    Returns offsets (S, 2), weights (S, n) and whether there is a line (S,).
    """
    seen = np.isfinite(found)
    # Least median of squares over pairs a good way apart: up to half may be wrong.  Not even
    # a line fitted just before is as good a start: one led astray would stay there.
    first, second = _pairs(along.size)
    slope = (found[:, second] - found[:, first]) / (along[second] - along[first])
    level = found[:, first] - slope * along[first]
    tried = np.stack([level, level + slope], axis=2)
    misses = median(np.abs(found[:, None, :] - between(tried, along)))
    best = np.argmin(np.where(np.isfinite(misses), misses, np.inf), axis=1)
    index = np.arange(len(found))
    now, middle = tried[index, best], misses[index, best]
    valid = (np.count_nonzero(seen, axis=1) >= 3) & np.isfinite(middle)
    scale = 4.685 * np.maximum(1.4826 * np.where(valid, middle, 1.0), 0.05)[:, None]
    now = np.where(valid[:, None], now, 0.0)
    filled = np.where(seen, found, 0.0)
    ends = np.column_stack([1 - along, along])
    weights = np.zeros(found.shape)
    for _ in range(8):
        miss = (filled - between(now, along)) / scale
        weights = np.where(seen, np.maximum(1 - miss**2, 0.0) ** 2, 0.0)
        a, b, c = normal_matrix(weights, along)
        u, v = ((weights * filled) @ ends).T
        valid = valid & (np.count_nonzero(weights > 0.1, axis=1) >= 3)
        below = np.where(valid, a * c - b * b, 1.0)
        new = np.column_stack([c * u - b * v, a * v - b * u]) / below[:, None]
        new = np.where(valid[:, None], new, now)
        moved = np.max(np.abs(new - now))
        now = new
        if moved < 1e-4:
            break
    return now, weights, valid
