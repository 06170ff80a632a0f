"""The next best step: what would most reduce the chance of cutting wrong.

A wrong reading that passes the check is what spoils cloth.  For every open action the
chance of that is computed anew, with what the action would leave of the doubt, and the
action that lowers it most is the one to take.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Case
from photocheck.judge.budget import Action, covariance_after, what_actions_leave
from photocheck.judge.compare import ALL_ALIKE, Comparison, all_alike_score, tape_expectation
from photocheck.judge.estimate import Estimate
from photocheck.judge.tolerances import COMMON, TAPE_REPEAT_SHARE
from photocheck.judge.wording import (
    ACTIONS,
    measure_as_well,
    measure_each_once_more,
    measure_once_more,
    offered,
    offered_alike,
)
from photocheck.report.model import Offer
from photocheck.scale.pose import View
from photocheck.special import normal_below
from photocheck.speech import ended, tr
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
EACH_ONCE_MORE: Final = "each_once_more"
"""Measuring all readings once more in which an error beyond tolerance could hide."""

LEAST_OFFERED: Final = 0.1
"""A step by which what can hide gets smaller by less than this is not offered (judgement)."""

TYPICAL: Final = 0.674
"""Half of all good readings have a larger score: one that fits better by luck today is not taken
to fit so well again once more is known."""


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
        One of `wording.ACTIONS`, or `ONCE_MORE`, `AS_WELL` or `EACH_ONCE_MORE`.
    readings : tuple of str
        Which readings are measured; none for other actions.
    sentence : str
        Asking for it.
    missed : float
        Chance that a wrong reading passes, once it is done.
    hides : mapping of reading name to float
        Largest ln error that can then still be in each of the order's readings, in
        `tolerances.POWER` of the orders.
    alike : float
        From which ln error common to all readings one would then be seen; 0 where there is none.
    settles : bool
        Whether no error beyond the shop's tolerance, of one reading or common to all, could then
        hide, where one can today.
    """

    what: str
    readings: tuple[str, ...]
    sentence: str
    missed: float
    hides: Mapping[str, float]
    alike: float
    settles: bool

    @property
    def work(self) -> int:
        """How much work it is, in the steps of `WORK`."""
        return WORK.get(self.what, TAPE_WORK * len(self.readings))


def next_step(estimate: Estimate, comparison: Comparison, case: Case, views: Sequence[View]) -> str:
    """The one step that settles the order, else lowers the chance of cutting wrong most.

    Of several that settle it, the one that is the least work.  Without readings it is the step
    that cuts the photo's own doubt most.  A sentence.
    """
    actions = what_actions_leave(case, views)
    said = {name: ended(tr(ACTIONS[name])) for name in actions}
    if "framing" in actions:
        # Of a picture known to be cut, how much of it is missing is a guess; the owner has the
        # whole one at hand, and no dog is needed for it.
        return said["framing"]
    if not comparison.names:
        left = {said[name]: covariance_after(a, estimate) for name, a in actions.items()}
        return min(left, key=lambda step: float(np.trace(left[step])))
    step = _best(*_open(estimate, comparison, actions))
    return step.sentence if step else ""


def _best(now: Step, steps: Sequence[Step]) -> Step | None:
    """The step that `next_step` names, of an order with readings; None where none helps."""
    if settling := [step for step in steps if step.settles]:
        return min(settling, key=lambda step: (step.work, step.missed))
    each = [step for step in steps if step.what == EACH_ONCE_MORE]
    steps = [step for step in steps if step.what != EACH_ONCE_MORE]
    most = now.missed - min(step.missed for step in steps)
    if most <= LEAST_GAIN * now.missed:
        return None
    near = [step for step in steps if now.missed - step.missed >= NEARLY * most]
    best = min(near, key=lambda step: (step.work, step.missed))
    # one of several in which an error could hide leaves the others as they are
    return each[0] if each and best.what == ONCE_MORE else best


def offers(
    estimate: Estimate, comparison: Comparison, case: Case, views: Sequence[View]
) -> tuple[Offer, ...]:
    """What may be done, with the error that could then hide; what settles the order comes
    first, then what brings most.

    Parameters
    ----------
    estimate : Estimate
    comparison : Comparison
    case : Case
    views : sequence of View

    Returns
    -------
    tuple of Offer
        First what `next_step` names, where anything is open.  Each with the reading for which it
        brings most, mm; no other that brings less than `LEAST_OFFERED` of what can hide today and
        does not settle it.  To first order: the scores stay as they are.
    """
    if not comparison.names:
        return ()
    actions = what_actions_leave(case, views)
    now, steps = _open(estimate, comparison, actions)
    expected, *_ = tape_expectation(comparison.names, estimate.log_spans, comparison.noise)
    lengths = dict(zip(comparison.names, np.exp(expected), strict=True))
    found = []
    best = _best(now, steps) if comparison.unsure or comparison.common_unsure else None
    together = {name for step in steps if step.what == EACH_ONCE_MORE for name in step.readings}
    for step in sorted(steps, key=lambda step: (step is not best, *_brings(step))):
        if step.what == ONCE_MORE and together.issuperset(step.readings):
            continue
        hidden = {
            name: (lengths[name] * np.expm1(now.hides[name]), lengths[name] * np.expm1(left))
            for name, left in step.hides.items()
        }
        reading = max(hidden, key=lambda name: float(hidden[name][0] - hidden[name][1]))
        today, then = float(hidden[reading][0]), min(map(float, hidden[reading]))
        if comparison.common_unsure and not comparison.unsure:
            said = offered_alike(now.alike, step.alike, settles=step.settles)
            gains = now.alike - step.alike >= LEAST_OFFERED * now.alike
        else:
            said = offered(reading, today, then, case.unit, settles=step.settles)
            gains = today - then >= LEAST_OFFERED * today
        if step is best or step.settles or gains:
            each = step.readings if step.what == EACH_ONCE_MORE else ()
            measured = "" if each else "".join(step.readings)
            found.append(
                Offer(step.what, measured, step.sentence, reading, today, then, said, each)
            )
    return tuple(found)


def _brings(step: Step) -> tuple[bool, float, float]:
    """What comes first is the least: of what settles an order the least work."""
    if step.settles:
        return False, step.work, step.missed
    return True, step.missed, step.work


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

    def settles(seen: Array) -> bool:
        logs = np.array(needed) / seen[: len(names)]
        tolerated = comparison.tolerances
        within = all(
            np.expm1(log) <= tolerated.of(name) for name, log in zip(names, logs, strict=True)
        )
        if len(seen) > len(names):
            # the only measure's own error today is no less hidden beside another
            alike = np.expm1(common / float(seen[-1])) if common else np.inf
            within = within and bool(alike <= tolerated.of(COMMON))
        return within and bool(comparison.unsure or comparison.common_unsure)

    def step(what: str, readings: tuple[str, ...], sentence: str, seen: Array) -> Step:
        left = {name: needed[i] / float(seen[i]) for i, name in enumerate(names)}
        chance = missed(seen, limits[: len(seen)])
        alike = common / float(seen[-1]) if len(seen) > len(names) else 0.0
        return Step(what, readings, sentence, chance, left, alike, settles(seen))

    def once_more(what: str, readings: tuple[str, ...], sentence: str) -> Step:
        then = noise
        for name in readings:
            then = then.once_more(name)
        held = scores(estimate.covariance, tape=then.covariance(names, np.exp(expected)))
        # A slip is only in the first value: the second differs by it, and where the tape was
        # led is the same in both.  Their mean is surer than either, by the repeat part only.
        # Of wrong readings, as of the noise, what was led astray is read again as it was
        # (judgement).  "Agrees" promises more, that no large error is in all takes alike: what
        # can hide and whether it settles the order is by `held` alone.
        again = [names.index(name) for name in readings]
        seen = held.copy()
        seen[again] = np.hypot(held[again], 1.0 / np.sqrt(2.0 * repeat[again]))
        slips = missed(seen, limits[: len(seen)])
        chance = TAPE_REPEAT_SHARE * slips + (1.0 - TAPE_REPEAT_SHARE) * now.missed
        return replace(step(what, readings, sentence, held), missed=chance)

    today = scores(estimate.covariance)
    # What can hide, in the score of its own reading: to first order, as much then as today.
    hidden = {name: float(np.log1p(comparison.hides[name])) for name in names}
    needed = [
        hidden[name] * today[i] + max(TYPICAL - abs(comparison.scores[name]), 0.0)
        for i, name in enumerate(names)
    ]
    # what an error common to all must come to in its own score, as far as others help to see it;
    # 0 where there can be none
    alike = float(np.log1p(comparison.catches_common))
    common = alike * float(today[-1])
    chance = missed(today, limits[: len(today)])
    now = Step("", (), "", chance, hidden, alike, settles=False)
    found = [
        step(name, (), ended(tr(ACTIONS[name])), scores(covariance_after(action, estimate)))
        for name, action in actions.items()
    ]
    found += [once_more(ONCE_MORE, (name,), measure_once_more(name)) for name in names]
    if len(comparison.unsure) > 1:
        each = measure_each_once_more(comparison.unsure)
        found.append(once_more(EACH_ONCE_MORE, comparison.unsure, each))
    for name in READINGS:
        if name not in names:
            _, *more = tape_expectation((*names, name), estimate.log_spans, noise)
            beside = scores(estimate.covariance, *more)
            found.append(step(AS_WELL, (name,), measure_as_well(name), beside))
    return now, found
