"""What the scores of a comparison are held against, and from which size an error is then seen.

Both by drawing good orders with a fixed seed (JCGM 101:2008, 5.9), since scores are correlated: the
limits keep the share of false alarms for the whole order; an error is seen where any score or the
overall test is beyond its limit, which happens sooner than that its own score alone is.

One limit for all scores asks the same of every reading, whatever the shop lets pass.  Where so
not all that was promised would be seen, false alarms are spent where they buy it: the limit is
lowered for readings that are short of their tolerance, and raised for those with room.  Their
sum stays, and what was read has no part in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.judge import tolerances
from photocheck.numerics import IN_95, quantile
from photocheck.special import chi_square_above, normal_quantile

Array = NDArray[np.float64]

DRAWS: Final = 20_000
"""Draws for the limit of the largest score; its standard error is about 0.02."""
MOST_MOVED: Final = 0.5
"""How far a limit may be raised to lower another (judgement: beyond, nearly no false alarm is left
to gain, 0.05 in 100 orders, while what is seen of that reading would go on getting worse)."""
_LEAST_SHARE: Final = 0.8
"""By the other scores no error is seen from less than this share of what its own score needs; where
it is, all draws are gone through."""


@dataclass(frozen=True)
class ScoreLimits:
    """What the scores of one order are held against.

    Attributes
    ----------
    usual : float
        One limit for all scores.
    own : (k,)
        Of each direction; `usual` where nothing was moved.
    overall : float
        Of the overall test.
    seen_from : (k,)
        The smallest ln error along each direction that is seen in `tolerances.POWER`.
    beyond : (k,)
        Half of the 95 % interval of the ln error along each, whatever the differences make of it.
    """

    usual: float
    own: Array
    overall: float
    seen_from: Array
    beyond: Array


def good_orders(joint: Array) -> Array:
    """Differences of good orders whose tape is known, (n, draws), from their covariance (n, n)."""
    return np.asarray(np.linalg.cholesky(joint) @ _normals(len(joint)))


def repeated_orders(joint: Array, repeat: Array, freedom: float) -> Array:
    """The same of orders whose tape's noise is learnt from their takes.

    How well the tape repeats is drawn from what the takes leave open, so that the tails
    are heavy while little is known.

    Parameters
    ----------
    joint : (n, n)
    repeat : (n,)
        What of its diagonal the tape's repeats are.
    freedom : float
        Degrees of freedom behind them.
    """
    count = len(joint)
    normals = _normals(2 * count)
    scale = (freedom - 2.0) / _chi_squares(freedom)
    draws = np.linalg.cholesky(joint - np.diag(repeat)) @ normals[:count]
    return np.asarray(draws + np.sqrt(repeat[:, None] * scale) * normals[count:])


def limits_of(
    joint: Array,
    directions: Array,
    promised: Array,
    false_alarms: float,
    draws: Array,
    *,
    normal: bool,
) -> ScoreLimits:
    """The limits that good orders exceed with a stated probability.

    Parameters
    ----------
    joint : (n, n)
        Of the differences under "all agree".
    directions : (k, n)
        How each fault displaces them.
    promised : (k,)
        The ln error along each that is to be seen; infinite where nothing was promised.
    false_alarms : float
        Share of good orders that any score may exceed its limit in.
    draws : (n, m)
        Of good orders.
    normal : bool
        Whether they are drawn from a normal, so that a score's own tail is known.
    """
    seen = _Drawn(joint, directions, draws, normal)
    usual = quantile(np.maximum(np.abs(seen.scores).max(axis=0), seen.overall), 1.0 - false_alarms)
    held = _with_sizes(usual, np.full(len(promised), usual), usual, seen)
    if np.all(held.seen_from <= promised):
        return held
    enough = promised * seen.norms - float(normal_quantile(tolerances.POWER))
    if enough.min() <= 0.0:  # no limit keeps that
        return held
    own = np.minimum(np.where(np.isinf(promised), usual, enough), usual + MOST_MOVED)
    beyond = np.maximum((np.abs(seen.scores) - own[:, None]).max(axis=0), seen.overall - usual)
    by = quantile(beyond, 1.0 - false_alarms)
    moved = _with_sizes(usual, own + by, usual + by, seen)
    return moved if np.all(moved.seen_from <= promised) else held


class _Drawn:
    """Good orders as the tests see them."""

    def __init__(self, joint: Array, directions: Array, draws: Array, normal: bool) -> None:
        self.normal = normal
        inverse = np.asarray(np.linalg.inv(joint), float)
        weighted = directions @ inverse
        self.norms = np.sqrt(np.sum(weighted * directions, axis=1))
        self.cosines = (weighted @ directions.T) / np.outer(self.norms, self.norms)
        self.scores = weighted @ draws / self.norms[:, None]
        self.squares = np.sum((inverse @ draws) * draws, axis=0)
        self.in_95 = np.array(
            [IN_95 if normal else quantile(np.abs(own), 0.95) for own in self.scores]
        )
        self.table = _chi_table(len(joint))
        self.overall = np.interp(self.squares, *self.table)


def _with_sizes(usual: float, own: Array, overall: float, seen: _Drawn) -> ScoreLimits:
    squares, scores = seen.table
    most = float(np.interp(overall, scores, squares))
    sizes = [_seen_from(k, own, most, seen) for k in range(len(own))]
    return ScoreLimits(usual, own, overall, np.array(sizes) / seen.norms, seen.in_95 / seen.norms)


def _seen_from(k: int, own: Array, most: float, seen: _Drawn) -> float:
    """How far good orders must be displaced along a direction, in its own score, to be seen."""
    alone = own[k] - seen.scores[k]
    needed = quantile(alone, tolerances.POWER)
    for least in (_LEAST_SHARE * needed, -np.inf):
        near = np.flatnonzero(alone >= least)
        # each test passes an order from one displacement to another; the last of them counts
        last = alone[near]
        for other, cosine in enumerate(seen.cosines[k]):
            if other != k and abs(cosine) > 1e-9:
                score = np.sign(cosine) * seen.scores[other, near]
                last = np.minimum(last, (own[other] - score) / abs(cosine))
        across = seen.scores[k, near]
        root = across**2 - seen.squares[near] + most
        last = np.minimum(last, np.where(root > 0.0, np.sqrt(np.maximum(root, 0.0)) - across, 0.0))
        size = _upper(last, len(alone))
        if size >= least:
            break
    if seen.normal:  # by as much as the draws of its own score are off
        size -= needed - own[k] - float(normal_quantile(tolerances.POWER))
    return float(size)


def _upper(largest: Array, count: int) -> float:
    """The quantile at `tolerances.POWER` of `count` values, those left out being the smallest."""
    order = np.sort(largest)
    place = tolerances.POWER * (count - 1) - (count - len(order))
    return float(np.interp(place, np.arange(len(order)), order))


@lru_cache(maxsize=8)
def _chi_squares(freedom: float) -> Array:
    return np.random.default_rng(20240608).chisquare(freedom, DRAWS)


@lru_cache(maxsize=8)
def _normals(count: int) -> Array:
    return np.random.default_rng(20240607).standard_normal((count, DRAWS))


@lru_cache(maxsize=8)
def _chi_table(freedom: int) -> tuple[Array, Array]:
    """Chi-squares and their normal scores; thousands are held against it."""
    grid = np.linspace(0.0, 80.0, 4001)
    return grid, chi_score(grid, freedom)


def chi_score(squares: Array | float, freedom: int) -> Array:
    """A chi-square as the normal score of the same two-sided tail probability."""
    tail = np.maximum(chi_square_above(freedom, squares), 1e-300)
    return np.asarray(-normal_quantile(tail / 2.0))
