"""The order table: simulated orders, good ones and ones with a fault of every kind.

Geometry is taken from phantoms in the settings of the accuracy tables: what the
estimator says of each photo, with its covariance.  The truth is then drawn from that
covariance, read with a tape, rounded and typed as people do, and one fault is put in.
Beside the share found stands the most powerful test that there can be (Neyman and
Pearson 1933): it knows the covariance, which fault it is and how large.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from photocheck.benchmark.accuracy import SETTINGS
from photocheck.benchmark.faults import FAULTS, Drawn, as_typed
from photocheck.benchmark.population import subject
from photocheck.benchmark.trial import estimated
from photocheck.case import Reading
from photocheck.errors import CaseError
from photocheck.judge.compare import compare, expectation
from photocheck.judge.explain import explanations_of, order_of, rank
from photocheck.judge.explanations import KINDS
from photocheck.judge.tolerances import tape_log_spread
from photocheck.lengths import parse_reading
from photocheck.phantom.body import make_dog
from photocheck.phantom.plan import POSTURES, random_plan
from photocheck.phantom.tape import tape_truth
from photocheck.words import NECK_RING, SPANS, UNITS

Array = NDArray[np.float64]

GEOMETRY_SETTINGS = SETTINGS[:5]
RING_SHARE = 0.3
"""Orders that come with a neck ring as well (assumed)."""
BUDGETS = (0.01, 0.02, 0.05)
LARGE = 3.0
"""Standard deviations from which nearly every fault must be found."""
DISTINCT = 5.0
"""Standard deviations from which an explanation can be told from others at all."""
APART = 3.0
"""A rival's value nearer than this many standard deviations to what was meant cannot be told
from it by any measurement."""


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
    changed : (n,)
        What the fault did to the differences.
    size : float
        Its standard deviations, sqrt(d' S^-1 d) with the true covariance S.
    """

    readings: Mapping[str, Reading]
    log_spans: Array
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
    return Typed(after, one.log_spans + bad.shift, changed, size) if size > 1e-6 else None


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
    log_odds : float
        Of "something is wrong", as the explanations have it.
    place : int
        Of the right explanation in the list shown, chance included; 99 when missing.
    alone : bool
        Whether no other explanation has a value within `APART` of what was meant.
    seconds : float
        Processor time of ranking and wording the explanations.
    """

    fault: str
    size: float
    flagged: bool
    log_odds: float
    place: int
    alone: bool
    seconds: float


def judge_good(places: tuple[Geometry, ...], count: int, seed: int) -> tuple[Array, Array]:
    """Good orders: flagged at each budget, (n, 3) of 0 and 1; log odds of a fault, (n,)."""
    rng = np.random.default_rng([seed, 1])
    flags, odds = np.zeros((count, len(BUDGETS))), np.zeros(count)
    for k in range(count):
        one = places[k % len(places)]
        readings = None
        while readings is None:
            readings = readings_of(draw(one, UNITS[k // len(places) % 2], rng))
        for j, budget in enumerate(BUDGETS):
            found = compare(one.log_spans, one.covariance, readings, false_alarms=budget)
            flags[k, j] = bool(found.faults)
        odds[k] = rank(order_of(one.log_spans, one.covariance, readings)).log_odds
    return flags, odds


def judge_faulty(fault: str, places: tuple[Geometry, ...], count: int, seed: int) -> list[Judged]:
    """That many orders with the fault, at the usual budget."""
    rng = np.random.default_rng([seed, 2, list(FAULTS).index(fault)])
    found: list[Judged] = []
    for tried in range(40 * count):
        one = places[tried % len(places)]
        made = with_fault(fault, one, rng)
        if made is not None:
            found.append(_judge(fault, one, made))
        if len(found) == count:
            break
    return found


def _judge(fault: str, one: Geometry, made: Typed) -> Judged:
    flagged = bool(compare(made.log_spans, one.covariance, made.readings).faults)
    start = time.process_time()
    order = order_of(made.log_spans, one.covariance, made.readings)
    standing = rank(order)
    shown = [e.name for e in explanations_of(standing)]
    seconds = time.process_time() - start
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
    return Judged(fault, made.size, flagged, standing.log_odds, place, alone, seconds)


# -- the tables --------------------------------------------------------------------


def wilson(hits: int, count: int, z: float = 1.96) -> tuple[float, float]:
    """The 95 % interval of a share (Wilson 1927, J. Am. Stat. Assoc. 22, 209; from memory)."""
    share, part = hits / count, z**2 / count
    middle = (share + part / 2) / (1 + part)
    half = z / (1 + part) * np.sqrt(share * (1 - share) / count + part / (4 * count))
    return float(middle - half), float(middle + half)


def possible(size: Array, budget: float) -> Array:
    """Power of the best test of a known shift of that size: Phi(size - z); (n,)."""
    return np.asarray(ndtr(size - ndtri(1.0 - budget)), float)


def report(good: int, each: int, seed: int, jobs: int, geometries: int = 20) -> str:
    """Simulate, judge, and lay out as Markdown."""
    with ProcessPoolExecutor(jobs) as pool:
        places = tuple(pool.map(partial(geometry, seed), range(geometries)))
        parts = max(1, jobs)
        whole = pool.map(
            partial(judge_good, places, -(-good // parts)), [seed + 1000 * k for k in range(parts)]
        )
        faulty = list(
            pool.map(partial(judge_faulty, places=places, count=each, seed=seed), list(FAULTS))
        )
        goods = list(whole)
    flags = np.concatenate([f for f, _ in goods])
    odds = np.concatenate([o for _, o in goods])
    count = sum(len(group) for group in faulty)
    lines = [
        f"{len(flags)} good orders, {count} with one fault, {geometries} photos, seed "
        f"{seed}; half in inches, typed to the half centimetre or quarter inch.",
        "",
        "| budget % | good orders flagged % | 95 % interval |",
        "| ---: | ---: | --- |",
    ]
    for budget, column in zip(BUDGETS, flags.T, strict=True):
        low, high = wilson(int(column.sum()), len(column))
        lines.append(
            f"| {100 * budget:.0f} | {100 * column.mean():.2f} "
            f"| {100 * low:.2f} to {100 * high:.2f} |"
        )
    taken = np.array([one.seconds for group in faulty for one in group])
    lines += [
        "",
        f"Explaining one order takes {1000 * np.median(taken):.1f} ms of processor time "
        f"(99 of 100 below {1000 * np.quantile(taken, 0.99):.0f} ms).",
    ]
    lines += ["", *_fault_table(faulty, float(np.quantile(odds, 0.98)))]
    return "\n".join(lines)


def _fault_table(faulty: list[list[Judged]], limit: float) -> list[str]:
    head = (
        "| fault | orders | median size (sd) | flagged % | possible % | flagged / possible "
        "| odds alone / possible | 3 sd and more: flagged % | right first % | in first two % "
        f"| from {DISTINCT:.0f} sd: first % | two % | and no rival within {APART:.0f} sd: first % "
        "| two % | orders |"
    )
    lines = [head, "| --- |" + " ---: |" * 14]
    everything = [one for group in faulty for one in group]
    for orders in (*[group for group in faulty if group], everything):
        name = orders[0].fault if len({o.fault for o in orders}) == 1 else "all"
        size = np.array([o.size for o in orders])
        flagged = np.array([o.flagged for o in orders])
        odds = np.array([o.log_odds > limit for o in orders])
        best = possible(size, 0.02).mean()
        place = np.array([o.place for o in orders])
        large = flagged & (size >= DISTINCT)
        alone = large & np.array([o.alone for o in orders])
        cells = [
            name.replace("_", " "),
            str(len(orders)),
            f"{np.median(size):.1f}",
            f"{100 * flagged.mean():.0f}",
            f"{100 * best:.0f}",
            f"{flagged.mean() / best:.2f}",
            f"{odds.mean() / best:.2f}",
            _percent(flagged[size >= LARGE]),
        ]
        for among in (flagged, large, alone):
            cells += [_percent(place[among] == 0), _percent(place[among] <= 1)]
        lines.append("| " + " | ".join([*cells, str(int(alone.sum()))]) + " |")
    return lines


def _percent(hits: NDArray[np.bool_]) -> str:
    return f"{100 * hits.mean():.0f}" if len(hits) else "-"
