"""Where labels go: near what they name, over nothing that matters, never over each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import cos, hypot, pi, sin

import numpy as np
from numpy.typing import NDArray

Box = tuple[float, float, float, float]
"""Left, top, right, bottom, px."""


@dataclass(frozen=True)
class Sought:
    """A label to place.

    Attributes
    ----------
    key : str
    anchor : (float, float)
        What it names, px.
    size : (float, float)
        Width and height of its box, px.
    away : (float, float)
        Direction in which it would rather lie, any length.
    """

    key: str
    anchor: tuple[float, float]
    size: tuple[float, float]
    away: tuple[float, float]


def place(
    wanted: Sequence[Sought],
    field: Box,
    taken: Sequence[Box],
    ink: NDArray[np.float64],
    gap: float,
) -> dict[str, Box]:
    """Place labels one after the other, the first with the freest choice.

    Parameters
    ----------
    wanted : sequence of Sought
        Most important first.
    field : Box
        Where labels may lie, px.
    taken : sequence of Box
        Where none may lie, px.
    ink : (N, 3) float
        Points (x, y, weight) better left uncovered, px; no weight is negative.
    gap : float
        Space kept between boxes, px.

    Returns
    -------
    dict of key to Box
        Without those for which no free place was left.
    """
    placed: dict[str, Box] = {}
    occupied = list(taken)
    solid = [box for box in taken if box[0] < box[2] and box[1] < box[3]]
    for label in wanted:
        best: Box | None = None
        best_cost = np.inf
        # Far off only when there is no room nearby.
        for centres in (_around(label, gap), _everywhere(label, field)):
            for box in _boxes(label, centres, field):
                left, top = box[0] - gap, box[1] - gap
                right, bottom = box[2] + gap, box[3] + gap
                # thousands of places are looked at: by comparisons alone
                if any(
                    left < other[2] and other[0] < right and top < other[3] and other[1] < bottom
                    for other in solid
                ):
                    continue
                # what is added to it could only make it worse
                if (cost := _stray(label, box, gap)) >= best_cost:
                    continue
                if (cost := cost + _covered(box, ink, gap)) >= best_cost:
                    continue
                cost += 30.0 * _crossed(label.anchor, box, occupied)
                if cost < best_cost:
                    best, best_cost = box, cost
            if best is not None:
                placed[label.key] = best
                occupied.append(best)
                solid.append(best)
                break
    return placed


Centres = list[tuple[float, float]]


def _around(label: Sought, gap: float) -> Centres:
    """Centres on twelve ellipses about the anchor, so that wide boxes clear it sideways too."""
    width, height = label.size
    x, y = label.anchor
    return [
        (
            x + cos(angle) * (width / 2 + gap * (2 * ring - 1)),
            y + sin(angle) * (height / 2 + gap * (2 * ring - 1)),
        )
        for ring in range(1, 13)
        for angle in (2 * pi * turn / 24 for turn in range(24))
    ]


def _everywhere(label: Sought, field: Box) -> Centres:
    """Centres on a grid over the field, a box's height apart."""
    width, height = label.size
    step = max(height, 4.0)
    return [
        (float(column), float(row))
        for row in np.arange(field[1] + height / 2, field[3] - height / 2 + 1, step)
        for column in np.arange(field[0] + width / 2, field[2] - width / 2 + 1, step)
    ]


def _boxes(label: Sought, centres: Centres, field: Box) -> Iterator[Box]:
    width, height = label.size
    for x, y in centres:
        box = (x - width / 2, y - height / 2, x + width / 2, y + height / 2)
        inside = box[0] >= field[0] and box[1] >= field[1]
        if inside and box[2] <= field[2] and box[3] <= field[3]:
            yield box


def _crossed(anchor: tuple[float, float], box: Box, occupied: Sequence[Box]) -> int:
    """How many boxes the leader from the anchor to its own box would run under."""
    if not occupied:
        return 0
    near = nearest(anchor, box)
    steps = np.linspace(0.0, 1.0, 12)[:, None]
    way = np.array(anchor) * (1 - steps) + np.array(near) * steps
    x, y = way[:, :1], way[:, 1:]
    left, top, right, bottom = np.array(occupied, float).T
    inside = (x > left) & (x < right) & (y > top) & (y < bottom)
    return int(np.count_nonzero(inside.any(axis=0)))


def nearest(point: tuple[float, float], box: Box) -> tuple[float, float]:
    """The point of a box nearest to a point, px."""
    x, y = point
    return min(max(x, box[0]), box[2]), min(max(y, box[1]), box[3])


def _stray(label: Sought, box: Box, gap: float) -> float:
    """How far from what it names, and how far from where it would rather lie."""
    x, y = label.anchor
    near = nearest(label.anchor, box)
    distance = hypot(near[0] - x, near[1] - y) / gap
    cx, cy = (box[0] + box[2]) / 2 - x, (box[1] + box[3]) / 2 - y
    length = hypot(cx, cy) * hypot(*label.away)
    against = 1 - (cx * label.away[0] + cy * label.away[1]) / length if length else 1.0
    return distance + 2.0 * against


def _covered(box: Box, ink: NDArray[np.float64], gap: float) -> float:
    """The weight of the points that a box would hide."""
    if not len(ink):
        return 0.0
    hit = (
        (ink[:, 0] > box[0] - gap)
        & (ink[:, 0] < box[2] + gap)
        & (ink[:, 1] > box[1] - gap)
        & (ink[:, 1] < box[3] + gap)
    )
    return float(ink[hit, 2].sum())
