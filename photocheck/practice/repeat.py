"""The same photo marked twice: how well a person finds the same place again.

No truth is known here: two marks that agree may both lie wrong.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import DogFacts, Marking, Point
from photocheck.errors import CaseError
from photocheck.judge.estimate import estimate
from photocheck.practice.effects import SpanEffect, effects
from photocheck.practice.misses import Miss, between
from photocheck.practice.pattern import pooled
from photocheck.scale.pose import View
from photocheck.speech import tr
from photocheck.words import LANDMARK_TITLES, LANDMARKS

Array = NDArray[np.float64]

LEAST_APART_PX: Final = 20.0
"""Breastbone and tail base nearer than this give no scale to compare by."""


@dataclass(frozen=True)
class Repeat:
    """Two markings of one photo.

    Attributes
    ----------
    moved : mapping of landmark name to Miss
        The second mark against the first: mm with a scale, else hundredths of the straight
        distance from breastbone to tail base.
    in_mm : bool
        Whether there was a scale.
    spread : float
        Standard deviation of a single mark per axis, in the unit of `moved`: the root mean
        square of the differences over the root of two (Bland and Altman, BMJ 313:744, 1996,
        the within-subject standard deviation of pairs; from memory).
    low, high : float
        Its 95 % interval.
    spans : tuple of SpanEffect
        Each length with the first marks ("right") and with the second; empty without a scale.
    """

    moved: Mapping[str, Miss]
    in_mm: bool
    spread: float
    low: float
    high: float
    spans: tuple[SpanEffect, ...]


def side_planes(view: View, dog: DogFacts, marks: Mapping[str, Point]) -> dict[str, Array]:
    """For each landmark (3, 3): (forward, up, 1) in its plane of the dog, mm, to px.

    The planes are those of the estimate with these marks: the dog's middle plane, and for
    the last rib the plane of the near flank.
    """
    fused = estimate([view], [[Marking(marks)]], dog)
    # The estimate's plane has x to the picture's right and y down.
    ahead = np.sign(marks["breastbone"][0] - marks["tail_base"][0]) or 1.0
    flip = np.diag([float(ahead), -1.0, 1.0])
    lift = {"last_rib": fused.half_flank_mm}
    return {name: fused.to_pixels[0](lift.get(name, 0.0)) @ flip for name in LANDMARKS}


def share_planes(marks: Mapping[str, Point]) -> dict[str, Array]:
    """The same without a scale: one hundredth of breastbone to tail base is the unit.

    Raises
    ------
    CaseError
        When those two marks lie on one spot.
    """
    front, tail = np.array(marks["breastbone"]), np.array(marks["tail_base"])
    unit = float(np.hypot(*(front - tail))) / 100.0
    if 100.0 * unit < LEAST_APART_PX:
        raise CaseError(
            tr("the marks of the breastbone and the tail base lie on one spot"),
            do=tr("Place each on its own point"),
        )
    ahead = float(np.sign(front[0] - tail[0]) or 1.0)
    return dict.fromkeys(LANDMARKS, np.diag([ahead * unit, -unit, 1.0]))


def repeat(
    first: Mapping[str, Point],
    second: Mapping[str, Point],
    view: View | None = None,
    dog: DogFacts | None = None,
) -> Repeat:
    """Compare two markings of one photo.

    Parameters
    ----------
    first, second : mapping of landmark name to Point
        All four landmarks, px.
    view : View or None
        The photo's scale; None when nothing of known size is in it.
    dog : DogFacts, optional

    Raises
    ------
    CaseError
        When a landmark is missing or the marks give no scale.
    """
    for marks in (first, second):
        missing = [name for name in LANDMARKS if name not in marks]
        if missing:
            raise CaseError(
                tr(
                    "not marked: {titles}",
                    titles=", ".join(tr(LANDMARK_TITLES[name]) for name in missing),
                ),
                do=tr("Mark all four, both times"),
            )
    facts = dog or DogFacts()
    planes = side_planes(view, facts, first) if view else share_planes(first)
    moved = {name: between(planes[name], first[name], second[name]) for name in LANDMARKS}
    singles = [np.array([m.forward_mm, m.up_mm]) / np.sqrt(2.0) for m in moved.values()]
    # Two marks on the very same pixel still were placed with some spread.
    floor = 1e-6
    spread, low, high = pooled([np.where(np.abs(row) < floor, floor, row) for row in singles])
    spans: tuple[SpanEffect, ...] = ()
    if view:
        spans = effects(view, facts, first, second, alone=False).together
    return Repeat(moved, view is not None, spread, low, high, spans)
