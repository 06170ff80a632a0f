"""Discs and balls: the outline found from a rough mark, to a fraction of a pixel.

The outline of either is an ellipse in the picture: exactly so for a flat disc
and for a ball seen through a pinhole (a cone round a sphere cuts a plane in a conic).

Measured on simulated photos (blur 0.9 px, noise 3 codes, JPEG 92; 6 to 10 of each sort):
discs 96 px across, plain, with blotches all over, or held by fingers, all found, largest
diameter good to 0.1 to 0.3 %; with loud blotches and fingers 3 of 8.  Shaded balls with a
shadow on the ground: 200 px across all found, to 0.1 to 0.4 %; 53 px across (a tennis ball
at 2.5 m) 8 of 18, a quarter wrong by up to a tenth or more, because a lit half passes for the
whole.  Leaves and noise: nothing found in 60 tries.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Point
from photocheck.errors import ScaleError
from photocheck.scale.candidates import windows
from photocheck.scale.ellipses import Ellipse, distances, fit_circle, fit_ellipse, holds
from photocheck.scale.light import (
    Floats,
    Picture,
    gradient_across,
    one_channel,
    peak_position,
    sample_rows,
)
from photocheck.scale.rough_ellipses import LEAST_RATIO, rough_ellipses
from photocheck.scale.seen import ReferenceSeen
from photocheck.scale.thresholds import (
    FLOOR_PX,
    HAND_SPREAD_PX,
    LEAST_ACROSS_PX,
    LEAST_CONTRAST,
    lies_inside,
)
from photocheck.speech import tr

_RAYS: Final = 120
_POINTS: Final = 48  # handed on; more would pretend to be independent
_ROUND_WITHIN: Final = 0.04  # of what perspective makes of a ball's outline
_SHORT_FOCAL: Final = 0.55
"""Focal length over the picture's longer side of a very wide lens (19 mm equivalent)."""
_ON_OUTLINE_PX: Final = 0.8  # pure noise puts a third of the rays this near
_LEAST_SUPPORT: Final = 0.58
_SMALL_BALL_PX: Final = 90.0
_SMALL_BALL_SPREAD: Final = 0.06
"""Error, a fraction, of the size of small balls found by themselves: from the simulation above."""


@dataclass(frozen=True)
class _OutlineFit:
    ellipse: Ellipse
    points: Floats
    support: float
    scatter_px: float
    steepness: float
    contrast: float
    score: float


def find_disc(
    picture: Picture,
    diameter_mm: float | None,
    kind: str,
    *,
    near: Point | None = None,
    outline: Iterable[Point] = (),
    spread_px: float | None = None,
    size_spread: float = 0.005,
) -> ReferenceSeen:
    """Outline of a disc or ball.

    Parameters
    ----------
    picture : (H, W) grey or (H, W, 3) RGB, uint8
    diameter_mm : float or None
        True diameter, mm.
    kind : "disc" or "ball"
    near : Point or None
        A rough mark inside it, px; used when no outline is given.
    outline : at least five Points, px
        Placed by hand; refined where the edge supports it, else kept.
    spread_px : float or None
        Standard deviation of the hand-placed points, px.
    size_spread : float
        Standard deviation of the diameter as a fraction.

    Returns
    -------
    ReferenceSeen
        `outline_px` holds 24 to 48 points on the outline (all of the hand-placed ones when
        they are kept), `spread_px` their scatter across it.  `size_spread` is enlarged when
        another outline fits nearly as well or a ball is small in the picture.

    Raises
    ------
    ScaleError
        When the diameter is missing or not positive, the mark or a point lies outside
        the picture, fewer than five points are given or fit no ellipse, nothing fitting
        is found, or it is under 20 px across.
    """
    if diameter_mm is None or not np.isfinite(diameter_mm) or diameter_mm <= 0:
        raise ScaleError(
            tr("The diameter of the {kind} is missing or not a positive length", kind=_word(kind)),
            where="reference",
            do=tr("Measure its diameter and type it in"),
        )
    placed = np.array(list(outline), np.float64).reshape(-1, 2)
    if len(placed):
        own = 0.0
        fit, remarks, spread = _from_outline(picture, kind, placed, spread_px)
        how = "marked"
    elif near is not None:
        fit, remarks, spread, own = _from_mark(picture, kind, np.array(near, np.float64))
        how = "found"
    else:
        raise ScaleError(
            tr("The {kind} was neither marked nor pointed at", kind=_word(kind)),
            where="reference",
            do=tr("Put a mark inside it, or at least five points on its outline"),
        )
    return ReferenceSeen(
        kind=kind,
        how=how,
        points_mm=np.zeros((0, 2)),
        points_px=np.zeros((0, 2)),
        spread_px=spread,
        # Which edge is the outline errs for all points alike, so it belongs to the size.
        size_spread=float(np.hypot(size_spread, own)),
        outline_px=fit,
        diameter_mm=float(diameter_mm),
        remarks=tuple(remarks),
    )


def _word(kind: str) -> str:
    """The thing in one word, for sentences."""
    return tr("disc") if kind == "disc" else tr("ball")


def _check_inside(points: Floats, picture: Picture) -> None:
    height, width = picture.shape[:2]
    for x, y in points:
        if not lies_inside(x, y, picture.shape):
            raise ScaleError(
                tr(
                    "The mark at ({x:.0f}, {y:.0f}) lies outside the picture of {width} x "
                    "{height} px",
                    x=x,
                    y=y,
                    width=width,
                    height=height,
                ),
                where="reference",
                do=tr("Put the marks in the full-size upright photo"),
            )


def _check_size(kind: str, ellipse: Ellipse) -> None:
    across = 2 * float(np.min(ellipse.half))
    if across < LEAST_ACROSS_PX:
        raise ScaleError(
            tr(
                "The {kind} is only {across:.0f} px across: too small to measure by",
                kind=_word(kind),
                across=across,
            ),
            where="reference",
            do=tr("Take the photo from nearer or at full resolution, or use a larger one"),
        )
    if across / (2 * float(np.max(ellipse.half))) < LEAST_RATIO[kind]:
        why = tr("turned too far away") if kind == "disc" else tr("no ball has such an outline")
        raise ScaleError(
            tr(
                "The outline is {across:.0f} px by {ellipse:.0f} px: {why}",
                across=across,
                ellipse=2 * np.max(ellipse.half),
                why=why,
            ),
            where="reference",
            do=tr(
                "Mark the outline of the {kind} again, or turn it to face the camera",
                kind=_word(kind),
            ),
        )


def _from_outline(
    picture: Picture, kind: str, placed: Floats, spread_px: float | None
) -> tuple[Floats, list[str], float]:
    if len(placed) < 5:
        raise ScaleError(
            tr("{count} points on the outline do not fix it", count=len(placed)),
            where="reference",
            do=tr("Put at least five points on the outline, well spread around it"),
        )
    _check_inside(placed, picture)
    ellipse = fit_ellipse(placed)
    if ellipse is None:
        raise ScaleError(
            tr("The points on the outline lie on no ellipse"),
            where="reference",
            do=tr("Put the points on the outline again, well spread around it"),
        )
    hand = HAND_SPREAD_PX if spread_px is None else spread_px
    _check_size(kind, ellipse)
    reach = float(np.clip(3 * hand, 2.0, 0.25 * float(np.min(ellipse.half))))
    fit = _refine(picture, ellipse, reach, kind)
    if fit is not None and fit.support >= 0.6 and fit.contrast >= LEAST_CONTRAST:
        moved = np.abs(distances(fit.ellipse, placed))
        if float(np.sqrt(np.mean(moved**2))) <= 2.5 * hand + 1:
            return fit.points, [], float(np.hypot(fit.scatter_px, FLOOR_PX))
    return placed, [tr("The outline is used as marked: no clear edge runs along it")], hand


def _from_mark(picture: Picture, kind: str, near: Floats) -> tuple[Floats, list[str], float, float]:
    if not np.all(np.isfinite(near)):
        raise ScaleError(tr("The mark is not a number"), where="reference", do=tr("Mark it again"))
    _check_inside(near[None], picture)
    rough: list[tuple[float, Ellipse, float]] = []
    for window in windows(picture, near):
        rough.extend(rough_ellipses(window, kind))
    rough.sort(key=lambda item: -item[0])
    best: _OutlineFit | None = None
    others: list[_OutlineFit] = []
    tried: list[Ellipse] = []
    for _, ellipse, scale in rough:
        if len(tried) >= 12:
            break
        if any(_alike(ellipse, other, scale) for other in tried):
            continue
        tried.append(ellipse)
        reach = max(3.0 * scale, 0.08 * float(np.min(ellipse.half)), 2.5)
        fit = _refine(picture, ellipse, reach, kind)
        if fit is None or not _plausible(kind, fit, near, picture.shape):
            continue
        others.append(fit)
        if best is None or fit.score > best.score:
            best = fit
    if best is None:
        raise ScaleError(
            tr("No {kind} was found around the mark", kind=_word(kind)),
            where="reference",
            do=tr("Put at least five points on its outline by hand, or take the photo again"),
        )
    _check_size(kind, best.ellipse)
    remarks = []
    if best.support < 0.7:
        remarks.append(
            tr("Only {percent} % of the outline was seen", percent=f"{100 * best.support:.0f}")
        )
    spread = float(np.hypot(best.scatter_px, FLOOR_PX))
    size = float(np.max(best.ellipse.half))
    rivals = [float(np.max(fit.ellipse.half)) for fit in others if fit.score > 0.75 * best.score]
    apart = max(abs(rival - size) for rival in rivals)
    own = 0.0
    if kind == "ball" and 2 * size < _SMALL_BALL_PX:
        remarks.append(tr("A ball this small may be misjudged: mark points on its outline by hand"))
        own = _SMALL_BALL_SPREAD
    if apart > max(3 * spread, 0.02 * size):
        remarks.append(
            tr("Another outline fits nearly as well: mark points on the outline by hand")
        )
        own = float(np.hypot(own, apart / size / 2))
    return best.points, remarks, spread, own


def _plausible(kind: str, fit: _OutlineFit, near: Floats, shape: tuple[int, ...]) -> bool:
    half = fit.ellipse.half
    least = LEAST_RATIO[kind]
    if kind == "ball":
        # A ball off the axis by theta has axes in the ratio cos(theta), for one far away
        # compared with its size; a lit half or a ball with its shadow is flatter.
        middle = (np.array(shape[1::-1]) - 1) / 2
        away = float(np.hypot(*(fit.ellipse.centre - middle))) / (_SHORT_FOCAL * max(shape[:2]))
        least = max(least, float(np.cos(np.arctan(away))) - _ROUND_WITHIN)
    return (
        fit.support >= _LEAST_SUPPORT
        and fit.contrast >= LEAST_CONTRAST
        and float(np.min(half) / np.max(half)) >= least
        and holds(fit.ellipse, near)
    )


def _alike(one: Ellipse, other: Ellipse, scale: float) -> bool:
    near = 2.0 * scale + 0.03 * float(np.mean(one.half))
    sizes = np.abs(np.sort(one.half) - np.sort(other.half))
    return bool(np.hypot(*(one.centre - other.centre)) < near and np.max(sizes) < near)


def _refine(picture: Picture, ellipse: Ellipse, reach_px: float, kind: str) -> _OutlineFit | None:
    """Edge points along the normals, and the ellipse through those that agree.

    A ball is a circle but for perspective, so its first passes fit one: that keeps to
    the outline where shade or a shadow would pull an ellipse off it.
    """
    fit: _OutlineFit | None = None
    for step, reach in enumerate((reach_px, min(reach_px, 4.0), 2.5)):
        fit = _one_pass(picture, ellipse, reach, kind == "ball" and step < 2)
        if fit is None:
            return None
        ellipse = fit.ellipse
    return fit


def _one_pass(
    picture: Picture, ellipse: Ellipse, reach_px: float, round_only: bool
) -> _OutlineFit | None:
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
    for rows in (sign * slope, np.abs(slope)):
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
            best = _OutlineFit(
                shape, chosen[pick], support, scatter, level, abs(contrast), float(score)
            )
    return best


def _trimmed(found: Floats, round_only: bool) -> tuple[Ellipse, NDArray[np.bool_], float] | None:
    """Ellipse by least squares over random fives, then by trimming; which points fit; scatter."""
    fit = fit_circle if round_only else fit_ellipse
    random = np.random.default_rng(0)
    best: tuple[float, Ellipse] | None = None
    whole = fit(found)
    if whole is not None:
        best = (float(np.median(np.abs(distances(whole, found)))), whole)
    if best is None or best[0] > 0.15:
        for _ in range(40):
            # Eight spread around: five are too few to hold an ellipse against noise.
            start = random.integers(0, len(found))
            pick = (start + np.arange(8) * len(found) // 8 + random.integers(0, 5, 8)) % len(found)
            some = random.permutation(pick)[:6]
            ellipse = fit(found[some])
            if ellipse is None:
                continue
            miss = float(np.median(np.abs(distances(ellipse, found))))
            if best is None or miss < best[0]:
                best = (miss, ellipse)
    if best is None:
        return None
    ellipse = best[1]
    kept = np.ones(len(found), bool)
    scatter = 1.0
    for _ in range(6):
        distance = np.abs(distances(ellipse, found))
        scatter = max(1.4826 * float(np.median(distance)), 0.05)
        kept = distance < min(max(3.0 * scatter, 0.3), 3.0 if round_only else _ON_OUTLINE_PX)
        if np.count_nonzero(kept) < 10:
            return None
        again = fit(found[kept])
        if again is None:
            return None
        ellipse = again
    distance = distances(ellipse, found[kept])
    return ellipse, kept, float(np.sqrt(np.sum(distance**2) / (np.count_nonzero(kept) - 5)))
