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
    return _central(function(np.concatenate([theta + moves, theta - moves])), steps)


def _central(values: Array, steps: Array) -> Array:
    """The differences (m, p) of what is there after p steps forth and back, (2 p, m)."""
    p = len(steps)
    return np.asarray((values[:p] - values[p:]).T / (2.0 * steps))


class Sloped:
    """A function and its slopes, of which a fit asks by turns, evaluated in one call.

    A fit asks what a function is at a place, and nearly always then for its slopes there.  On
    small arrays a call costs the same for one place as for all that are displaced from it.

    Parameters
    ----------
    function : (..., p) -> (..., m)
        Broadcasts over leading axes, and gives each place the same as by itself.
    steps : (p,)
        How far each entry is moved for the slopes.
    """

    def __init__(self, function: Callable[[Array], Array], steps: Array) -> None:
        self._function = function
        self._steps = steps
        self._moves = np.diag(steps)
        self._at: Array | None = None
        self._values = np.zeros((0, 0))
        self._asked: tuple[Array, Array] | None = None

    def value(self, theta: Array) -> Array:
        """What the function is at a place, (p,) to (m,)."""
        self._at = np.array(theta)
        moved = np.concatenate([self._at[None], self._at + self._moves, self._at - self._moves])
        self._values = self._function(moved)
        return np.array(self._values[0])

    def slopes(self, theta: Array) -> Array:
        """Its central differences there, (p,) to (m, p), as by `derivative`."""
        if self._asked is None or not np.array_equal(self._asked[0], theta):
            if self._at is None or not np.array_equal(self._at, theta):
                self.value(theta)
            self._asked = np.array(theta), _central(self._values[1:], self._steps)
        return self._asked[1]


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
