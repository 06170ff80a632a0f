"""How likely each size of the shelf fits a dog whose lengths are only known so well."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.fit.cut_lengths import MEASURES, Lengths
from photocheck.fit.shelf import Size

Array = NDArray[np.float64]

LEAST_CHANCE: Final = 0.80
"""A size is recommended from this chance on (judgement: one harness in five sent back is too
many, and a size in its middle reaches well over it)."""


@dataclass(frozen=True)
class SpanFit:
    """One measure against one size.

    Attributes
    ----------
    measure : str
        One of `photocheck.fit.cut_lengths.MEASURES`.
    mm, from_mm, to_mm : float
        The dog's best estimate and the size's limits.
    off_mm : float
        0 inside the limits; negative when the dog is shorter than the size's shortest,
        positive when it is longer than the longest.
    chance : float
        That this measure alone lies inside the limits.
    """

    measure: str
    mm: float
    from_mm: float
    to_mm: float
    off_mm: float
    chance: float


@dataclass(frozen=True)
class SizeFit:
    """One size against the dog.

    Attributes
    ----------
    name : str
    chance : float
        That all measures lie inside their limits together.
    spans : tuple of SpanFit
        In the order of `MEASURES`, those the size has limits for.
    worst : str
        The measure that most likely does not fit.
    chance_now : float or None
        The same chance today, when lengths are reckoned for a later weight.
    """

    name: str
    chance: float
    spans: tuple[SpanFit, ...]
    worst: str
    chance_now: float | None = None


def match(
    lengths: Lengths, sizes: Sequence[Size], *, now: Lengths | None = None
) -> tuple[SizeFit, ...]:
    """Every size with its chance, the likeliest first; of equals, the one least far off.

    Parameters
    ----------
    lengths : Lengths
    sizes : sequence of Size
    now : Lengths, optional
        Today's lengths, when `lengths` are those to come.
    """
    found = [_fit(lengths, size, now) for size in sizes]

    def rank(one: SizeFit) -> tuple[float, float]:
        # The integral is a sampled one and good to about 1e-4; do not let that decide.
        return -round(one.chance, 3), sum(abs(span.off_mm) / span.mm for span in one.spans)

    return tuple(sorted(found, key=rank))


def chance_inside(logs: Array, covariance: Array, lows: Array, highs: Array) -> float:
    """The probability that a normal vector lies inside a box.

    By SciPy's randomised quasi-Monte Carlo (Genz 1992), good to about 1e-4; the covariance
    may be singular.

    Parameters
    ----------
    logs, lows, highs : (n,)
    covariance : (n, n)
    """
    from scipy.stats import multivariate_normal

    chance = multivariate_normal.cdf(
        highs, mean=logs, cov=covariance, allow_singular=True, lower_limit=lows
    )
    return float(np.clip(chance, 0.0, 1.0))


def _fit(lengths: Lengths, size: Size, now: Lengths | None) -> SizeFit:
    indices = [k for k, measure in enumerate(MEASURES) if measure in size.limits]
    ends = np.array([size.limits[MEASURES[k]] for k in indices])
    logs, covariance = lengths.measures()
    lows, highs = np.log(ends[:, 0]), np.log(ends[:, 1])
    spans = []
    for row, k in enumerate(indices):
        mm, (low, high) = float(np.exp(logs[k])), ends[row]
        one = slice(k, k + 1)
        spans.append(
            SpanFit(
                MEASURES[k],
                mm,
                float(low),
                float(high),
                float(min(mm - low, 0.0) + max(mm - high, 0.0)),
                chance_inside(
                    logs[one], covariance[one, one], lows[row : row + 1], highs[row : row + 1]
                ),
            )
        )

    def together(these: Lengths) -> float:
        logs, covariance = these.measures()
        return chance_inside(logs[indices], covariance[np.ix_(indices, indices)], lows, highs)

    return SizeFit(
        size.name,
        together(lengths),
        tuple(spans),
        min(spans, key=lambda span: span.chance).measure,
        None if now is None else together(now),
    )
