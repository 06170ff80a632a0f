"""The phantoms of a benchmark run, and how their shapes vary."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import DogFacts
from photocheck.phantom.plan import random_plan
from photocheck.phantom.solid import Dog, make_dog
from photocheck.phantom.tape import tape_truth
from photocheck.words import SPAN_ENDS, SPANS

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Subject:
    """One phantom with its true tape readings.

    Attributes
    ----------
    dog : Dog
    truth_mm : (4,)
        Order of `words.SPANS`.
    """

    dog: Dog
    truth_mm: Array

    @property
    def facts(self) -> DogFacts:
        """What its owner would tell of it."""
        return DogFacts(coat=self.dog.plan.coat, build=self.dog.plan.build)


def subject(seed: int, number: int) -> Subject:
    """The phantom of that number, standing square."""
    rng = np.random.default_rng([seed, number])
    dog = make_dog(random_plan(rng, posture="square"))
    truth = tape_truth(dog)
    return Subject(dog, np.array([truth[span] for span in SPANS]))


def base_lengths(points: dict[str, Array]) -> Array:
    """Straight lengths in space between each span's marks, (4,), mm; the last is the sum.

    The half neck's ends lie in the middle plane, the last rib on the flank.
    """
    ends = [np.linalg.norm(points[b] - points[a]) for a, b in (SPAN_ENDS[s] for s in SPANS[:3])]
    return np.array([*ends, ends[1] + ends[2]])


def shape_row(one: Subject) -> tuple[Array, Array]:
    """ln(tape / straight length), (3,), and what is told of the dog, (5,), one phantom."""
    points = {name: np.asarray(p) for name, p in one.dog.visible.items()}
    plan = one.dog.plan
    told = [1.0, plan.coat == "short", plan.coat == "long"]
    told += [plan.build == "slim", plan.build == "broad"]
    return np.log(one.truth_mm[:3] / base_lengths(points)[:3]), np.array(told, float)


def shape_spread(rows: list[tuple[Array, Array]]) -> Array:
    """Between-dog variation that no photo shows, (3,): half neck, front, rear.

    Standard deviation of ln(tape / straight length) less what coat and build in words
    explain (an additive fit over the classes).
    """
    ratios = np.array([ratio for ratio, _ in rows])
    told = np.array([words for _, words in rows])
    fit, _, rank, _ = np.linalg.lstsq(told, ratios, rcond=None)
    return np.asarray((ratios - told @ fit).std(axis=0, ddof=int(rank)))
