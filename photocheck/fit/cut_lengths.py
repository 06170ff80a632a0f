"""The dog's lengths from tape and photo together, and as they will be cut."""

from __future__ import annotations

from dataclasses import dataclass
from math import log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import DogFacts
from photocheck.fit.allowances import CUT_SPANS, coat_allowance, weight_allowance
from photocheck.judge.repeats import TapeHabits, tape_noise
from photocheck.numerics import IN_95
from photocheck.report.model import Report
from photocheck.words import NECK_RING, READINGS

Array = NDArray[np.float64]

NECK_OPENING: Final = "neck_opening"
MEASURES: Final = (NECK_OPENING, "front_length", "rear_length", "full_length")
"""What is cut, in the order of every vector given out: the neck opening is twice the half neck."""


@dataclass(frozen=True)
class Lengths:
    """The three free lengths, jointly normal in their logarithms.

    Attributes
    ----------
    logs : (3,)
        ln(mm), in the order of `CUT_SPANS`.
    covariance : (3, 3)
    """

    logs: Array
    covariance: Array

    def measures(self) -> tuple[Array, Array]:
        """ln(mm) of `MEASURES`, (4,), and their covariance, (4, 4), which has rank three.

        The full length is front plus rear exactly, its doubt to first order
        (JCGM 100:2008, 5.2).
        """
        neck, front, rear = self.logs
        full = np.logaddexp(front, rear)
        slopes = np.zeros((4, 3))
        slopes[[0, 1, 2], [0, 1, 2]] = 1.0
        slopes[3, 1:] = np.exp([front - full, rear - full])
        logs = np.array([neck + log(2.0), front, rear, full])
        return logs, slopes @ self.covariance @ slopes.T


@dataclass(frozen=True)
class Measure:
    """One length to cut, mm.

    Attributes
    ----------
    name : str
        One of `photocheck.fit.cut_lengths.MEASURES`.
    body_mm : float
        As tape and photo together have it.
    weight_mm, coat_mm : float
        What the change of weight and the coat add to it.
    mm : float
        The sum: the length to cut, before the pattern's own ease.
    low_mm, high_mm : float
        Its 95 % interval.
    """

    name: str
    body_mm: float
    weight_mm: float
    coat_mm: float
    mm: float
    low_mm: float
    high_mm: float


def measured(report: Report) -> Lengths:
    """The lengths given that tape and photo agree: both weighed by their own doubt.

    The posterior mode and the inverse information there, with the photo as prior and every
    tape reading as an observation; full = front + rear holds exactly.

    Parameters
    ----------
    report : Report
        Only one that agrees gives a sensible answer; see `photocheck.fit.answer`.
    """
    prior = np.log([span.photo_mm for span in report.spans[:3]])
    # a hair keeps a photo that ties two spans together rigidly from being singular
    weight = np.linalg.inv(np.array(report.covariance)[:3, :3] + 1e-12 * np.eye(3))
    names = [name for name in READINGS if name in report.case.readings]
    tape = np.log([report.case.readings[name].mm for name in names])
    expected, _ = _read(prior, names)
    noise = tape_noise(report.case.readings, TapeHabits(**report.tape), report.at_tags)
    exact = 1.0 / noise.variance(names, np.exp(expected))
    logs = prior
    for _ in range(50):
        expected, slopes = _read(logs, names)
        information = weight + slopes.T @ (exact[:, None] * slopes)
        pull = weight @ (prior - logs) + slopes.T @ (exact * (tape - expected))
        step = np.linalg.solve(information, pull)
        logs = logs + step
        if np.abs(step).max() < 1e-12:
            break
    _, slopes = _read(logs, names)
    information = weight + slopes.T @ (exact[:, None] * slopes)
    return Lengths(logs, np.asarray(np.linalg.inv(information), float))


def _read(logs: Array, names: list[str]) -> tuple[Array, Array]:
    """ln of what each reading should be, (n,), and its slopes, (n, 3)."""
    neck, front, rear = logs
    full = np.logaddexp(front, rear)
    parts = np.exp([front - full, rear - full])
    rows = {
        "half_neck": (neck, (1.0, 0.0, 0.0)),
        NECK_RING: (neck + log(2.0), (1.0, 0.0, 0.0)),
        "front_length": (front, (0.0, 1.0, 0.0)),
        "rear_length": (rear, (0.0, 0.0, 1.0)),
        "full_length": (full, (0.0, float(parts[0]), float(parts[1]))),
    }
    return (
        np.array([rows[name][0] for name in names]),
        np.array([rows[name][1] for name in names]).reshape(len(names), 3),
    )


def with_coat(lengths: Lengths, dog: DogFacts) -> Lengths:
    """The lengths of a harness on the dog's coat."""
    added, spread = coat_allowance(dog)
    before = np.exp(lengths.logs)
    after = before + np.array([added[span] for span in CUT_SPANS])
    shared = np.array([spread[span] for span in CUT_SPANS]) / after
    scaled = lengths.covariance * np.outer(before / after, before / after)
    return Lengths(np.log(after), scaled + np.outer(shared, shared))


def with_weight(lengths: Lengths, now_kg: float, later_kg: float) -> Lengths:
    """The lengths once an adult dog has gone from one weight to another."""
    shifts, own, shared = (
        np.array([part[span] for span in CUT_SPANS]) for part in weight_allowance(now_kg, later_kg)
    )
    doubt = np.diag(own**2) + np.outer(shared, shared)
    return Lengths(lengths.logs + shifts, lengths.covariance + doubt)


def measures_of(body: Lengths, then: Lengths, cut: Lengths) -> tuple[Measure, ...]:
    """What is cut, and what weight and coat add to it.

    Parameters
    ----------
    body, then, cut : Lengths
        The dog of today, of the weight that is reckoned with, and with its coat.
    """
    before, changed = (np.exp(lengths.measures()[0]) for lengths in (body, then))
    logs, covariance = cut.measures()
    reach = IN_95 * np.sqrt(np.diag(covariance))
    return tuple(
        Measure(
            name,
            float(before[k]),
            float(changed[k] - before[k]),
            float(np.exp(logs[k]) - changed[k]),
            float(np.exp(logs[k])),
            float(np.exp(logs[k] - reach[k])),
            float(np.exp(logs[k] + reach[k])),
        )
        for k, name in enumerate(MEASURES)
    )
