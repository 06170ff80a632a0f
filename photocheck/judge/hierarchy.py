"""The hierarchical normal model behind learning: overall shift, group shifts, dogs.

For order i of group g with tape-minus-photo differences y_i of ln(mm),

    y_i = A_i (m + c_g + b_i) + e_i,
    m ~ N(0, overall²),  c_g ~ N(0, groups²),  b_i ~ N(0, between² own_i),  e_i ~ N(0, E_i),

all over the ways of `body.shape.WAYS`.  Given the three spreads everything is normal and in
closed form (Lindley & Smith 1972, J. R. Stat. Soc. B 34:1); the spreads follow by
expectation-maximisation (Dempster, Laird & Rubin 1977, J. R. Stat. Soc. B 39:1) with
scaled inverse chi-square priors, so that few orders leave them where they were.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photocheck.body.shape import WAY_LOG_SPREAD, WAYS

Array = NDArray[np.float64]

# How the shipped variance of a way splits before anything is learnt (judgement: breeds
# differ as much as dogs of a breed do, a shop's way with the tape less).  The parts sum
# to one, so that nothing learnt means the shipped spread.
OVERALL_SHARE = 0.2
GROUP_SHARE = 0.4
DOG_SHARE = 0.4

# Weight of these in degrees of freedom: how many dogs, groups or shops they are worth
# (judgement).
DOG_FREEDOM = 8.0
GROUP_FREEDOM = 3.0
SHOP_FREEDOM = 3.0

LEAST_BETWEEN = 0.012
"""Standard deviation of ln(ratio) between dogs of a group below which nothing is believed:
no study of the dogs of one breed was found (judgement)."""

STEPS = 200
STEADY = 1e-4
"""Relative change of every spread at which the expectation-maximisation stops."""

NOMINAL = np.array([WAY_LOG_SPREAD[way] for way in WAYS])
"""Shipped standard deviation of each way, (w,)."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """Differences of n orders, padded to the same number r of readings.

    Attributes
    ----------
    differences : (n, r)
        ln(tape) - ln(photo); 0 where padded.
    design : (n, r, w)
        Which way's ratio moves which difference; 0 where padded.
    noise : (n, r, r)
        Covariance without the part the ratios stand for; 1 on the diagonal where padded.
    own : (n, w)
        Shipped variance of each way's ratio in that order.
    group : (n,) int
        Which group, 0 to `groups` - 1.
    groups : int
    """

    differences: Array
    design: Array
    noise: Array
    own: Array
    group: NDArray[np.intp]
    groups: int

    def only(self, keep: NDArray[np.bool_]) -> Evidence:
        """The orders marked in `keep`, (n,); the groups stay numbered as they were."""
        return replace(
            self,
            differences=self.differences[keep],
            design=self.design[keep],
            noise=self.noise[keep],
            own=self.own[keep],
            group=self.group[keep],
        )


@dataclass(frozen=True, eq=False)
class Spreads:
    """Standard deviations of ln(ratio), (w,) each.

    `overall` and `groups` as they are, `between` over the shipped spread of the order.
    """

    overall: Array
    groups: Array
    between: Array


@dataclass(frozen=True, eq=False)
class Fit:
    """The posterior.

    Attributes
    ----------
    spreads : Spreads
    shift : (groups + 1, w)
        Mean of m + c_g; the last row is for a group never seen.
    covariance : (groups + 1, w, w)
        Of m + c_g.
    """

    spreads: Spreads
    shift: Array
    covariance: Array

    @property
    def shift_spread(self) -> Array:
        """Standard deviation of the shifts, (groups + 1, w)."""
        return np.asarray(np.sqrt(np.diagonal(self.covariance, axis1=1, axis2=2)))

    @property
    def factor(self) -> Array:
        """Predictive spread of a new dog's ratio over the shipped one, (groups + 1, w)."""
        return np.asarray(np.sqrt(self.spreads.between**2 + (self.shift_spread / NOMINAL) ** 2))


def prior_spreads() -> Spreads:
    """What is believed before the first order."""
    ones = np.ones(len(WAYS))
    return Spreads(
        np.sqrt(OVERALL_SHARE) * NOMINAL, np.sqrt(GROUP_SHARE) * NOMINAL, np.sqrt(DOG_SHARE) * ones
    )


def information(evidence: Evidence, between: Array) -> tuple[Array, Array]:
    """What each order tells of its own group's ratios: precision (n, w, w), score (n, w)."""
    dogs = between**2 * evidence.own
    design = evidence.design
    total = np.einsum("nrw,nw,nsw->nrs", design, dogs, design) + evidence.noise
    weighted = np.linalg.solve(total, design)
    precision = np.swapaxes(design, 1, 2) @ weighted
    return precision, np.einsum("nrw,nr->nw", weighted, evidence.differences)


def posterior(evidence: Evidence, spreads: Spreads) -> Fit:
    """Closed form for given spreads."""
    return _posterior(evidence, spreads)[0]


def _posterior(evidence: Evidence, spreads: Spreads) -> tuple[Fit, Array, Array, Array]:
    """The fit; per order precision and score; E[c_g²] and last E[m²], (groups + 1, w)."""
    count, ways = evidence.groups, len(WAYS)
    precision, score = information(evidence, spreads.between)
    total = np.zeros((count, ways, ways))
    scores = np.zeros((count, ways))
    np.add.at(total, evidence.group, precision)
    np.add.at(scores, evidence.group, score)
    eye = np.eye(ways)
    own = spreads.groups**2
    # c_g integrated out: each group's word on the overall shift
    damped = np.linalg.inv(eye + total * own) if count else total
    inverse = np.diag(1.0 / spreads.overall**2) + np.sum(damped @ total, axis=0)
    around = np.linalg.inv(inverse)
    overall = around @ np.sum(np.einsum("gij,gj->gi", damped, scores), axis=0)
    # and c_g given m: variance own (1 + total own)^-1
    within = own[:, None] * damped
    kept = eye - within @ total
    mean = np.einsum("gij,gj->gi", within, scores) + kept @ overall
    covariance = within + kept @ around @ np.swapaxes(kept, 1, 2)
    apart = mean - overall
    moved = kept - eye
    squares = (
        np.diagonal(within + moved @ around @ np.swapaxes(moved, 1, 2), axis1=1, axis2=2) + apart**2
    )
    fit = Fit(
        spreads,
        np.concatenate([mean, overall[None]]),
        np.concatenate([covariance, (around + np.diag(own))[None]]),
    )
    squares = np.concatenate([squares, (np.diag(around) + overall**2)[None]])
    return fit, precision, score, squares


def fit(evidence: Evidence) -> Fit:
    """Spreads and shifts from the orders; none leave the priors as they are."""
    start = prior_spreads()
    spreads = start
    used = np.any(evidence.design != 0.0, axis=1)  # (n, w)
    dogs = used.sum(axis=0)
    seen = np.zeros((evidence.groups, len(WAYS)), bool)
    np.logical_or.at(seen, evidence.group, used)
    floor = LEAST_BETWEEN / NOMINAL
    for _ in range(STEPS):
        found, precision, score, squares = _posterior(evidence, spreads)
        dog_squares = _dog_squares(evidence, found, precision, score)
        between = np.sqrt(
            (DOG_FREEDOM * start.between**2 + np.sum(dog_squares * used, axis=0))
            / (DOG_FREEDOM + dogs)
        )
        groups = np.sqrt(
            (GROUP_FREEDOM * start.groups**2 + np.sum(squares[:-1] * seen, axis=0))
            / (GROUP_FREEDOM + seen.sum(axis=0))
        )
        told = np.any(seen, axis=0)
        overall = np.sqrt(
            (SHOP_FREEDOM * start.overall**2 + squares[-1] * told) / (SHOP_FREEDOM + told)
        )
        fresh = Spreads(overall, groups, np.maximum(between, floor))
        moved = max(
            float(np.max(np.abs(new / old - 1.0)))
            for new, old in (
                (fresh.overall, spreads.overall),
                (fresh.groups, spreads.groups),
                (fresh.between, spreads.between),
            )
        )
        spreads = fresh
        if moved < STEADY:
            break
    return posterior(evidence, spreads)


def _dog_squares(evidence: Evidence, found: Fit, precision: Array, score: Array) -> Array:
    """E[b_i²] over the order's shipped variance, (n, w)."""
    dogs = found.spreads.between**2 * evidence.own
    shift, around = found.shift[evidence.group], found.covariance[evidence.group]
    mean = dogs * (score - np.einsum("nij,nj->ni", precision, shift))
    left = precision - precision @ around @ precision
    variance = dogs - dogs**2 * np.diagonal(left, axis1=1, axis2=2)
    return np.asarray((mean**2 + variance) / np.where(evidence.own > 0.0, evidence.own, 1.0))


def predictive(evidence: Evidence, found: Fit | None) -> tuple[Array, Array]:
    """What the orders' differences should be under a fit (None: the shipped ratios).

    As `photocheck.check` uses the ratios: the ways' spreads, not their correlation.

    Returns
    -------
    mean : (n, r)
    covariance : (n, r, r)
    """
    shift, factor = np.zeros_like(evidence.own), np.ones_like(evidence.own)
    if found is not None:
        shift, factor = found.shift[evidence.group], found.factor[evidence.group]
    return expected(evidence, shift, factor)


def expected(evidence: Evidence, shift: Array, factor: Array) -> tuple[Array, Array]:
    """As `predictive`, for shifts and spread factors per order, (n, w) each."""
    design = evidence.design
    spread = np.einsum("nrw,nw,nsw->nrs", design, factor**2 * evidence.own, design)
    return np.einsum("nrw,nw->nr", design, shift), spread + evidence.noise


def log_density(evidence: Evidence, mean: Array, covariance: Array) -> Array:
    """ln of the normal density of each order's differences, (n,), up to what padding adds."""
    miss = evidence.differences - mean
    square = np.einsum("nr,nr->n", miss, np.linalg.solve(covariance, miss[..., None])[..., 0])
    return np.asarray(-0.5 * (square + np.linalg.slogdet(covariance)[1]))
