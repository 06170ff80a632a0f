"""Whether a set of marks can be those of a dog at all: exchanged, crowded, or off any dog.

Marks are judged by their shape alone, freed of place, size and the side the dog faces, for where
they are wrong the estimate's size is wrong with them.  Rivals are a dog of any build in any
posture, the same with two marks exchanged, two marks on one spot, and marks anywhere; densities
times prior odds give their probabilities (Bayes).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations, permutations
from math import hypot, lgamma, log, pi
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.body.posed import (
    FOOT_ASIDE,
    POSTURES,
    RIB_ASIDE,
    Places,
    points,
    posed_dogs,
    square_dogs,
)
from photocheck.body.standards import Allowance
from photocheck.case.model import Point
from photocheck.judge.expected_marks import ExpectedMark, log_fit
from photocheck.words import ALL_LANDMARKS, LANDMARKS

Array = NDArray[np.float64]
Pair = tuple[str, str]

EXCHANGED_ODDS: Final = 0.01
"""That two marks of a marking changed places, against none; shared by all pairs (judgement)."""
CROWDED_ODDS: Final = 0.002
"""That one spot was marked twice, a tap too many; shared by all pairs (judgement)."""
ANYWHERE_ODDS: Final = 0.002
"""That marks lie anywhere: another dog's, a photo's that was turned, tried out (judgement)."""
TOLD_FROM: Final = 0.8
"""Marks are told as impossible from this probability that they are wrong (judgement; good marks
of phantoms stay below 0.001)."""
CROWDED: Final = 0.04
"""Marks nearer than this share of the largest distance between marks are crowded (judgement)."""
MAY_TOUCH: Final = frozenset(
    frozenset(pair)
    for pair in (
        ("shoulder_top", "back_top"),
        ("last_rib", "chest_bottom"),
        *(("front_foot", name) for name in ("breastbone", "chest_bottom", "last_rib")),
        *(("rear_foot", name) for name in ("tail_base", "chest_bottom", "last_rib")),
    )
)
"""Landmarks that are crowded in some dogs: withers above the elbow, shallow ones, low ones.
Any other pair is in at most 1 of 100,000 (of 320,000 simulated as below with marks 2 % of the
height off, weighed by how common the posture is)."""

HAND_MM: Final = 110.0
"""No two marks of a dog's trunk lie all within this: a hand's breadth (judgement; the lowest dogs
that FCI 218 asks for, from memory, have trunks of 14 cm)."""
RIGHTED_FROM: Final = 0.9
"""An order of the marks is told as the right one from this probability that they are then a
dog's as named (judgement)."""

DOGS: Final = 400
"""Dogs simulated of each posture."""
FURTHER: Final = 1.25
"""Postures reach this many times further here than where their size is estimated
(judgement)."""
TURN: Final = np.radians(12.0)
"""How far dogs stand turned out of the photo's plane, standard deviation (judgement)."""
LEAN: Final = np.radians(6.0)
"""How far ground and phone together lean, standard deviation (judgement: twice a phone's)."""
HAIR: Final = (0.02, 0.02)
"""How far the outline stands off the body over the height, mean and spread (judgement)."""
MARK: Final = 0.03
"""How far a mark may lie from its landmark over the height, standard deviation (judgement:
some 15 mm on a middling dog, twice what careful people do)."""
WIDER: Final = 1.15
"""Builds differ this much more than in the standards, for no breed is excluded (judgement)."""
TAIL: Final = 12.0
"""Degrees of freedom of Student's t: how heavy the tails are (judgement)."""


@dataclass(frozen=True)
class JudgedMarks:
    """What one person's marks on one photo are; the probabilities sum to 1.

    Attributes
    ----------
    fine : float
        Probability that they are a dog's as named.
    exchanged : mapping of pair of landmark names to float
        Probability of each exchange, most probable first.
    crowded : mapping of pair of landmark names to float
        The same of pairs that lie on one spot.
    anywhere : float
        Probability that they are no dog's in any other way.
    """

    fine: float
    exchanged: Mapping[Pair, float]
    crowded: Mapping[Pair, float]
    anywhere: float

    @property
    def told(self) -> bool:
        """Whether they are told as impossible."""
        return 1.0 - self.fine >= TOLD_FROM


def judge_marks(
    marks: Mapping[str, Point],
    spread_mm: float = 0.0,
    expected: Mapping[str, ExpectedMark] | None = None,
) -> JudgedMarks:
    """What the marks of one photo are.

    Parameters
    ----------
    marks : mapping of landmark name to Point
        At least three, no two on the same spot, in a plane with y down, upright to a few
        degrees; of any size.
    spread_mm : float
        Standard deviation of each mark, in the plane's unit, where a person told it.
    expected : mapping of landmark name to ExpectedMark, optional
        Where landmarks would be expected, in the same plane, by something that knows nothing of
        the marks; evidence beside their shape.

    >>> square = {
    ...     "breastbone": (0.0, -620.0),
    ...     "shoulder_top": (260.0, -1000.0),
    ...     "last_rib": (620.0, -710.0),
    ...     "tail_base": (1010.0, -910.0),
    ... }
    >>> judge_marks(square).fine > 0.95
    True
    >>> other = square | {"breastbone": square["tail_base"], "tail_base": square["breastbone"]}
    >>> next(iter(judge_marks(other).exchanged))
    ('breastbone', 'tail_base')
    """
    names = tuple(name for name in ALL_LANDMARKS if name in marks)
    at = np.array([marks[name] for name in names], float) * (1.0, -1.0)
    pairs = list(combinations(range(len(names)), 2))
    orders = np.tile(np.arange(len(names)), (1 + len(pairs), 1))
    for row, (i, j) in enumerate(pairs, start=1):
        orders[row, [i, j]] = j, i
    shapes, size = _shapes(at[orders])
    logs = _dogs(names).log_density(shapes, spread_mm / float(size[0]))
    anywhere = -_log_sphere(shapes.shape[1])
    apart = np.array([np.hypot(*(at[i] - at[j])) for i, j in pairs])
    near = [
        pair
        for pair, mm in zip(pairs, apart / apart.max(), strict=True)
        if mm < CROWDED and frozenset({names[pair[0]], names[pair[1]]}) not in MAY_TOUCH
    ]
    weights = np.concatenate(
        [
            logs[:1],
            logs[1:] + log(EXCHANGED_ODDS / len(pairs)),
            [
                _log_crowded(at, names, pair, CROWDED * apart.max(), spread_mm)
                + log(CROWDED_ODDS / len(pairs))
                for pair in near
            ],
            [anywhere + log(ANYWHERE_ODDS)],
        ]
    )
    few = {name: one for name, one in (expected or {}).items() if name in marks}
    if len(few) > 1:
        own = MARK * float(size[0]) / _dogs(names).size
        weights += _evidence(marks, names, pairs, near, few, own)
    shares = np.exp(weights - np.logaddexp.reduce(weights))

    def named(which: list[tuple[int, int]], chances: Array) -> dict[Pair, float]:
        best = sorted(zip(chances, which, strict=True), key=lambda one: -one[0])
        return {(names[i], names[j]): float(chance) for chance, (i, j) in best}

    behind = 1 + len(pairs)
    return JudgedMarks(
        fine=float(shares[0]),
        exchanged=named(pairs, shares[1:behind]),
        crowded=named(near, shares[behind:-1]),
        anywhere=float(shares[-1]),
    )


def _evidence(
    marks: Mapping[str, Point],
    names: tuple[str, ...],
    pairs: list[tuple[int, int]],
    near: list[tuple[int, int]],
    expected: Mapping[str, ExpectedMark],
    own_px: float,
) -> Array:
    """Log-density of what is expected under each rival, in their order."""

    def fit(landmarks: Mapping[str, Point]) -> float:
        return log_fit(landmarks, expected, own_px)

    def exchanged(i: int, j: int) -> float:
        one, other = names[i], names[j]
        return fit({**marks, one: marks[other], other: marks[one]})

    def one_elsewhere(pair: tuple[int, int]) -> float:
        # which of the two was marked on the other's spot is not known
        rest = [fit({k: at for k, at in marks.items() if k != names[out]}) for out in pair]
        return float(np.logaddexp.reduce(rest)) - log(2.0)

    of_pairs = [exchanged(*pair) for pair in pairs]
    return np.array([fit(marks), *of_pairs, *map(one_elsewhere, near), fit({})])


def _log_crowded(
    at: Array, names: tuple[str, ...], pair: tuple[int, int], radius: float, spread_mm: float
) -> float:
    """Log-density of a shape if one mark of a pair lies anywhere near the other.

    The density of the shape of all marks but that one, times the one's in the disc, in the
    measure of the shapes of all: sizes tell nothing, so that theirs goes by powers only.
    """
    whole = float(_shapes(at[None])[1][0])
    logs = []
    for left_out in pair:
        kept = [k for k in range(len(names)) if k != left_out]
        shapes, size = _shapes(at[None, kept])
        rest = float(size[0])
        dogs = _dogs(tuple(names[k] for k in kept))
        measure = 2 * len(kept) * log(whole) - 2 * (len(kept) - 1) * log(rest)
        logs.append(float(dogs.log_density(shapes, spread_mm / rest)[0]) + measure)
    return float(np.logaddexp(logs[0], logs[1])) - log(2.0 * pi * radius**2)


def furthest_off(marks: Mapping[str, Point], spread_mm: float = 0.0) -> str:
    """The one landmark without which the others are a dog's; an empty word where none is.

    Parameters
    ----------
    marks : mapping of landmark name to Point
        As for `judge_marks`, at least four.
    spread_mm : float
    """
    fine = {
        name: judge_marks({k: at for k, at in marks.items() if k != name}, spread_mm).fine
        for name in marks
    }
    best, second = sorted(fine, key=lambda name: -fine[name])[:2]
    return best if fine[best] > 0.5 > fine[second] else ""


def within_a_hand(marks: Mapping[str, Point], mm_per_px: float = 1.0) -> bool:
    """Whether all marks lie so near to each other that no dog is so small.

    Parameters
    ----------
    marks : mapping of landmark name to Point
        Px; fewer than three are not judged.
    mm_per_px : float
        Near the dog.

    >>> within_a_hand({"breastbone": (0, 0), "shoulder_top": (30, -40), "tail_base": (90, -30)})
    True
    """
    pairs = combinations(marks.values(), 2)
    farthest = max((hypot(a[0] - b[0], a[1] - b[1]) for a, b in pairs), default=0.0)
    return len(marks) > 2 and farthest * mm_per_px < HAND_MM


def righted(marks: Mapping[str, Point], spread_mm: float = 0.0) -> dict[str, str]:
    """The one order of the needed marks in which they are a dog's, where there is such.

    Parameters
    ----------
    marks : mapping of landmark name to Point
        As for `judge_marks`.
    spread_mm : float

    Returns
    -------
    mapping of landmark name to landmark name
        For each mark that is to move, the landmark under whose name it was placed; empty when
        no order, or more than one, makes a dog of them.

    >>> dog = {
    ...     "breastbone": (0.0, -620.0),
    ...     "shoulder_top": (260.0, -1000.0),
    ...     "last_rib": (620.0, -710.0),
    ...     "tail_base": (1010.0, -910.0),
    ... }
    >>> righted(dict(zip(dog, reversed(dog.values()))))["breastbone"]
    'tail_base'
    """
    names = tuple(name for name in LANDMARKS if name in marks)
    found = []
    for order in permutations(names):
        moved = {**marks, **{to: marks[at] for to, at in zip(names, order, strict=True)}}
        if judge_marks(moved, spread_mm).fine >= RIGHTED_FROM:
            found.append({to: at for to, at in zip(names, order, strict=True) if to != at})
    return found[0] if len(found) == 1 else {}


@dataclass(frozen=True, eq=False)
class _Dogs:
    """A mixture of densities, one of each posture and length of leg.

    Attributes
    ----------
    means : (c, d)
    covariances : (c, d, d)
        Without what marking adds.
    log_odds : (c,)
    size : float
        A dog's size over its height.
    """

    means: Array
    covariances: Array
    log_odds: Array
    size: float

    def log_density(self, shapes: Array, spread: float) -> Array:
        """On the sphere of shapes, of shapes facing either way, (n,).

        Parameters
        ----------
        shapes : (n, d)
        spread : float
            Of each mark over the size of all, where told.
        """
        count, d = shapes.shape
        marking = max(MARK / self.size, spread)
        factors = np.linalg.cholesky(self.covariances + marking**2 * np.eye(d))
        both = np.concatenate([shapes, shapes * np.tile([-1.0, 1.0], d // 2)])
        away = np.linalg.inv(factors) @ (both[None] - self.means[:, None]).transpose(0, 2, 1)
        squares = np.sum(away**2, axis=1)
        volumes = np.log(np.diagonal(factors, axis1=1, axis2=2)).sum(axis=1)
        scale = lgamma(0.5 * (TAIL + d)) - lgamma(0.5 * TAIL) - 0.5 * d * log(TAIL * pi)
        logs = scale - volumes[:, None] - 0.5 * (TAIL + d) * np.log1p(squares / TAIL)
        mixed = np.logaddexp.reduce(logs + self.log_odds[:, None], axis=0)
        either = np.logaddexp(mixed[:count], mixed[count:]) - log(2.0)
        # all shapes have size 1, so that across the sphere only marking spreads the density
        return np.asarray(either + 0.5 * log(2.0 * pi * marking**2))


@lru_cache(maxsize=64)
def _dogs(names: tuple[str, ...]) -> _Dogs:
    """Dogs of all builds in all postures, by the landmarks named."""
    rng = np.random.default_rng(31)
    means, covariances, odds, sizes = [], [], [], []
    legs = (False, True) if {"front_foot", "rear_foot"} & set(names) else (False,)
    whole = 1.0 + sum(posture.odds for posture in POSTURES.values())
    for short in legs:
        square = square_dogs(rng, DOGS, HAIR, Allowance(short_legs=short, arched_back=True))
        few = {name: _wider(square[name]) for name in names}
        for name, share in {"square": 1.0, **{n: p.odds for n, p in POSTURES.items()}}.items():
            posed = few
            if name != "square":
                posture = POSTURES[name]
                # turned further than this a dog shows no side
                most = posture.most if name == "turned_away" else FURTHER * posture.most
                # what a posture moves along with its landmarks must be there
                moved = {key: at.copy() for key, at in square.items() if key != "head"}
                posed = posed_dogs(rng, moved, name, rng.uniform(posture.least, most, DOGS))
                posed = {key: _wider(posed[key]) for key in names}
            seen = _as_seen(rng, posed)
            shapes, size = _shapes(np.stack([seen[key] for key in names], axis=1))
            means.append(shapes.mean(axis=0))
            covariances.append(np.cov(shapes.T))
            odds.append(log(share / whole / len(legs)))
            sizes.append(float(size.mean()))
    return _Dogs(np.array(means), np.array(covariances), np.array(odds), float(np.mean(sizes)))


def _wider(at: Array) -> Array:
    middle = at.mean(axis=0)
    return np.asarray(middle + WIDER * (at - middle))


def _as_seen(rng: np.random.Generator, dogs: Mapping[str, Array]) -> Places:
    """The same dogs turned a little out of the photo's plane, and leaning in it."""
    turn, lean = rng.normal(0.0, TURN, DOGS), rng.normal(0.0, LEAN, DOGS)
    aside = {"last_rib": RIB_ASIDE, "front_foot": FOOT_ASIDE, "rear_foot": FOOT_ASIDE}
    seen = {}
    for name, at in dogs.items():
        x = np.cos(turn) * at[:, 0] + np.sin(turn) * aside.get(name, 0.0)
        y = at[:, 1]
        cosine, sine = np.cos(lean), np.sin(lean)
        seen[name] = points(cosine * x - sine * y, sine * x + cosine * y)
    return seen


def _shapes(at: Array) -> tuple[Array, Array]:
    """Places (n, k, 2) freed of position and size, (n, 2k - 2), and their sizes (n,).

    The size is the root of the sum of squares about the middle, so that exchanging marks
    changes neither it nor what a density of shapes is measured in (Kendall's pre-shapes).
    """
    count = at.shape[1]
    helmert = np.zeros((count - 1, count))
    for i in range(1, count):
        helmert[i - 1, :i], helmert[i - 1, i] = -1.0, i
        helmert[i - 1] /= np.sqrt(i * (i + 1.0))
    flat = (helmert @ at).reshape(len(at), -1)
    size = np.linalg.norm(flat, axis=1)
    return flat / size[:, None], np.asarray(size)


def _log_sphere(dimensions: int) -> float:
    """ln of the surface of the unit sphere in so many dimensions.

    >>> round(_log_sphere(3) - log(4.0 * pi), 6)
    0.0
    """
    return log(2.0) + 0.5 * dimensions * log(pi) - lgamma(0.5 * dimensions)
