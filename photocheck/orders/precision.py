"""How exact a measuring system is, from its own repeats: in the terms of ISO 5725-2.

What the standard calls a laboratory is here a person, and its level an item: one reading of one
dog, or one mark in one photo.  Each person's results on an item are a cell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np

from photocheck.numerics import IN_95

LEAST_FREEDOM: Final = 10
"""Degrees of freedom from which on a standard deviation is told: with 10, its 95 % interval runs
from 0.70 to 1.75 times the estimate (chi-square); fewer say next to nothing (judgement)."""


@dataclass(frozen=True)
class Precision:
    """Repeatability and reproducibility of a measurement, in its own unit.

    Attributes
    ----------
    items, cells, results : int
        Dogs or photos, people on each, and single results behind it.
    repeatability : float or None
        Standard deviation between results of one person on one item (s_r); None where nobody
        measured anything twice.
    repeat_freedom : int
        Degrees of freedom behind it.
    repeat_low, repeat_high : float or None
        Its 95 % interval, by the chi-square distribution.
    reproducibility : float or None
        Standard deviation between results of different people on one item (s_R); None where no
        item was measured by two.
    people_freedom : int
        Degrees of freedom between people.
    """

    items: int
    cells: int
    results: int
    repeatability: float | None
    repeat_freedom: int
    repeat_low: float | None
    repeat_high: float | None
    reproducibility: float | None
    people_freedom: int

    @property
    def tells_repeat(self) -> bool:
        """Whether there are enough repeats for `repeatability` to say something."""
        return self.repeat_freedom >= LEAST_FREEDOM

    @property
    def tells_people(self) -> bool:
        """Whether there are enough people for `reproducibility` to say something."""
        return self.people_freedom >= LEAST_FREEDOM


def precision(items: Sequence[Sequence[Sequence[float]]]) -> Precision:
    """Repeatability and reproducibility of many items together, balanced or not.

    ISO 5725-2:1994, 7.4.4 and 7.4.5 (formulas quoted from memory; the worked examples in the
    tests hold them).  For one item with p people, n_i results each, means y_i and grand mean y::

        s_r² = Σ (n_i - 1) s_i² / Σ (n_i - 1)
        s_d² = Σ n_i (y_i - y)² / (p - 1)
        n    = (Σ n_i - Σ n_i² / Σ n_i) / (p - 1)
        s_L² = (s_d² - s_r²) / n, or 0 where that is negative
        s_R² = s_r² + s_L²

    Over several items the sums run over all of them, as in an analysis of variance with people
    within items: the standard deviations are taken to be the same for all items.  Where everybody
    measured once, s_R² = s_d² and s_r is unknown.

    Parameters
    ----------
    items : sequence of items, each a sequence of people's results
        Items and people without results count for nothing.

    >>> found = precision([[[10.0, 10.2], [10.5, 10.3]]])
    >>> round(found.repeatability, 4), round(found.reproducibility, 4)
    (0.1414, 0.2345)
    """
    cells = [[np.array(cell, float) for cell in item if len(cell)] for item in items]
    cells = [item for item in cells if item]
    within = sum(float(np.sum((cell - cell.mean()) ** 2)) for item in cells for cell in item)
    repeat_freedom = sum(len(cell) - 1 for item in cells for cell in item)
    between, spread_over = 0.0, 0.0
    for item in cells:
        counts = np.array([len(cell) for cell in item], float)
        means = np.array([cell.mean() for cell in item])
        middle = float(np.sum(counts * means) / counts.sum())
        between += float(np.sum(counts * (means - middle) ** 2))
        spread_over += float(counts.sum() - np.sum(counts**2) / counts.sum())
    people_freedom = sum(len(item) - 1 for item in cells)
    repeat = within / repeat_freedom if repeat_freedom else None
    both: float | None = None
    if people_freedom:
        mean_square = between / people_freedom
        each = spread_over / people_freedom
        by_people = max(mean_square - (repeat or 0.0), 0.0) / each
        both = (repeat or 0.0) + by_people
    low, high = _interval(repeat, repeat_freedom)
    return Precision(
        items=len(cells),
        cells=sum(len(item) for item in cells),
        results=sum(len(cell) for item in cells for cell in item),
        repeatability=None if repeat is None else sqrt(repeat),
        repeat_freedom=repeat_freedom,
        repeat_low=low,
        repeat_high=high,
        reproducibility=None if both is None else sqrt(both),
        people_freedom=people_freedom,
    )


def _interval(variance: float | None, freedom: int) -> tuple[float | None, float | None]:
    if variance is None:
        return None, None
    from scipy.stats import chi2

    low, high = (sqrt(freedom * variance / float(end)) for end in chi2.ppf([0.975, 0.025], freedom))
    return low, high


@dataclass(frozen=True)
class Agreement:
    """How far second results lie from first ones: bias and limits of agreement.

    Bland & Altman 1986, Lancet 327:307: the limits are the mean difference and 1.96 standard
    deviations to either side; the standard error of the mean is s / √n and of a limit √(3/n) s.

    Attributes
    ----------
    means, differences : tuple of float
        Of each pair: (first + second) / 2, and second - first.
    bias, spread : float
        Mean and standard deviation of the differences.
    low, high : float
        The limits.
    bias_reach, limit_reach : float
        Half of the 95 % intervals of the bias and of each limit, by Student's t.
    """

    means: tuple[float, ...]
    differences: tuple[float, ...]
    bias: float
    spread: float
    low: float
    high: float
    bias_reach: float
    limit_reach: float


def agreement(pairs: Sequence[tuple[float, float]]) -> Agreement | None:
    """Bias and limits of agreement of pairs (first, second); None for fewer than two.

    >>> found = agreement([(100.0, 101.0), (200.0, 203.0), (300.0, 302.0)])
    >>> found.bias, found.spread
    (2.0, 1.0)
    """
    if len(pairs) < 2:
        return None
    from scipy.stats import t

    first, second = np.array(pairs, float).T
    differences = second - first
    count = len(pairs)
    bias, spread = float(differences.mean()), float(differences.std(ddof=1))
    reach = float(t.ppf(0.975, count - 1))
    return Agreement(
        tuple(((first + second) / 2).tolist()),
        tuple(differences.tolist()),
        bias,
        spread,
        bias - IN_95 * spread,
        bias + IN_95 * spread,
        reach * spread / sqrt(count),
        reach * spread * sqrt(3.0 / count),
    )
