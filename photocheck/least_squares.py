"""SciPy's Levenberg-Marquardt, loaded without the rest of `scipy.optimize`.

``scipy.optimize.least_squares(method="lm")`` hands its work to one compiled module, MINPACK's
``lmder`` (J. J. Moré, The Levenberg-Marquardt algorithm: implementation and theory, Lecture
Notes in Mathematics 630, 1978).  The rest of the package, linear programs and spatial searches
among it, takes longer to load than the whole check of a photo.  So that module is loaded alone.
It is SciPy's own business how it is called: it is tried on a small problem first, and where the
answer is not the right one, the public function is used, which gives the same numbers later.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from photocheck.scipy_parts import compiled

Array = NDArray[np.float64]

_FIRST_REACH = 100.0
"""MINPACK's ``factor`` as `scipy.optimize.least_squares` sets it."""


@dataclass(frozen=True)
class Minimum:
    """Where a sum of squares is least.

    Attributes
    ----------
    x : (p,)
    residuals : (m,)
    cost : float
        Half the sum of squares.
    """

    x: Array
    residuals: Array
    cost: float


def least_squares(
    residuals: Callable[[Array], Array],
    start: Array,
    slopes: Callable[[Array], Array],
    *,
    xtol: float = 1e-8,
    ftol: float = 1e-8,
    most_calls: int = 100,
) -> Minimum:
    """The minimum that is reached downhill from `start`.

    Each unknown is measured by the length of its column in the Jacobian.

    Parameters
    ----------
    residuals : (p,) -> (m,)
        With m at least p.
    start : (p,)
    slopes : (p,) -> (m, p)
        The Jacobian of `residuals`.
    xtol, ftol : float
        It ends when the step, or the fall of the sum of squares, is relatively below.
    most_calls : int
        Of `residuals`; then the best so far is the answer.

    Returns
    -------
    Minimum

    Raises
    ------
    ValueError
        When the residuals at `start` are not all finite.
    """
    at_start = residuals(start)
    if not np.all(np.isfinite(at_start)):
        raise ValueError("the residuals are not finite at the starting point")
    residuals = _known_at(start, at_start, residuals)
    lmder = _lmder()
    if lmder is None:
        return _by_scipy(residuals, start, slopes, xtol, ftol, most_calls)
    x, found, _ = lmder(
        *(residuals, slopes, np.array(start, float), (), True, False),
        *(ftol, xtol, 1e-8, most_calls, _FIRST_REACH, None),
    )
    return _minimum(x, found["fvec"])


def _known_at(
    start: Array, at_start: Array, residuals: Callable[[Array], Array]
) -> Callable[[Array], Array]:
    """The same function, not evaluated again at the start: SciPy asks twice for that."""

    def known(x: Array) -> Array:
        return at_start.copy() if np.array_equal(x, start) else residuals(x)

    return known


def _by_scipy(
    residuals: Callable[[Array], Array],
    start: Array,
    slopes: Callable[[Array], Array],
    xtol: float,
    ftol: float,
    most_calls: int,
) -> Minimum:
    from scipy.optimize import least_squares as public

    found = public(
        residuals,
        start,
        jac=slopes,
        method="lm",
        x_scale="jac",
        xtol=xtol,
        ftol=ftol,
        max_nfev=most_calls,
    )
    return _minimum(found.x, found.fun)


def _minimum(x: Array, residuals: Array) -> Minimum:
    return Minimum(x, residuals, 0.5 * float(np.dot(residuals, residuals)))


@cache
def _lmder() -> Callable[..., Any] | None:
    """SciPy's ``lmder`` if it can be had alone and does what it did, else None."""
    try:
        module: Any = compiled("optimize", "_minpack")
        lmder: Callable[..., Any] = module._lmder
        # Rosenbrock's valley from its usual start: least, and zero, at (1, 1)
        x, found, _ = lmder(
            lambda x: np.array([10.0 * (x[1] - x[0] ** 2), 1.0 - x[0]]),
            lambda x: np.array([[-20.0 * x[0], 10.0], [-1.0, 0.0]]),
            *(np.array([-1.2, 1.0]), (), True, False),
            *(1e-8, 1e-8, 1e-8, 100, _FIRST_REACH, None),
        )
        if np.allclose(x, 1.0) and np.allclose(found["fvec"], 0.0, atol=1e-6):
            return lmder
    except (AttributeError, TypeError, ValueError, KeyError):
        pass
    return None
