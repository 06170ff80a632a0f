"""What a fact of the dog that nobody has told yet would take off the doubt of the spans.

To first order, as any further observation does (Gelb, Applied Optimal Estimation, 1974, section
4.2; from memory): a quantity whose logarithm has slopes h in unknowns of covariance P, observed
with a variance r, takes  P h h' P / (h' P h + r)  off P.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from photocheck.body import shape
from photocheck.body.heights import heights_told
from photocheck.body.trunk import Trunk
from photocheck.case.model import DogFacts
from photocheck.judge.joint import Joint, facts_told
from photocheck.judge.solve import Mode
from photocheck.numerics import derivative

Array = NDArray[np.float64]


def askable(dog: DogFacts) -> tuple[str, ...]:
    """What of `DogFacts` tells of the spans, is not told, and can be asked for.

    A height neither of a breed with short legs, nor where the breed tells it already.

    >>> askable(DogFacts(girth_mm=700.0, breed="Labrador"))
    ('weight', 'neck_width', 'chest_width')
    """
    untold = {
        "girth": dog.girth_mm is None,
        "weight": dog.weight_kg is None,
        "height": not heights_told(dog) and bool(heights_told(replace(dog, height_mm=1.0))),
        "neck_width": dog.neck_width_mm is None,
        "chest_width": dog.chest_width_mm is None,
    }
    return tuple(fact for fact, asked in untold.items() if asked)


def taken_off(joint: Joint, mode: Mode, spans: Array) -> dict[str, Array]:
    """What each of `askable` would take off the covariance of the log-spans, (4, 4) each.

    Parameters
    ----------
    joint : Joint
    mode : Mode
        Where the model fits.
    spans : (4, p)
        The log-spans' slopes there.
    """
    facts = askable(joint.dog)
    if not facts:
        return {}
    slopes = derivative(partial(_logs, joint, facts), mode.theta, joint.unknowns.steps)
    along = spans @ mode.covariance @ slopes.T
    known = np.einsum("fp,pq,fq->f", slopes, mode.covariance, slopes)
    trunk = joint.trunk(mode.theta)
    return {
        fact: np.outer(along[:, i], along[:, i])
        / (known[i] + _log_spread(fact, joint.dog, trunk) ** 2)
        for i, fact in enumerate(facts)
    }


def _logs(joint: Joint, facts: tuple[str, ...], theta: Array) -> Array:
    """ln of what the trunk lets expect of each fact, (..., p) to (..., n)."""
    trunk = joint.trunk(theta)
    return np.log(np.stack([_expected(joint, trunk, fact) for fact in facts], axis=-1))


def _expected(joint: Joint, trunk: Trunk, fact: str) -> Array:
    if fact == "neck_width":
        return trunk.neck_width
    return trunk.width if fact == "chest_width" else joint.expected_fact(trunk, fact)


def _log_spread(fact: str, dog: DogFacts, trunk: Trunk) -> float:
    """Standard deviation of ln of the fact as told from what the trunk lets expect."""
    told = facts_told(replace(dog, girth_mm=1.0, weight_kg=1.0, height_mm=1.0))
    if fact in told:
        return told[fact][1]
    width = trunk.neck_width if fact == "neck_width" else trunk.width
    return shape.width_log_spread(float(width))
