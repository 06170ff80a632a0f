"""Edges that run along a shape's sides outside of it: a printed frame has its sheet around it.

What is printed has sides as plain as the paper's own, and where the paper curls its own are harder
to see.  But beyond each side of what is printed runs another edge, about as long and nearly along
it; beyond the sides of a sheet on a floor there is one by chance, and rarely on all of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from photocheck.scale.candidates import Window, edge_share, slope_across
from photocheck.scale.corners import sides_from
from photocheck.scale.light import Floats

_LOOK_FROM: Final = 0.3  # of all four sides, from which on shapes around are tried
_ALL_FROM: Final = 0.2  # of one side, to be moved with all others
_ALONE_FROM: Final = 0.45  # to be moved while others stay
_DOUBT_FROM: Final = 0.42  # of all four sides, from which on one of them may be the true one
_SHARE: Final = 0.5  # of how far the other edge is: what a doubtful side may be off by
_PARTS: Final = 16  # places along a side
_FROM_PX: Final = 4.0
_STEP_PX: Final = 2.0
_STEPS: Final = 40
_MOST: Final = 0.6  # of how far the opposite side is
_TURNS: Final = (0, -1, 1, -2, 2)  # steps by which either end may be farther out than the middle
_BENDS: Final = (0, -1, 1)  # and the middle than the ends: paper curls


@dataclass(frozen=True)
class Beyond:
    """What runs beyond the sides of one shape.

    Attributes
    ----------
    plain : (4,) float
        How much more edge there is along the plainest line beyond each side than beyond it
        everywhere, 0 to 1.
    out_px : (4, 2) float
        How far out that line is at the side's first and second corner, window px.
    """

    plain: Floats
    out_px: Floats

    @property
    def off_px(self) -> Floats:
        """How far each side may be off for them, sd (4,) window px; 0 unless most have one."""
        if float(self.plain.mean()) < _DOUBT_FROM:
            return np.zeros(4)
        return np.asarray(
            np.where(self.plain > _DOUBT_FROM, _SHARE * self.out_px.mean(axis=1), 0.0)
        )


def edges_beyond(window: Window, corners: Floats, bows: Floats) -> Beyond:
    """What runs beyond the sides of corners (4, 2) px of a window, their middles off by bows."""
    run = np.roll(corners, -1, axis=0) - corners
    length = np.maximum(np.hypot(run[:, 0], run[:, 1]), 1e-9)
    normal = run[:, ::-1] * [1.0, -1.0] / length[:, None]
    part = (np.arange(_PARTS) + 0.5) / _PARTS
    far = _FROM_PX + _STEP_PX * np.arange(_STEPS)
    out = far[:, None] + bows[:, None, None] * (4.0 * part * (1.0 - part))
    at = corners[:, None, None] + part[:, None] * run[:, None, None]
    at = at + out[..., None] * normal[:, None, None]
    nx, ny = (np.broadcast_to(normal[:, None, None, k], out.shape) for k in (0, 1))
    share = edge_share(slope_across(window, at[..., 0], at[..., 1], nx, ny))
    wide = np.minimum(np.roll(length, 1), np.roll(length, -1))
    share = np.where((far < _MOST * wide[:, None])[..., None], share, 0.0)
    share[:, 1:] = np.maximum(share[:, 1:], share[:, :-1])  # between two steps
    plain, ends = np.zeros(4), np.zeros((4, 2))
    steps, places = np.arange(_STEPS), np.arange(_PARTS)
    for turn in _TURNS:
        for bend in _BENDS:
            shift = turn * (2 * part - 1) + bend * 4 * part * (1 - part)
            path = np.clip(steps[:, None] + np.rint(shift).astype(np.intp), 0, _STEPS - 1)
            seen = share[:, path, places].mean(axis=2)
            best = np.argmax(seen, axis=1)
            more = seen[np.arange(4), best] > plain
            plain = np.where(more, seen[np.arange(4), best], plain)
            here = far[best, None] + _STEP_PX * turn * np.array([-1.0, 1.0])
            ends = np.where(more[:, None], here, ends)
    level = share.mean(axis=(1, 2))
    return Beyond(np.clip(plain - level, 0.0, 1.0), np.maximum(ends, 0.0))


def shapes_around(corners: Floats, beyond: Beyond) -> Floats:
    """Rough shapes (n, 4, 2) px whose sides are lines beyond those of corners (4, 2), or these."""
    if float(beyond.plain.mean()) < _LOOK_FROM:
        return np.zeros((0, 4, 2))
    made: list[Floats] = []
    ways: list[tuple[bool, ...]] = []
    for least in (_ALL_FROM, _ALONE_FROM):
        moved = tuple(bool(one) for one in beyond.plain > least)
        if sum(moved) < 2 or moved in ways:
            continue
        ways.append(moved)
        quad = _moved(corners, np.where(np.array(moved)[:, None], beyond.out_px, 0.0))
        if quad is not None:
            made.append(quad)
    return np.array(made).reshape(-1, 4, 2)


def _moved(corners: Floats, out_px: Floats) -> Floats | None:
    """Where sides moved out by (4, 2) px at their ends meet, (4, 2); None where two do not."""
    ends = np.roll(corners, -1, axis=0)
    _, normal = sides_from(corners)
    starts = corners + out_px[:, :1] * normal
    runs = ends + out_px[:, 1:] * normal - starts
    met = []
    for k in range(4):
        start, along, other = starts[k - 1], runs[k - 1], runs[k]
        cross = float(along[0] * other[1] - along[1] * other[0])
        if abs(cross) < 0.1 * float(np.hypot(*along) * np.hypot(*other)):
            return None
        gap = starts[k] - start
        met.append(start + float(gap[0] * other[1] - gap[1] * other[0]) / cross * along)
    return np.array(met)
