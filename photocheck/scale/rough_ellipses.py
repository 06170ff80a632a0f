"""First guesses at a disc or ball: ellipses around a mark, the likeliest first.

What is drawn on a ball has outlines of its own and breaks those of its regions; but every piece
of the ball's outline looks at its centre.  So centres are voted for along the slopes of the light
(Duda and Hart 1972; Kimme, Ballard and Sklansky 1975), and at each the radii that most of a circle
bears out are taken.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import cv2
import numpy as np

from photocheck.scale.candidates import Window, edge_share, outlines, steepest_across
from photocheck.scale.ellipses import Ellipse, fit_ellipse, holds
from photocheck.scale.light import Floats

LEAST_RATIO: Final = {"disc": 0.45, "ball": 0.80}  # of the ellipse's axes
_EACH: Final = 8  # kept of a window
_VOTERS: Final = 3000
_LEAST_SLOPE: Final = 3.0  # codes per px, of what votes
_CENTRES: Final = 10
_RADIUS_STEP_PX: Final = 2.0
_LEAST_ROUND: Final = 0.35  # of a circle that must be borne out


def rough_ellipses(window: Window, kind: str) -> Iterator[tuple[float, Ellipse, float]]:
    """The best few (score, ellipse in the photo, photo px per window px), the best first."""
    found = []
    for contour in outlines(window):
        for outline in (cv2.convexHull(contour), contour):
            ellipse = fit_ellipse(np.asarray(outline, np.float64).reshape(-1, 2))
            if ellipse is not None:
                found.append(ellipse)
        circle = _circle_in(np.asarray(contour, np.float64).reshape(-1, 2))
        if circle is not None:
            found.append(circle)
    found.extend(_voted(window))
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
    kept: list[Ellipse] = []
    for score, ellipse in scored:
        if any(alike(ellipse, other, 0.5) for other in kept):
            continue
        kept.append(ellipse)
        yield (
            score,
            Ellipse(window.to_photo(ellipse.centre), ellipse.half * window.scale, ellipse.turn),
            window.scale,
        )
        if len(kept) == _EACH:
            return


def alike(one: Ellipse, other: Ellipse, scale: float) -> bool:
    """Whether two ellipses in the photo are one, as far as looks at `scale` photo px tell."""
    near = 2.0 * scale + 0.03 * float(np.mean(one.half))
    sizes = np.abs(np.sort(one.half) - np.sort(other.half))
    return bool(np.hypot(*(one.centre - other.centre)) < near and np.max(sizes) < near)


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
    # as by `numpy.linalg.norm`, which takes three times as long for two numbers
    across, down = contour[:, 0] - centres[:, :1], contour[:, 1] - centres[:, 1:]
    gaps = np.sqrt(across * across + down * down) - radii[:, None]
    # Share of the circle, not of the contour: a large circle must show more of itself.
    share = np.count_nonzero(np.abs(gaps) < 1.5, axis=1) / (2 * np.pi * radii + 20)
    best = int(np.argmax(share))
    if share[best] < 0.25:
        return None
    return Ellipse(centres[best], np.array([radii[best], radii[best]]), 0.0)


def _voted(window: Window) -> list[Ellipse]:
    """Circles around the mark that the slopes of the light vote for."""
    slope = window.slope
    size = np.hypot(slope[..., 0], slope[..., 1])
    rows, columns = np.nonzero(size > _LEAST_SLOPE)
    if len(rows) < 40:
        return []
    strength = size[rows, columns]
    if len(rows) > _VOTERS:
        chosen = np.argpartition(-strength, _VOTERS)[:_VOTERS]
        rows, columns, strength = rows[chosen], columns[chosen], strength[chosen]
    at = np.column_stack([columns, rows]).astype(np.float64)
    way = slope[rows, columns].astype(np.float64) / strength[:, None]
    high, wide = size.shape
    far = np.arange(8.0, 0.6 * max(size.shape), _RADIUS_STEP_PX)
    both = np.concatenate([far, -far])
    x = np.rint(at[:, :1] + way[:, :1] * both)
    y = np.rint(at[:, 1:] + way[:, 1:] * both)
    inside = (x >= 0) & (y >= 0) & (x < wide) & (y < high)
    weight = np.broadcast_to(1.0 / np.sqrt(np.abs(both)), x.shape)[inside]
    cells = (y[inside] * wide + x[inside]).astype(np.intp)  # whole numbers: exact
    votes = np.bincount(cells, weights=weight, minlength=high * wide)
    heap = cv2.GaussianBlur(votes.reshape(high, wide).astype(np.float32), (0, 0), 1.5)
    crest = heap >= cv2.dilate(heap, np.ones((7, 7), np.uint8))
    tops = np.flatnonzero(crest.ravel())
    tops = tops[np.argsort(-heap.ravel()[tops])][:_CENTRES]
    found = []
    for top in tops.tolist():
        centre = np.array([top % wide, top // wide], np.float64)
        run = at - centre
        away = np.hypot(run[:, 0], run[:, 1])
        looks = np.abs(np.sum(run * way, axis=1)) > 0.95 * away
        # A circle is a px or two wide where it is an edge: count places around, not pixels.
        turn = (np.arctan2(run[:, 1], run[:, 0]) / (2 * np.pi) * 48).astype(int) % 48
        reach = int(far[-1]) + 2
        keep = looks & (away < reach)
        seen = np.zeros((reach + 1, 48), bool)
        seen[np.rint(away[keep]).astype(int), turn[keep]] = True
        seen = seen | np.roll(seen, 1, axis=0) | np.roll(seen, -1, axis=0)
        share = seen.mean(axis=1)
        to_mark = float(np.hypot(*(window.mark - centre)))
        for radius in (10 + np.flatnonzero(share[10:reach] > _LEAST_ROUND)).tolist():
            peak = share[radius] >= share[max(radius - 3, 0) : radius + 4].max()
            if peak and radius > to_mark:
                found.append(Ellipse(centre, np.array([radius, radius], np.float64), 0.0))
    return found


def _outline_share(window: Window, ellipse: Ellipse) -> float:
    points, normals = ellipse.points(64)
    share = edge_share(steepest_across(window, points[:, None], normals)[:, 0])
    quarters = share.reshape(4, -1).mean(axis=1)
    seen = float(0.6 * share.mean() + 0.4 * quarters.min())
    return seen * float(np.mean(ellipse.half) ** 0.1)
