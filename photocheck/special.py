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
_BETA = _scipy("beta")
_HYP2F1 = _scipy("hyp2f1")
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


def f_above(above: float, below: float, ratio: ArrayLike) -> Array:
    """The chance that an F variable is above `ratio`, at least 0; any shape.

    Abramowitz and Stegun 26.6.2, the incomplete beta function by DLMF 8.17.8.  With one degree
    of freedom above it is the square of Student's t.

    Parameters
    ----------
    above, below : float
        Degrees of freedom of numerator and denominator.

    >>> round(float(f_above(1, 5, 4.032**2)), 4)
    0.01
    """
    ratios = np.asarray(ratio, float)
    share = below / (below + above * ratios)
    rest = above * ratios / (below + above * ratios)
    tail = _beta_below(0.5 * below, 0.5 * above, np.minimum(share, 0.5), np.maximum(rest, 0.5))
    head = _beta_below(0.5 * above, 0.5 * below, np.minimum(rest, 0.5), np.maximum(share, 0.5))
    return np.where(share <= 0.5, tail, 1.0 - head)


def _beta_below(a: float, b: float, x: Array, rest: Array) -> Array:
    """The regularised incomplete beta function I_x(a, b) at x up to 1/2; `rest` is 1 - x."""
    return np.asarray(x**a * rest**b * _HYP2F1(a + b, 1.0, a + 1.0, x) / (a * _BETA(a, b)))


def log_sum_exp(logs: ArrayLike) -> float:
    """ln of the sum of the exponentials of a list, without overflow; -inf for an empty one.

    >>> round(log_sum_exp([0.0, 0.0]), 3)
    0.693
    """
    return float(np.logaddexp.reduce(np.asarray(logs, float), axis=None))
