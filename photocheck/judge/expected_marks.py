"""Marks held against where a look at the photo would expect them: evidence, and never the truth.

What is expected comes with its own spread and the probability that it holds; else it lies anywhere
about the dog.  No estimate and no check takes any: it tells at once which marks changed places, and
at a desk which to look at.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations
from math import hypot, log, pi
from typing import Final, Protocol

import numpy as np

from photocheck.case.model import Point

ROOM: Final = 1.5
"""Side of the square in which an expectation that does not hold may lie, over the largest distance
between expected marks: a dog with its head and legs (judgement)."""
MOST: Final = 0.95
"""Probability that an expectation holds, at most: one is never as good as certain (judgement)."""


class ExpectedMark(Protocol):
    """Where a landmark would be expected."""

    @property
    def xy(self) -> Point:
        """Px of the upright photo."""

    @property
    def covariance(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Of the place, px squared."""

    @property
    def confidence(self) -> float:
        """Probability that the place is as its spread says."""


def deviations(mark: Point, expected: ExpectedMark, own_px: float) -> float:
    """How many standard deviations apart, in two dimensions.

    Parameters
    ----------
    mark : Point
        Px.
    expected : ExpectedMark
    own_px : float
        Standard deviation of the mark per axis.
    """
    gap = np.subtract(mark, expected.xy)
    whole = np.array(expected.covariance) + own_px**2 * np.eye(2)
    return float(np.sqrt(gap @ np.linalg.solve(whole, gap)))


def log_fit(
    landmarks: Mapping[str, Point], expected: Mapping[str, ExpectedMark], own_px: float
) -> float:
    """Log-density of what is expected, if the landmarks are where they are said to be.

    A landmark of which that is not said is anywhere, so that nothing is expected rightly of it.

    Parameters
    ----------
    landmarks : mapping of landmark name to Point
        Px.
    expected : mapping of landmark name to ExpectedMark
        At least two.
    own_px : float
        Standard deviation of the landmarks' places per axis.
    """
    places = [one.xy for one in expected.values()]
    apart = max(hypot(a[0] - b[0], a[1] - b[1]) for a, b in combinations(places, 2))
    anywhere = -2.0 * log(ROOM * max(apart, 1.0))
    found = 0.0
    for name, one in expected.items():
        if name not in landmarks:
            found += anywhere
            continue
        holds = min(one.confidence, MOST)
        whole = np.array(one.covariance) + own_px**2 * np.eye(2)
        square = deviations(landmarks[name], one, own_px) ** 2
        near = log(holds) - 0.5 * square - log(2.0 * pi) - 0.5 * float(np.linalg.slogdet(whole)[1])
        found += float(np.logaddexp(near, log(1.0 - holds) + anywhere))
    return found
