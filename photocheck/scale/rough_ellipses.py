"""First guesses at a disc or ball: ellipses around a mark, the likeliest first."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import cv2
import numpy as np

from photocheck.scale.candidates import Window, edge_share, outlines
from photocheck.scale.ellipses import Ellipse, fit_ellipse, holds
from photocheck.scale.light import Floats

LEAST_RATIO: Final = {"disc": 0.45, "ball": 0.80}  # of the ellipse's axes


def rough_ellipses(window: Window, kind: str) -> Iterator[tuple[float, Ellipse, float]]:
    """Up to five (score, ellipse in the photo, photo px per window px), the best first."""
    found = []
    for contour in outlines(window):
        for outline in (cv2.convexHull(contour), contour):
            ellipse = fit_ellipse(np.asarray(outline, np.float64).reshape(-1, 2))
            if ellipse is not None:
                found.append(ellipse)
        circle = _circle_in(np.asarray(contour, np.float64).reshape(-1, 2))
        if circle is not None:
            found.append(circle)
    found.extend(_hough(window))
    scored = []
    for ellipse in found:
        if np.min(ellipse.half) < 6 or np.max(ellipse.half) > 1.2 * max(window.rgb.shape[:2]):
            continue
        if np.min(ellipse.half) / np.max(ellipse.half) < 0.8 * LEAST_RATIO[kind]:
            continue
        if not holds(ellipse, window.mark):
            continue
        scored.append((_outline_share(window, ellipse), ellipse))
    scored.sort(key=lambda item: -item[0])
    for score, ellipse in scored[:5]:
        yield (
            score,
            Ellipse(window.to_photo(ellipse.centre), ellipse.half * window.scale, ellipse.turn),
            window.scale,
        )


def _circle_in(contour: Floats) -> Ellipse | None:
    """The circle through three points of a contour that has the most of it within 1.5 px."""
    random = np.random.default_rng(0)
    pick = contour[random.integers(0, len(contour), (120, 3))]
    one, other = pick[:, 1] - pick[:, 0], pick[:, 2] - pick[:, 0]
    cross = 2 * (one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0])
    pick, one, other, cross = (item[np.abs(cross) > 20] for item in (pick, one, other, cross))
    if len(cross) == 0:
        return None
    first, second = np.sum(one**2, axis=1), np.sum(other**2, axis=1)
    x = (other[:, 1] * first - one[:, 1] * second) / cross
    y = (one[:, 0] * second - other[:, 0] * first) / cross
    centres, radii = pick[:, 0] + np.column_stack([x, y]), np.hypot(x, y)
    gaps = np.linalg.norm(contour[None] - centres[:, None], axis=2) - radii[:, None]
    # Share of the circle, not of the contour: a large circle must show more of itself.
    share = np.count_nonzero(np.abs(gaps) < 1.5, axis=1) / (2 * np.pi * radii + 20)
    best = int(np.argmax(share))
    if share[best] < 0.25:
        return None
    return Ellipse(centres[best], np.array([radii[best], radii[best]]), 0.0)


def _hough(window: Window) -> list[Ellipse]:
    """Circles around the mark: they need no closed outline, so hands and print matter less."""
    found = []
    for plane in (cv2.cvtColor(window.rgb, cv2.COLOR_RGB2GRAY), window.lab[:, :, 2]):
        circles = cv2.HoughCircles(
            np.ascontiguousarray(plane),
            cv2.HOUGH_GRADIENT,
            dp=1.5,
            minDist=8,
            param1=80,
            param2=18,
            minRadius=10,
            maxRadius=max(window.rgb.shape[:2]) // 2,
        )
        if circles is None:
            continue
        for x, y, radius in np.asarray(circles, np.float64).reshape(-1, 3)[:12]:
            found.append(Ellipse(np.array([x, y]), np.array([radius, radius]), 0.0))
    return found


def _outline_share(window: Window, ellipse: Ellipse) -> float:
    points, normals = ellipse.points(64)
    height, width = window.rgb.shape[:2]
    best = np.zeros(len(points))
    for shift in (-1.5, 0.0, 1.5):
        at = np.rint(points + shift * normals).astype(int)
        valid = (at[:, 0] >= 0) & (at[:, 1] >= 0) & (at[:, 0] < width) & (at[:, 1] < height)
        slope = window.slope[np.clip(at[:, 1], 0, height - 1), np.clip(at[:, 0], 0, width - 1)]
        best = np.maximum(best, np.where(valid, np.abs(np.sum(slope * normals, axis=1)), 0.0))
    share = edge_share(best)
    quarters = share.reshape(4, -1).mean(axis=1)
    seen = float(0.6 * share.mean() + 0.4 * quarters.min())
    return seen * float(np.mean(ellipse.half) ** 0.1)
