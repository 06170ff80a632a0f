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

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

import cv2
import numpy as np

from photocheck.case.model import Point
from photocheck.errors import ScaleError
from photocheck.scale.candidates import Window, outlines, straight_lines, windows
from photocheck.scale.catalogue import ReferenceObject
from photocheck.scale.planes import fit_homography, obliqueness
from photocheck.scale.seen import ReferenceSeen
from photocheck.scale.subpixel import EdgeLine, Floats, Picture, crossing, fit_side
from photocheck.speech import later, tr

LEAST_SIDE_PX: Final = 20.0
"""A reference narrower than this gives no useful scale (one px is 5 %)."""

CORNER_NAMES: Final = (
    later("top left"),
    later("top right"),
    later("bottom right"),
    later("bottom left"),
)
HAND_SPREAD_PX: Final = 4.0
"""Standard deviation of corners placed by hand when nobody said: judgement, after
marks set on a phone's screen with a magnifier, in a 12 megapixel photo."""

_MOST_OBLIQUE: Final = np.deg2rad(62.0)
_TRIM_MM: Final = 6.0  # left out at either end of a side: rounded and bent corners, thumbs
_LEAST_SUPPORT: Final = 0.45  # of the worst side
_LEAST_MEAN_SUPPORT: Final = 0.62
FAINT_PX: Final = 3.5
"""Corner doubt of a side that is hardly seen, px per missing share of it (judgement, after a
small card before leaves whose side was taken 4 px off with 60 % of it seen)."""
_LEAST_CONTRAST: Final = 0.03  # of the faintest side, a share of the brighter
_MOST_TRIED: Final = 14
_LEAST_SCORE: Final = 0.16
"""On simulated pictures chance shapes in leaves score up to 0.15, cards and paper 0.3 to 0.7."""
_FLOOR_PX: Final = 0.15
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
    """
    corners = np.array(list(rough_corners), np.float64).reshape(-1, 2)
    if len(corners):
        ordered = check_corners(corners, picture.shape, kind.title)
        return _refine_marked(picture, kind, ordered, corner_spread_px)
    if near is None:
        raise ScaleError(
            tr("The {title} was neither marked nor pointed at", title=tr(kind.title)),
            where="reference",
            do=tr("Put a mark inside it, or mark its four corners"),
        )
    return _find_from_mark(picture, kind, np.array(near, np.float64))


def check_corners(corners: Floats, shape: tuple[int, ...], title: str = "reference") -> Floats:
    """The four corners, clockwise from the top left as seen; (4, 2) px.

    Raises
    ------
    ScaleError
        When there are not four, one is outside the picture or not a number, two sides
        cross, three corners lie in a line, one lies inside the others' triangle, or
        the shape is under 20 px across.
    """
    if len(corners) != 4:
        raise ScaleError(
            tr("{count} corners were given", count=len(corners)),
            where=title,
            do=tr("Mark all four corners"),
        )
    if not np.all(np.isfinite(corners)):
        raise ScaleError(
            tr("A corner is not a number"), where=title, do=tr("Mark the corners again")
        )
    height, width = shape[:2]
    for name, (x, y) in zip(CORNER_NAMES, corners, strict=True):
        if not (-0.5 <= x <= width - 0.5 and -0.5 <= y <= height - 0.5):
            raise ScaleError(
                tr(
                    "The {name} corner at ({x:.0f}, {y:.0f}) lies outside the picture of "
                    "{width} x {height} px",
                    name=name,
                    x=x,
                    y=y,
                    width=width,
                    height=height,
                ),
                where=title,
                do=tr("Mark the corners in the full-size upright photo"),
            )
    for k in range(2):
        if _sides_cross(corners, k):
            one, other = ("right", "left") if k == 0 else ("top", "bottom")
            raise ScaleError(
                tr(
                    "The sides cross: the {corner} to {corner2} side meets the one opposite, "
                    "so two corners on the {one} or {other} are swapped",
                    corner=tr(CORNER_NAMES[k]),
                    corner2=tr(CORNER_NAMES[k + 1]),
                    one=one,
                    other=other,
                ),
                where=title,
                do=tr("Mark the corners in turn, clockwise from the top left"),
            )
    for k in range(4):
        before = corners[k - 1] - corners[k]
        after = corners[(k + 1) % 4] - corners[k]
        size = float(np.hypot(*before) * np.hypot(*after))
        if size < 1e-9:
            raise ScaleError(
                tr("The {corner} corner coincides with its neighbour", corner=tr(CORNER_NAMES[k])),
                where=title,
                do=tr("Mark the corners again"),
            )
        sine = abs(float(before[0] * after[1] - before[1] * after[0])) / size
        if sine < np.sin(np.deg2rad(12)):
            raise ScaleError(
                tr(
                    "The {corner} corner lies in a line with its neighbours", corner=CORNER_NAMES[k]
                ),
                where=title,
                do=tr("Mark the corners again, each where two sides meet"),
            )
    turns = _turns(corners)
    if not (np.all(turns > 0) or np.all(turns < 0)):
        odd = int(np.argmax(turns * -np.sign(np.sum(np.sign(turns)))))
        raise ScaleError(
            tr(
                "The {corner} corner lies inside the triangle of the other three",
                corner=tr(CORNER_NAMES[odd]),
            ),
            where=title,
            do=tr("Mark that corner again"),
        )
    ordered = order_corners(corners)
    sides = np.hypot(*(np.roll(ordered, -1, axis=0) - ordered).T)
    if float(np.min(sides)) < LEAST_SIDE_PX:
        raise ScaleError(
            tr("Only {sides:.0f} px across: too small to measure by", sides=np.min(sides)),
            where=title,
            do=tr("Take the photo from nearer or at full resolution, or use a larger reference"),
        )
    return ordered


def order_corners(corners: Floats) -> Floats:
    """Corners (4, 2) of a convex shape, clockwise as seen from the top left one."""
    middle = corners.mean(axis=0)
    turn = np.arctan2(corners[:, 1] - middle[1], corners[:, 0] - middle[0])
    ordered = corners[np.argsort(turn)]
    # y grows downward, so growing angles run clockwise as seen.
    first = int(np.argmin(ordered.sum(axis=1)))
    return np.asarray(np.roll(ordered, -first, axis=0))


def corners_mm(kind: ReferenceObject, corners: Floats) -> tuple[Floats, float, float]:
    """Matching (4, 2) mm positions, the obliqueness they imply, and that of the other way.

    The longer side is taken across or upright, whichever needs the less obliqueness
    (radians).
    """
    if kind.width_mm is None or kind.height_mm is None:
        raise ScaleError(
            tr("Only cards and sheets of paper have corners"),
            where=kind.title,
            do=tr("Name a card, an A4 sheet or a letter sheet"),
        )
    unit = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
    ways = []
    for size in ((kind.width_mm, kind.height_mm), (kind.height_mm, kind.width_mm)):
        points = unit * np.array(size)
        matrix = fit_homography(points, corners)
        angle = np.pi / 2 if matrix is None else obliqueness(matrix)
        ways.append((angle, points))
    ways.sort(key=lambda way: way[0])
    return ways[0][1], ways[0][0], ways[1][0]


def _turns(corners: Floats) -> Floats:
    before = corners - np.roll(corners, 1, axis=0)
    after = np.roll(corners, -1, axis=0) - corners
    return np.asarray(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0])


def _sides_cross(corners: Floats, k: int) -> bool:
    """Whether side k to k + 1 crosses the side opposite."""
    a, b, c, d = (corners[(k + i) % 4] for i in range(4))

    def side(p: Floats, q: Floats, r: Floats) -> float:
        return float((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]))

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0


# --- fitting -----------------------------------------------------------------


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
        turns = _turns(moved)
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
    floor = float(np.hypot(_FLOOR_PX, _FLOOR_MM.get(kind.kind, _PAPER_FLOOR_MM) * px_per_mm))
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
    if angle > _MOST_OBLIQUE:
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


# --- finding -----------------------------------------------------------------


def _find_from_mark(picture: Picture, kind: ReferenceObject, near: Floats) -> ReferenceSeen:
    height, width = picture.shape[:2]
    if not np.all(np.isfinite(near)) or not (
        -0.5 <= near[0] <= width - 0.5 and -0.5 <= near[1] <= height - 0.5
    ):
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
            for score, quad in _rough_quads(window, kind)
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
        if side < 0.8 * LEAST_SIDE_PX:
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
        hint = " (something under 20 px across was seen: too small)" if small else ""
        raise ScaleError(
            tr("No {title} was found around the mark{hint}", title=tr(kind.title), hint=hint),
            where="reference",
            do=tr("Mark its four corners by hand, or take the photo again with all of it in view"),
        )
    corners = check_corners(best.corners, _roomy(picture.shape), kind.title)
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
    if not _contains(quad.corners, near):
        return 0.0
    _, angle, _ = corners_mm(kind, quad.corners)
    if angle > _MOST_OBLIQUE:
        return 0.0
    sides = [side for side in quad.sides if side is not None]
    if min(abs(side.contrast) for side in sides) < _LEAST_CONTRAST:
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


def _contains(corners: Floats, point: Floats) -> bool:
    run = np.roll(corners, -1, axis=0) - corners
    to = point - corners
    return bool(np.all(run[:, 0] * to[:, 1] - run[:, 1] * to[:, 0] > 0))


def _rough_quads(window: Window, kind: ReferenceObject) -> list[tuple[float, Floats]]:
    """The best few rough quads of one window, (score, corners in window px)."""
    quads = [quad for contour in outlines(window) for quad in _quads_of(contour)]
    quads.extend(_quads_of_lines(window, kind))
    scored = []
    for quad in quads:
        ordered = order_corners(quad)
        sides = np.hypot(*(np.roll(ordered, -1, axis=0) - ordered).T)
        if float(np.min(sides)) < 10 or not np.all(_turns(ordered) > 0):
            continue
        if not _contains(ordered, window.mark):
            continue
        _, angle, _ = corners_mm(kind, ordered)
        if angle > _MOST_OBLIQUE:
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


def _quads_of(contour: np.typing.NDArray[np.int32]) -> Iterator[Floats]:
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
    # Codes per px: 2 is at the noise, 10 is a plain edge.
    share = np.mean(np.clip((best - 2.0) / 8.0, 0.0, 1.0), axis=2)
    size = np.sqrt(np.mean(length, axis=1))
    return np.asarray((0.5 * np.mean(share, axis=1) + 0.5 * np.min(share, axis=1)) * size**0.1)
