"""A simulated shop that learns: how far its error falls with the orders it has sewn.

Phantoms are photographed and estimated once; each simulated order takes one of them and
multiplies its tape truth by its breed group's own ratio and by a dog's own, so that bodies
outside what the shipped constants know come in groups.  The shipped constants stay as they are.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from photocheck.benchmark.accuracy import BESIDE
from photocheck.benchmark.subjects import subject
from photocheck.benchmark.trial import Setting, estimated
from photocheck.body.shape import WAY_TERMS, WAYS, Learnt, TapeRatios
from photocheck.case.model import Reading
from photocheck.judge.compare import compare
from photocheck.judge.evidence import FinishedOrder, evidence_of, order_of
from photocheck.judge.hierarchy import Fit, fit
from photocheck.judge.learning import learn
from photocheck.judge.tolerances import tape_log_spread
from photocheck.numerics import IN_95
from photocheck.words import SPAN_TITLES, SPANS

Array = NDArray[np.float64]
Item = TypeVar("Item")

GROUP_SPREAD = np.array([0.05, 0.04, 0.04])
"""Standard deviation of a breed group's ln(ratio): half neck, front, rear."""
DOG_SPREAD = 0.02
"""Of a dog's within its group, on top of how the phantoms differ among themselves."""
COUNTS = (5, 10, 20, 40, 80)
TEST_DOGS = 30
GROUPS = 6
SLIP = (0.15, 0.40)
"""Relative size of a slip of the tape or the keyboard in one reading."""

SETTINGS = (
    Setting("Marker sheet beside the dog, three photos", "marker_sheet", BESIDE, 3),
    Setting("Marker sheet beside the dog, marks 3 mm", "marker_sheet", BESIDE, 1, (3.0, 3.0)),
    Setting("Mixed: any reference, any place, one photo"),
)


@dataclass(frozen=True, eq=False)
class Seen:
    """One phantom as its photos show it: log-spans (4,), their covariance (4, 4), the variance
    of each span's own terms (3,), and the tape truth as ln(mm) (3,) of the first three spans.
    """

    log_spans: Array
    covariance: Array
    own: Array
    truth: Array


@dataclass(frozen=True, eq=False)
class Tally:
    """Errors of ln(half neck, front, rear, full) of test dogs with their stated spreads, (t, 4)."""

    error: Array
    spread: Array


Results = dict[str, tuple[Tally, bool]]
"""By what was learnt from: the tally, and whether the shop adopted new ratios."""


def photograph(setting: Setting, seed: int, number: int) -> Seen:
    """One phantom, photographed by a setting and estimated with the shipped ratios."""
    body = subject(seed, number)
    rng = np.random.default_rng([seed, number, 77])
    found = estimated(body, setting, rng)
    own = [sum(found.shares[t][i] for t in terms) for i, terms in enumerate(WAY_TERMS.values())]
    return Seen(found.log_spans, found.covariance, np.array(own), np.log(body.truth_mm[:3]))


# -- a shop -----------------------------------------------------------------------


class SimulatedShop:
    """A shop with its breed groups, drawing orders from a pool of phantoms."""

    def __init__(self, pool: Sequence[Seen], groups: int, rng: np.random.Generator) -> None:
        self.pool, self.rng = pool, rng
        self.offsets = rng.normal(0.0, 1.0, (groups, 3)) * GROUP_SPREAD
        half = len(pool) // 2
        mixed = rng.permutation(len(pool))
        # test dogs are never among those learnt from
        self.train, self.test = mixed[:half], mixed[half:]
        self.number = 0

    def dog(self, group: int, of: NDArray[np.intp]) -> tuple[Seen, Array]:
        """A phantom and its true ln(mm), (4,)."""
        seen = self.pool[int(self.rng.choice(of))]
        truth = seen.truth + self.offsets[group] + self.rng.normal(0.0, DOG_SPREAD, 3)
        return seen, np.append(truth, np.log(np.exp(truth[1:]).sum()))

    def order(self, group: int, outcome: str = "fitted", slip: bool = False) -> FinishedOrder:
        """An order with tape noise, and with a slip in one reading when told so."""
        seen, truth = self.dog(group, self.train)
        tape = truth + self.rng.normal(0.0, tape_log_spread(np.exp(truth)))
        if slip:
            sign = 1.0 if self.rng.random() < 0.5 else -1.0
            tape[self.rng.integers(4)] += np.log1p(sign * self.rng.uniform(*SLIP))
        self.number += 1
        key = f"{self.rng.integers(2**62):016x}"
        return order_of(
            seen.log_spans,
            seen.covariance,
            seen.own,
            (False, False, False),
            dict(zip(SPANS, np.exp(tape), strict=True)),
            name=f"order {self.number}",
            key=key,
            outcome=outcome,
            group=f"group {group}",
        )

    def passing(self, group: int) -> FinishedOrder:
        """An order that the check with shipped ratios lets pass."""
        while True:
            seen, truth = self.dog(group, self.train)
            tape = np.exp(truth + self.rng.normal(0.0, tape_log_spread(np.exp(truth))))
            readings = {
                s: Reading(float(mm), f"{mm:.0f} mm", "cm")
                for s, mm in zip(SPANS, tape, strict=True)
            }
            if not compare(seen.log_spans, seen.covariance, readings).faults:
                return order_of(
                    seen.log_spans,
                    seen.covariance,
                    seen.own,
                    (False, False, False),
                    dict(zip(SPANS, tape, strict=True)),
                    key=f"{self.rng.integers(2**62):016x}",
                    outcome="fitted",
                    group=f"group {group}",
                )

    def test_dogs(self, group: int) -> list[tuple[Seen, Array]]:
        """Dogs to judge the ratios by."""
        return [self.dog(group, self.test) for _ in range(TEST_DOGS)]


def judged(dogs: Sequence[tuple[Seen, Array]], ratios: TapeRatios) -> Tally:
    """The photo's spans under these ratios against the truth."""
    errors, spreads = [], []
    for seen, truth in dogs:
        parts = np.exp(seen.log_spans[1:3])
        moves = np.eye(4)[:, :3]
        moves[3, 1:] = parts / parts.sum()
        learnt = [ratios.of(span, False) for span in WAY_TERMS]
        shift = moves @ np.array([item.shift for item in learnt])
        grown = np.array([item.spread_factor**2 - 1.0 for item in learnt]) * seen.own
        variance = np.diag(seen.covariance) + moves**2 @ grown
        errors.append(seen.log_spans + shift - truth)
        spreads.append(np.sqrt(variance))
    return Tally(np.array(errors), np.array(spreads))


def taught(orders: Sequence[FinishedOrder], group: int) -> tuple[TapeRatios, bool]:
    """What a shop would use after these orders, and whether it adopted anything."""
    learning = learn(orders)
    version = learning.ratios.in_use
    if version is None:
        return TapeRatios(), False
    return version.for_group(f"group {group}"), True


def _unscreened(orders: Sequence[FinishedOrder], group: int) -> TapeRatios:
    """Ratios from all orders, whatever became of them: what learning must not do."""
    groups = sorted({order.group for order in orders})
    found: Fit = fit(evidence_of(orders, groups))
    row = groups.index(f"group {group}")
    ways = zip(WAYS, found.shift[row], found.factor[row], strict=True)
    return TapeRatios("all", {way: Learnt(float(s), float(f)) for way, s, f in ways})


# -- what is run ------------------------------------------------------------------


def _one_group(pool: Sequence[Seen], seed: int) -> Results:
    """One shop with one breed group: a growing number of orders, then spoilt ones."""
    shop = SimulatedShop(pool, 1, np.random.default_rng([seed, 1]))
    dogs = shop.test_dogs(0)
    out = {"shipped": (judged(dogs, TapeRatios()), True)}
    orders = [shop.order(0) for _ in range(max(COUNTS))]
    for count in COUNTS:
        ratios, adopted = taught(orders[:count], 0)
        out[f"{count} orders"] = (judged(dogs, ratios), adopted)
    known = np.mean([seen.truth - seen.log_spans[:3] for seen in pool], axis=0) + shop.offsets[0]
    ways = zip(WAY_TERMS, known, strict=True)
    best = TapeRatios("known", {span: Learnt(float(shift)) for span, shift in ways})
    out["(the group's true ratio known)"] = (judged(dogs, best), True)
    some = orders[:40]
    returned = [shop.order(0, "returned", slip=True) for _ in range(10)]
    mistyped = [shop.order(0, "fitted", slip=True) for _ in range(4)]
    everything: dict[str, list[FinishedOrder]] = {
        "40 orders and 10 returned": some + returned,
        "36 orders and 4 mistyped": some[:36] + mistyped,
    }
    for name, these in everything.items():
        ratios, adopted = taught(these, 0)
        out[name] = (judged(dogs, ratios), adopted)
    wrong = [replace(order, outcome="fitted") for order in everything["40 orders and 10 returned"]]
    out["(the 10 returned taken as fitted, not screened)"] = (
        judged(dogs, _unscreened(wrong, 0)),
        True,
    )
    out["(the 4 mistyped not screened)"] = (
        judged(dogs, _unscreened(everything["36 orders and 4 mistyped"], 0)),
        True,
    )
    ratios, adopted = taught([shop.passing(0) for _ in range(40)], 0)
    out["40 orders that all passed the shipped check"] = (judged(dogs, ratios), adopted)
    return out


def _many_groups(pool: Sequence[Seen], seed: int) -> Results:
    """One shop with several breed groups; the first is new, with few orders."""
    shop = SimulatedShop(pool, GROUPS, np.random.default_rng([seed, 2]))
    dogs = shop.test_dogs(0)
    out = {"shipped": (judged(dogs, TapeRatios()), True)}
    others = [shop.order(g) for g in range(1, GROUPS) for _ in range(20)]
    own = [shop.order(0) for _ in range(20)]
    for count in (0, 2, 5, 20):
        ratios, adopted = taught(others + own[:count], 0)
        name = f"{GROUPS - 1} groups of 20 orders, {count} of this one"
        out[name] = (judged(dogs, ratios), adopted)
    return out


def report(dogs: int, shops: int, seed: int, jobs: int) -> str:
    """Run everything and lay it out as Markdown."""
    from tqdm import tqdm

    parts = [
        f"{shops} simulated shops drawing from {dogs} phantoms, seed {seed}; half of the phantoms "
        f"teach, {TEST_DOGS} dogs a shop from the other half test. Assumed: a breed group's own "
        f"ratio tape over photo varies by {100 * GROUP_SPREAD[0]:.0f} % (half neck) and "
        f"{100 * GROUP_SPREAD[1]:.0f} % (front, rear), a dog's within its group by "
        f"{100 * DOG_SPREAD:.0f} % on top of the phantoms' own variety; the tape has its usual "
        "spread; owners type the breed alike. Errors are against the true tape length."
    ]
    with ProcessPoolExecutor(jobs) as workers:

        def spread(work: Callable[[int], Item], count: int, what: str) -> list[Item]:
            done = workers.map(work, range(count), chunksize=2)
            return list(tqdm(done, total=count, desc=what, disable=None))

        for k, setting in enumerate(SETTINGS):
            pool = spread(partial(photograph, setting, seed), dogs, "phantoms")
            kinds = (_one_group, _many_groups) if k == 0 else (_one_group,)
            for kind in kinds:
                work = partial(_shop, kind, pool, seed)
                name = "one breed group" if kind is _one_group else f"{GROUPS} breed groups"
                parts.append(table(f"{setting.name}; {name}", spread(work, shops, "shops")))
    return "\n\n".join(parts)


def _shop(
    kind: Callable[[Sequence[Seen], int], Results],
    pool: Sequence[Seen],
    seed: int,
    number: int,
) -> Results:
    return kind(pool, seed * 100_003 + number)


def table(name: str, rows: Sequence[Results]) -> str:
    """One setting as a Markdown table."""
    lines = [
        f"**{name}**",
        "",
        "| learnt from | adopted % | "
        + " | ".join(f"{SPAN_TITLES[s]} RMSE %" for s in SPANS)
        + " | half neck RMSE falls by % | half neck stated sd % | 95 % covers %: "
        + " | ".join(SPAN_TITLES[s] for s in SPANS)
        + " |",
        "| --- |" + " ---: |" * 11,
    ]
    first = 0.0
    for key in rows[0]:
        error = np.concatenate([row[key][0].error for row in rows])
        stated = np.concatenate([row[key][0].spread for row in rows])
        rmse = np.sqrt(np.mean(error**2, axis=0))
        first = first or float(rmse[0])
        inside = np.mean(np.abs(error) <= IN_95 * stated, axis=0)
        lines.append(
            f"| {key} | {100 * np.mean([row[key][1] for row in rows]):.0f} | "
            + " | ".join(f"{100 * v:.1f}" for v in rmse)
            + f" | {100 * (1.0 - rmse[0] / first):.0f} | "
            + f"{100 * np.sqrt(np.mean(stated[:, 0] ** 2)):.1f} | "
            + " | ".join(f"{100 * v:.0f}" for v in inside)
            + " |"
        )
    return "\n".join(lines)
