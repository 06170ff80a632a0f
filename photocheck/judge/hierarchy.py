"""The hierarchical normal model behind learning: overall shift, builds, breed groups, dogs.

For order i of group g, whose dogs are of build k, with tape-minus-photo differences y_i of
ln(mm),

    y_i = A_i (m + a_k + c_g + b_i) + e_i,
    m ~ N(0, overall²),  a_k ~ N(0, builds²),  c_g ~ N(0, groups²),
    b_i ~ N(0, between² own_i),  e_i ~ N(0, E_i),

all over `PARTS`, the ways of `body.shape.BASE_WAYS` and what tags change of each span's, so that
a breed with few orders borrows from breeds of its build before it borrows from all, and orders with
tags and without borrow from each other as far as both may be alike.  A dog differs from its group
alike with tags and without.  An order may count less than one: its likelihood is raised
to its weight (Ibrahim & Chen 2000, Stat. Sci. 15:46, the power prior).  Given the spreads
everything is normal and in closed form (Lindley & Smith 1972, J. R. Stat. Soc. B 34:1); the
spreads follow by expectation-maximisation (Dempster, Laird & Rubin 1977, J. R. Stat. Soc. B
39:1) with scaled inverse chi-square priors, so that few orders leave them where they were.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photocheck.body.shape import (
    BASE_WAYS,
    MARKED,
    TAGGED,
    TAGGED_LOG_SPREAD,
    WAY_LOG_SPREAD,
    WAY_TERMS,
    WAYS,
)
from photocheck.words import BUILDS

Array = NDArray[np.float64]

# How the shipped variance of a way splits before anything is learnt (judgement: breeds
# differ as much as dogs of a breed do, a quarter of it as their builds do, for the trunk's width
# is allowed for already; a shop's way with the tape less).  The parts sum to one, so that
# nothing learnt means the shipped spread.
OVERALL_SHARE = 0.2
BUILD_SHARE = 0.1
GROUP_SHARE = 0.3
DOG_SHARE = 0.4

# Weight of these in degrees of freedom: how many dogs, groups or shops they are worth
# (judgement).
DOG_FREEDOM = 8.0
GROUP_FREEDOM = 3.0
BUILD_FREEDOM = 3.0
SHOP_FREEDOM = 3.0

LEAST_BETWEEN = 0.012
"""Standard deviation of ln(ratio) between dogs of a group below which nothing is believed:
no study of the dogs of one breed was found (judgement)."""

STEPS = 200
STEADY = 1e-4
"""Relative change of every spread at which the expectation-maximisation stops."""

PARTS = (*BASE_WAYS, *(span + TAGGED for span in WAY_TERMS))
"""What a ratio is made of: each way's without tags, and what tags change of a span's."""

NOMINAL = np.array([*(WAY_LOG_SPREAD[way] for way in BASE_WAYS), *(3 * [TAGGED_LOG_SPREAD])])
"""Shipped standard deviation of each part, (p,)."""


def _made_of() -> Array:
    made = np.zeros((len(WAYS), len(PARTS)))
    for row, way in enumerate(WAYS):
        base = way.removesuffix(TAGGED)
        made[row, PARTS.index(base)] = 1.0
        if base != way:
            made[row, PARTS.index(base.removesuffix(MARKED) + TAGGED)] = 1.0
    return made


MADE_OF = _made_of()
"""Each way's ratio, ln, as a sum of parts, (w, p)."""
BASES = MADE_OF[:, : len(BASE_WAYS)]
"""Which way without tags each is like, (w, b): they share how dogs differ."""


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
    build : (groups,) int
        Each group's build, an index of `words.BUILDS`.
    weight : (n,)
        How much each order counts, above 0.
    """

    differences: Array
    design: Array
    noise: Array
    own: Array
    group: NDArray[np.intp]
    groups: int
    build: NDArray[np.intp]
    weight: Array

    @property
    def parts(self) -> Array:
        """Which part of a ratio moves which difference, (n, r, p)."""
        return np.asarray(self.design @ MADE_OF)

    @property
    def part_own(self) -> Array:
        """Shipped variance between dogs of each part, (n, p); tags change nothing dog by dog."""
        own = np.zeros((*self.own.shape[:-1], len(PARTS)))
        own[..., : len(BASE_WAYS)] = self.own @ BASES
        return own

    def only(self, keep: NDArray[np.bool_]) -> Evidence:
        """The orders marked in `keep`, (n,); the groups stay numbered as they were."""
        return replace(
            self,
            differences=self.differences[keep],
            design=self.design[keep],
            noise=self.noise[keep],
            own=self.own[keep],
            group=self.group[keep],
            weight=self.weight[keep],
        )


@dataclass(frozen=True, eq=False)
class Spreads:
    """Standard deviations of ln(ratio), (p,) each.

    `overall`, `builds` and `groups` as they are, `between` over the shipped spread of the order.
    """

    overall: Array
    builds: Array
    groups: Array
    between: Array


@dataclass(frozen=True, eq=False)
class Fit:
    """The posterior.

    Attributes
    ----------
    spreads : Spreads
    parts : (groups + builds, p)
        Mean of m + a_k + c_g; the last rows, one for each of `words.BUILDS`, are for a group
        of that build never seen.
    covariance : (groups + builds, p, p)
        The same's.
    """

    spreads: Spreads
    parts: Array
    covariance: Array

    @property
    def shift(self) -> Array:
        """The mean of each way's, (groups + builds, w)."""
        return np.asarray(self.parts @ MADE_OF.T)

    @property
    def shift_spread(self) -> Array:
        """Standard deviation of the shifts, (groups + builds, w)."""
        ways = MADE_OF @ self.covariance @ MADE_OF.T
        return np.asarray(np.sqrt(np.diagonal(ways, axis1=1, axis2=2)))

    @property
    def factor(self) -> Array:
        """Predictive spread of a new dog's ratio over the shipped one, (groups + builds, w)."""
        between, nominal = (
            BASES @ each[: len(BASE_WAYS)] for each in (self.spreads.between, NOMINAL)
        )
        return np.asarray(np.sqrt(between**2 + (self.shift_spread / nominal) ** 2))


def prior_spreads() -> Spreads:
    """What is believed before the first order."""
    ones = np.ones(len(PARTS))
    # what tags change differs between shops, builds and groups only: these have all of it
    whole = np.where(np.arange(len(PARTS)) < len(BASE_WAYS), 1.0, 1.0 / (1.0 - DOG_SHARE))
    apart = np.sqrt(whole) * NOMINAL
    return Spreads(
        np.sqrt(OVERALL_SHARE) * apart,
        np.sqrt(BUILD_SHARE) * apart,
        np.sqrt(GROUP_SHARE) * apart,
        np.sqrt(DOG_SHARE) * ones,
    )


def information(evidence: Evidence, between: Array) -> tuple[Array, Array]:
    """What each order tells of its own group's ratios: precision (n, p, p), score (n, p).

    As much as the order counts.
    """
    dogs = between**2 * evidence.part_own
    design = evidence.parts
    total = np.einsum("nrw,nw,nsw->nrs", design, dogs, design) + evidence.noise
    weighted = np.linalg.solve(total, design) * evidence.weight[:, None, None]
    precision = np.swapaxes(design, 1, 2) @ weighted
    return precision, np.einsum("nrw,nr->nw", weighted, evidence.differences)


@dataclass(frozen=True, eq=False)
class _Level:
    """Children of one level of the tree, with their parents integrated out downwards.

    Attributes
    ----------
    own : (p,)
        Prior variance of a child about its parent.
    total, scores : (n, p, p), (n, p)
        What was seen below each child.
    damped : (n, p, p)
        (1 + total own)^-1: what each child's word is worth to its parent.
    """

    own: Array
    total: Array
    scores: Array
    damped: Array

    @classmethod
    def of(cls, own: Array, total: Array, scores: Array) -> _Level:
        """A level from what was seen below it."""
        damped = np.linalg.inv(np.eye(len(own)) + total * own)
        return cls(own, total, scores, np.asarray(damped, float))

    def told(self, parent: NDArray[np.intp], parents: int) -> tuple[Array, Array]:
        """What the children tell their parents: precision (parents, p, p), score (parents, p)."""
        ways = len(self.own)
        total, scores = np.zeros((parents, ways, ways)), np.zeros((parents, ways))
        np.add.at(total, parent, self.damped @ self.total)
        np.add.at(scores, parent, np.einsum("gij,gj->gi", self.damped, self.scores))
        return total, scores

    def given(self, mean: Array, covariance: Array) -> tuple[Array, Array, Array]:
        """Each child, by its parent's posterior mean (n, p) and covariance (n, p, p).

        Mean (n, p), covariance (n, p, p), and E[(child - parent)²], (n, p).
        """
        within = self.own[:, None] * self.damped
        kept = np.eye(len(self.own)) - within @ self.total
        at = np.einsum("gij,gj->gi", within, self.scores) + np.einsum("gij,gj->gi", kept, mean)
        around = within + kept @ covariance @ np.swapaxes(kept, 1, 2)
        moved = kept - np.eye(len(self.own))
        apart = within + moved @ covariance @ np.swapaxes(moved, 1, 2)
        return at, around, np.diagonal(apart, axis1=1, axis2=2) + (at - mean) ** 2


@dataclass(frozen=True, eq=False)
class _Squares:
    """E of the squares: m, (p,); a_k, (builds, p); c_g, (groups, p)."""

    overall: Array
    builds: Array
    groups: Array


def posterior(evidence: Evidence, spreads: Spreads) -> Fit:
    """Closed form for given spreads."""
    return _posterior(evidence, spreads)[0]


def _posterior(evidence: Evidence, spreads: Spreads) -> tuple[Fit, Array, Array, _Squares]:
    """The fit; per order precision and score; the squares of every level."""
    count, ways, kinds = evidence.groups, len(PARTS), len(BUILDS)
    precision, score = information(evidence, spreads.between)
    total = np.zeros((count, ways, ways))
    scores = np.zeros((count, ways))
    np.add.at(total, evidence.group, precision)
    np.add.at(scores, evidence.group, score)
    groups = _Level.of(spreads.groups**2, total, scores)
    builds = _Level.of(spreads.builds**2, *groups.told(evidence.build, kinds))
    (told,), (word,) = builds.told(np.zeros(kinds, np.intp), 1)
    around = np.linalg.inv(np.diag(1.0 / spreads.overall**2) + told)
    overall = around @ word
    build_mean, build_around, build_squares = builds.given(
        np.tile(overall, (kinds, 1)), np.tile(around, (kinds, 1, 1))
    )
    mean, covariance, squares = groups.given(
        build_mean[evidence.build], build_around[evidence.build]
    )
    fit = Fit(
        spreads,
        np.concatenate([mean, build_mean]),
        np.concatenate([covariance, build_around + np.diag(groups.own)]),
    )
    return (
        fit,
        precision,
        score,
        _Squares(np.diag(around) + overall**2, build_squares, squares),
    )


def fit(evidence: Evidence) -> Fit:
    """Spreads and shifts from the orders; none leave the priors as they are."""
    start = prior_spreads()
    spreads = start
    used = np.any(evidence.parts != 0.0, axis=1) * evidence.weight[:, None]  # (n, p)
    dogs = used.sum(axis=0)
    seen = np.zeros((evidence.groups, len(PARTS)), bool)
    np.logical_or.at(seen, evidence.group, used > 0.0)
    kinds = np.zeros((len(BUILDS), len(PARTS)), bool)
    np.logical_or.at(kinds, evidence.build, seen)
    told = np.any(seen, axis=0)
    floor = LEAST_BETWEEN / NOMINAL
    for _ in range(STEPS):
        found, precision, score, squares = _posterior(evidence, spreads)
        dog_squares = _dog_squares(evidence, found, precision, score)
        fresh = Spreads(
            _pooled(SHOP_FREEDOM, start.overall, squares.overall[None], told[None]),
            _pooled(BUILD_FREEDOM, start.builds, squares.builds, kinds),
            _pooled(GROUP_FREEDOM, start.groups, squares.groups, seen),
            np.maximum(
                np.sqrt(
                    (DOG_FREEDOM * start.between**2 + np.sum(dog_squares * used, axis=0))
                    / (DOG_FREEDOM + dogs)
                ),
                floor,
            ),
        )
        moved = max(
            float(np.max(np.abs(new / old - 1.0)))
            for new, old in (
                (fresh.overall, spreads.overall),
                (fresh.builds, spreads.builds),
                (fresh.groups, spreads.groups),
                (fresh.between, spreads.between),
            )
        )
        spreads = fresh
        if moved < STEADY:
            break
    return posterior(evidence, spreads)


def _pooled(freedom: float, start: Array, squares: Array, seen: NDArray[np.bool_]) -> Array:
    """A spread, (p,), from its prior and the squares (n, p) of those that were seen."""
    pooled = (freedom * start**2 + np.sum(squares * seen, axis=0)) / (freedom + seen.sum(axis=0))
    return np.asarray(np.sqrt(pooled))


def _dog_squares(evidence: Evidence, found: Fit, precision: Array, score: Array) -> Array:
    """E[b_i²] over the order's shipped variance, (n, p)."""
    own = evidence.part_own
    dogs = found.spreads.between**2 * own
    shift, around = found.parts[evidence.group], found.covariance[evidence.group]
    # how an order counts for others changes nothing in what it says of its own dog
    precision = precision / evidence.weight[:, None, None]
    score = score / evidence.weight[:, None]
    mean = dogs * (score - np.einsum("nij,nj->ni", precision, shift))
    left = precision - precision @ around @ precision
    variance = dogs - dogs**2 * np.diagonal(left, axis1=1, axis2=2)
    return np.asarray((mean**2 + variance) / np.where(own > 0.0, own, 1.0))


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
