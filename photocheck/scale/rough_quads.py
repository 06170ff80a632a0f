"""First guesses at a card or sheet: four-sided shapes around a mark, the likeliest first."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.scale.candidates import Window, edge_share, outlines, straight_lines
from photocheck.scale.catalogue import ReferenceObject
from photocheck.scale.corners import contains, corner_turns, corners_mm, order_corners
from photocheck.scale.light import Floats

MOST_OBLIQUE: Final = np.deg2rad(62.0)


def rough_quads(window: Window, kind: ReferenceObject) -> list[tuple[float, Floats]]:
    """The best few rough quads of one window, (score, corners in window px)."""
    quads = [quad for contour in outlines(window) for quad in _quads_of(contour)]
    quads.extend(_quads_of_lines(window, kind))
    scored = []
    for quad in quads:
        ordered = order_corners(quad)
        sides = np.hypot(*(np.roll(ordered, -1, axis=0) - ordered).T)
        if float(np.min(sides)) < 10 or not np.all(corner_turns(ordered) > 0):
            continue
        if not contains(ordered, window.mark):
            continue
        _, angle, _ = corners_mm(kind, ordered)
        if angle > MOST_OBLIQUE:
            continue
        scored.append((_edge_score(window, ordered) * float(np.cos(angle)) ** 0.5, ordered))
    scored.sort(key=lambda item: -item[0])
    best: list[tuple[float, Floats]] = []
    for score, quad in scored:
        if all(np.max(np.abs(quad - other)) > 4 for _, other in best):
            best.append((score, quad))
        if len(best) == 4:
            break
    return best


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


def _edge_score(window: Window, corners: Floats) -> float:
    return float(_edge_scores(window, corners[None])[0])


def _edge_scores(window: Window, corners: Floats) -> Floats:
    """How much of each quad's outline (n, 4, 2) is edge: 0..1, the worst sides counting more."""
    steps = np.linspace(0.1, 0.9, 25)
    run = np.roll(corners, -1, axis=1) - corners
    points = corners[:, :, None, :] + steps[None, None, :, None] * run[:, :, None, :]
    length = np.maximum(np.linalg.norm(run, axis=2), 1e-9)
    normal = np.stack([run[:, :, 1], -run[:, :, 0]], axis=2) / length[:, :, None]
    height, width = window.rgb.shape[:2]
    best = np.zeros(points.shape[:3])
    for shift in (-1.5, 0.0, 1.5):
        at = points + shift * normal[:, :, None, :]
        column = np.clip(np.rint(at[..., 0]).astype(int), 0, width - 1)
        row = np.clip(np.rint(at[..., 1]).astype(int), 0, height - 1)
        slope = window.slope[row, column]
        best = np.maximum(best, np.abs(np.sum(slope * normal[:, :, None, :], axis=3)))
    share = np.mean(edge_share(best), axis=2)
    size = np.sqrt(np.mean(length, axis=1))
    return np.asarray((0.5 * np.mean(share, axis=1) + 0.5 * np.min(share, axis=1)) * size**0.1)
