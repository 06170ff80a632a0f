"""The order tables: false alarms, power beside the best possible, explanations named rightly.

Beside the share found stands the most powerful test that there can be (Neyman and
Pearson 1933): it knows the covariance, which fault it is and how large.  No single test
can be that for all faults; the best single one is in `photocheck.benchmark.best`.
"""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from photocheck.benchmark.faults import FAULTS
from photocheck.benchmark.simulated_orders import (
    APART,
    BUDGETS,
    NEAR_MM,
    USUAL,
    Judged,
    geometry,
    judge_faulty,
    judge_good,
)
from photocheck.numerics import IN_95

Array = NDArray[np.float64]

POOLED = {
    "digit slips together": (
        "wrong_digit",
        "swapped_digits",
        "lost_or_doubled_digit",
        "shifted_decimal",
    ),
    "units, neck, swapped readings together": (
        "other_unit_in_one",
        "other_unit_in_all",
        "neck_doubled",
        "ring_halved",
        "swapped_readings",
    ),
}
LARGE = 3.0
"""Standard deviations from which nearly every fault must be found."""
DISTINCT = 5.0
"""Standard deviations from which an explanation can be told from others at all."""


def wilson(hits: int, count: int, z: float = IN_95) -> tuple[float, float]:
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
    ratios = np.concatenate([r for _, r in goods])
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
    lines += ["", *_power_table(faulty, float(np.quantile(ratios, 1.0 - USUAL)))]
    lines += ["", *_explained_table(faulty)]
    return "\n".join(lines)


def _groups(faulty: list[list[Judged]]) -> list[tuple[str, list[Judged]]]:
    named = [(group[0].fault.replace("_", " "), group) for group in faulty if group]
    of = {group[0].fault: group for group in faulty if group}
    for title, faults in POOLED.items():
        if pooled := [one for fault in faults for one in of.get(fault, [])]:
            named.append((title, pooled))
    return [*named, ("all", [one for group in faulty for one in group])]


def _power_table(faulty: list[list[Judged]], limit: float) -> list[str]:
    lines = [
        f"Power at {100 * USUAL:.0f} %: what is flagged; what the best single test for this "
        "mixture of faults flags (it knows their chances and sizes); what is possible for a test "
        "that is told which fault it is and how large.",
        "",
        "| fault | orders | median size (sd) | flagged % | best single test % | possible % "
        "| flagged / best single | flagged / possible | best single / possible "
        f"| {LARGE:.0f} sd and more: orders | flagged % | best single % | possible % |",
        "| --- |" + " ---: |" * 12,
    ]
    for title, orders in _groups(faulty):
        size = np.array([o.size for o in orders])
        flagged = np.array([o.flagged for o in orders])
        single = np.array([o.ratio > limit for o in orders])
        told = possible(size, USUAL)
        large = size >= LARGE
        cells = [
            title,
            str(len(orders)),
            f"{np.median(size):.1f}",
            *(_percent(each) for each in (flagged, single, told)),
            f"{flagged.mean() / single.mean():.2f}" if single.any() else "-",
            f"{flagged.mean() / told.mean():.3f}",
            f"{single.mean() / told.mean():.3f}",
            str(int(large.sum())),
            *(_percent(each[large]) for each in (flagged, single, told)),
        ]
        lines.append("| " + " | ".join(cells) + " |")
    return lines


def _explained_table(faulty: list[list[Judged]]) -> list[str]:
    lines = [
        "Of what is flagged: whether the right explanation comes first or in the first two; "
        '"best" is the ranking with the most right firsts there can be on this mixture, in the '
        "row of all; the right readings: the first explanation doubts just those; the right "
        f"value: the first two give it within {NEAR_MM:.0f} mm.",
        "",
        "| fault | right first % | in first two % "
        f"| from {DISTINCT:.0f} sd: orders | first % | two % | best: first % "
        "| right readings first % | right value in two % "
        f"| and no rival within {APART:.0f} sd: orders | first % | two % |",
        "| --- |" + " ---: |" * 11,
    ]
    for title, orders in _groups(faulty):
        size = np.array([o.size for o in orders])
        place = np.array([o.place for o in orders])
        flagged = np.array([o.flagged for o in orders])
        large = flagged & (size >= DISTINCT)
        alone = large & np.array([o.alone for o in orders])
        chosen = [o for o, keep in zip(orders, large, strict=True) if keep]
        cells = [
            title,
            _percent(place[flagged] == 0),
            _percent(place[flagged] <= 1),
            str(len(chosen)),
            _percent(place[large] == 0),
            _percent(place[large] <= 1),
            _percent([o.best_first for o in chosen]),
            _percent([o.reading for o in chosen if o.reading is not None]),
            _percent([o.value for o in chosen if o.value is not None]),
            str(int(alone.sum())),
            _percent(place[alone] == 0),
            _percent(place[alone] <= 1),
        ]
        lines.append("| " + " | ".join(cells) + " |")
    return lines


def _percent(hits: Array | NDArray[np.bool_] | list[bool]) -> str:
    return f"{100 * np.mean(hits):.0f}" if len(hits) else "-"
