"""What each way of measuring buys: from one bare photo to all that a careful owner can do.

The same phantoms, cameras, marks and hands in every way; each way gives the program more of them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.benchmark.pooled import over_phantoms
from photocheck.benchmark.subjects import Subject, subject
from photocheck.benchmark.trial import CORNER_PX, view_of
from photocheck.case.model import Marking, Reading, Take
from photocheck.judge.compare import compare
from photocheck.judge.estimate import Estimate, estimate
from photocheck.judge.repeats import ONCE, USUAL, TapeHabits
from photocheck.judge.tape_habits import held_out_tape, learnt_habits, tape_seen
from photocheck.judge.tolerances import COMMON, SHIPPED
from photocheck.numerics import IN_95
from photocheck.phantom.facing import observe_front, random_front
from photocheck.phantom.scene import observe, random_scene
from photocheck.scale.pose import View
from photocheck.words import LANDMARKS, READINGS, SPANS

Array = NDArray[np.float64]

MARK_MM: Final = 3.0
PLACES: Final = ("near_flank", "near_feet", "middle", "far_feet")
"""Of the sheet, each as likely."""


@dataclass(frozen=True)
class Manner:
    """One way of measuring.

    Attributes
    ----------
    name : str
    photos : int
        From the side, with a marker sheet beside the dog.
    takes : int
        Of each reading.
    ring : bool
        Whether the neck ring is read as well.
    told : bool
        Whether girth and weight are told and the chest is marked, beside coat and build.
    front : bool
        Whether there is a photo from the front.
    tape : float
        The tape's noise over the usual one.
    learnt : int
        From how many of the shop's earlier orders, each reading twice, the program knows how
        its owners measure.
    more : int
        How often, at most, all readings are measured once more in which an error beyond tolerance
        could hide, as the program asks.
    """

    name: str
    photos: int = 1
    takes: int = 1
    ring: bool = False
    told: bool = False
    front: bool = False
    tape: float = 1.0
    learnt: int = 0
    more: int = 0


WAYS: Final = (
    Manner("One photo, each reading once"),
    Manner("The same with the neck ring", ring=True),
    Manner("The same, girth, weight and chest told as well", ring=True, told=True),
    Manner("Three photos, each reading once, the ring", photos=3, ring=True),
    Manner("Ten photos, each reading once, the ring", photos=10, ring=True),
    Manner("Each reading twice, the ring, a photo from the front", 1, 2, True, True, True),
    Manner("The same, and what could hide measured once more", 1, 2, True, True, True, more=1),
    Manner("The same, and that once more", 1, 2, True, True, True, more=2),
    Manner("Twice each, after 30 orders that taught the tape", 1, 2, True, True, True, 1.0, 30),
    Manner("Twice each, with a tape a fifth more exact", 1, 2, True, True, True, 0.8),
    Manner("The same with a tape twice as exact", 1, 2, True, True, True, 0.5),
    Manner("The same after 30 orders that taught the tape", 1, 2, True, True, True, 0.5, 30),
)


@dataclass(frozen=True, eq=False)
class MannerOutcome:
    """One way for one dog.

    Attributes
    ----------
    error, spread : (4,)
        ln(estimate) - ln(truth), and its stated standard deviation.
    catches : (5,)
        Smallest error caught, relative; nan for what was not read.
    common : float
        The smallest error common to all that is caught, relative.
    flagged, agrees : bool
        Of the good order.
    off_seen : (5,) bool
        Whether a reading off by its tolerance was flagged.
    off_passed : (5,) bool
        Whether the order with a reading off by its tolerance agrees.
    off_agrees : bool
        Whether an order whose readings are all 25 % off alike agrees.
    """

    error: Array
    spread: Array
    catches: Array
    common: float
    flagged: bool
    agrees: bool
    off_seen: NDArray[np.bool_]
    off_passed: NDArray[np.bool_]
    off_agrees: bool


def report(dogs: int, seed: int, jobs: int) -> str:
    """Every way over so many phantoms, as Markdown."""
    rows = over_phantoms(partial(outcomes, seed), dogs, jobs)
    said = (
        f"{dogs} phantoms, seed {seed}, a marker sheet beside the dog, marks {MARK_MM:g} mm off; "
        "the tape as the program takes it to be. Each cell: half neck / front / rear / full "
        "length, in per cent; of the smallest error caught (in 95 of 100, median over dogs) also "
        "the ring."
    )
    return tables(said, WAYS, rows)


def tables(said: str, ways: Sequence[Manner], rows: list[list[MannerOutcome]]) -> str:
    """What is said of them, the lengths and the orders of each way, as Markdown."""
    return "\n\n".join([said, _lengths(ways, rows), _orders(ways, rows)])


def outcomes(seed: int, number: int) -> list[MannerOutcome]:
    """Every way for one phantom."""
    one = subject(seed, number)
    rng = np.random.default_rng([seed, number, 77])
    most = max(way.photos for way in WAYS)
    sides = [_side(one, rng) for _ in range(most)]
    front = _front(one, rng)
    tape = hands(one.truth_mm, rng, max(way.takes + way.more for way in WAYS))
    sign = float(rng.choice([-1.0, 1.0]))
    most = max(way.learnt for way in WAYS)
    before = [hands(one.truth_mm, rng) for _ in range(most)]
    return [outcome(one, way, sides, front, tape, sign, before) for way in WAYS]


def habits_learnt(
    way: Manner, truth_mm: Array, before: Sequence[Array], at_tags: Sequence[str] = ()
) -> TapeHabits:
    """What a shop knows of its owners' tapes by its earlier orders.

    Parameters
    ----------
    before : sequence of (takes, 5)
        ln(take / truth) of each order, of dogs about as large as this one.
    at_tags : sequence of str
        Readings whose tape was held at tags.
    """
    truth = np.append(truth_mm, 2.0 * truth_mm[0])
    seen = [
        tape_seen(as_readings(truth * np.exp(way.tape * one), READINGS), at_tags) for one in before
    ]
    if not seen or not held_out_tape(seen).improves:
        return USUAL
    return learnt_habits(seen)


def as_readings(
    lengths: Array, names: Sequence[str], counts: Mapping[str, int] | None = None
) -> dict[str, Reading]:
    """Readings by their takes, (takes, 5), mm; `counts` says how many of each, all where not."""
    counted = counts or dict.fromkeys(names, len(lengths))
    return {
        name: Reading.of(
            [Take(float(mm), f"{mm:.0f} mm", "cm") for mm in lengths[: counted[name], i]]
        )
        for i, name in enumerate(names)
    }


def outcome(
    one: Subject,
    way: Manner,
    sides: list[tuple[View, Marking]],
    front: tuple[View, Marking],
    tape: Array,
    sign: float,
    before: Sequence[Array] = (),
) -> MannerOutcome:
    """One way for one phantom, by photos and takes drawn before.

    Parameters
    ----------
    tape : (takes, 5)
        ln(take / truth) of usual hands.
    sign : float
        Which way errors go, 1 or -1.
    before : sequence of (takes, 5)
        The same as `tape`, of the shop's earlier orders.
    """
    facts = one.facts
    marked: tuple[str, ...] = LANDMARKS
    if way.told:
        facts = replace(facts, girth_mm=one.dog.girth, weight_kg=one.dog.mass_kg)
        marked = (*LANDMARKS, "back_top", "chest_bottom")
    shots = [
        (view, Marking({name: m.marks[name] for name in marked})) for view, m in sides[: way.photos]
    ]
    if way.front:
        shots.append(front)
    found = estimate([view for view, _ in shots], [[m] for _, m in shots], facts)
    return held_against(one, way, found, tape, sign, before)


def held_against(
    one: Subject,
    way: Manner,
    found: Estimate,
    tape: Array,
    sign: float,
    before: Sequence[Array] = (),
    at_tags: Sequence[str] = (),
) -> MannerOutcome:
    """Takes of one phantom held against what its photos tell; parameters as for `outcome`.

    `at_tags` are the readings whose tape was held at tags.
    """
    names = READINGS if way.ring else SPANS
    truth = np.append(one.truth_mm, 2.0 * one.truth_mm[0])

    habits = habits_learnt(way, one.truth_mm, before[: way.learnt], at_tags)

    def judged(off: Array) -> tuple[bool, bool, Array, float]:
        lengths = truth * np.exp(way.tape * tape + off)
        counts = dict.fromkeys(names, way.takes)
        for left in range(way.more, -1, -1):
            told = as_readings(lengths, names, counts)
            seen = compare(found.log_spans, found.covariance, told, habits=habits, at_tags=at_tags)
            if not left or seen.faults or seen.agrees:
                break
            counts |= {name: counts[name] + 1 for name in seen.unsure}
        catches = np.array([seen.catches.get(name, np.nan) for name in READINGS])
        return bool(seen.faults), seen.agrees, catches, seen.catches_common

    flagged, agrees, catches, common = judged(np.zeros(5))
    off = np.zeros((2, 5), bool)
    for i, name in enumerate(names):
        off[:, i] = judged(sign * np.log1p(SHIPPED[name]) * np.eye(5)[i])[:2]
    return MannerOutcome(
        error=found.log_spans - np.log(one.truth_mm),
        spread=np.sqrt(np.diag(found.covariance)),
        catches=catches,
        common=common,
        flagged=flagged,
        agrees=agrees,
        off_seen=off[0],
        off_passed=off[1],
        off_agrees=judged(np.full(5, sign * np.log1p(0.25)))[1],
    )


def hands(truth_mm: Array, rng: np.random.Generator, takes: int = 2) -> Array:
    """What usual hands are off, (takes, 5), ln: led once for all takes, laid anew for each.

    Along one line led alike, as the program takes hands to be.
    """
    lengths = np.append(truth_mm, 2.0 * truth_mm[0])
    repeat = ONCE.repeat_variance(READINGS, lengths)
    led = np.linalg.cholesky(ONCE.covariance(READINGS, lengths) - np.diag(repeat))
    return np.asarray(led @ rng.normal(size=5) + np.sqrt(repeat) * rng.normal(size=(takes, 5)))


def _side(one: Subject, rng: np.random.Generator) -> tuple[View, Marking]:
    place = str(rng.choice(PLACES))
    scene = random_scene(rng, dog=one.dog, kind="marker_sheet", place=place)
    seen = observe(scene, rng, MARK_MM, CORNER_PX[scene.reference.form])
    return view_of(seen), Marking(seen.marking.marks)


def _front(one: Subject, rng: np.random.Generator) -> tuple[View, Marking]:
    scene = random_front(rng, one.dog, kind="marker_sheet", place="front_feet")
    seen = observe_front(scene, rng, MARK_MM, CORNER_PX[scene.reference.form])
    return view_of(seen), Marking(seen.marking.marks)


def _lengths(ways: Sequence[Manner], rows: list[list[MannerOutcome]]) -> str:
    lines = [
        "| way | bias | RMSE | stated sd | 95 % covers |",
        "| --- | ---: | ---: | ---: | ---: |",
    ]
    for k, way in enumerate(ways):
        error = np.array([row[k].error for row in rows])
        spread = np.array([row[k].spread for row in rows])
        inside = np.abs(error) <= IN_95 * spread
        cells = (
            four_cells(100 * error.mean(axis=0), "+.1f"),
            four_cells(100 * np.sqrt(np.mean(error**2, axis=0)), ".1f"),
            four_cells(100 * np.sqrt(np.mean(spread**2, axis=0)), ".1f"),
            four_cells(100 * inside.mean(axis=0), ".0f"),
        )
        lines.append(f"| {way.name} | {' | '.join(cells)} |")
    return "\n".join(lines)


def _orders(ways: Sequence[Manner], rows: list[list[MannerOutcome]]) -> str:
    shares = " / ".join(f"{100 * SHIPPED[name]:.0f}" for name in READINGS)
    lines = [
        "| way | good orders flagged | good orders agree | smallest error caught | of all alike "
        f"| off by the tolerance ({shares}): flagged | agree | all 25 % off alike: agree |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    for k, way in enumerate(ways):
        these = [row[k] for row in rows]
        names = READINGS if way.ring else SPANS
        catches = np.median([one.catches[: len(names)] for one in these], axis=0)
        seen = np.mean([one.off_seen[: len(names)] for one in these], axis=0)
        passed = np.mean([one.off_passed[: len(names)] for one in these], axis=0)
        cells = (
            f"{100 * np.mean([one.flagged for one in these]):.1f}",
            f"{100 * np.mean([one.agrees for one in these]):.0f}",
            four_cells(100 * catches, ".0f"),
            f"{100 * np.median([one.common for one in these]):.0f}",
            four_cells(100 * seen, ".0f"),
            four_cells(100 * passed, ".0f"),
            f"{100 * np.mean([one.off_agrees for one in these]):.1f}",
        )
        lines.append(f"| {way.name} | {' | '.join(cells)} |")
    common = f"Tolerance of an error common to all: {100 * SHIPPED[COMMON]:.0f} %."
    return "\n".join(lines) + f"\n\n{common}"


def four_cells(values: Array, form: str) -> str:
    """Half neck, front, rear and full length in one cell, and the ring where it is given."""
    return " / ".join(format(float(value), form) for value in values)
