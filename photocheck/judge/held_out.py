"""How much better what was learnt predicts orders that were left out of the learning."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

DIGITS: Final = 6
"""What is learnt is kept to so many decimals, so that a file reads back as exactly that."""
MOST_FOLDS: Final = 10


@dataclass(frozen=True)
class Gain:
    """What orders left out of the learning say of it.

    Attributes
    ----------
    orders, folds : int
    gain : float
        ln of the predictive density per order, learnt less shipped.
    gain_spread : float
        Its standard error.
    improves : bool
        Whether it really helps.
    """

    orders: int
    folds: int
    gain: float
    gain_spread: float
    improves: bool


def folds_of(count: int) -> NDArray[np.intp]:
    """Which of up to `MOST_FOLDS` folds each of so many orders is in, in turn, (count,)."""
    return np.arange(count) % min(count, MOST_FOLDS)


def mean_gain(gains: Array, weight: Array | float = 1.0) -> tuple[float, float]:
    """Mean of the orders' gains, (n,), by what each counts, and its standard error."""
    share = weight / np.mean(weight)
    middle = float(np.mean(share * gains))
    error = float(np.std(share * (gains - middle), ddof=1) / np.sqrt(len(gains)))
    return middle, error


def rounded(value: float) -> float:
    """To the decimals kept in the file; never minus zero."""
    return round(float(value), DIGITS) + 0.0
