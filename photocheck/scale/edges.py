"""Cards and sheets of paper: found from a rough mark, sides fitted to a fraction of a pixel.

No corner is ever looked for: the corners of an ISO/IEC 7810 card are rounded
(2.88 to 3.48 mm) and those of paper are bent or held.  The straight part of each
side is fitted, and the sides are made to meet.

How one shape is chosen among all that are seen is in `photocheck.scale.rivals`, how well it does
in composites of printed cards and sheets in `tests/scale/test_scale_composites.py`, and on real
photographs by `python -m photocheck.benchmark photographs`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from photocheck.case.model import Point
from photocheck.errors import ScaleError
from photocheck.scale.candidates import halved_of
from photocheck.scale.catalogue import ReferenceObject
from photocheck.scale.closer import weighed_closer
from photocheck.scale.coarse import STIFF, coarse_candidates, straight_sides, trims_of
from photocheck.scale.corners import (
    CORNER_NAMES,
    check_corners,
    corner_turns,
    corners_mm,
    side_lengths,
)
from photocheck.scale.light import Floats, Halved, Picture
from photocheck.scale.planes import fit_homography
from photocheck.scale.refining import refined
from photocheck.scale.rivals import RIVAL_FROM, Weighed, nearest_order
from photocheck.scale.rough_quads import MOST_OBLIQUE
from photocheck.scale.seen import ReferenceSeen
from photocheck.scale.subpixel import EdgeLine, crossing, crossing_spread, fit_sides
from photocheck.scale.thresholds import (
    FLAT_MM,
    FLOOR_PX,
    HAND_SPREAD_PX,
    LEAST_ACROSS_PX,
    LEAST_CONTRAST,
    PAPER_FLAT_MM,
    lies_inside,
)
from photocheck.speech import joined, tr

_LEAST_SUPPORT: Final = 0.45  # of the worst side
_LEAST_SURE: Final = 0.5
"""Probability of one shape, and of those nearly where it is, below which nothing was found."""
_LEAST_ANY: Final = 0.7
"""Probability that it is any of the shapes found, below which none was found: what is as likely
as 0.6 to 0.7 would be known to a quarter of its length, and one in three of those was wrong (240
taps into composites)."""
_HARDLY_ANY: Final = 0.85
"""The same, below which that none of them was meant is doubt of its corners: of 500 taps into
composites 16 right ones had less, and three of the five that were surely wrong."""
_ELSEWHERE: Final = 0.4
"""How far off what was meant lies where none of them was, of the longer side (median of those)."""
_MOST_UNSURE: Final = 0.03
"""Corner doubt, of the longer side, from which on one of several shapes is not chosen."""
_MOST_RIVALS: Final = 0.3
"""What all rivals together may be as likely as beside the best, with that doubt: of those 257
finds ten had more, of which seven were another shape than the one meant."""
_MOST_RIVAL_SHEETS: Final = 0.15
"""The same of paper, since what it is weighed by was fitted anew: of 360 taps into composites left
out of a fit in turn 2 fewer were right and 2 fewer wrong than with 0.3."""
_FOUND_PX: Final = 0.6
"""Least doubt of corners found by themselves, px: a photo written anew gives them up to 0.2 px
elsewhere with a stated doubt of 0.25 or 0.63, and with less than this 87 to 95 of 100 composites'
cards lay within two stated deviations."""
_FAR_OFF_PX: Final = 36.0
"""How far marks may lie off for what was found to take their place, px, and no more than a
fifth of the shorter side: hasty marks in a 12 megapixel photo miss by up to 30 px."""
_TURNED: Final = np.deg2rad(15.0)
_LESS_TURNED: Final = np.deg2rad(5.0)
"""A card whose edge is taken for that of its stripe seems turned: more than the one, what is
found without the marks is asked, and believed where it is less turned by the other (judgement)."""
_STRANGE_SHARE: Final = 0.3
"""Doubt of an edge that lies far from its mark, of how far: nothing else confirms it."""
_UNSEEN_PX: Final = 10.0
"""Doubt of a mark with no edge near it of which nobody said how good it is, px: it may be a
hasty one (a third of 30 px; judgement)."""


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


def _fit_quad(
    picture: Picture, kind: ReferenceObject, corners: Floats, reach_px: float, stay: float
) -> Quad | None:
    """Fit the four sides, first within `reach_px`, then closely; None when they do not meet."""
    sides: list[EdgeLine | None] = []
    trims = trims_of(kind, corners)
    for reach in (reach_px, 2.5):
        sides = straight_sides(picture, corners, trims, reach, stay)
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
    lengths = side_lengths(quad.corners)
    true = side_lengths(points)
    px_per_mm = float(np.mean(lengths / true)) if matrix is not None else 1.0
    floor = float(np.hypot(FLOOR_PX, FLAT_MM.get(kind.kind, PAPER_FLAT_MM) * px_per_mm))
    spreads = []
    for k in range(4):
        before, after = quad.sides[k - 1], quad.sides[k]
        if before is None or after is None:
            spreads.append(np.inf)
            continue
        spreads.append(float(np.hypot(crossing_spread(before, after), floor)))
    return np.array(spreads)


def _refine_marked(
    picture: Picture, kind: ReferenceObject, corners: Floats, corner_spread_px: float | None
) -> ReferenceSeen:
    hand = HAND_SPREAD_PX if corner_spread_px is None else corner_spread_px
    sides = side_lengths(corners)
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
    kept = spread >= hand
    moved_px = np.hypot(*(settled - corners).T)
    # Two standard deviations off: either the mark or the edge is another's.
    strange = ~kept & (moved_px > 2 * hand)
    tilt = corners_mm(kind, settled)[1]
    # who says how exact the corners are is believed where edges confirm them
    told = corner_spread_px is not None
    turned = not told and tilt > _TURNED and not np.any(kept | strange)
    if not np.any(kept | strange) and not turned:
        return seen_as(kind, "marked", settled, float(np.sqrt(np.mean(spread**2))), [])
    # Some side has no edge near the marks: see what is there without them.
    far = float(np.clip(_FAR_OFF_PX, 3.5 * hand + 1, max(0.2 * np.min(sides), 3.5 * hand + 1)))
    again = _near_marks(picture, kind, corners, 3.5 * hand + 1, far)
    if turned and again is not None and corners_mm(kind, again.points_px)[1] > tilt - _LESS_TURNED:
        again = None  # it is turned indeed
    if again is not None:
        return again
    spread[strange] = np.hypot(spread[strange], _STRANGE_SHARE * moved_px[strange])
    if not np.any(kept):
        return seen_as(kind, "marked", settled, float(np.sqrt(np.mean(spread**2))), [])
    if corner_spread_px is None:
        spread[kept] = np.hypot(spread[kept], _UNSEEN_PX)
    spread[kept] = np.hypot(spread[kept], _edges_off(picture, kind, corners, far, hand)[kept])
    names = [tr(CORNER_NAMES[k]) for k in range(4) if kept[k]]
    remarks = []
    if len(names) < 4:
        remarks.append(
            tr(
                "No clear edges at the {corners} corner: kept as marked",
                corners=joined(*names, between=", "),
            )
        )
    else:
        remarks.append(tr("The corners are used as marked: no clear edges run between them"))
    return seen_as(kind, "marked", settled, float(np.sqrt(np.mean(spread**2))), remarks)


def _edges_off(
    picture: Picture, kind: ReferenceObject, corners: Floats, far_px: float, hand: float
) -> Floats:
    """How far off the marks' sides edges run that could be the true ones, (4,) px at the corners.

    An edge beyond what a hand misses by says that the hand may have missed: half as far is the
    doubt.  Without any the marks are all there is.
    """
    trim = max(max(pair) for pair in trims_of(kind, corners))
    lines = fit_sides(
        picture, corners[None], np.roll(corners, -1, axis=0)[None],
        reach_px=far_px, trim=(trim, trim), window_px=2.5,
    )  # fmt: skip
    off = np.zeros(4)
    for k, line in enumerate(lines):
        if line is None or line.support < 0.6 or abs(line.contrast) < LEAST_CONTRAST:
            continue
        for corner, end in ((k, line.start), ((k + 1) % 4, line.end)):
            off[corner] = np.hypot(off[corner], float(np.hypot(*(end - corners[corner]))))
    return np.where(off > hand, 0.5 * off, 0.0)


def _near_marks(
    picture: Picture, kind: ReferenceObject, corners: Floats, near_px: float, far_px: float
) -> ReferenceSeen | None:
    """The object found from the middle of the marks, if its corners agree with them."""
    try:
        seen = _find_from_mark(picture, kind, corners.mean(axis=0), corners)
    except ScaleError:
        return None
    gap = min(
        float(np.max(np.hypot(*(np.roll(seen.points_px, -k, axis=0) - corners).T)))
        for k in range(4)
    )
    if gap > far_px or (gap > near_px and seen.spread_px > 0.2 * gap):
        return None
    if gap <= near_px:
        return replace(seen, how="marked")
    said = tr(
        "The marks lie up to {gap:.0f} px off the edges that were found: the edges are used",
        gap=gap,
    )
    return replace(seen, how="marked", remarks=(*seen.remarks, said))


def seen_as(
    kind: ReferenceObject, how: str, corners: Floats, spread_px: float, remarks: list[str]
) -> ReferenceSeen:
    """A card or sheet whose corners (4, 2) px are known to `spread_px`.

    Raises
    ------
    ScaleError
        When such a thing would be turned away too far to be it.
    """
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


def _find_from_mark(
    picture: Picture, kind: ReferenceObject, near: Floats, marked: Floats | None = None
) -> ReferenceSeen:
    """The object at a mark; corners by hand (4, 2), where there are, speak against rivals."""
    return weighed_at(picture, kind, near, marked=marked)[0]


def weighed_at(
    picture: Picture | Halved,
    kind: ReferenceObject,
    near: Floats,
    *,
    marked: Floats | None = None,
    across_px: tuple[float, float] = (0.0, np.inf),
) -> tuple[ReferenceSeen, Weighed]:
    """The object at a mark (2,) px, and how it was weighed against all else there.

    Parameters
    ----------
    marked : (4, 2) or None
        Corners by hand, px, which speak against rivals.
    across_px : (float, float)
        As `photocheck.scale.candidates.windows` has it.

    Raises
    ------
    ScaleError
        As `find_rectangle`.
    """
    pictures = halved_of(picture)
    shape = pictures.picture.shape
    height, width = shape[:2]
    if not np.all(np.isfinite(near)) or not lies_inside(near[0], near[1], shape):
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
    found, smallest = coarse_candidates(pictures, kind, near, across_px)
    weighed, beyond = weighed_closer(pictures, kind, near, found)
    if weighed is None or _sure(weighed) < _LEAST_SURE or weighed.any_of_them < _LEAST_ANY:
        small = weighed is None and smallest < 0.8 * LEAST_ACROSS_PX
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
    fine = refined(pictures, kind, weighed.best)
    corners = check_corners(fine.corners, _roomy(shape), tr(kind.title))
    spread = max(fine.spread_px, _FOUND_PX)
    remarks = []
    if fine.support < 0.7:
        remarks.append(
            tr(
                "A side is partly hidden or faint (seen over {percent} %)",
                percent=f"{100 * fine.support:.0f}",
            )
        )
    spread = float(np.sqrt(spread**2 + np.sum(beyond**2) / 4))
    longest = float(side_lengths(corners).max())
    unclear = bool(np.any(beyond))
    rivals = weighed.rivals
    if marked is not None:
        rivals = _borne_out(rivals, fine.corners, marked)
    if rivals:
        shares = np.array([share for share, _ in rivals])
        apart = [float(np.mean((rival - fine.corners) ** 2)) for _, rival in rivals]
        spread = float(np.hypot(spread, np.sqrt(shares @ apart / (1.0 + shares.sum()))))
        most = _MOST_RIVALS if kind.kind in STIFF else _MOST_RIVAL_SHEETS
        if spread > _MOST_UNSURE * longest and shares.sum() > most:
            raise ScaleError(
                tr("Several shapes around the mark could be the {title}", title=tr(kind.title)),
                where="reference",
                do=tr("Mark its four corners by hand"),
            )
        unclear = True
    if marked is None and weighed.any_of_them < _HARDLY_ANY:
        unclear = True
        spread = float(np.hypot(spread, _ELSEWHERE * longest * (1 - weighed.any_of_them) ** 0.5))
    if unclear:
        remarks.append(
            tr("Another shape fits nearly as well: see whether the corners are right, or mark them")
        )
    return seen_as(kind, "found", corners, spread, remarks), weighed


def _sure(weighed: Weighed) -> float:
    """Probability that it is the shape weighed, or one less far off than would matter."""
    best = weighed.best.corners
    near = _MOST_UNSURE * float(side_lengths(best).max())
    shares = [share for share, other in weighed.rivals if np.abs(other - best).max() < near]
    return weighed.sure * (1.0 + sum(shares))


def _borne_out(
    rivals: tuple[tuple[float, Floats], ...], best: Floats, marked: Floats
) -> tuple[tuple[float, Floats], ...]:
    """The rivals that corners marked by hand (4, 2) leave, with what each is worth then.

    Marks are normal about the corners of what was meant, as far off as those of a hand or as
    the best shape shows them to be.
    """

    def off(corners: Floats) -> float:
        return float(np.sum((nearest_order(corners, marked) - marked) ** 2))

    of_best = off(best)
    variance = max(HAND_SPREAD_PX**2, of_best / best.size)
    told = (
        (share * min(float(np.exp(0.5 * (of_best - off(rival)) / variance)), 1.0), rival)
        for share, rival in rivals
    )
    return tuple((share, rival) for share, rival in told if share >= RIVAL_FROM)


def _roomy(shape: tuple[int, ...]) -> tuple[int, ...]:
    """The picture's shape with room for a corner that two visible sides put just outside."""
    return (shape[0] + 2, shape[1] + 2)
