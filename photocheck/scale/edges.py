"""Cards and sheets of paper: found from a rough mark, sides fitted to a fraction of a pixel.

No corner is ever looked for: the corners of an ISO/IEC 7810 card are rounded
(2.88 to 3.48 mm) and those of paper are bent or held.  The straight part of each
side is fitted, and the sides are made to meet.

Measured on simulated photos (sRGB, blur 0.9 px, noise 3 codes, JPEG 92, turned up to 30
degrees, from a mark somewhere inside; 8 to 12 pictures of each sort, error per axis of a corner)::

    card, plain, 1 or 2 px/mm, on leaves or a wall     all found, 0.10 to 0.16 px
    card held by fingers over one or two sides         all found, 0.11 to 0.22 px
    card with busy print / the same held by fingers    all / 13 or 14 of 16 found, 0.10 to 0.21 px
    A4 or letter, 0.8 px/mm, leaves, fingers, wall     all found, 0.03 to 0.09 px
    paper or card with a soft shadow close around it   7 of 8 right, 0.13 px (paper), 0.6 to
                                                       0.9 px (card, drawn toward the shadow)

The wrong ones took the shadow's outer edge or a printed line for a side.  A mark on leaves,
a bare wall or noise gave nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

import cv2
import numpy as np

from photocheck.case.model import Point
from photocheck.errors import ScaleError
from photocheck.scale.candidates import windows
from photocheck.scale.catalogue import ReferenceObject
from photocheck.scale.corners import CORNER_NAMES, check_corners, contains, corner_turns, corners_mm
from photocheck.scale.light import Floats, Picture
from photocheck.scale.planes import fit_homography
from photocheck.scale.rough_quads import MOST_OBLIQUE, rough_quads
from photocheck.scale.seen import ReferenceSeen
from photocheck.scale.subpixel import EdgeLine, crossing, fit_side
from photocheck.scale.thresholds import (
    FLOOR_PX,
    HAND_SPREAD_PX,
    LEAST_ACROSS_PX,
    LEAST_CONTRAST,
    lies_inside,
)
from photocheck.speech import tr

_TRIM_MM: Final = 6.0  # left out at either end of a side: rounded and bent corners, thumbs
_LEAST_SUPPORT: Final = 0.45  # of the worst side
_LEAST_MEAN_SUPPORT: Final = 0.62
FAINT_PX: Final = 3.5
"""Corner doubt of a side that is hardly seen, px per missing share of it (judgement, after a
small card before leaves whose side was taken 4 px off with 60 % of it seen)."""
_MOST_TRIED: Final = 14
_LEAST_SCORE: Final = 0.16
"""On simulated pictures chance shapes in leaves score up to 0.15, cards and paper 0.3 to 0.7."""
_FLOOR_MM: Final = {"id_card": 0.10}
"""How well the object's edge is the edge seen, mm: a card is 0.76 mm thick and shows its
side when seen at an angle; paper curls.  Judgement."""
_PAPER_FLOOR_MM: Final = 0.30


@dataclass(frozen=True)
class Quad:
    """Four fitted sides.

    Attributes
    ----------
    corners : (4, 2) float
        Clockwise from the top left as seen, px.
    sides : tuple of four EdgeLine or None
        Side k runs from corner k to corner k + 1.
    score : float
        Higher is better; comparable within one picture.
    """

    corners: Floats
    sides: tuple[EdgeLine | None, ...]
    score: float


def find_rectangle(
    picture: Picture,
    kind: ReferenceObject,
    *,
    near: Point | None = None,
    rough_corners: Iterable[Point] = (),
    corner_spread_px: float | None = None,
) -> ReferenceSeen:
    """Corners of a card or sheet of paper.

    Parameters
    ----------
    picture : (H, W) grey or (H, W, 3) RGB, uint8
    kind : ReferenceObject of form "rectangle"
    near : Point or None
        A rough mark inside it, px; used when no corners are given.
    rough_corners : four Points, px
        Placed by hand; refined where the edges between them support it, kept
        where they do not.
    corner_spread_px : float or None
        Standard deviation of the hand-placed corners, px.

    Returns
    -------
    ReferenceSeen
        Four points, clockwise from the top left as seen; whether the longer side
        lies across or upright is decided by which takes the less obliqueness.

    Raises
    ------
    ScaleError
        When nothing fitting is found, the corners make no proper four-sided shape,
        or it is smaller than 20 px across.

    >>> from photocheck.scale.catalogue import REFERENCES
    >>> picture = np.full((400, 600), 60, np.uint8)
    >>> picture[100:310, 120:417] = 220  # an A4 sheet at 1 px/mm
    >>> find_rectangle(picture, REFERENCES["a4"], near=(250.0, 200.0)).points_px.round(1).tolist()
    [[119.5, 99.5], [416.5, 99.5], [416.5, 309.5], [119.5, 309.5]]
    """
    corners = np.array(list(rough_corners), np.float64).reshape(-1, 2)
    if len(corners):
        ordered = check_corners(corners, picture.shape, tr(kind.title))
        return _refine_marked(picture, kind, ordered, corner_spread_px)
    if near is None:
        raise ScaleError(
            tr("The {title} was neither marked nor pointed at", title=tr(kind.title)),
            where="reference",
            do=tr("Put a mark inside it, or mark its four corners"),
        )
    return _find_from_mark(picture, kind, np.array(near, np.float64))


def _trims(kind: ReferenceObject, corners: Floats) -> list[tuple[float, float]]:
    points, _, _ = corners_mm(kind, corners)
    lengths = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    return [(min(_TRIM_MM / length, 0.2),) * 2 for length in lengths]


def _fit_quad(
    picture: Picture, kind: ReferenceObject, corners: Floats, reach_px: float, stay: float
) -> Quad | None:
    """Fit the four sides, first within `reach_px`, then closely; None when they do not meet."""
    trims = _trims(kind, corners)
    sides: list[EdgeLine | None] = []
    for reach in (reach_px, 2.5):
        sides = [
            fit_side(
                picture,
                corners[k],
                corners[(k + 1) % 4],
                reach_px=reach,
                trim=trims[k],
                window_px=2.5,
                stay=stay,
            )
            for k in range(4)
        ]
        crossed = []
        for k in range(4):
            before, after = sides[k - 1], sides[k]
            if before is None or after is None:
                return None
            point = crossing(before, after)
            if point is None:
                return None
            crossed.append(point)
        moved = np.array(crossed)
        turns = corner_turns(moved)
        if not np.all(turns > 0) or np.max(np.abs(moved - corners)) > 4 * reach_px + 10:
            return None
        corners = moved
    return Quad(corners, tuple(sides), 0.0)


def _corner_spreads(kind: ReferenceObject, quad: Quad) -> Floats:
    """Standard deviation per axis of each corner, (4,) px."""
    points, _, _ = corners_mm(kind, quad.corners)
    matrix = fit_homography(points, quad.corners)
    lengths = np.hypot(*(np.roll(quad.corners, -1, axis=0) - quad.corners).T)
    true = np.hypot(*(np.roll(points, -1, axis=0) - points).T)
    px_per_mm = float(np.mean(lengths / true)) if matrix is not None else 1.0
    floor = float(np.hypot(FLOOR_PX, _FLOOR_MM.get(kind.kind, _PAPER_FLOOR_MM) * px_per_mm))
    spreads = []
    for k in range(4):
        before, after = quad.sides[k - 1], quad.sides[k]
        if before is None or after is None:
            spreads.append(np.inf)
            continue
        u, v = before.end - before.start, after.end - after.start
        sine = abs(float(u[0] * v[1] - u[1] * v[0])) / float(np.hypot(*u) * np.hypot(*v))
        # A wavy edge is no straight line: part of the scatter does not average out.
        one = np.hypot(before.end_spread_px, 0.3 * before.scatter_px)
        other = np.hypot(after.start_spread_px, 0.3 * after.scatter_px)
        across = float(np.hypot(one, other)) / max(sine, 0.2) / np.sqrt(2)
        spreads.append(float(np.hypot(across, floor)))
    return np.array(spreads)


def _refine_marked(
    picture: Picture, kind: ReferenceObject, corners: Floats, corner_spread_px: float | None
) -> ReferenceSeen:
    hand = HAND_SPREAD_PX if corner_spread_px is None else corner_spread_px
    sides = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    reach = float(np.clip(3 * hand, 2.0, 0.2 * float(np.min(sides))))
    quad = _fit_quad(picture, kind, corners, reach, stay=1.0)
    settled = corners.copy()
    spread = np.full(4, hand)
    if quad is not None:
        fitted = _corner_spreads(kind, quad)
        for k in range(4):
            before, after = quad.sides[k - 1], quad.sides[k]
            moved = float(np.hypot(*(quad.corners[k] - corners[k])))
            if before is None or after is None or moved > 5 * hand + 2:
                continue
            if min(before.support, after.support) >= 0.6:
                settled[k], spread[k] = quad.corners[k], min(float(fitted[k]), hand)
    if np.any(spread >= hand):
        # Some side has no edge near the marks: see what is there without them.
        again = _near_marks(picture, kind, corners, hand)
        if again is not None:
            return again
    kept = [tr(CORNER_NAMES[k]) for k in range(4) if spread[k] >= hand]
    remarks = []
    if kept and len(kept) < 4:
        remarks.append(
            tr("No clear edges at the {corners} corner: kept as marked", corners=", ".join(kept))
        )
    elif kept:
        remarks.append(tr("The corners are used as marked: no clear edges run between them"))
    return _seen(kind, "marked", settled, float(np.sqrt(np.mean(spread**2))), remarks)


def _near_marks(
    picture: Picture, kind: ReferenceObject, corners: Floats, hand: float
) -> ReferenceSeen | None:
    """The object found from the middle of the marks, if its corners agree with them."""
    try:
        seen = _find_from_mark(picture, kind, corners.mean(axis=0))
    except ScaleError:
        return None
    gaps = [
        float(np.max(np.hypot(*(np.roll(seen.points_px, -k, axis=0) - corners).T)))
        for k in range(4)
    ]
    if min(gaps) > 3.5 * hand + 1:
        return None
    return replace(seen, how="marked")


def _seen(
    kind: ReferenceObject, how: str, corners: Floats, spread_px: float, remarks: list[str]
) -> ReferenceSeen:
    points, angle, other = corners_mm(kind, corners)
    if angle > MOST_OBLIQUE:
        raise ScaleError(
            tr(
                "The {title} would be turned {angle:.0f} degrees away from the camera: "
                "that is not its shape, or too oblique to measure by",
                title=tr(kind.title),
                angle=np.rad2deg(angle),
            ),
            where="reference",
            do=tr("Check the kind and the corners, or hold it parallel to the dog"),
        )
    if np.cos(other) > 0.9 * np.cos(angle):
        remarks = [*remarks, tr("Seen nearly square: it could also be lying the other way round")]
    return ReferenceSeen(
        kind=kind.kind,
        how=how,
        points_mm=points,
        points_px=corners,
        spread_px=spread_px,
        size_spread=kind.size_spread,
        remarks=tuple(remarks),
    )


def _find_from_mark(picture: Picture, kind: ReferenceObject, near: Floats) -> ReferenceSeen:
    height, width = picture.shape[:2]
    if not np.all(np.isfinite(near)) or not lies_inside(near[0], near[1], picture.shape):
        raise ScaleError(
            tr(
                "The mark at ({near:.0f}, {near2:.0f}) lies outside the picture of "
                "{width} x {height} px",
                near=near[0],
                near2=near[1],
                width=width,
                height=height,
            ),
            where="reference",
            do=tr("Put the mark inside the reference in the full-size upright photo"),
        )
    rough: list[tuple[float, Floats, float]] = []
    for window in windows(picture, near):
        rough.extend(
            (score, window.to_photo(quad), window.scale)
            for score, quad in rough_quads(window, kind)
        )
    rough.sort(key=lambda item: -item[0])
    fitted: list[Quad] = []
    small = False
    tried: list[Floats] = []
    for _, corners, scale in rough:
        if len(tried) >= _MOST_TRIED:
            break
        side = float(np.min(np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)))
        if any(np.max(np.abs(corners - other)) < 0.03 * side + 2 * scale for other in tried):
            continue
        tried.append(corners)
        if side < 0.8 * LEAST_ACROSS_PX:
            small = True
            continue
        quad = _fit_quad(picture, kind, corners, max(2.5 * scale, 0.02 * side, 2.5), stay=0.5)
        if quad is None:
            continue
        score = _plausibility(kind, quad, near)
        if score >= _LEAST_SCORE:
            fitted.append(Quad(quad.corners, quad.sides, score))
    best = _outermost(fitted)
    if best is None:
        raise ScaleError(
            tr(
                "No {title} was found around the mark (something under {least:.0f} px across was "
                "seen: too small)",
                title=tr(kind.title),
                least=LEAST_ACROSS_PX,
            )
            if small
            else tr("No {title} was found around the mark", title=tr(kind.title)),
            where="reference",
            do=tr("Mark its four corners by hand, or take the photo again with all of it in view"),
        )
    corners = check_corners(best.corners, _roomy(picture.shape), tr(kind.title))
    weakest = min(side.support for side in best.sides if side is not None)
    # A side seen over half its length may lie on the print or on a shadow beside the edge.
    doubt = FAINT_PX * (1.0 - weakest)
    spread = float(np.hypot(np.sqrt(np.mean(_corner_spreads(kind, best) ** 2)), doubt))
    remarks = []
    if weakest < 0.7:
        remarks.append(
            tr(
                "A side is partly hidden or faint (seen over {percent} %)",
                percent=f"{100 * weakest:.0f}",
            )
        )
    return _seen(kind, "found", corners, spread, remarks)


def _roomy(shape: tuple[int, ...]) -> tuple[int, ...]:
    """The picture's shape with room for a corner that two visible sides put just outside."""
    return (shape[0] + 2, shape[1] + 2)


def _plausibility(kind: ReferenceObject, quad: Quad, near: Floats) -> float:
    """Score of a fitted quad; 0 when it cannot be the object."""
    supports = [side.support for side in quad.sides if side is not None]
    if len(supports) < 4 or min(supports) < _LEAST_SUPPORT:
        return 0.0
    if float(np.mean(supports)) < _LEAST_MEAN_SUPPORT:
        return 0.0
    if not contains(quad.corners, near):
        return 0.0
    _, angle, _ = corners_mm(kind, quad.corners)
    if angle > MOST_OBLIQUE:
        return 0.0
    sides = [side for side in quad.sides if side is not None]
    if min(abs(side.contrast) for side in sides) < LEAST_CONTRAST:
        return 0.0
    steep = min(side.steepness for side in sides)
    facing = float(np.exp(-0.5 * (np.log(np.cos(angle)) / 0.35) ** 2))
    return float(np.mean(supports) ** 2 * min(supports) ** 0.5 * steep**0.2 * facing)


def _outermost(scored: list[Quad]) -> Quad | None:
    """The best quad, or one around it whose edges are as sharp.

    Print on a card holds smaller rectangles, so of equals the outer one is the object;
    but a shadow lies around it too, and has softer edges.
    """
    best = max(scored, key=lambda quad: quad.score, default=None)
    if best is None:
        return None
    for quad in sorted(scored, key=lambda quad: -quad.score):
        if quad.score < 0.55 * best.score or not _around(quad.corners, best.corners):
            continue
        sharp = [
            outer.steepness >= 0.7 * inner.steepness and outer.support >= 0.6
            for outer, inner in zip(quad.sides, best.sides, strict=True)
            if outer is not None and inner is not None
        ]
        if all(sharp):
            best = quad
    return best


def _around(outer: Floats, inner: Floats) -> bool:
    """Whether one convex shape lies around another (sharing sides within a pixel or so)."""
    if cv2.contourArea(outer.astype(np.float32)) < 1.03 * cv2.contourArea(inner.astype(np.float32)):
        return False
    shape = outer.astype(np.float32).reshape(-1, 1, 2)
    return all(cv2.pointPolygonTest(shape, (float(x), float(y)), True) > -1.5 for x, y in inner)
