"""Discs and balls: the outline found from a rough mark, to a fraction of a pixel.

The outline of either is an ellipse in the picture: exactly so for a flat disc
and for a ball seen through a pinhole (a cone round a sphere cuts a plane in a conic).

A large one is fitted shrunk to a few hundred px (`photocheck.scale.outline_fits`), and of all
outlines that fit around the mark the outer one of those around each other is taken.  How well
that does on drawn coins and balls is in `tests/scale/test_scale_rounds.py`, and on real
photographs by `python -m photocheck.benchmark photographs`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np

from photocheck.case.model import Point
from photocheck.errors import ScaleError
from photocheck.scale.candidates import windows
from photocheck.scale.ellipses import Ellipse, distances, fit_ellipse, holds, levels
from photocheck.scale.light import Floats, Halved, Picture
from photocheck.scale.outline_fits import OutlineFit, fitted_outline, larger_ones
from photocheck.scale.rough_ellipses import LEAST_RATIO, alike, rough_ellipses
from photocheck.scale.seen import ReferenceSeen
from photocheck.scale.thresholds import (
    FLOOR_PX,
    HAND_SPREAD_PX,
    LEAST_ACROSS_PX,
    LEAST_CONTRAST,
    lies_inside,
)
from photocheck.speech import tr

_ROUND_WITHIN: Final = 0.04  # of what perspective makes of a ball's outline
_SHORT_FOCAL: Final = 0.55
"""Focal length over the picture's longer side of a very wide lens (19 mm equivalent)."""
_LEAST_SUPPORT: Final = 0.58
_MOST_TRIED: Final = 16
_GROWN_FROM: Final = 3
_WRAPPED: Final = 0.5
_WRAP_LEAST: Final = 1.06
_WRAP_MOST: Final = {"disc": 2.8, "ball": 60.0}
"""Area over area: a coin's core of another metal has 0.4 to 0.55 of its face (from memory) and
may lie on a plate; what is drawn on a ball may be small, and few balls lie in rings."""
_BETTER: Final = 0.6
_TOUCHING: Final = 0.97
"""Of the outer one's size, how far an inner one reaches that touches it: a coin's upper edge, and
the outline of the coin with its side or its shadow."""
_EDGE_SPREAD: Final = {"disc": 0.015, "ball": 0.0}
"""Error, a fraction, of the size of discs found by themselves: which of a rim's edges and whether
its shadow are taken, from drawn coins (`photocheck.phantom.rounds`, seeds 0 to
39)."""
_SMALL_BALL_PX: Final = 90.0
_SMALL_BALL_SPREAD: Final = 0.06
"""Error, a fraction, of the size of small balls found by themselves: from simulated tennis balls
at 2.5 m."""


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
        found = outline_at(picture, kind, np.array(near, np.float64))
        fit, remarks, spread, own = found.best.points, found.remarks, found.spread_px, found.own
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
    fit = fitted_outline(Halved(picture), ellipse, reach, kind)
    if fit is not None and fit.support >= 0.6 and fit.contrast >= LEAST_CONTRAST:
        moved = np.abs(distances(fit.ellipse, placed))
        if float(np.sqrt(np.mean(moved**2))) <= 2.5 * hand + 1:
            return fit.points, [], float(np.hypot(fit.scatter_px, FLOOR_PX))
    return placed, [tr("The outline is used as marked: no clear edge runs along it")], hand


@dataclass(frozen=True)
class OutlineFound:
    """The outline of a disc or ball around a mark.

    Attributes
    ----------
    best : OutlineFit
    remarks : list of str
        What speaks against it, for people.
    spread_px : float
        Of the points across it, px.
    own : float
        Error of its size, a fraction, for which edge was taken.
    rivalled : bool
        Whether another outline fits nearly as well.
    """

    best: OutlineFit
    remarks: list[str]
    spread_px: float
    own: float
    rivalled: bool


def outline_at(
    picture: Picture, kind: str, near: Floats, across_px: tuple[float, float] = (0.0, np.inf)
) -> OutlineFound:
    """The outline around a mark (2,) px.

    Parameters
    ----------
    picture : (H, W) grey or (H, W, 3) RGB, uint8
    kind : "disc" or "ball"
    near : (2,) float
    across_px : (float, float)
        How wide the least and the widest windows are in which it is looked for, px.

    Raises
    ------
    ScaleError
        When the mark lies outside the picture, nothing fitting is found, or it is under 20 px
        across.
    """
    if not np.all(np.isfinite(near)):
        raise ScaleError(tr("The mark is not a number"), where="reference", do=tr("Mark it again"))
    _check_inside(near[None], picture)
    pictures = Halved(picture)
    rough: list[tuple[float, Ellipse, float]] = []
    for window in windows(pictures, near, across_px=across_px):
        rough.extend(rough_ellipses(window, kind))
    rough.sort(key=lambda item: -item[0])
    tried: list[Ellipse] = []
    fits: list[OutlineFit] = []

    def fit_all(ellipses: Iterable[tuple[Ellipse, float]], most: int) -> None:
        for ellipse, scale in ellipses:
            if len(tried) >= most:
                return
            if any(alike(ellipse, other, scale) for other in tried):
                continue
            tried.append(ellipse)
            reach = max(3.0 * scale, 0.08 * float(np.min(ellipse.half)), 2.5)
            fit = fitted_outline(pictures, ellipse, reach, kind)
            if fit is not None and _plausible(kind, fit, near, picture.shape):
                fits.append(fit)

    fit_all(((ellipse, scale) for _, ellipse, scale in rough), _MOST_TRIED)
    largest = sorted(fits, key=lambda fit: -fit.score)[:_GROWN_FROM]
    grown = ((one, 1.0) for fit in largest for one in larger_ones(pictures, fit.ellipse))
    fit_all(grown, _MOST_TRIED + 3 * _GROWN_FROM)
    weighed = _weighed(kind, fits)
    worth, best = max(weighed, key=lambda item: item[0], default=(0.0, None))
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
    rivals = [float(np.max(fit.ellipse.half)) for score, fit in weighed if score > 0.75 * worth]
    rivals += [
        float(np.max(fit.ellipse.half))
        for fit in fits
        if _wraps(kind, best, fit) and fit.support > best.support - 0.1 and _touches(best, fit)
    ]
    apart = max(abs(rival - size) for rival in rivals)
    rivalled = apart > max(3 * spread, 0.02 * size)
    own = _EDGE_SPREAD[kind]
    if kind == "ball" and 2 * size < _SMALL_BALL_PX:
        remarks.append(tr("A ball this small may be misjudged: mark points on its outline by hand"))
        own = _SMALL_BALL_SPREAD
    if rivalled:
        remarks.append(
            tr("Another outline fits nearly as well: mark points on the outline by hand")
        )
        own = float(np.hypot(own, apart / size / 2))
    return OutlineFound(best, remarks, spread, own, rivalled)


def _weighed(kind: str, fits: list[OutlineFit]) -> list[tuple[float, OutlineFit]]:
    """The outlines fitted, each with what speaks for it.

    The rim of a coin, its core of another metal and what is struck into it are as round as its
    edge and may be plainer: of outlines around each other the outer one is the thing's.
    """
    return [
        (fit.score * (_WRAPPED if any(_hides(kind, other, fit) for other in fits) else 1.0), fit)
        for fit in fits
    ]


def _hides(kind: str, outer: OutlineFit, inner: OutlineFit) -> bool:
    """Whether the outer one is the thing's.

    Not where it touches an inner one that is the better ellipse: a coin's upper edge is one, its
    outline together with its side or its shadow is not quite.
    """
    better = (
        _touches(outer, inner)
        and inner.support >= outer.support
        and inner.scatter_px < _BETTER * outer.scatter_px
    )
    return _wraps(kind, outer, inner) and not better


def _touches(outer: OutlineFit, inner: OutlineFit) -> bool:
    return float(np.max(levels(outer.ellipse, inner.points))) > _TOUCHING


def _wraps(kind: str, outer: OutlineFit, inner: OutlineFit) -> bool:
    """Whether one outline lies all around another and is not much larger."""
    one, other = outer.ellipse, inner.ellipse
    larger = float(np.prod(one.half) / np.prod(other.half))
    return (
        _WRAP_LEAST < larger < _WRAP_MOST[kind] and float(np.max(levels(one, inner.points))) < 1.01
    )


def _plausible(kind: str, fit: OutlineFit, near: Floats, shape: tuple[int, ...]) -> bool:
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
