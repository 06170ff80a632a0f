"""What many attempts say about a person's hand: leanings, scatter, and how sure that is."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri, stdtr, stdtrit  # scipy.stats takes longer to load than all else

from photocheck.body.shape import MARK_SPREAD_MM
from photocheck.practice.misses import Miss
from photocheck.words import LANDMARKS

Array = NDArray[np.float64]

PRIOR_MEAN_WEIGHT: Final = 1.0
"""What is believed of a leaning before any attempt: none, as sure as one attempt makes it."""
PRIOR_SPREAD_WEIGHT: Final = 4.0
"""What is believed of the scatter, `MARK_SPREAD_MM`: as sure as four attempts (judgement)."""

LEAST_ATTEMPTS: Final = 3
"""Below this nothing is said of leanings (judgement)."""
SURE: Final = 0.996
"""How sure the direction of a leaning must be before it is told: eight are looked at each time
(two per landmark), and few learners without any shall be told of one; the tests count them."""
TELLING_MM: Final = 5.0
"""A leaning smaller than this is not worth a word: half of what a tape itself is unsure of."""

MOST_ATTEMPTS: Final = 200
"""Attempts taken back from where they were kept: many more than anybody makes (judgement)."""
FURTHEST_MM: Final = 1e5
"""A miss is smaller than this, in any photo."""

CLIP: Final = 3.0
"""Misses beyond so many robust standard deviations count as if they lay there: a mark on the
wrong spot altogether is a slip, and tells nothing of how finely a person places marks."""
MAD_TO_SD: Final = 1.4826
"""Median absolute deviation to standard deviation of a normal distribution: 1 / 0.67449."""


@dataclass(frozen=True)
class Attempt:
    """One dog's marks against the truth.

    Attributes
    ----------
    dog : str
    misses : mapping of landmark name to Miss
    """

    dog: str
    misses: Mapping[str, Miss]


def attempts_to_list(attempts: Sequence[Attempt]) -> list[dict[str, Any]]:
    """Attempts as plain JSON: for each the dog, and each landmark's miss, mm forward and up.

    >>> attempts_to_list([Attempt("linnet", {"last_rib": Miss(-30.0, 4.0)})])
    [{'dog': 'linnet', 'misses': {'last_rib': [-30.0, 4.0]}}]
    """
    return [
        {
            "dog": attempt.dog,
            "misses": {
                name: [miss.forward_mm, miss.up_mm] for name, miss in attempt.misses.items()
            },
        }
        for attempt in attempts
    ]


def attempts_from(told: Any, dogs: Collection[str]) -> list[Attempt]:
    """The attempts of such a list, as far as it can be believed: a browser may send anything.

    Parameters
    ----------
    told : object
    dogs : collection of str
        The dogs there are; attempts at others are left out.

    >>> attempts_from([{"dog": "linnet", "misses": {"last_rib": [-30.0, 4.0]}}, 7], ["linnet"])
    [Attempt(dog='linnet', misses={'last_rib': Miss(forward_mm=-30.0, up_mm=4.0)})]
    """
    found = []
    for one in told[:MOST_ATTEMPTS] if isinstance(told, list) else ():
        with suppress(LookupError, TypeError, ValueError, AttributeError, OverflowError):
            misses = {
                name: Miss(*_lengths(one["misses"][name]))
                for name in LANDMARKS
                if name in one["misses"]
            }
            if one["dog"] in dogs and misses:
                found.append(Attempt(one["dog"], misses))
    return found


def _lengths(told: Any) -> tuple[float, float]:
    forward, up = (float(value) for value in told)
    if not max(abs(forward), abs(up)) < FURTHEST_MM:  # nor anything that is no number
        raise ValueError("no miss on a dog")
    return forward, up


@dataclass(frozen=True)
class Leaning:
    """Along one direction of the body: where the marks tend to lie, mm.

    Attributes
    ----------
    mean_mm : float
        Shrunk toward none as few attempts ask for.
    low_mm, high_mm : float
        Its 95 % interval.
    scatter_mm : float
        Standard deviation of single marks about it.
    told : bool
        Whether the direction is sure enough, and the leaning large enough, to be told.
    """

    mean_mm: float
    low_mm: float
    high_mm: float
    scatter_mm: float
    told: bool


@dataclass(frozen=True)
class Pattern:
    """One landmark over all attempts.

    Attributes
    ----------
    landmark : str
    misses : tuple of Miss
        The first attempt at each dog.
    forward, up : Leaning
    """

    landmark: str
    misses: tuple[Miss, ...]
    forward: Leaning
    up: Leaning

    @property
    def enough(self) -> bool:
        """Whether there are attempts enough to speak of leanings."""
        return len(self.misses) >= LEAST_ATTEMPTS


@dataclass(frozen=True)
class Spread:
    """How far a person's marks lie off, as `photocheck.case.model.Marking.spread_mm` wants it.

    Attributes
    ----------
    mm : float
        Standard deviation per axis about the truth, leanings included, mm.
    low_mm, high_mm : float
        Its 95 % interval.
    dogs : int
        How many it comes from.
    """

    mm: float
    low_mm: float
    high_mm: float
    dogs: int


def first_tries(attempts: Sequence[Attempt]) -> tuple[Attempt, ...]:
    """The first attempt at each dog: later ones were made knowing the answer."""
    first: dict[str, Attempt] = {}
    for attempt in attempts:
        first.setdefault(attempt.dog, attempt)
    return tuple(first.values())


def clipped(values: Array, centre: float) -> Array:
    """Values (n,) drawn in to `CLIP` robust standard deviations about `centre`."""
    scale = max(MAD_TO_SD * float(np.median(np.abs(values - centre))), MARK_SPREAD_MM)
    return np.clip(values, centre - CLIP * scale, centre + CLIP * scale)


def leaning(values: Sequence[float]) -> Leaning:
    """Mean and scatter of a person's misses along one direction.

    Normal misses with the conjugate prior (normal, scaled inverse chi-square) on their mean and
    variance; the mean's marginal posterior is Student's t: Gelman et al., Bayesian Data
    Analysis, 3rd ed., 3.3 (from memory; the tests integrate it numerically).

    Parameters
    ----------
    values : (n,) mm, n at least 1
    """
    plain = np.asarray(values, dtype=np.float64)
    x = clipped(plain, float(np.median(plain)))
    n, mean = len(x), float(x.mean())
    weight, degrees = PRIOR_MEAN_WEIGHT + n, PRIOR_SPREAD_WEIGHT + n
    centre = n * mean / weight
    total = (
        PRIOR_SPREAD_WEIGHT * MARK_SPREAD_MM**2
        + float(np.sum((x - mean) ** 2))
        + PRIOR_MEAN_WEIGHT * n / weight * mean**2
    )
    scatter = float(np.sqrt(total / degrees))
    error = scatter / float(np.sqrt(weight))
    reach = float(stdtrit(degrees, 0.975)) * error
    sure = float(stdtr(degrees, abs(centre) / error))
    told = n >= LEAST_ATTEMPTS and sure >= SURE and abs(centre) >= TELLING_MM
    return Leaning(centre, centre - reach, centre + reach, scatter, told)


def patterns(attempts: Sequence[Attempt]) -> tuple[Pattern, ...]:
    """The pattern of each landmark that was placed at all, by the first attempt at each dog."""
    first = first_tries(attempts)
    found = []
    for name in LANDMARKS:
        own = tuple(attempt.misses[name] for attempt in first if name in attempt.misses)
        if own:
            forward = leaning([miss.forward_mm for miss in own])
            up = leaning([miss.up_mm for miss in own])
            found.append(Pattern(name, own, forward, up))
    return tuple(found)


def pooled(rows: Sequence[Array]) -> tuple[float, float, float]:
    """Standard deviation about zero of groups with spreads of their own, and its 95 % interval.

    Effective degrees of freedom by Welch and Satterthwaite (JCGM 100:2008, G.4.1), for some
    landmarks are found better than others.

    Parameters
    ----------
    rows : sequence of (n,) arrays, mm; not all zero

    Returns
    -------
    (mm, low, high)
    """
    return _combined([len(row) for row in rows], [float(np.mean(row**2)) for row in rows])


def _combined(sizes: Sequence[float], squares: Sequence[float]) -> tuple[float, float, float]:
    """The same from each group's degrees of freedom and mean square."""
    freedom = np.asarray(sizes, dtype=np.float64)
    shares = freedom / freedom.sum() * np.asarray(squares)
    variance = float(shares.sum())
    degrees = variance**2 / float(np.sum(shares**2 / freedom))
    low, high = (np.sqrt(variance * degrees / chdtri(degrees, above)) for above in (0.025, 0.975))
    return float(np.sqrt(variance)), float(low), float(high)


def personal_spread(attempts: Sequence[Attempt]) -> Spread | None:
    """How far this person's marks lie off per axis; None before the first attempt.

    A leaning counts as error, for an estimate takes marks as centred on the truth; a slip
    counts little (`clipped`).  `MARK_SPREAD_MM` is mixed in as `PRIOR_SPREAD_WEIGHT` values.
    """
    first = first_tries(attempts)
    if not first:
        return None
    rows = []
    for name in LANDMARKS:
        own = [attempt.misses[name] for attempt in first if name in attempt.misses]
        if own:
            for axis in ("forward_mm", "up_mm"):
                rows.append(clipped(np.array([getattr(miss, axis) for miss in own]), 0.0))
    mm, low, high = _combined(
        [PRIOR_SPREAD_WEIGHT, *(len(row) for row in rows)],
        [MARK_SPREAD_MM**2, *(float(np.mean(row**2)) for row in rows)],
    )
    return Spread(mm, low, high, dogs=len(first))
