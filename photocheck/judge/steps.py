"""The next best step: what would most reduce the chance of cutting wrong.

A wrong reading that passes the check is what spoils cloth.  For every open action the
chance of that is computed anew, with what the action would leave of the doubt, and the
action that lowers it most is the one to take.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Case
from photocheck.judge.budget import covariance_after, what_actions_leave
from photocheck.judge.compare import Comparison, all_alike_score, tape_expectation
from photocheck.judge.estimate import Estimate
from photocheck.judge.tolerances import TAPE_REPEAT_SHARE
from photocheck.judge.wording import ACTIONS, measure_as_well, measure_once_more
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


def missed(scores_per_log: Array, limit: float) -> float:
    """Chance that a wrong reading passes, averaged over readings and error sizes.

    Parameters
    ----------
    scores_per_log : (n,)
        Standard deviations that an error of 1 in ln(reading) displaces its score by; an error
        common to all readings may be one of them.
    limit : float
        What the largest score is held against.
    """
    shift = np.outer(np.asarray(ERROR_SIZES), scores_per_log)
    return float(np.mean(normal_below(limit - shift) - normal_below(-limit - shift)))


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
    left = {said[name]: covariance_after(action, estimate) for name, action in actions.items()}
    work = {said[name]: WORK[name] for name in actions}
    names = comparison.names
    if not names:
        return min(left, key=lambda step: float(np.trace(left[step])))
    noise = comparison.noise
    expected, rows, tape = tape_expectation(names, estimate.log_spans, noise)
    repeat = noise.repeat_variance(names, np.exp(expected))

    def scores(photo: Array, rows: Array = rows, tape: Array = tape) -> Array:
        """Of each of the order's readings, and of an error common to all where one can be."""
        inverse = np.asarray(np.linalg.inv(rows @ photo @ rows.T + tape), float)
        own = np.sqrt(np.diag(inverse))[: len(names)]
        if len({*map(tuple, rows.tolist())}) == 1:  # one measure only, whose own error it is
            return np.asarray(own)
        return np.append(own, all_alike_score(inverse))

    today = scores(estimate.covariance)
    now = missed(today, comparison.limit)
    after = {step: missed(scores(photo), comparison.limit) for step, photo in left.items()}
    for i, name in enumerate(names):
        # A slip is only in the first value: the second differs by it, and where the tape was
        # led is the same in both.  Their mean is surer than either, by the repeat part only.
        # Of wrong readings, as of the noise, what was led astray is read again as it was
        # (judgement).
        twice = noise.once_more(name).covariance(names, np.exp(expected))
        again = scores(estimate.covariance, tape=twice)
        again[i] = np.hypot(again[i], 1.0 / np.sqrt(2.0 * repeat[i]))
        seen = TAPE_REPEAT_SHARE * missed(again, comparison.limit)
        after[measure_once_more(name)] = seen + (1.0 - TAPE_REPEAT_SHARE) * now
    for name in READINGS:
        if name not in names:
            _, *more = tape_expectation((*names, name), estimate.log_spans, noise)
            seen = missed(scores(estimate.covariance, *more), comparison.limit)
            after[measure_as_well(name)] = seen
    most = now - min(after.values())
    if most <= LEAST_GAIN * now:
        return ""
    near = [step for step in after if now - after[step] >= NEARLY * most]
    return min(near, key=lambda step: (work.get(step, TAPE_WORK), after[step]))
