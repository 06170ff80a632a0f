"""The rival explanations of an order, ranked by their posterior probability.

For each explanation the evidence is the sum over its ways of weight times density of
the differences that are left; against the density under "all agree" it is a Bayes
factor, times the prior odds the posterior odds (Jeffreys; here plain sums of normal
densities, exact for candidate values, marginal for errors of unknown size).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Reading, Reference
from photocheck.judge.causes import Cause, Discrepancy
from photocheck.judge.compare import tape_expectation
from photocheck.judge.explanations import KINDS, UNNAMED, Kind, words
from photocheck.judge.repeats import USUAL, TapeHabits, tape_noise
from photocheck.report.model import Explanation
from photocheck.special import log_sum_exp
from photocheck.speech import joined, later, tr
from photocheck.words import READINGS

Array = NDArray[np.float64]

CHANCE = "chance"
"""The rival of all explanations: nothing is wrong."""
CHANCE_TITLE = later("nothing is wrong and the difference is chance")
CHANCE_SAID = later(
    "Tape and photo both have some doubt, and once in a while they differ this much."
)
CHANCE_ACTION = later("Measuring once more settles it.")
SHOWN_FROM = 0.02
"""Explanations less probable than this are not shown (judgement)."""
CANDIDATES = 3
"""Candidate values shown for a reading."""


@dataclass(frozen=True)
class Ranked:
    """One explanation as ranked.

    Attributes
    ----------
    kind : Kind
    log_odds : float
        Of the explanation against "all agree", prior included.
    probability : float
        Among all explanations and "all agree".
    ways : tuple of (float, Cause)
        The ways it can have come about, each with its share of the explanation, largest
        first; they may be cut short.
    """

    kind: Kind
    log_odds: float
    probability: float
    ways: tuple[tuple[float, Cause], ...]

    @property
    def readings(self) -> tuple[str, ...]:
        """The readings that the likeliest way puts in doubt."""
        return self.ways[0][1].readings


@dataclass(frozen=True)
class Posterior:
    """All explanations of an order.

    Attributes
    ----------
    ranked : tuple of Ranked
        Most probable first; those with no way in this order are left out.
    chance : float
        Probability that nothing is wrong.
    log_odds : float
        Of "something is wrong" against "all agree", prior included.
    """

    ranked: tuple[Ranked, ...]
    chance: float
    log_odds: float


def discrepancy_of(
    log_spans: Array,
    covariance: Array,
    readings: Mapping[str, Reading],
    references: Iterable[Reference] = (),
    habits: TapeHabits = USUAL,
    at_tags: Collection[str] = (),
) -> Discrepancy:
    """Readings and photo side by side, ready to be explained.

    Parameters
    ----------
    log_spans : (4,)
        ln(mm) as the photo shows them.
    covariance : (4, 4)
    readings : mapping of reading name to Reading
        Any subset of `words.READINGS` but the empty one.
    references : iterable of Reference
        As named for each photo.
    habits : TapeHabits
        How the shop's owners measure.
    at_tags : collection of str
        Readings whose tape was held at tags that the photo shows.
    """
    names = tuple(name for name in READINGS if name in readings)
    # A slip in one take is a rival of its own here, and no noise of the tape.
    noise = tape_noise(readings, habits, at_tags).in_line()
    expected, rows, tape = tape_expectation(names, log_spans, noise)
    typed = tuple(readings[name] for name in names)
    differences = np.log([r.mm for r in typed]) - expected
    joint = rows @ covariance @ rows.T + tape
    told_of = tuple(references)
    return Discrepancy(
        names, typed, expected, differences, joint, log_spans, covariance, rows, told_of, noise
    )


def rank(
    seen: Discrepancy,
    *,
    stance: Mapping[str, float] | None = None,
    kinds: tuple[Kind, ...] = KINDS,
) -> Posterior:
    """Hold every explanation against the differences.

    Parameters
    ----------
    seen : Discrepancy
    stance : mapping of explanation name to float, optional
        ln of the Bayes factor that marks and silhouette give it, "dog_crouching" for
        example; also for any other explanation of which something is known besides.
    kinds : tuple of Kind

    >>> readings = {
    ...     "front_length": Reading(420.0, "42", "cm"),
    ...     "rear_length": Reading(230.0, "23", "cm"),
    ... }
    >>> photo = np.log([300.0, 420.0, 330.0, 750.0])
    >>> best = rank(discrepancy_of(photo, 0.04**2 * np.eye(4), readings)).ranked[0]
    >>> best.kind.name, best.ways[0][1].candidates[0][1].text
    ('swapped_digits', '32 cm')
    """
    inverse = np.asarray(np.linalg.inv(seen.covariance), float)
    found: list[tuple[Kind, float, list[tuple[float, Cause]]]] = []
    for kind in kinds:
        ways = list(kind.ways(seen))
        if not ways:
            continue
        logs = _log_evidence(seen, inverse, ways)
        total = log_sum_exp(logs)
        if not np.isfinite(total):
            continue
        leading = np.argsort(-logs, kind="stable")[: 2 * CANDIDATES]
        shares = [(float(np.exp(logs[k] - total)), ways[k]) for k in leading]
        odds = float(np.log(kind.odds)) + (stance or {}).get(kind.name, 0.0)
        found.append((kind, odds + total, shares))
    log_odds = log_sum_exp([odds for _, odds, _ in found]) if found else -np.inf
    whole = float(np.logaddexp(0.0, log_odds))
    ranked = [Ranked(k, odds, float(np.exp(odds - whole)), tuple(w)) for k, odds, w in found]
    ranked.sort(key=lambda one: -one.log_odds)
    return Posterior(tuple(ranked), float(np.exp(-whole)), log_odds)


def _log_evidence(seen: Discrepancy, inverse: Array, ways: list[Cause]) -> Array:
    """ln(weight times density), each way, less the log density under "all agree"; (k,).

    Takes about their mean are independent of the mean, so their squares add.
    """
    r = seen.differences
    base = float(r @ inverse @ r)
    left = np.stack([way.left for way in ways])
    logs = np.log([way.weight for way in ways])
    squares = np.einsum("ki,ij,kj->k", left, inverse, left)
    own_spread = {k: way.covariance for k, way in enumerate(ways) if way.covariance is not None}
    if own_spread:
        wide, covariances = list(own_spread), np.stack(list(own_spread.values()))
        solved = np.linalg.solve(covariances, left[wide][..., None])[..., 0]
        squares[wide] = np.sum(solved * left[wide], axis=1)
        own = np.linalg.slogdet(seen.covariance)[1]
        logs[wide] -= 0.5 * (np.linalg.slogdet(covariances)[1] - own)
    now = seen.takes_apart
    apart = np.array([now if way.takes_apart is None else way.takes_apart for way in ways])
    return np.asarray(logs - 0.5 * (squares - base + apart - now))


def explanations_of(posterior: Posterior) -> tuple[Explanation, ...]:
    """For the report: the probable ones, chance among them, most probable first."""
    shown = []
    for one in posterior.ranked:
        title, sentence, action = words(one.kind, one.readings)
        sentence = joined(sentence, one.ways[0][1].remark)
        shown.append(
            Explanation(one.kind.name, title, one.probability, sentence, action, _candidates(one))
        )
    title, said, action = (tr(text) for text in (CHANCE_TITLE, CHANCE_SAID, CHANCE_ACTION))
    shown.append(Explanation(CHANCE, title, posterior.chance, said, action))
    shown.sort(key=lambda one: -one.probability)
    return tuple(one for k, one in enumerate(shown) if k == 0 or one.probability >= SHOWN_FROM)


def told(posterior: Posterior) -> Ranked | None:
    """The named explanation that is more probable than all others and chance together."""
    if not posterior.ranked:
        return None
    best = posterior.ranked[0]
    return best if best.probability > 0.5 and best.kind.name != UNNAMED else None


def _candidates(one: Ranked) -> tuple[tuple[str, str, float], ...]:
    """Consistent values for the readings in doubt: (reading, text, mm), likeliest first."""
    best = one.ways[0][0]
    found: dict[tuple[str, str], float] = {}
    for share, way in one.ways:
        if share < 0.1 * best or way.readings != one.readings:
            continue
        for name, candidate in way.candidates:
            found.setdefault((name, candidate.text), candidate.mm)
        if len(one.readings) > 1:
            break  # one value for each reading; rivals would only confuse
    most = max(CANDIDATES, len(one.readings))
    return tuple((name, text, mm) for (name, text), mm in list(found.items())[:most])
