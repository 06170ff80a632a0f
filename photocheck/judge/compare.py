"""Tape readings against the photo's spans: one joint test, one verdict per reading.

Under "all agree" the differences r = ln(tape) - ln(photo) are jointly normal.
Each way of being wrong is a direction d in which r is displaced; the best test
for it is the normal score  w = d' S^-1 r / sqrt(d' S^-1 d)  (Neyman-Pearson
against a shift along d; in geodesy, Baarda's w-test).  The largest score over all
directions, and the overall chi-square beside them, is held against a limit that
keeps the stated false-alarm budget for the whole order (`photocheck.judge.limits`).  Takes of
one reading that differ too much for good ones (`photocheck.judge.repeats`) count among the scores.

That nothing is beyond its limit proves nothing by itself.  A reading agrees where the 95 % interval
of its own error lies within the shop's tolerance, which is two one-sided tests at 2.5 %.  To ask
instead that an error as large as tolerated would nearly always have been beyond a limit is the
"power approach", which these tests are better than at every true error (Schuirmann 1987, J.
Pharmacokin. Biopharm. 15, 657, abstract): of orders off by the tolerance at most as many are said
to agree, of good ones more.  An error common to all readings is held to the power approach, for
measuring again does not bring it to light.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Reading
from photocheck.judge import tolerances
from photocheck.judge.limits import chi_score, good_orders, limits_of, repeated_orders
from photocheck.judge.repeats import ONCE, USUAL, TapeHabits, TapeNoise, tape_noise
from photocheck.judge.tolerances import AS_SHIPPED, COMMON, MOST_TOLERANCE, Tolerances
from photocheck.special import normal_quantile
from photocheck.words import NECK_RING, READINGS, SPANS

Array = NDArray[np.float64]

ALL_ALIKE = "all_alike"
"""The fault of readings that are all off by one factor."""
TAKES_APART = "takes_differ"
"""The fault of a reading whose takes differ too much."""


@dataclass(frozen=True)
class Fault:
    """One way in which readings can be wrong together.

    Attributes
    ----------
    name : str
        A reading's name, `ALL_ALIKE`, "last_rib_moved" or `TAKES_APART`.
    readings : tuple of str
        The readings it puts in doubt.
    direction : (n,)
        How it displaces the differences.
    limit : float
        What its score is held against.
    """

    name: str
    readings: tuple[str, ...]
    direction: Array
    limit: float = np.inf


@dataclass(frozen=True)
class Comparison:
    """The outcome for all readings of an order.

    Attributes
    ----------
    names : tuple of str
        The readings given, in the order of `words.READINGS`.
    differences : (n,)
        ln(tape) - ln(photo).
    covariance : (n, n)
        Of the differences under "all agree".
    scores : mapping of reading to float
        How many standard deviations it must be wrong by, given everything else.
    catches : mapping of reading to float
        Smallest relative error caught with `tolerances.POWER`, a fraction.
    catches_common : float
        The same for an error common to all readings; 0 where only one measure was read, whose
        own error it then is.
    hides : mapping of reading to float
        The far end of the 95 % interval of its error, given everything else, a fraction; never
        more than what is caught.
    limit : float
        What scores are held against where nothing was moved.
    limits : mapping of fault to float
        What the score of each is held against.
    largest : float
        The largest score, overall test included, each by its own limit over `limit`.
    faults : tuple of Fault
        The faults found, worst first; empty when all agree.
    tolerances : tolerances.Tolerances
        What "agrees" promises.
    noise : TapeNoise
        The tape's, as the order's own takes tell it.
    """

    names: tuple[str, ...]
    differences: Array
    covariance: Array
    scores: dict[str, float]
    catches: dict[str, float]
    catches_common: float
    hides: dict[str, float]
    limit: float
    limits: Mapping[str, float]
    largest: float
    faults: tuple[Fault, ...]
    tolerances: Tolerances = AS_SHIPPED
    noise: TapeNoise = ONCE

    def seen_from(self, name: str) -> float:
        """The smallest relative error of a reading that is seen in `tolerances.POWER`, a fraction.

        It is caught, or keeps a reading that would agree from doing so.
        """
        tolerated = np.inf if name in self.unsure else self.tolerances.of(name)
        return min(self.catches[name], tolerated)

    @property
    def unsure(self) -> tuple[str, ...]:
        """Readings in which an error beyond the shop's tolerance could pass unnoticed."""
        return tuple(n for n in self.names if self.hides[n] > self.tolerances.of(n))

    @property
    def common_unsure(self) -> bool:
        """Whether all readings could be off alike beyond tolerance unnoticed."""
        return self.catches_common > self.tolerances.of(COMMON)

    @property
    def tells_nothing(self) -> bool:
        """Whether the photo is no evidence at all: what errors it can show are that large.

        Of the photo, not of the readings: one that is right by luck does not make it better.
        """
        worst = max((*self.catches.values(), self.catches_common), default=0.0)
        return worst > MOST_TOLERANCE

    @property
    def agrees(self) -> bool:
        """Whether nothing stands out and what "agrees" promises would have been seen."""
        return not (self.faults or self.unsure or self.common_unsure)


def compare(
    log_spans: Array,
    covariance: Array,
    readings: Mapping[str, Reading],
    *,
    false_alarms: float = tolerances.FALSE_ALARMS,
    tolerated: Tolerances = AS_SHIPPED,
    habits: TapeHabits = USUAL,
    at_tags: Collection[str] = (),
) -> Comparison:
    """Hold readings against the photo.

    Parameters
    ----------
    log_spans : (4,)
        ln(mm) as the photo shows them.
    covariance : (4, 4)
    readings : mapping of reading name to Reading
        Any subset of `words.READINGS`; may be empty.
    false_alarms : float
        Share of good orders that may be flagged, between 0 and 0.5.
    tolerated : Tolerances
        What "agrees" promises would have been seen.
    habits : TapeHabits
        How the shop's owners measure.
    at_tags : collection of str
        Readings whose tape was held at tags that the photo shows.

    >>> photo = np.log([300.0, 420.0, 330.0, 750.0])
    >>> readings = {
    ...     "front_length": Reading(425.0, "42.5", "cm"),
    ...     "rear_length": Reading(420.0, "42", "cm"),
    ... }
    >>> [fault.name for fault in compare(photo, 0.04**2 * np.eye(4), readings).faults]
    ['rear_length']
    """
    names = tuple(name for name in READINGS if name in readings)
    if not names:
        return Comparison(
            (), np.zeros(0), np.zeros((0, 0)), {}, {}, 0.0, {}, 0.0, {}, 0.0, (), tolerated
        )
    noise = tape_noise(readings, habits, at_tags)
    expected, rows, tape = tape_expectation(names, log_spans, noise)
    differences = np.log([readings[name].mm for name in names]) - expected
    joint = rows @ covariance @ rows.T + tape
    faults = possible_faults(names, expected)
    promised = np.array(
        [np.log1p(tolerated.of(p)) if (p := _promise(f)) else np.inf for f in faults]
    )
    directions = np.stack([fault.direction for fault in faults])
    share = false_alarms * tolerances.TAKES_ALARMS if noise.scores else 0.0
    draws = (
        repeated_orders(joint, noise.repeat_variance(names, np.exp(expected)), noise.freedom)
        if noise.scores
        else good_orders(joint)
    )
    held = limits_of(
        joint, directions, promised, false_alarms - share, draws, normal=not noise.scores
    )
    faults = tuple(replace(f, limit=float(own)) for f, own in zip(faults, held.own, strict=True))
    inverse = np.asarray(np.linalg.inv(joint), float)
    single = {f.name: f for f in faults if len(f.readings) == 1}
    scores = {name: _score(single[name].direction, inverse, differences) for name in names}
    seen_from = {
        f.name: float(np.expm1(size)) for f, size in zip(faults, held.seen_from, strict=True)
    }
    # each reading's own fault comes first (`possible_faults`)
    off_by = np.abs([scores[name] for name in names]) / np.sqrt(np.diag(inverse))
    hidden = np.minimum(off_by + held.beyond[: len(names)], held.seen_from[: len(names)])
    hides = {name: float(np.expm1(size)) for name, size in zip(names, hidden, strict=True)}
    # on the scale of the others, so that one limit holds for all
    apart: dict[str, float] = {}
    if noise.scores:
        own_limit = float(normal_quantile(1.0 - 0.5 * share / len(noise.scores)))
        apart = {name: score * held.usual / own_limit for name, score in noise.scores.items()}
    largest = max(
        _overall(differences, inverse) * held.usual / held.overall,
        *(abs(_score(f.direction, inverse, differences)) * held.usual / f.limit for f in faults),
        *apart.values(),
    )
    found = _find_faults(faults, joint, differences, held.overall)
    doubted = {name for fault in found for name in fault.readings}
    found += tuple(
        Fault(TAKES_APART, (name,), single[name].direction)
        for name in names
        if apart.get(name, 0.0) > held.usual and name not in doubted
    )
    return Comparison(
        names,
        differences,
        joint,
        scores,
        {name: seen_from[name] for name in names},
        seen_from.get(ALL_ALIKE, 0.0),
        hides,
        held.usual,
        {fault.name: fault.limit for fault in faults},
        largest,
        found,
        tolerated,
        noise,
    )


def _promise(fault: Fault) -> str:
    """Which tolerance says how large a fault is to be seen; none for where the last rib lies."""
    if len(fault.readings) == 1:
        return fault.name
    return COMMON if fault.name == ALL_ALIKE else ""


def all_alike_score(inverse: Array) -> float:
    """Standard deviations that an error of 1 in every ln(reading) displaces its score by.

    Parameters
    ----------
    inverse : (n, n)
        Of the covariance of the differences.
    """
    return float(np.sqrt(np.sum(inverse)))


def expectation(names: tuple[str, ...], log_spans: Array) -> tuple[Array, Array]:
    """What each reading should be: ln(mm), (n,), and which log-span it follows, (n, 4)."""
    rows = np.zeros((len(names), len(SPANS)))
    extra = np.zeros(len(names))
    for i, name in enumerate(names):
        span = "half_neck" if name == NECK_RING else name
        rows[i, SPANS.index(span)] = 1.0
        extra[i] = np.log(2.0) if name == NECK_RING else 0.0
    return rows @ log_spans + extra, rows


def tape_expectation(
    names: tuple[str, ...], log_spans: Array, noise: TapeNoise = ONCE
) -> tuple[Array, Array, Array]:
    """`expectation`, and the covariance of the readings by the tape alone, (n, n).

    The tape's spread goes with what should have been read, not with a slip in it.

    Parameters
    ----------
    names : n readings
    log_spans : (4,)
    noise : TapeNoise
        Of the order; without it, every reading was taken once.
    """
    expected, rows = expectation(names, log_spans)
    return expected, rows, noise.covariance(names, np.exp(expected))


def possible_faults(names: tuple[str, ...], expected: Array) -> tuple[Fault, ...]:
    """Every direction that is tested: each reading alone, all alike, the last rib moved.

    They decide whether anything is wrong; what it may be is for
    `photocheck.judge.explanations`, which has candidate values as well.
    """
    faults = [Fault(name, (name,), np.eye(len(names))[i]) for i, name in enumerate(names)]
    measures = {"half_neck" if name == NECK_RING else name for name in names}
    if len(measures) > 1:
        faults.append(Fault(ALL_ALIKE, names, np.ones(len(names))))
    if "front_length" in names and "rear_length" in names:
        moved = np.zeros(len(names))
        front, rear = names.index("front_length"), names.index("rear_length")
        # the same centimetres are gained by one and lost by the other
        moved[front] = np.exp(-expected[front])
        moved[rear] = -np.exp(-expected[rear])
        moved /= np.abs(moved).max()
        faults.append(Fault("last_rib_moved", ("front_length", "rear_length"), moved))
    return tuple(faults)


def _score(direction: Array, inverse: Array, differences: Array) -> float:
    weighted = inverse @ direction
    return float(weighted @ differences / np.sqrt(weighted @ direction))


def _overall(differences: Array, inverse: Array) -> float:
    return float(chi_score(float(differences @ inverse @ differences), len(differences)))


def _find_faults(
    faults: tuple[Fault, ...], joint: Array, differences: Array, overall_limit: float
) -> tuple[Fault, ...]:
    """Name the worst fault, allow for it, and look again at what remains."""
    found: list[Fault] = []
    blurred = joint.copy()
    freedom = len(differences)
    while freedom > 0:
        inverse = np.asarray(np.linalg.inv(blurred), float)
        left = [fault for fault in faults if fault not in found and _still_free(fault, found)]
        if not left:
            break
        scores = [abs(_score(fault.direction, inverse, differences)) for fault in left]
        overall = float(chi_score(float(differences @ inverse @ differences), freedom))
        beyond = any(score > fault.limit for score, fault in zip(scores, left, strict=True))
        if not beyond and overall <= overall_limit:
            break
        worst = left[int(np.argmax(scores))]
        found.append(worst)
        # A fault of unknown size: its direction no longer counts as evidence.
        blurred = blurred + 1e4 * np.outer(worst.direction, worst.direction)
        freedom -= 1
    return tuple(found)


def _still_free(fault: Fault, found: list[Fault]) -> bool:
    """A direction already spanned by the faults found cannot be tested again."""
    if not found:
        return True
    basis = np.stack([f.direction for f in found]).T
    rest = fault.direction - basis @ np.linalg.lstsq(basis, fault.direction, rcond=None)[0]
    return bool(np.linalg.norm(rest) > 1e-6)
