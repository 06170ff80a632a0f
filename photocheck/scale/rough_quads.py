"""First guesses at a card or sheet: four-sided shapes around a mark, the likeliest first."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.scale.candidates import (
    Window,
    edge_share,
    outlines,
    steepest_across,
    straight_lines,
)
from photocheck.scale.catalogue import ReferenceObject
from photocheck.scale.corners import orders_of_corners
from photocheck.scale.light import Floats
from photocheck.scale.shapes import shapes

MOST_OBLIQUE: Final = np.deg2rad(62.0)
_ROUGH_PX: Final = 2.0
_ROUGH_SHARE: Final = 0.03
_ROUGH_MISFIT: Final = 12.0
"""Of a rough quad with those doubts, beyond which it is not fitted: those of the right ones in
photographs were 0 to 1.1, and a third of all have more."""
_GROWN_FROM: Final = 4
_GROW_MOST: Final = 0.9  # of the side that grows: a band may leave little more than half a card


def rough_quads(window: Window, kind: ReferenceObject, most: int) -> list[tuple[float, Floats]]:
    """The best few rough quads of one window that may be of that kind, (score, corners in px).

    Some are others grown, which need not be of its shape themselves: see `_grown`.
    """
    quads = [quad for contour in outlines(window) for quad in _quads_of(contour)]
    quads.extend(_quads_of_lines(window, kind))
    found = _scored(window, kind, quads)
    from_these = _best([item for item, _ in found], _GROWN_FROM)
    grown = list(_grown(window, np.array([quad for _, quad in from_these])))
    found.extend(_scored(window, kind, grown))
    return _best([item for item, may_be in found if may_be], most + len(grown) // 2)


def _scored(
    window: Window, kind: ReferenceObject, quads: list[Floats]
) -> list[tuple[tuple[float, Floats], bool]]:
    """Those around the mark that are not too oblique, with scores; and which may be of that kind.

    Rough ones are off by what they are; the others would be fitted only to be found of another
    shape.
    """
    if not quads:
        return []
    ordered = orders_of_corners(np.array(quads))
    run = np.roll(ordered, -1, axis=1) - ordered
    before = np.roll(run, 1, axis=1)
    lengths = np.hypot(run[..., 0], run[..., 1])
    to = window.mark - ordered
    fit = np.min(lengths, axis=1) >= 10
    fit &= np.all(before[..., 0] * run[..., 1] - before[..., 1] * run[..., 0] > 0, axis=1)
    fit &= np.all(run[..., 0] * to[..., 1] - run[..., 1] * to[..., 0] > 0, axis=1)
    corners = ordered[fit]
    if len(corners) == 0:
        return []
    spread = np.hypot(_ROUGH_PX, _ROUGH_SHARE * np.max(lengths[fit], axis=1))
    judged = shapes(corners, kind.size_mm, window.rgb.shape, spread)
    scores = _edge_scores(window, corners) * np.cos(judged.tilt) ** 0.5
    return [
        ((float(score), quad), bool(misfit < _ROUGH_MISFIT))
        for score, quad, tilt, misfit in zip(
            scores, corners, judged.tilt, judged.misfit, strict=True
        )
        if tilt < MOST_OBLIQUE
    ]


def _best(scored: list[tuple[float, Floats]], most: int) -> list[tuple[float, Floats]]:
    best: list[tuple[float, Floats]] = []
    kept = np.full((most, 4, 2), np.inf)
    for score, quad in sorted(scored, key=lambda item: -item[0]):
        if np.all(np.abs(quad - kept[: len(best)]).max(axis=(1, 2)) > 4):
            kept[len(best)] = quad
            best.append((score, quad))
        if len(best) == most:
            break
    return best


def _grown(window: Window, quads: Floats) -> Iterator[Floats]:
    """Quads (n, 4, 2) with one side moved outward to where its two neighbours, drawn on, end.

    The edge of a stripe across a card is as sharp as the card's own; but the card's other
    sides go on past it.
    """
    if len(quads) == 0:
        return
    for k in range(4):
        back, here, there, ahead = (
            np.roll(quads, -j, axis=1)[:, 0] for j in (k - 1, k, k + 1, k + 2)
        )
        one, other = here - back, there - ahead
        reach = np.maximum(np.hypot(*one.T), np.hypot(*other.T)).max()
        parts = np.arange(4.0, _GROW_MOST * reach, 2.0) / reach
        if parts.size < 3:
            continue
        new_here = here[:, None] + parts[None, :, None] * one[:, None]
        new_there = there[:, None] + parts[None, :, None] * other[:, None]
        far = _edge_along(window, new_here, new_there, 0.1, 25)
        # What was added of the two neighbours, step by step.
        sides = [
            _edge_along(window, start[:, :-1], start[:, 1:], 0.0, 2)
            for start in (
                np.concatenate([here[:, None], new_here], axis=1),
                np.concatenate([there[:, None], new_there], axis=1),
            )
        ]
        count = np.arange(1, parts.size + 1)
        along = np.minimum(*(np.cumsum(side, axis=1) / count for side in sides))
        worth = np.where((far > 0.3) & (along > 0.4), far * along, 0.0)
        for n in range(len(quads)):
            peaks = [
                j
                for j in range(parts.size)
                if worth[n, j] > 0 and worth[n, j] == worth[n, max(j - 2, 0) : j + 3].max()
            ]
            for j in sorted(peaks, key=lambda j: -worth[n, j])[:2]:
                quad = quads[n].copy()
                quad[k], quad[(k + 1) % 4] = new_here[n, j], new_there[n, j]
                yield quad


def _edge_along(window: Window, start: Floats, end: Floats, trim: float, count: int) -> Floats:
    """Mean share of edge, 0 to 1, along lines from (..., 2) to (..., 2)."""
    steps = np.linspace(trim, 1 - trim, count)
    run = end - start
    normal = np.stack([run[..., 1], -run[..., 0]], axis=-1)
    normal = normal / np.maximum(np.hypot(run[..., 0], run[..., 1]), 1e-9)[..., None]
    points = start[..., None, :] + steps[:, None] * run[..., None, :]
    return np.asarray(np.mean(edge_share(steepest_across(window, points, normal)), axis=-1))


def _quads_of(contour: NDArray[np.int32]) -> Iterator[Floats]:
    hull = cv2.convexHull(contour)
    around = cv2.arcLength(hull, True)
    for share in (0.02, 0.035, 0.05, 0.07, 0.1):
        corners = cv2.approxPolyDP(hull, share * around, True)
        if len(corners) == 4:
            yield np.asarray(corners, np.float64).reshape(4, 2)
            break
    yield np.asarray(cv2.boxPoints(cv2.minAreaRect(hull)), np.float64)


def _quads_of_lines(window: Window, kind: ReferenceObject) -> Iterator[Floats]:
    """Quads whose sides are long straight edges around the mark."""
    lines = straight_lines(window, 20)
    if len(lines) < 4:
        return
    lines = lines[np.argsort(lines[:, 0])]
    picks = np.array(list(combinations(range(len(lines)), 4)))
    angles, far = lines[picks, 0], lines[picks, 1]
    gaps = np.diff(np.column_stack([angles, angles[:, 0] + 2 * np.pi]), axis=1)
    fits = np.all((gaps > np.deg2rad(55)) & (gaps < np.deg2rad(125)), axis=1)
    angles, far = angles[fits], far[fits]
    if len(angles) == 0:
        return
    following = np.roll(angles, -1, axis=1), np.roll(far, -1, axis=1)
    sine = np.sin(following[0] - angles)
    x = (far * np.sin(following[0]) - following[1] * np.sin(angles)) / sine
    y = (following[1] * np.cos(angles) - far * np.cos(following[0])) / sine
    corners = np.stack([x, y], axis=2) + window.mark
    low, high = -3.0, np.array(window.rgb.shape[1::-1]) + 2.0
    inside = np.all((corners > low) & (corners < high), axis=(1, 2))
    sides = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    inside &= np.min(sides, axis=1) > 10
    across = (sides[:, 0] + sides[:, 2]) / (sides[:, 1] + sides[:, 3])
    ratio = (kind.width_mm or 1.0) / (kind.height_mm or 1.0)
    off = np.minimum(np.abs(np.log(across / ratio)), np.abs(np.log(across * ratio)))
    inside &= off < np.log(2.0)
    corners, off = corners[inside], off[inside]
    if len(corners) == 0:
        return
    score = _edge_scores(window, corners) * np.exp(-0.5 * off)
    for index in np.argsort(-score)[:6]:
        yield corners[index]


def _edge_scores(window: Window, corners: Floats) -> Floats:
    """How much of each quad's outline (n, 4, 2) is edge: 0..1, the worst sides counting more."""
    steps = np.linspace(0.1, 0.9, 25)
    run = np.roll(corners, -1, axis=1) - corners
    points = corners[:, :, None, :] + steps[None, None, :, None] * run[:, :, None, :]
    length = np.maximum(np.linalg.norm(run, axis=2), 1e-9)
    normal = np.stack([run[:, :, 1], -run[:, :, 0]], axis=2) / length[:, :, None]
    height, width = window.rgb.shape[:2]
    slopes = window.slope.reshape(-1, 2)
    best = np.zeros(points.shape[:3])
    for shift in (-1.5, 0.0, 1.5):
        at = points + shift * normal[:, :, None, :]
        column = np.clip(np.rint(at[..., 0]).astype(int), 0, width - 1)
        row = np.clip(np.rint(at[..., 1]).astype(int), 0, height - 1)
        slope = slopes.take(row * width + column, axis=0)
        best = np.maximum(best, np.abs(np.sum(slope * normal[:, :, None, :], axis=3)))
    share = np.mean(edge_share(best), axis=2)
    size = np.sqrt(np.mean(length, axis=1))
    return np.asarray((0.5 * np.mean(share, axis=1) + 0.5 * np.min(share, axis=1)) * size**0.1)
