"""Draws of a normal variable, many one by one.

`numpy.random.Generator.multivariate_normal` decomposes its covariance anew and looks twice whether
it is one: four fifths of the time of a draw.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def root_of(covariance: Array) -> Array:
    """R with R R' the covariance, which may have fewer dimensions than it has rows."""
    values, vectors = np.linalg.eigh(covariance)
    assert values[0] > -1e-9 * values[-1]
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def drawn(rng: np.random.Generator, root: Array) -> Array:
    """One draw of mean 0."""
    return np.asarray(root @ rng.standard_normal(root.shape[1]))
