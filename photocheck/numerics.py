"""Small numerical helpers that belong to no stage."""

from __future__ import annotations

from collections.abc import Callable
from math import floor, log10
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Real = TypeVar("Real", bound=np.floating[Any])

IN_95: Final = 1.96
"""Standard deviations to either side of the mean that hold 95 of 100 of a normal variable."""


def derivative(function: Callable[[Array], Array], theta: Array, steps: Array) -> Array:
    """Central differences of a function that broadcasts over leading axes.

    Parameters
    ----------
    function : (..., p) -> (..., m)
    theta : (p,)
    steps : (p,)
        How far each entry is moved.

    Returns
    -------
    (m, p)
        One call of `function` evaluates all displaced vectors at once.
    """
    moves = np.diag(steps)
    values = function(np.concatenate([theta + moves, theta - moves]))
    p = len(theta)
    return np.asarray((values[:p] - values[p:]).T / (2.0 * steps))


def quantile(values: Array, share: float) -> float:
    """What a share of the values (n,) lies below: as by `numpy.quantile`, and without `numpy.ma`.

    Linear between the two values next to it (Hyndman and Fan, Sample quantiles in statistical
    packages, The American Statistician 50, 1996: definition 7).

    >>> quantile(np.array([4.0, 1.0, 2.0]), 0.25)
    1.5
    """
    last = len(values) - 1
    return float(np.interp(share * last, np.arange(last + 1), np.sort(values)))


def median(values: NDArray[Real]) -> NDArray[Real]:
    """Median over the last axis of what is not nan; nan where nothing is.

    `numpy.nanmedian` goes row by row, and this is called often on small arrays; for
    `numpy.median` all of `numpy.ma` is loaded.
    """
    finite = np.isfinite(values)
    ordered = np.sort(values, axis=-1)  # nan last
    if (last := values.shape[-1] - 1) >= 0 and finite.all():  # nearly always
        return np.asarray((ordered[..., last // 2] + ordered[..., (last + 1) // 2]) / 2)
    count = np.count_nonzero(finite, axis=-1)
    low = np.maximum((count - 1) // 2, 0)[..., None]
    high = np.minimum(count // 2, values.shape[-1] - 1)[..., None]
    both = np.take_along_axis(ordered, low, -1) + np.take_along_axis(ordered, high, -1)
    return np.asarray(np.where(count > 0, both[..., 0] / 2, np.nan))


def round_step(least: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that is not below `least`.

    >>> round_step(0.03)
    0.05
    """
    power = 10.0 ** floor(log10(least))
    return next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= least * (1 - 1e-9))
