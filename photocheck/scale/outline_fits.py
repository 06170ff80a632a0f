"""Ellipses fitted to the light around rough ones: edge points along their normals that agree."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.numerics import median
from photocheck.scale.ellipses import Ellipse, distances, distances_from, fit_circle, fit_ellipse
from photocheck.scale.light import (
    Floats,
    Halved,
    Picture,
    gradient_across,
    one_channel,
    peak_position,
    sample_rows,
)

_RAYS: Final = 120
_POINTS: Final = 48  # handed on; more would pretend to be independent
_ON_OUTLINE_PX: Final = 0.8  # pure noise puts a third of the rays this near
_FINE_HALF_PX: Final = 130.0
"""Half the size outlines are fitted at.  Larger ones are shrunk to it or to no less than half of
it: a tenth of a px is then a thousandth, and felt, grain and relief are as narrow as an edge."""

_TURNS: Final = 72
_GROW_LEAST: Final = 1.03
_GROW_MOST: Final = 1.7
_GROW_SEEN: Final = 0.4  # of the way around
_LEAST_CODES: Final = 2.0  # per px, of an edge
_RINGS: Final = 3
_ONE_RING: Final = 4  # steps of half a px


@dataclass(frozen=True)
class OutlineFit:
    """An ellipse through edge points.

    Attributes
    ----------
    ellipse : Ellipse
    points : (n, 2) float
        On the outline, px, at most 48.
    support : float
        Share of the way around that lies on it, 0 to 1.
    scatter_px : float
        Of the points across it, px.
    steepness : float
        Slope of the light, per px it was fitted at.
    contrast : float
        As of `photocheck.scale.light.one_channel`.
    score : float
        Higher is better; comparable within one picture.
    """

    ellipse: Ellipse
    points: Floats
    support: float
    scatter_px: float
    steepness: float
    contrast: float
    score: float


def _level(half_px: float) -> int:
    """How often to halve for something of half that size, px."""
    return max(int(np.ceil(np.log2(max(half_px, 1.0) / _FINE_HALF_PX))), 0)


def fitted_outline(
    pictures: Halved, ellipse: Ellipse, reach_px: float, kind: str
) -> OutlineFit | None:
    """The outline within `reach_px` of a rough ellipse, px of the photo; None where there is none.

    A ball is a circle but for perspective, so its first passes fit one: that keeps to
    the outline where shade or a shadow would pull an ellipse off it.
    """
    level = _level(float(np.max(ellipse.half)))
    picture, scale = pictures.at(level), float(2**level)
    ellipse = Ellipse((ellipse.centre + 0.5) / scale - 0.5, ellipse.half / scale, ellipse.turn)
    reach_px = max(reach_px / scale, 2.5)
    fit: OutlineFit | None = None
    for step, reach in enumerate((reach_px, min(reach_px, 4.0), 2.5)):
        fit = _one_pass(picture, ellipse, reach, kind == "ball" and step < 2)
        if fit is None:
            return None
        ellipse = fit.ellipse
    if fit is None or level == 0:
        return fit
    full = Ellipse((ellipse.centre + 0.5) * scale - 0.5, ellipse.half * scale, ellipse.turn)
    return replace(
        fit,
        ellipse=full,
        points=(fit.points + 0.5) * scale - 0.5,
        scatter_px=fit.scatter_px * scale,
        score=fit.score * scale**0.3,
    )


def larger_ones(pictures: Halved, ellipse: Ellipse) -> list[Ellipse]:
    """Up to three ellipses of one's shape around it, at which much of the way around is edge.

    A coin's core, its rim and its edge lie in one plane, so that they are seen alike.
    """
    level = _level(float(np.max(ellipse.half)) * _GROW_MOST)
    picture, scale = pictures.at(level), float(2**level)
    centre = (ellipse.centre + 0.5) / scale - 0.5
    points, _ = Ellipse(centre, ellipse.half / scale, ellipse.turn).points(_TURNS)
    run = points - centre
    step = 0.5 / float(np.mean(ellipse.half) / scale)
    grown = np.arange(1.0 - 6 * step, _GROW_MOST + 6 * step, step)
    at = centre + grown[None, :, None] * run[:, None, :]
    codes = cv2.remap(
        picture, at[..., 0].astype(np.float32), at[..., 1].astype(np.float32),
        cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    slope = _any_colour(np.asarray(codes, np.float32).reshape(*at.shape[:2], -1))
    crest = (slope >= cv2.dilate(slope, np.ones((1, 5)))) & (slope > _LEAST_CODES)
    share = np.convolve(crest.mean(axis=0), np.ones(5), "same")
    peaks = [
        k
        for k in range(6, len(grown) - 6)
        if grown[k] > _GROW_LEAST
        and share[k] > _GROW_SEEN
        and share[k] == share[max(k - _ONE_RING, 0) : k + _ONE_RING + 1].max()
    ]
    peaks.sort(key=lambda k: -share[k])
    # Steps side by side see the same crests and tie: they are one ring.
    rings: list[int] = []
    for k in peaks:
        if len(rings) < _RINGS and all(abs(k - other) > _ONE_RING for other in rings):
            rings.append(k)
    return [Ellipse(ellipse.centre, ellipse.half * grown[k], ellipse.turn) for k in rings]


def _one_pass(
    picture: Picture, ellipse: Ellipse, reach_px: float, round_only: bool
) -> OutlineFit | None:
    rays = int(np.clip(2 * np.pi * np.mean(ellipse.half) / 2, 48, _RAYS))
    points, normals = ellipse.points(rays)
    half = int(np.ceil((reach_px + 3.0) / 0.5))
    across: Floats = np.arange(-half, half + 1, dtype=np.float64) * 0.5
    light, inside = sample_rows(picture, points, normals, across)
    if np.count_nonzero(inside) < 16:
        return None
    light, points, normals = light[inside], points[inside], normals[inside]
    scalar, contrast = one_channel(light)
    # A ray is one pixel wide: smoothing along the outline lowers its noise.
    scalar = np.asarray(cv2.blur(scalar, (1, 3), borderType=cv2.BORDER_REPLICATE), np.float64)
    slope = gradient_across(scalar)
    # The side that is brighter may change around a shaded ball: either sign of edge counts,
    # but one sign for all where that holds for most.
    sign = -1.0 if np.median(slope[np.arange(len(slope)), np.argmax(np.abs(slope), 1)]) < 0 else 1.0
    best = None
    for rows in (sign * slope, np.abs(slope), _any_colour(light)):
        position, height = peak_position(rows, half, int(np.ceil(reach_px / 0.5)))
        level = float(np.median(height))
        usable = np.isfinite(position) & (height > 0.25 * level)
        if np.count_nonzero(usable) < 12:
            continue
        found = points[usable] + normals[usable] * (position[usable] * 0.5)[:, None]
        fitted = _trimmed(found, round_only)
        if fitted is None:
            continue
        shape, kept, scatter = fitted
        support = float(np.count_nonzero(kept)) / rays
        score = support**2 * max(level, 1e-6) ** 0.2 * float(np.mean(shape.half)) ** 0.3
        if best is None or score > 1.1 * best.score:
            chosen = found[kept]
            pick = np.unique(np.linspace(0, len(chosen) - 1, _POINTS).round().astype(int))
            best = OutlineFit(
                shape, chosen[pick], support, scatter, level, abs(contrast), float(score)
            )
    return best


def _any_colour(light: NDArray[np.float32]) -> Floats:
    """Slope of the light (n, k, c) along each ray, whichever colour changes, (n, k).

    What is drawn on a ball parts it from what is behind by other colours in other places.
    """
    squares = [
        gradient_across(
            np.asarray(cv2.blur(np.ascontiguousarray(light[..., c]), (1, 3)), np.float64)
        )
        ** 2
        for c in range(light.shape[2])
    ]
    return np.asarray(np.sqrt(np.sum(squares, axis=0)))


@lru_cache(maxsize=512)
def _sixes(count: int) -> NDArray[np.intp]:
    """Which of so many points around an outline are tried together, (40, 6), always the same."""
    random = np.random.default_rng(0)
    tried = []
    for _ in range(40):
        # Eight spread around: five are too few to hold an ellipse against noise.
        start = random.integers(0, count)
        pick = (start + np.arange(8) * count // 8 + random.integers(0, 5, 8)) % count
        tried.append(random.permutation(pick)[:6])
    return np.array(tried)


def _trimmed(found: Floats, round_only: bool) -> tuple[Ellipse, NDArray[np.bool_], float] | None:
    """Ellipse by least squares over random fives, then by trimming; which points fit; scatter."""
    fit = fit_circle if round_only else fit_ellipse
    best: tuple[float, Ellipse] | None = None
    whole = fit(found)
    if whole is not None:
        best = (float(median(np.abs(distances(whole, found)))), whole)
    if best is None or best[0] > 0.15:
        tried = [each for some in _sixes(len(found)) if (each := fit(found[some]))]
        misses = median(np.abs(distances_from(tried, found))).tolist() if tried else []
        for miss, ellipse in zip(misses, tried, strict=True):
            if best is None or miss < best[0]:
                best = (miss, ellipse)
    if best is None:
        return None
    ellipse = best[1]
    kept = np.ones(len(found), bool)
    scatter = 1.0
    for trimmed in range(6):
        distance = np.abs(distances(ellipse, found))
        scatter = max(1.4826 * float(median(distance)), 0.05)
        before, kept = (
            kept,
            distance < min(max(3.0 * scatter, 0.3), 3.0 if round_only else _ON_OUTLINE_PX),
        )
        if np.count_nonzero(kept) < 10:
            return None
        if trimmed and np.array_equal(kept, before):
            break  # the same points give the same ellipse for ever
        again = fit(found[kept])
        if again is None:
            return None
        ellipse = again
    distance = distances(ellipse, found[kept])
    return ellipse, kept, float(np.sqrt(np.sum(distance**2) / (np.count_nonzero(kept) - 5)))
