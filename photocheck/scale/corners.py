"""Four corners: whether they make a sheet, in which order, and where they lie on it."""

from __future__ import annotations

from typing import Final

import numpy as np

from photocheck.errors import ScaleError
from photocheck.scale.catalogue import ReferenceObject
from photocheck.scale.light import Floats
from photocheck.scale.planes import fit_homography, obliqueness
from photocheck.scale.thresholds import LEAST_ACROSS_PX, lies_inside
from photocheck.speech import later, tr

CORNER_NAMES: Final = (
    later("top left"),
    later("top right"),
    later("bottom right"),
    later("bottom left"),
)


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
        if not lies_inside(x, y, shape):
            raise ScaleError(
                tr(
                    "The {name} corner at ({x:.0f}, {y:.0f}) lies outside the picture of "
                    "{width} x {height} px",
                    name=tr(name),
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
            crossed = {"corner": tr(CORNER_NAMES[k]), "corner2": tr(CORNER_NAMES[k + 1])}
            raise ScaleError(
                tr(
                    "The sides cross: the {corner} to {corner2} side meets the one opposite, "
                    "so two corners on the right or left are swapped",
                    **crossed,
                )
                if k == 0
                else tr(
                    "The sides cross: the {corner} to {corner2} side meets the one opposite, "
                    "so two corners on the top or bottom are swapped",
                    **crossed,
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
                    "The {corner} corner lies in a line with its neighbours",
                    corner=tr(CORNER_NAMES[k]),
                ),
                where=title,
                do=tr("Mark the corners again, each where two sides meet"),
            )
    turns = corner_turns(corners)
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
    sides = side_lengths(ordered)
    if float(np.min(sides)) < LEAST_ACROSS_PX:
        raise ScaleError(
            tr("Only {sides:.0f} px across: too small to measure by", sides=np.min(sides)),
            where=title,
            do=tr("Take the photo from nearer or at full resolution, or use a larger reference"),
        )
    return ordered


def order_corners(corners: Floats) -> Floats:
    """Corners (4, 2) of a convex shape, clockwise as seen from the top left one.

    >>> order_corners(np.array([[9.0, 9.0], [0.0, 0.0], [0.0, 9.0], [9.0, 0.0]])).tolist()
    [[0.0, 0.0], [9.0, 0.0], [9.0, 9.0], [0.0, 9.0]]
    """
    return np.asarray(orders_of_corners(corners[None])[0])


def orders_of_corners(quads: Floats) -> Floats:
    """`order_corners` of many shapes (n, 4, 2) at once."""
    to = quads - quads.mean(axis=1, keepdims=True)
    order = np.argsort(np.arctan2(to[..., 1], to[..., 0]), axis=1)
    # y grows downward, so growing angles run clockwise as seen.
    ordered = np.take_along_axis(quads, order[..., None], axis=1)
    first = np.argmin(ordered.sum(axis=2), axis=1)
    turned = (first[:, None] + np.arange(4)) % 4
    return np.take_along_axis(ordered, turned[..., None], axis=1)


def corners_mm(kind: ReferenceObject, corners: Floats) -> tuple[Floats, float, float]:
    """Matching (4, 2) mm positions, the obliqueness they imply, and that of the other way.

    The longer side is taken across or upright, whichever needs the less obliqueness
    (radians).
    """
    if kind.width_mm is None or kind.height_mm is None:
        raise ScaleError(
            tr("Only cards and sheets of paper have corners"),
            where=tr(kind.title),
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


def side_lengths(corners: Floats) -> Floats:
    """Length of each side in turn of a closed shape (n, 2), corner 0 to 1 first, (n,).

    >>> side_lengths(np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 4.0]])).tolist()
    [3.0, 4.0, 5.0]
    """
    run = np.roll(corners, -1, axis=0) - corners
    return np.asarray(np.hypot(run[:, 0], run[:, 1]))


def sides_from(corners: Floats) -> tuple[Floats, Floats]:
    """Runs from each of corners (4, 2) to the next, and unit normals outwards; (4, 2) both."""
    run = np.roll(corners, -1, axis=0) - corners
    return run, run[:, ::-1] * [1.0, -1.0] / np.maximum(np.hypot(*run.T), 1e-9)[:, None]


def px_per_mm_of(kind: ReferenceObject, corners: Floats) -> float:
    """Pixels per mm by the way all around corners (4, 2) px of an object of that kind."""
    return float(side_lengths(corners).sum()) / (2 * sum(kind.size_mm))


def corner_turns(corners: Floats) -> Floats:
    """Twice the signed area at each corner (4,), positive where a clockwise walk turns right."""
    before = corners - np.roll(corners, 1, axis=0)
    after = np.roll(corners, -1, axis=0) - corners
    return np.asarray(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0])


def _sides_cross(corners: Floats, k: int) -> bool:
    """Whether side k to k + 1 crosses the side opposite."""
    a, b, c, d = (corners[(k + i) % 4] for i in range(4))

    def side(p: Floats, q: Floats, r: Floats) -> float:
        return float((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]))

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0


def contains(corners: Floats, point: Floats) -> bool:
    """Whether a convex shape, corners clockwise (4, 2), holds a point (2,)."""
    run = np.roll(corners, -1, axis=0) - corners
    to = point - corners
    return bool(np.all(run[:, 0] * to[:, 1] - run[:, 1] * to[:, 0] > 0))
