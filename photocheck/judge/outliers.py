"""Marks and photos that do not fit the others, named before anything is fused."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import DogFacts
from photocheck.judge.joint import Joint
from photocheck.judge.shots import Mark, Shot
from photocheck.judge.solve import Mode, solve
from photocheck.numerics import derivative
from photocheck.speech import tr
from photocheck.words import LANDMARK_TITLES, by_whom

Array = NDArray[np.float64]

# Outlying marks: the two coordinates of a mark against all the others, chi-square with
# two degrees of freedom at 1 in 2000 (12 marks on one photo give 1 false name in 160).
MARK_LIMIT = 15.2
# The noise level itself is only known so well: prior weight of the stated spread, in
# degrees of freedom (judgement).
NOISE_PRIOR_FREEDOM = 10.0
# Two marks that only contradict each other: neither can be called the outlier.
ALIKE = 0.9
# A fact whose residual the others leave less of than this is held by nothing but itself.
LEAST_TOLD = 0.02
# Standard deviations from which a girth, weight or height that does not go with the photos is left
# out and named (judgement: 1 good order in 2,000 for each).
FACT_LIMIT = 3.5
# A photo's own body length against the others', in standard deviations.
PHOTO_LIMIT = 3.5


@dataclass(frozen=True)
class Outlier:
    """A mark that does not fit: which, what to say of it, whether to leave it out."""

    mark: Mark
    sentence: str
    drop: bool


def outlying_mark(joint: Joint, mode: Mode) -> Outlier | None:
    """The mark that fits the others worst, if it is beyond belief.

    Baarda's data snooping with the noise level estimated from the other marks:
    the residuals of one mark against their own covariance.
    """
    rows = joint.mark_rows
    slopes, misses = mode.jacobian[rows], mode.residuals[rows]
    spread = np.eye(slopes.shape[0]) - slopes @ mode.covariance @ slopes.T
    freedom = float(np.trace(spread))
    total = float(misses @ misses)
    tests: list[tuple[float, int]] = []
    for i in range(len(joint.marks)):
        block = slice(2 * i, 2 * i + 2)
        own = spread[block, block]
        if np.linalg.eigvalsh(own)[0] < 0.05:
            continue  # nothing else observes this point
        test = float(misses[block] @ np.linalg.solve(own, misses[block]))
        others = (NOISE_PRIOR_FREEDOM + max(total - test, 0.0)) / (
            NOISE_PRIOR_FREEDOM + max(freedom - 2.0, 0.0)
        )
        tests.append((test / max(others, 1.0), i))
    if not tests:
        return None
    tests.sort(reverse=True)
    test, worst = tests[0]
    if test < MARK_LIMIT:
        return None
    mark = joint.marks[worst]
    rivals = [
        i for value, i in tests[1:] if value > ALIKE * test and joint.marks[i].key == mark.key
    ]
    name = tr(LANDMARK_TITLES[mark.landmark])
    who = _who(joint, mark)
    if rivals:
        other = joint.marks[rivals[0]]
        other_who = _who(joint, other)
        return Outlier(
            mark,
            tr(
                "The {name} marks of {who} (photo {photo}) and {other_who} contradict each other; "
                "place both again",
                name=name,
                who=who,
                other_who=other_who,
                photo="{photo}",
            ),
            False,
        )
    return Outlier(
        mark,
        tr(
            "The {name} mark of {who} on photo {photo} does not fit the others and was left out",
            name=name,
            who=who,
            photo="{photo}",
        ),
        True,
    )


def _who(joint: Joint, mark: Mark) -> str:
    return by_whom(joint.shots[mark.shot].markings[mark.marking].by)


def told_score(mode: Mode, row: int, least: float = 0.0) -> float | None:
    """Baarda's w-test of one residual that stands for something told: its value over its own
    standard deviation, given everything else.

    Parameters
    ----------
    row : int
        Of `Mode.residuals`.
    least : float
        None where the others leave less of the residual's variance than this.
    """
    slope = mode.jacobian[row]
    own = 1.0 - float(slope @ mode.covariance @ slope)
    if least and own <= least:
        return None
    return abs(float(mode.residuals[row])) / float(np.sqrt(max(own, 1e-9)))


def outlying_told(
    joint: Joint, mode: Mode, sources: Iterable[str], limit: float, least: float = 0.0
) -> str:
    """What was told of the dog that contradicts all else beyond belief; empty for none.

    By `told_score`, as for marks: the same as the difference from what all else expects over that
    difference's standard deviation (Cook and Weisberg, Residuals and Influence in Regression,
    1982, section 2.2; from memory).

    Parameters
    ----------
    sources : iterable of str
        Of `Joint.sources`; one that is not there was not told.
    limit : float
        Standard deviations.
    least : float
        A residual whose variance the others leave less of than this is passed over.
    """
    tests = {}
    for source in sources:
        if source in joint.sources:
            score = told_score(mode, joint.sources.index(source), least)
            if score is not None:
                tests[source] = score
    worst = max(tests, key=lambda source: tests[source], default="")
    return worst if worst and tests[worst] > limit else ""


def outlying_fact(joint: Joint, mode: Mode) -> str:
    """The key of `Joint.facts` that contradicts the photos beyond belief; empty for none."""
    return outlying_told(joint, mode, joint.facts, FACT_LIMIT, LEAST_TOLD)


def outlying_photos(
    shots: list[Shot], dog: DogFacts, numbers: list[int]
) -> list[tuple[int, str, bool]]:
    """Photos whose own idea of the body's length is far from the others'.

    Each by its place in `shots`; `numbers` are what people call them.
    """
    if len(shots) < 2:
        return []
    lengths, variances = [], []
    for shot in shots:
        joint = Joint([shot], dog)
        mode = solve(joint)

        def straight(theta: Array, joint: Joint = joint) -> Array:
            points = joint.trunk(theta).points
            step = points["tail_base"] - points["breastbone"]
            return np.asarray(np.log(np.linalg.norm(step, axis=-1))[..., None])

        slope = derivative(straight, mode.theta, joint.unknowns.steps)[0]
        lengths.append(float(straight(mode.theta)[0]))
        variances.append(float(slope @ mode.covariance @ slope))
    length, variance = np.array(lengths), np.array(variances)
    found: list[tuple[int, str, bool]] = []
    keep = list(range(len(shots)))
    while len(keep) >= 2:
        scores = []
        for k in keep:
            rest = [j for j in keep if j != k]
            weights = 1.0 / variance[rest]
            mean = np.sum(weights * length[rest]) / weights.sum()
            scores.append((length[k] - mean) / np.sqrt(variance[k] + 1.0 / weights.sum()))
        worst = int(np.argmax(np.abs(scores)))
        if abs(scores[worst]) < PHOTO_LIMIT:
            break
        k = keep[worst]
        percent = 100.0 * abs(np.expm1(length[k] - np.mean([length[j] for j in keep if j != k])))
        if len(keep) == 2:
            found.append(
                (
                    k,
                    tr(
                        "Photos {one} and {other} show the dog {percent:.0f} % apart in size; "
                        "check which object gives the scale in each, and where it stood",
                        one=numbers[keep[0]],
                        other=numbers[keep[1]],
                        percent=percent,
                    ),
                    False,
                )
            )
            break
        found.append(
            (
                k,
                tr(
                    "Photo {number} shows the dog {percent:.0f} % off the others in size and was "
                    "left out; check its reference object",
                    number=numbers[k],
                    percent=percent,
                ),
                True,
            )
        )
        keep.remove(k)
    return found
