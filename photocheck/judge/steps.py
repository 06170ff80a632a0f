"""The next best step: what would most reduce the chance of cutting wrong.

A wrong reading that passes the check is what spoils cloth.  For every open action the
chance of that is computed anew, with what the action would leave of the doubt, and the
action that lowers it most is the one to take.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Case
from photocheck.judge.budget import Action, covariance_after, what_actions_leave
from photocheck.judge.compare import ALL_ALIKE, Comparison, all_alike_score, tape_expectation
from photocheck.judge.estimate import Estimate
from photocheck.judge.tolerances import TAPE_REPEAT_SHARE
from photocheck.judge.wording import ACTIONS, measure_as_well, measure_once_more, offered
from photocheck.report.model import Offer
from photocheck.scale.pose import View
from photocheck.special import normal_below
from photocheck.speech import tr
from photocheck.words import READINGS

Array = NDArray[np.float64]

ERROR_SIZES: tuple[float, ...] = (0.08, 0.12, 0.18, 0.25, 0.35, 0.5)
"""Sizes of a wrong reading, |ln(tape / truth)|, equally likely in either sense: from what a
fitting can just put right to what no check should pass (judgement)."""

LEAST_GAIN = 0.02
"""An action that lowers the chance by less than this is not worth asking for (judgement)."""


NEARLY: Final = 0.9
"""Of the steps that gain at least this share of what the best one gains, the one that is the least
work is taken (judgement)."""
WORK: Final[Mapping[str, int]] = {
    **dict.fromkeys(("framing", "focal", "size", "chest", "front", "coat", "offset"), 0),
    **dict.fromkeys(("girth", "height", "weight"), 1),
    **dict.fromkeys(("marks", "neck_width", "chest_width"), 2),
    **dict.fromkeys(("photo", "square", "corners"), 3),
}
"""How much work each of `wording.ACTIONS` is (judgement): what is at hand, a tape around the dog,
boards or somebody else, another photo.  Measuring a reading is `TAPE_WORK`."""
TAPE_WORK: Final = 1

ONCE_MORE: Final = "once_more"
AS_WELL: Final = "as_well"
"""Measuring a reading that was taken, or one that was not."""

LEAST_OFFERED: Final = 0.1
"""A step that lets an error less than this much smaller be seen is not offered (judgement)."""


def missed(scores_per_log: Array, limit: Array | float) -> float:
    """Chance that a wrong reading passes, averaged over readings and error sizes.

    Parameters
    ----------
    scores_per_log : (n,)
        Standard deviations that an error of 1 in ln(reading) displaces its score by; an error
        common to all readings may be one of them.
    limit : float or (n,)
        What scores are held against.
    """
    shift = np.outer(np.asarray(ERROR_SIZES), scores_per_log)
    return float(np.mean(normal_below(limit - shift) - normal_below(-limit - shift)))


@dataclass(frozen=True)
class Step:
    """One thing that may be done next.

    Attributes
    ----------
    what : str
        One of `wording.ACTIONS`, or `ONCE_MORE` or `AS_WELL` of a reading.
    reading : str
        Which reading is measured; empty for other actions.
    sentence : str
        Asking for it.
    missed : float
        Chance that a wrong reading passes, once it is done.
    caught : mapping of reading name to float
        Smallest ln error of each of the order's readings that is then seen in
        `tolerances.POWER`.
    """

    what: str
    reading: str
    sentence: str
    missed: float
    caught: Mapping[str, float]

    @property
    def work(self) -> int:
        """How much work it is, in the steps of `WORK`."""
        return WORK.get(self.what, TAPE_WORK)


def next_step(estimate: Estimate, comparison: Comparison, case: Case, views: Sequence[View]) -> str:
    """The one step that lowers the chance of cutting wrong most, as a sentence.

    Without readings it is the step that cuts the photo's own doubt most.
    """
    actions = what_actions_leave(case, views)
    said = {name: f"{tr(ACTIONS[name])}." for name in actions}
    if "framing" in actions:
        # Of a picture known to be cut, how much of it is missing is a guess; the owner has the
        # whole one at hand, and no dog is needed for it.
        return said["framing"]
    if not comparison.names:
        left = {said[name]: covariance_after(a, estimate) for name, a in actions.items()}
        return min(left, key=lambda step: float(np.trace(left[step])))
    now, steps = _open(estimate, comparison, actions)
    most = now.missed - min(step.missed for step in steps)
    if most <= LEAST_GAIN * now.missed:
        return ""
    near = [step for step in steps if now.missed - step.missed >= NEARLY * most]
    return min(near, key=lambda step: (step.work, step.missed)).sentence


def offers(
    estimate: Estimate, comparison: Comparison, case: Case, views: Sequence[View]
) -> tuple[Offer, ...]:
    """What may be done, with the error that would then be seen; what brings most first.

    Parameters
    ----------
    estimate : Estimate
    comparison : Comparison
    case : Case
    views : sequence of View

    Returns
    -------
    tuple of Offer
        Each with the reading for which it brings most, mm; none that brings less than
        `LEAST_OFFERED` of what is seen today.  To first order: the limit stays as it is.
    """
    if not comparison.names:
        return ()
    actions = what_actions_leave(case, views)
    now, steps = _open(estimate, comparison, actions)
    expected, *_ = tape_expectation(comparison.names, estimate.log_spans, comparison.noise)
    lengths = dict(zip(comparison.names, np.exp(expected), strict=True))
    found = []
    for step in sorted(steps, key=lambda step: (step.missed, step.work)):
        seen = {
            name: (lengths[name] * np.expm1(now.caught[name]), lengths[name] * np.expm1(caught))
            for name, caught in step.caught.items()
        }
        reading = max(seen, key=lambda name: float(seen[name][0] - seen[name][1]))
        today, then = (float(mm) for mm in seen[reading])
        if today - then >= LEAST_OFFERED * today:
            said = offered(reading, today, then, case.unit)
            found.append(Offer(step.what, step.reading, step.sentence, reading, today, then, said))
    return tuple(found)


def _open(
    estimate: Estimate, comparison: Comparison, actions: Mapping[str, Action]
) -> tuple[Step, list[Step]]:
    """Where the order stands, and every open step with where it would then stand."""
    names, noise = comparison.names, comparison.noise
    expected, rows, tape = tape_expectation(names, estimate.log_spans, noise)
    repeat = noise.repeat_variance(names, np.exp(expected))
    limits = np.array([comparison.limits.get(n, comparison.limit) for n in (*names, ALL_ALIKE)])

    def scores(photo: Array, rows: Array = rows, tape: Array = tape) -> Array:
        """Of each of the order's readings, and of an error common to all where one can be."""
        inverse = np.asarray(np.linalg.inv(rows @ photo @ rows.T + tape), float)
        own = np.sqrt(np.diag(inverse))[: len(names)]
        if len({*map(tuple, rows.tolist())}) == 1:  # one measure only, whose own error it is
            return np.asarray(own)
        return np.append(own, all_alike_score(inverse))

    def step(
        what: str, reading: str, sentence: str, seen: Array, missed_then: float | None = None
    ) -> Step:
        caught = {name: needed[i] / float(seen[i]) for i, name in enumerate(names)}
        chance = missed(seen, limits[: len(seen)]) if missed_then is None else missed_then
        return Step(what, reading, sentence, chance, caught)

    today = scores(estimate.covariance)
    # what an error must come to in its own score, as far as the others help to see it
    needed = [np.log1p(comparison.catches[name]) * today[i] for i, name in enumerate(names)]
    now = step("", "", "", today)
    found = [
        step(name, "", f"{tr(ACTIONS[name])}.", scores(covariance_after(action, estimate)))
        for name, action in actions.items()
    ]
    for i, name in enumerate(names):
        # A slip is only in the first value: the second differs by it, and where the tape was
        # led is the same in both.  Their mean is surer than either, by the repeat part only.
        # Of wrong readings, as of the noise, what was led astray is read again as it was
        # (judgement).
        twice = noise.once_more(name).covariance(names, np.exp(expected))
        again = scores(estimate.covariance, tape=twice)
        again[i] = np.hypot(again[i], 1.0 / np.sqrt(2.0 * repeat[i]))
        seen = TAPE_REPEAT_SHARE * missed(again, limits[: len(again)])
        seen += (1.0 - TAPE_REPEAT_SHARE) * now.missed
        found.append(step(ONCE_MORE, name, measure_once_more(name), again, seen))
    for name in READINGS:
        if name not in names:
            _, *more = tape_expectation((*names, name), estimate.log_spans, noise)
            beside = scores(estimate.covariance, *more)
            found.append(step(AS_WELL, name, measure_as_well(name), beside))
    return now, found
