"""Simulated orders, good ones and ones with a fault of every kind, and what becomes of them.

Geometry is taken from phantoms in the settings of the accuracy tables: what the
estimator says of each photo, with its covariance.  The truth is then drawn from that
covariance, read with a tape, rounded and typed as people do, and one fault is put in.
`photocheck.benchmark.order_tables` lays out the result.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from photocheck.benchmark.accuracy import SETTINGS
from photocheck.benchmark.best import log_ratios
from photocheck.benchmark.faults import FAULTS, Drawn, as_typed
from photocheck.benchmark.subjects import subject
from photocheck.benchmark.trial import estimated
from photocheck.case.lengths import parse_reading
from photocheck.case.model import Reading
from photocheck.errors import CaseError
from photocheck.judge.compare import compare, expectation
from photocheck.judge.explain import discrepancy_of, explanations_of, rank
from photocheck.judge.explanations import KINDS
from photocheck.judge.tolerances import tape_log_spread
from photocheck.phantom.plan import POSTURES, random_plan
from photocheck.phantom.solid import make_dog
from photocheck.phantom.tape import tape_truth
from photocheck.words import NECK_RING, SPANS, UNITS

Array = NDArray[np.float64]

GEOMETRY_SETTINGS = SETTINGS[:5]
RING_SHARE = 0.3
"""Orders that come with a neck ring as well (assumed)."""
BUDGETS = (0.01, 0.02, 0.05)
USUAL = 0.02
"""The budget at which faulty orders are judged."""
APART = 3.0
"""A rival's value nearer than this many standard deviations to what was meant cannot be told
from it by any measurement."""
NEAR_MM = 10.0
"""A value nearer than this to what was meant is the right one: a tape's own spread."""


@dataclass(frozen=True, eq=False)
class Geometry:
    """What one photo of one phantom tells: log-spans (4,), their covariance (4, 4)."""

    log_spans: Array
    covariance: Array
    posed: Mapping[str, Array]


def geometry(seed: int, number: int) -> Geometry:
    """One phantom in one of the settings, in turn; and what stances do to another."""
    setting = GEOMETRY_SETTINGS[number % len(GEOMETRY_SETTINGS)]
    one = subject(seed, number)
    rng = np.random.default_rng([seed, number, 5])
    found = estimated(one, setting, rng)
    return Geometry(found.log_spans, found.covariance, posed(seed, number))


def posed(seed: int, number: int) -> dict[str, Array]:
    """ln(span in that posture) - ln(span standing square), (4,), each posture but square."""
    found = {}
    for posture in POSTURES[1:]:
        spans = []
        for stance, severity in ((posture, None), ("square", 0.0)):
            rng = np.random.default_rng([seed, number, 6])
            truth = tape_truth(make_dog(random_plan(rng, posture=stance, severity=severity)))
            spans.append(np.log([truth[s] for s in SPANS]))
        found[posture] = spans[0] - spans[1]
    return found


@dataclass(frozen=True, eq=False)
class Typed:
    """An order ready to be judged.

    Attributes
    ----------
    readings : mapping of reading name to Reading
    log_spans : (4,)
        As the photo shows them, ln mm.
    meant : mapping of reading name to float
        What should have been typed, mm, where something else was.
    changed : (n,)
        What the fault did to the differences.
    size : float
        Its standard deviations, sqrt(d' S^-1 d) with the true covariance S.
    """

    readings: Mapping[str, Reading]
    log_spans: Array
    meant: Mapping[str, float]
    changed: Array
    size: float


def draw(one: Geometry, unit: str, rng: np.random.Generator) -> Drawn:
    """A good order of a dog that this photo may be of."""
    truth = np.exp(rng.multivariate_normal(one.log_spans, one.covariance, method="eigh"))
    truth[3] = truth[1] + truth[2]
    lengths = dict(zip(SPANS, truth, strict=True))
    if rng.random() < RING_SHARE:
        lengths[NECK_RING] = 2.0 * truth[0]
    mm = {n: float(v * np.exp(rng.normal(0.0, tape_log_spread(v)))) for n, v in lengths.items()}
    texts = {n: as_typed(v, unit) for n, v in mm.items()}
    return Drawn(mm, texts, unit, one.posed, np.zeros(4))


def readings_of(order: Drawn) -> dict[str, Reading] | None:
    """As the case file would give them; None when one is refused there."""
    try:
        return {n: _reading(n, text, order.unit) for n, text in order.texts.items()}
    except CaseError:
        return None


def _reading(name: str, text: str, unit: str) -> Reading:
    mm, own = parse_reading(name, text, unit)
    return Reading(mm, text, own)


def with_fault(name: str, one: Geometry, rng: np.random.Generator) -> Typed | None:
    """A drawn order with that fault; None when it would be refused or changes nothing."""
    unit = str(rng.choice(UNITS))
    good = draw(one, unit, rng)
    bad = FAULTS[name](good, rng)
    before = readings_of(good)
    after = None if bad is None else readings_of(bad)
    if bad is None or before is None or after is None:
        return None
    names = tuple(after)
    expected, rows = expectation(names, one.log_spans)
    tape = tape_log_spread(np.exp(expected))
    joint = rows @ one.covariance @ rows.T + np.diag(tape**2)
    changed = np.array([np.log(after[n].mm / before[n].mm) for n in names]) - rows @ bad.shift
    size = float(np.sqrt(changed @ np.linalg.solve(joint, changed)))
    if size <= 1e-6:
        return None
    meant = {n: before[n].mm for n in names if before[n].mm != after[n].mm}
    return Typed(after, one.log_spans + bad.shift, meant, changed, size)


# -- judging them ------------------------------------------------------------------


@dataclass(frozen=True)
class Judged:
    """What became of one faulty order.

    Attributes
    ----------
    fault : str
    size : float
        Standard deviations.
    flagged : bool
    ratio : float
        ln of its density under the mixture of all faults over that under none.
    best_first : bool
        Whether the best possible ranking puts the right fault first.
    place : int
        Of the right explanation in the list shown, chance included; 99 when missing.
    reading : bool or None
        Whether the first explanation doubts just the readings that are wrong; None when
        the photo is.
    value : bool or None
        Whether the first two explanations give what was meant for each of them.
    alone : bool
        Whether no other explanation has a value within `APART` of what was meant.
    seconds : float
        Processor time of ranking and wording the explanations.
    """

    fault: str
    size: float
    flagged: bool
    ratio: float
    best_first: bool
    place: int
    reading: bool | None
    value: bool | None
    alone: bool
    seconds: float


def judge_good(places: tuple[Geometry, ...], count: int, seed: int) -> tuple[Array, Array]:
    """Good orders: flagged at each budget, (n, 3) of 0 and 1; `Judged.ratio` of each, (n,)."""
    rng = np.random.default_rng([seed, 1])
    flags, ratios = np.zeros((count, len(BUDGETS))), np.zeros(count)
    poses = [each.posed for each in places]
    for k in range(count):
        one = places[k % len(places)]
        readings = None
        while readings is None:
            readings = readings_of(draw(one, UNITS[k // len(places) % 2], rng))
        for j, budget in enumerate(BUDGETS):
            found = compare(one.log_spans, one.covariance, readings, false_alarms=budget)
            flags[k, j] = bool(found.faults)
        ratios[k] = _mixed(
            log_ratios(discrepancy_of(one.log_spans, one.covariance, readings), poses)
        )
    return flags, ratios


def _mixed(ratios: Array) -> float:
    """All faults equally likely, as they are put in."""
    return float(logsumexp(ratios) - np.log(len(ratios)))


def judge_faulty(fault: str, places: tuple[Geometry, ...], count: int, seed: int) -> list[Judged]:
    """That many orders with the fault, at the usual budget."""
    rng = np.random.default_rng([seed, 2, list(FAULTS).index(fault)])
    poses = [each.posed for each in places]
    found: list[Judged] = []
    for tried in range(40 * count):
        one = places[tried % len(places)]
        made = with_fault(fault, one, rng)
        if made is not None:
            found.append(_judge(fault, one, made, poses))
        if len(found) == count:
            break
    return found


def _judge(fault: str, one: Geometry, made: Typed, poses: list[Mapping[str, Array]]) -> Judged:
    flagged = bool(compare(made.log_spans, one.covariance, made.readings).faults)
    start = time.process_time()
    order = discrepancy_of(made.log_spans, one.covariance, made.readings)
    standing = rank(order)
    explanations = explanations_of(standing)
    seconds = time.process_time() - start
    shown = [e.name for e in explanations]
    place = shown.index(fault) if fault in shown else 99
    right = order.differences - made.changed
    rivals = [
        way.left - right
        for kind in KINDS
        if kind.name != fault
        for way in kind.ways(order)
        if way.covariance is None
    ]
    alone = True
    if rivals:
        solved = np.linalg.solve(order.covariance, np.stack(rivals).T)
        alone = bool(np.sum(np.stack(rivals).T * solved, axis=0).min() > APART**2)
    reading = value = None
    if made.meant:
        doubted = {each.kind.name: each.readings for each in standing.ranked}
        reading = set(doubted.get(shown[0], ())) == set(made.meant)
        given = [c for e in explanations[:2] for c in e.candidates]
        value = all(
            any(n == name and abs(mm - meant) < NEAR_MM for n, _, mm in given)
            for name, meant in made.meant.items()
        )
    ratios = log_ratios(order, poses)
    return Judged(
        fault=fault,
        size=made.size,
        flagged=flagged,
        ratio=_mixed(ratios),
        best_first=list(FAULTS)[int(np.argmax(ratios))] == fault,
        place=place,
        reading=reading,
        value=value,
        alone=alone,
        seconds=seconds,
    )
