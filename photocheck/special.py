"""The few special functions of a check, by SciPy; without loading all of `scipy.special`."""

from __future__ import annotations

from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photocheck.scipy_parts import compiled

Array = NDArray[np.float64]


def _scipy(name: str) -> Any:
    """A function of `scipy.special`, by its name."""
    function = getattr(compiled("special", "_special_ufuncs"), name, None)
    if isinstance(function, np.ufunc):
        return function
    import scipy.special

    return getattr(scipy.special, name)


_ELLIPE = _scipy("ellipe")
_GAMMA = _scipy("gamma")
_NDTR = _scipy("ndtr")
_GAMMAINCC = _scipy("gammaincc")
_QUANTILE = np.vectorize(NormalDist().inv_cdf, otypes=[float])


def elliptic_e(m: ArrayLike) -> Array:
    """The complete elliptic integral of the second kind E(m), m at most 1; any shape.

    >>> float(elliptic_e(1.0))
    1.0
    """
    return np.asarray(_ELLIPE(m))


def gamma_function(x: ArrayLike) -> Array:
    """Euler's gamma function; any shape.

    >>> float(gamma_function(5.0))
    24.0
    """
    return np.asarray(_GAMMA(x))


def normal_below(score: ArrayLike) -> Array:
    """The chance that a standard normal variable is below `score`; any shape.

    >>> round(float(normal_below(1.96)), 3)
    0.975
    """
    return np.asarray(_NDTR(score))


def normal_quantile(chance: ArrayLike) -> Array:
    """The score below which a standard normal variable lies with this chance, above 0, below 1.

    Wichura's algorithm AS 241 (Applied Statistics 37, 1988), as Python's `statistics` has it.

    >>> round(float(normal_quantile(0.975)), 2)
    1.96
    """
    return np.asarray(_QUANTILE(chance))


def chi_square_above(freedom: float, squares: ArrayLike) -> Array:
    """The chance that a chi-square variable is above `squares`; any shape.

    Abramowitz and Stegun 26.4.19.

    >>> round(float(chi_square_above(2, 5.991)), 3)
    0.05
    """
    return np.asarray(_GAMMAINCC(0.5 * freedom, 0.5 * np.asarray(squares, float)))


def log_sum_exp(logs: ArrayLike) -> float:
    """ln of the sum of the exponentials of a list, without overflow; -inf for an empty one.

    >>> round(log_sum_exp([0.0, 0.0]), 3)
    0.693
    """
    return float(np.logaddexp.reduce(np.asarray(logs, float), axis=None))
