"""Small numerical helpers that belong to no stage."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

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
