"""A simulated shop that learns from orders with tags and orders marked by hand, of one breed.

Owners have a habit: they mark a point a little off where they lay the tape, the same way again and
again.  Who wears tags has none, for tape and photo go by the same tips.  Phantoms are photographed
once by hand; an order with tags takes the same photos as if their marks had been tips, so that
what is compared is only how both kinds of orders are learnt from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.benchmark.learning_shop import (
    DOG_SPREAD,
    GROUP_SPREAD,
    SETTINGS,
    Seen,
    photograph,
)
from photocheck.benchmark.pooled import over_phantoms
from photocheck.body.shape import TAGGED, WAY_TERMS
from photocheck.judge.evidence import FinishedOrder, evidence_of, order_of
from photocheck.judge.hierarchy import fit
from photocheck.judge.learning import learn
from photocheck.judge.repeats import TapeNoise, left_at_tags
from photocheck.judge.tolerances import tape_log_spread
from photocheck.words import SPAN_TITLES, SPANS

Array = NDArray[np.float64]

HABITS: Final = (0.0, 0.02, 0.04)
"""Standard deviations between shops of ln of what owners are off, each span's own."""
STORES: Final = ((30, 0), (30, 5), (30, 15), (0, 15))
"""How many orders by hand and with tags a store has."""
SLIP: Final = 0.12
"""Of one reading of a wrong order, as a share."""


class MixedShop:
    """One shop with one breed and the habit of its owners."""

    def __init__(self, pool: Sequence[Seen], habit: float, rng: np.random.Generator) -> None:
        self.pool, self.rng = pool, rng
        self.breed = rng.normal(0.0, 1.0, 3) * GROUP_SPREAD
        self.habit = rng.normal(0.0, habit, 3) if habit else np.zeros(3)
        known = [seen.truth - seen.log_spans[:3] for seen in pool]
        self.usual = np.mean(known, axis=0)

    def order(self, *, tags: bool, told: bool, wrong: float = 0.0) -> FinishedOrder:
        """An order; not `told` of its tags it counts as one by hand."""
        seen = self.pool[int(self.rng.integers(len(self.pool)))]
        truth = seen.truth + self.breed + self.rng.normal(0.0, DOG_SPREAD, 3)
        truth = truth + (0.0 if tags else self.habit)
        whole = np.append(truth, np.log(np.exp(truth[1:]).sum()))
        spread = tape_log_spread(np.exp(whole)) * np.sqrt(left_at_tags(tags))
        tape = whole + self.rng.normal(0.0, spread)
        tape[0] += wrong
        return order_of(
            seen.log_spans,
            seen.covariance,
            seen.own,
            (False, False, False),
            dict(zip(SPANS, np.exp(tape), strict=True)),
            key=f"{self.rng.integers(2**62):016x}",
            outcome="fitted",
            group="breed",
            noise=TapeNoise(at_tags=frozenset(SPANS if tags and told else ())),
        )

    def off(self, orders: Sequence[FinishedOrder]) -> Array:
        """How far the learnt ratios are off for the next dog: by hand, with tags, (2, 3)."""
        learning = learn(orders)
        version = learning.ratios.in_use
        if version is None:
            return -np.array([self.usual + self.breed + self.habit, self.usual + self.breed])
        ratios = version.for_group("breed")
        by_hand = [ratios.way(span).shift for span in WAY_TERMS]
        any_told = any(order.at_tags for order in orders)
        tagged = [ratios.way(span + TAGGED * any_told).shift for span in WAY_TERMS]
        right = self.usual + self.breed
        return np.array([by_hand - right - self.habit, tagged - right])


def one_shop(pool: Sequence[Seen], seed: int, number: int) -> Array:
    """Of one shop: (habits, stores, told or not, by hand or with tags, 3 spans), ln."""
    found = np.zeros((len(HABITS), len(STORES), 2, 2, 3))
    for i, habit in enumerate(HABITS):
        for j, (by_hand, tagged) in enumerate(STORES):
            for k, told in enumerate((True, False)):
                shop = MixedShop(pool, habit, np.random.default_rng([seed, number, i, j]))
                orders = [shop.order(tags=False, told=True) for _ in range(by_hand)]
                orders += [shop.order(tags=True, told=told) for _ in range(tagged)]
                found[i, j, k] = shop.off(orders)
    return found


def spoilt(pool: Sequence[Seen], seed: int, number: int) -> Array:
    """What one wrong order with tags moves, by hand and with tags, over its slip, (2, 2, 3).

    First as `learn` takes it, which may leave it out; then with nothing screened.
    """
    moved = np.zeros((2, 2, 3))
    shifts = []
    for wrong in (SLIP, 0.0):
        shop = MixedShop(pool, HABITS[1], np.random.default_rng([seed, number, 99]))
        orders = [shop.order(tags=False, told=True) for _ in range(30)]
        orders += [shop.order(tags=True, told=True) for _ in range(14)]
        orders.append(shop.order(tags=True, told=True, wrong=wrong))
        bare = fit(evidence_of(orders, ["breed"])).shift[0]
        shifts.append((shop.off(orders), np.array([bare[:3], bare[6:9]])))
    for k in range(2):
        moved[k] = (shifts[0][k] - shifts[1][k]) / SLIP
    return moved


def report(dogs: int, shops: int, seed: int, jobs: int) -> str:
    """Run everything and lay it out as Markdown."""
    setting = replace(SETTINGS[1], name="")
    pool = over_phantoms(partial(photograph, setting, seed), dogs, jobs)
    found = np.array(over_phantoms(partial(one_shop, pool, seed), shops, jobs))
    rms = 100.0 * np.sqrt(np.mean(found**2, axis=0))
    heads = "".join(
        f" {title}: {SPAN_TITLES[span]} |"
        for title in ("by hand", "with tags")
        for span in WAY_TERMS
    )
    lines = [
        f"{shops} simulated shops of one breed, {dogs} phantoms, seed {seed}. RMS of what is left "
        "of the ratio tape over photo for the next dog of the breed, per cent, by hand and with "
        "tags; first where orders with tags are a way of their own, then where they are taken "
        "for orders by hand.",
        "",
        f"| owners' habit (sd %) | orders by hand, with tags | learnt |{heads}",
        "| --- | --- | --- |" + " ---: |" * 6,
    ]
    for i, habit in enumerate(HABITS):
        for j, (by_hand, tagged) in enumerate(STORES):
            for k, how in enumerate(("apart", "alike")[: 1 + bool(tagged)]):
                cells = " | ".join(f"{value:.1f}" for value in rms[i, j, k].ravel())
                lines.append(f"| {100 * habit:.0f} | {by_hand}, {tagged} | {how} | {cells} |")
    moves = np.array(over_phantoms(partial(spoilt, pool, seed), shops, jobs))[..., 0]
    mean = 100.0 * np.mean(np.abs(moves), axis=0)
    lines += [
        "",
        f"One wrong order of 15 with tags beside 30 by hand, its half neck {100 * SLIP:.0f} % off, "
        f"moves the half neck's ratio by {mean[0, 0]:.1f} % of that by hand and {mean[0, 1]:.1f} % "
        f"with tags ({mean[1, 0]:.1f} and {mean[1, 1]:.1f} % were nothing screened); mean over "
        "shops.",
    ]
    return "\n".join(lines)
