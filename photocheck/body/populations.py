"""Populations of dogs as one set of marks would show them: standing square, and in each posture.

Each gives a density of the marks' places, freed of position and size.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.body.posed import POSTURES, Places, points, posed_dogs, square_dogs
from photocheck.body.stance_figures import FigurePlan, abnormal, figures
from photocheck.body.standards import Allowance
from photocheck.numerics import median, quantile

Array = NDArray[np.float64]

DOGS: Final = 3000
"""Dogs simulated of each population: a share of 5 % is then known to 0.4 %."""
SIZES: Final = 6
"""Parts a posture's range of sizes is cut into."""
UNSEEN: Final = -1e6
"""ln of the odds of what no figure shows or the marks hardly speak for."""
LEAST_ODDS: Final = float(np.log(1.0 / 4.0))
"""ln of the odds against standing square below which a posture is never named (judgement)."""
CENTRAL: Final = (0.05, 0.5, 0.95)
"""The bounds of what square dogs have, and their middle."""
STEP: Final = 1.12
"""Doubts are rounded up to a power of this before a population is simulated, so that it can
be used again."""


def rounded(share: float) -> float:
    """A doubt rounded up to a power of `STEP`; 0 stays 0.

    >>> rounded(0.0), round(rounded(0.1), 3)
    (0.0, 0.104)
    """
    if share <= 0.0:
        return 0.0
    return float(STEP ** np.ceil(np.log(share) / np.log(STEP)))


def shape_of(places: Mapping[str, Array], names: tuple[str, ...]) -> Array:
    """Places freed of position and size, (n, features).

    The trunk breastbone - tail base is the unit; the first feature is its slope, then x
    and y of every other landmark from the breastbone.  Of the topline only the rise above
    the straight line from shoulder top to tail base counts, of the head only its height.
    """
    base = places["breastbone"]
    trunk = places["tail_base"] - base
    unit = np.linalg.norm(trunk, axis=-1)
    columns = [np.arctan2(trunk[:, 1], trunk[:, 0])]
    for name in names:
        if name in ("breastbone", "tail_base"):
            continue
        if name == "topline":
            columns.append(_rise(places) / unit)
            continue
        if name == "head":
            columns.append((places[name] - places["shoulder_top"])[:, 1] / unit)
            continue
        arm = (places[name] - base) / unit[:, None]
        columns += [arm[:, 0], arm[:, 1]]
    return np.stack(columns).T


def _rise(places: Mapping[str, Array]) -> Array:
    start, end, top = (places[n] for n in ("shoulder_top", "tail_base", "topline"))
    line = end - start
    arm = top - start
    away = line[:, 0] * arm[:, 1] - line[:, 1] * arm[:, 0]
    return np.asarray(away / np.linalg.norm(line, axis=-1))


class Density:
    """A normal density with the mean and covariance of simulated rows (n, d)."""

    def __init__(self, rows: Array) -> None:
        self.mean = rows.mean(axis=0)
        factor = np.linalg.cholesky(np.cov(rows.T) + 1e-10 * np.eye(rows.shape[1]))
        self.log_volume = float(np.log(np.diag(factor)).sum())
        self.whiten = np.linalg.inv(factor).T

    def away(self, rows: Array) -> Array:
        """Squared distances in standard deviations, (n,)."""
        whitened = self.whiten.T @ (rows - self.mean).T
        return np.asarray(np.einsum("in,in->n", whitened, whitened))

    def __call__(self, rows: Array) -> Array:
        """Log-densities, (n,), but for the constant all share."""
        return -0.5 * self.away(rows) - self.log_volume


@dataclass(frozen=True, eq=False)
class PostureDensity:
    """A posture's density: a mixture over its sizes."""

    sizes: Array
    parts: tuple[Density, ...]

    def log_density(self, rows: Array) -> Array:
        """Of each row, (n,), but for the constant all densities share."""
        each = np.stack([part(rows) for part in self.parts])
        return np.asarray(np.logaddexp.reduce(each, axis=0) - np.log(len(self.parts)))

    def likely_size(self, row: Array) -> float:
        """The mean size given one row (1, d), in the unit of `POSTURES`."""
        each = np.array([part(row)[0] for part in self.parts])
        weights = np.exp(each - each.max())
        return float(weights @ self.sizes / weights.sum())


@dataclass(frozen=True, eq=False)
class ShownFigure:
    """A figure that shows a posture; ``low`` to ``high`` hold 90 of 100 square dogs."""

    plan: FigurePlan
    low: float
    middle: float
    high: float

    @classmethod
    def by(cls, plan: FigurePlan, square: Places) -> ShownFigure:
        """With the bounds of square dogs as marked."""
        measured = plan.measure(square)
        low, middle, high = (quantile(measured, share) for share in CENTRAL)
        return cls(plan, low, middle, high)

    def abnormal(self, places: Places) -> Array:
        """Which dogs' figures square dogs do not have, (n,) of bool."""
        return abnormal(self.plan, self.plan.measure(places), self.low, self.high)


@dataclass(frozen=True, eq=False)
class Populations:
    """All populations as one set of marks would show them.

    Attributes
    ----------
    names : tuple of str
        The landmarks marked, in order.
    square : Density
    rivals : tuple of (str, PostureDensity)
        One of each posture.
    shown : mapping of posture to tuple of ShownFigure
        The figures that could show each.
    scores : (DOGS,)
        `any_rival` of square dogs, of postures that a figure shows: what chance alone gives.
    power : mapping of posture to float
        How far a posture of telling size moves the marks, in standard deviations.
    """

    names: tuple[str, ...]
    square: Density
    rivals: tuple[tuple[str, PostureDensity], ...]
    shown: Mapping[str, tuple[ShownFigure, ...]]
    scores: Array
    power: Mapping[str, float]

    def limit(self, accused: float) -> float:
        """What the log-odds of any posture must exceed."""
        return quantile(self.scores, 1.0 - accused)

    def shows(self, name: str, places: Places) -> bool:
        """Whether a figure of one dog, places (1, 2), is one that square dogs do not have."""
        return any(bool(each.abnormal(places)[0]) for each in self.shown[name])


def any_rival(log_odds: Mapping[str, float]) -> float:
    """ln of the odds of any posture at all.

    >>> round(any_rival({"crouching": 0.0, "arched": 0.0}), 3)
    0.693
    """
    return float(np.logaddexp.reduce(list(log_odds.values())))


@lru_cache(maxsize=128)
def populations(
    names: tuple[str, ...],
    mark: float,
    ground: float,
    tilt: float,
    coat: float,
    coat_spread: float,
    allow: Allowance,
) -> Populations:
    """Simulate all populations for marks of these names.

    Parameters
    ----------
    names : tuple of str
        Sorted, breastbone, shoulder_top and tail_base among them.
    mark, ground, coat, coat_spread : float
        As in `photocheck.body.stance.BodyMarks`, over the trunk's length, which is about the
        dog's height.
    tilt : float
        Radians.
    allow : Allowance
    """
    rng = np.random.default_rng(20)
    whole = square_dogs(rng, DOGS, (coat, coat_spread), allow)
    dogs = {name: whole[name] for name in names}  # what is not marked need not be moved

    # One draw of what marking does for all populations: they then differ by posture only.
    angle = rng.normal(0.0, tilt, DOGS)
    lift = rng.normal(0.0, ground, DOGS)
    slips = {name: points(*rng.normal(0.0, mark, (DOGS, 2)).T) for name in names}
    cosine, sine = np.cos(angle), np.sin(angle)

    def marked(truth: Mapping[str, Array]) -> Places:
        seen = {}
        for name in names:
            x, y = truth[name].T
            if name in ("front_foot", "rear_foot"):
                y = y + lift
            seen[name] = points(cosine * x - sine * y, sine * x + cosine * y) + slips[name]
        return seen

    square_seen = marked(dogs)
    rows = shape_of(square_seen, names)
    square = Density(rows)
    rivals, power = [], {}
    for name, posture in POSTURES.items():
        edges = np.linspace(posture.least, posture.most, SIZES + 1)
        parts = []
        for low, high in pairwise(edges):
            posed = posed_dogs(rng, dogs, name, rng.uniform(low, high, DOGS))
            parts.append(Density(shape_of(marked(posed), names)))
        rivals.append((name, PostureDensity(0.5 * (edges[:-1] + edges[1:]), tuple(parts))))
        power[name] = _power(square, rng, dogs, name, names)
    shown = {
        n: tuple(ShownFigure.by(plan, square_seen) for plan in figures(n, names)) for n in POSTURES
    }
    at_square = square(rows)
    odds = []
    for name, rival in rivals:
        seen = np.zeros(DOGS, bool)
        for each in shown[name]:
            seen |= each.abnormal(square_seen)
        score = np.log(POSTURES[name].odds) + rival.log_density(rows) - at_square
        odds.append(np.where(seen & (score >= LEAST_ODDS), score, UNSEEN))
    scores = np.logaddexp.reduce(np.stack(odds), axis=0)
    return Populations(names, square, tuple(rivals), shown, scores, power)


def _power(
    square: Density, rng: np.random.Generator, dogs: Places, name: str, names: tuple[str, ...]
) -> float:
    """How far a posture of telling size moves the marks, in standard deviations.

    The median over dogs and ways of taking the posture: two-sided ones do not cancel.
    """
    few = {key: at[:400] for key, at in dogs.items()}
    posed = posed_dogs(rng, few, name, np.full(400, POSTURES[name].telling))
    moved = shape_of(posed, names) - shape_of(few, names)
    return float(np.sqrt(median(square.away(moved + square.mean))))
