"""Corners of markers as one plane: the growth of black taken off, contradicting ones dropped."""

from __future__ import annotations

from typing import Final

import numpy as np

from photocheck.scale.light import Floats
from photocheck.scale.marker_detection import places_mm
from photocheck.scale.planes import fit_homography, jacobian, project

_SPREAD_FLOOR_PX: Final = 0.10
"""Judgement: simulated pictures do better, paper that is not quite flat does not."""


def paired(found: dict[tuple[int, int], Floats]) -> tuple[Floats, Floats]:
    """Corners by place and number as matching (N, 2) mm and px, in order of their keys."""
    keys = sorted(found)
    source = np.array([places_mm(place)[k] for place, k in keys])
    return source, np.array([found[key] for key in keys])


def settled(
    found: dict[tuple[int, int], Floats],
) -> tuple[Floats, Floats, float, set[int]] | None:
    """Drop corners that contradict the rest, take off the growth of black, estimate spread."""
    keys = sorted(found)
    while True:
        kept = {key: found[key] for key in keys}
        places = {place for place, _ in keys}
        if len(keys) < 6 or len(places) < 2:
            return None
        source, target = paired(kept)
        outward = np.array([np.sign(places_mm(p)[k] - places_mm(p).mean(axis=0)) for p, k in keys])
        fitted = fit_with_growth(source, target, outward)
        if fitted is None:
            return None
        matrix, growth_mm, base = fitted
        corrected = target - (
            project(matrix, source + growth_mm * outward) - project(matrix, source)
        )
        miss = corrected - project(matrix, source)
        wrong = _contradicting(keys, miss, base)
        if wrong and len(keys) - len(wrong) >= 7:
            keys = [key for i, key in enumerate(keys) if i not in wrong]
            continue
        free = 2 * len(keys) - 9  # of six corners at least
        spread = float(np.sqrt(np.sum(miss**2) / free))
        return source, corrected, max(spread, _SPREAD_FLOOR_PX), places


def _contradicting(keys: list[tuple[int, int]], miss: Floats, base: Floats) -> tuple[int, ...]:
    """The corner, or the two corners of one side, without which the fit is far better.

    Parameters
    ----------
    keys : (place, corner number) of each corner
    miss : (N, 2) float
        Residuals, px.
    base : (2 N, 9) float
        Orthonormal columns; ``base @ base.T`` is the hat matrix.

    A thing lying over a marker spoils a side's line and so both its corners.
    Deletion is judged by an F ratio of 25 with at least 0.25 px to be gained
    (judgement: at 2 and 21 degrees of freedom chance gives that ratio once in 10^5).
    """
    index = {key: i for i, key in enumerate(keys)}
    singles = [(i,) for i in range(len(keys))]
    sides = [
        (i, index[place, (k + 1) % 4])
        for (place, k), i in index.items()
        if (place, (k + 1) % 4) in index
    ]
    total = float(np.sum(miss**2))
    best: tuple[int, ...] = ()
    best_ratio = 25.0
    for group in (*singles, *sides):
        rows = np.array([2 * i + axis for i in group for axis in (0, 1)])
        part = miss[list(group)].ravel()
        hat = base[rows] @ base[rows].T
        deleted = np.linalg.solve(np.eye(rows.size) * (1 + 1e-9) - hat, part)
        drop = float(part @ deleted)
        free = max(2 * len(miss) - 9 - rows.size, 1)
        ratio = (drop / rows.size) / (max(total - drop, 1e-12) / free)
        large = float(np.max(np.hypot(*deleted.reshape(-1, 2).T))) > 0.25
        if large and ratio > best_ratio:
            best, best_ratio = group, ratio
    return best


def fit_with_growth(
    source: Floats, target: Floats, outward: Floats
) -> tuple[Floats, float, Floats] | None:
    """Homography and common growth (mm) of black: target = H(source + growth * outward).

    The third is `_contradicting`'s `base`.

    Gauss-Newton on the nine numbers, from the plain homography; the growth is
    held near 0 by half a pixel, so that two small markers cannot run away with it.
    """
    start = fit_homography(source, target)
    if start is None:
        return None
    growth = 0.0
    matrix = start / start[2, 2]
    rows, size = np.zeros((2 * len(source) + 1, 9)), np.ones(9)
    scale = float(np.sqrt(abs(np.linalg.det(jacobian(matrix, source.mean(axis=0))))))
    for _ in range(6):
        moved = source + growth * outward
        ones = np.column_stack([moved, np.ones(len(moved))])
        down = ones @ matrix[2]
        now = (ones @ matrix[:2].T) / down[:, None]
        rows = np.zeros_like(rows)
        left = np.zeros(2 * len(moved) + 1)
        rows[0:-1:2, 0:3] = ones / down[:, None]
        rows[1:-1:2, 3:6] = ones / down[:, None]
        rows[0:-1:2, 6:8] = -now[:, :1] * moved / down[:, None]
        rows[1:-1:2, 6:8] = -now[:, 1:] * moved / down[:, None]
        slope = np.array([jacobian(matrix, point) for point in moved])
        rows[:-1, 8] = np.einsum("nij,nj->ni", slope, outward).ravel()
        left[:-1] = (target - now).ravel()
        rows[-1, 8] = 0.2 * scale  # residuals of about 0.1 px against a prior of 0.5 px
        left[-1] = -0.2 * scale * growth
        size = np.linalg.norm(rows, axis=0)
        step = np.linalg.lstsq(rows / size, left, rcond=None)[0] / size
        matrix = matrix + np.append(step[:8], 0.0).reshape(3, 3)
        growth += float(step[8])
        if float(np.max(np.abs(step * size))) < 1e-6:
            break
    if not np.all(np.isfinite(matrix)):
        return None
    return matrix, growth, np.asarray(np.linalg.qr(rows / size)[0][:-1])
