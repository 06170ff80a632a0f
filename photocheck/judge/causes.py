"""How tape and photo can have come to differ: the ways behind the rival explanations.

A cause says what the differences r = ln(tape) - ln(photo) would be if it were undone, and
how they would then be spread:

* a slip with candidate values (swapped digits, a wrong unit) leaves nothing but the
  ordinary doubt once the candidate stands in place of what was typed: exact;
* a slip of unknown size along a direction d adds tau^2 d d' to the covariance.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Reading, Reference, Take
from photocheck.judge import typed
from photocheck.judge.misnamed import known_factors
from photocheck.judge.repeats import ONCE, TapeNoise, squares_of
from photocheck.judge.typed import Candidate
from photocheck.scale.catalogue import CM_PER_INCH, MM_PER_INCH
from photocheck.speech import joined
from photocheck.words import NECK_RING, SPANS

Array = NDArray[np.float64]

# How far errors without candidate values reach, standard deviations of ln(length).
ONE_READING_OFF: Final = 0.25
"""One reading wrong for no named reason: judgement, broad on purpose."""
ALL_OFF: Final = 0.20
"""Every reading wrong in its own way: judgement, broad on purpose."""
OTHER_LINE: Final = 0.10
"""The full length over the back or the belly instead of along the harness (judgement)."""
LAST_RIB_MOVED: Final = 0.08
"""Of the full length: a rib or three (judgement)."""
REFERENCE_OFF: Final = (0.10, 0.35)
"""All alike: a reference out of its plane (4 to 15 % for 10 to 40 cm at 2.5 m, by the pinhole),
or another object than was named (judgement)."""
STANCE_SIZE: Final = (0.10, 0.05)
"""Mean and spread of what a stance that is plainly wrong does to the span it changes most
(judgement; no figure for dogs was found)."""
ODD_STYLE: Final = 5.0
"""How much likelier a decimal among fractions, or a fraction among decimals, is when it was
read in the other unit (judgement)."""
FRACTION_IN_CM: Final = 0.02
"""How rarely anyone writes centimetres as a fraction (judgement)."""
STEP_RATIO: Final = 2.0
"""Numbers of centimetres come in halves, of inches in quarters: any one number is twice as
common among the former."""
MISNAMED: Final = 0.3
"""Of references that are not as said: those that another known object, a fitted print or a
slip in the size given would explain (judgement)."""


@dataclass(frozen=True)
class Discrepancy:
    """What the explanations are held against; n readings.

    Attributes
    ----------
    names : tuple of str
    readings : tuple of Reading
    expected : (n,)
        ln(mm) by the photo.
    differences : (n,)
        ln(tape) - ln(photo).
    covariance : (n, n)
        Of the differences under "all agree".
    log_spans : (4,)
        ln(mm) as the photo shows them.
    span_covariance : (4, 4)
        Theirs.
    rows : (n, 4)
        Which log-span each reading follows.
    references : tuple of Reference
        As named for each photo; empty when not known.
    noise : TapeNoise
        Of the order, as if no take had slipped.
    """

    names: tuple[str, ...]
    readings: tuple[Reading, ...]
    expected: Array
    differences: Array
    covariance: Array
    log_spans: Array
    span_covariance: Array
    rows: Array
    references: tuple[Reference, ...] = ()
    noise: TapeNoise = ONCE

    @property
    def takes_apart(self) -> float:
        """Sum of squares of all takes about the mean of their reading, in units of their noise."""
        return sum(self.noise.squares.values()) / self.noise.scale

    def place(self, name: str) -> int | None:
        """Where a reading stands; None when it was not given."""
        return self.names.index(name) if name in self.names else None


@dataclass(frozen=True)
class Cause:
    """One way in which an explanation can have come about.

    Attributes
    ----------
    weight : float
        Its probability given the explanation, times the probability that it turned what was
        meant into just what was typed.
    readings : tuple of str
        Those it puts in doubt.
    left : (n,)
        The differences once it is undone.
    covariance : (n, n) or None
        Theirs; None for that under "all agree".
    candidates : tuple of (str, Candidate)
        Reading name and the value that would be consistent.
    remark : str
        What more can be said if it came about in this way: a sentence or nothing.
    takes_apart : float or None
        `Discrepancy.takes_apart` once it is undone; None where that stays.
    """

    weight: float
    readings: tuple[str, ...]
    left: Array
    covariance: Array | None = None
    candidates: tuple[tuple[str, Candidate], ...] = ()
    remark: str = ""
    takes_apart: float | None = None


# -- slips in one reading ----------------------------------------------------------


def _undone(seen: Discrepancy, i: int, candidate: Candidate, weight: float = 1.0) -> Cause:
    left = seen.differences.copy()
    left[i] += np.log(candidate.mm / seen.readings[i].mm)
    name = seen.names[i]
    return Cause(weight * candidate.weight, (name,), left, None, ((name, candidate),))


def _take_undone(
    seen: Discrepancy, i: int, number: int, candidate: Candidate, weight: float = 1.0
) -> Cause:
    """A slip in one take only: the others stand as they are, and tell what it should have been."""
    name, takes = seen.names[i], list(seen.readings[i].takes)
    takes[number] = Take(candidate.mm, candidate.text, seen.readings[i].unit)
    left = seen.differences.copy()
    left[i] += np.log(Reading.of(takes).mm / seen.readings[i].mm)
    aside = seen.noise.aside.get(name, ())
    counted = [take for k, take in enumerate(takes) if k not in aside]
    squares = squares_of(counted, at_tags=name in seen.noise.at_tags)
    apart = seen.takes_apart + (squares - seen.noise.squares[name]) / seen.noise.scale
    found = ((name, candidate),)
    return Cause(weight * candidate.weight, (name,), left, None, found, takes_apart=apart)


def _several(seen: Discrepancy, i: int) -> Iterator[tuple[int, Reading]]:
    """The takes of a reading that count, each as a reading of its own; none of one taken once."""
    takes = seen.readings[i].takes
    if len(takes) > 1:
        for number, take in enumerate(takes):
            if number not in seen.noise.aside.get(seen.names[i], ()):
                yield number, Reading(take.mm, take.typed, take.unit)


def text_slip(
    candidates: Callable[[str, Reading, bool], tuple[Candidate, ...]],
) -> Callable[[Discrepancy], Iterator[Cause]]:
    """The causes of a slip of the text: each candidate of each reading.

    Parameters
    ----------
    candidates : callable
        Of `photocheck.judge.typed`: name, reading, and whether the other readings are even.
    """

    def ways(seen: Discrepancy) -> Iterator[Cause]:
        for i, (name, reading) in enumerate(zip(seen.names, seen.readings, strict=True)):
            others = [t for k, r in enumerate(seen.readings) if k != i for t in r.takes]
            even = bool(others) and all(typed.is_even(t.mm, t.unit) for t in others)
            # Whoever takes a reading again does not see the first: one slip is in one take.
            for number, take in _several(seen, i):
                for candidate in candidates(name, take, even):
                    yield _take_undone(seen, i, number, candidate)
            if len(reading.takes) == 1:
                for candidate in candidates(name, reading, even):
                    yield _undone(seen, i, candidate)

    return ways


def _other_unit(reading: Reading) -> float:
    """What turns the number from the owner's unit into the other one."""
    return 1.0 / CM_PER_INCH if reading.unit == "in" else CM_PER_INCH


def unit_of_one(seen: Discrepancy) -> Iterator[Cause]:
    """One reading in the other unit."""
    if len(seen.names) < 2:
        return  # one reading alone is all of them
    for i, reading in enumerate(seen.readings):
        candidate = typed.scaled_reading(reading, _other_unit(reading), _odd_style(seen, i))
        yield _undone(seen, i, _in_other_unit(reading, candidate))
        for number, take in _several(seen, i):
            meant = typed.scaled_reading(take, _other_unit(take))
            yield _take_undone(seen, i, number, _in_other_unit(take, meant))


def unit_of_all(seen: Discrepancy) -> Iterator[Cause]:
    """All readings in the other unit."""
    meant = [_in_other_unit(r, typed.scaled_reading(r, _other_unit(r))) for r in seen.readings]
    yield _all_undone(seen, meant, 1.0)


def _odd_style(seen: Discrepancy, i: int) -> float:
    """Centimetres are written as decimals and inches mostly as fractions."""
    own = _style(seen.readings[i])
    others = {_style(r) for k, r in enumerate(seen.readings) if k != i}
    if seen.readings[i].unit == "in":
        if own == "fraction":
            return FRACTION_IN_CM * STEP_RATIO
        step = STEP_RATIO
        odd = own == "decimal" and "fraction" in others and "decimal" not in others
    else:
        step = 1.0 / STEP_RATIO
        odd = own == "fraction" and "fraction" not in others
    return step * (ODD_STYLE if odd else 1.0)


def _style(reading: Reading) -> str:
    text = typed.own_text(reading) or ""
    if "/" in text:
        return "fraction"
    return "decimal" if "." in text or "," in text else "whole"


def _in_other_unit(reading: Reading, candidate: Candidate) -> Candidate:
    """The number as typed with the unit that was meant, when the number stands alone."""
    text = typed.own_text(reading)
    if text is None or any(c.isalpha() or c in "\"'" for c in text):
        return candidate
    meant = "cm" if reading.unit == "in" else "in"
    in_own = joined("(", candidate.text, ")", between="")
    return replace(candidate, text=joined(text, meant, in_own))


def _all_undone(seen: Discrepancy, meant: list[Candidate], weight: float) -> Cause:
    lengths = np.array([r.mm for r in seen.readings])
    left = seen.differences + np.log(np.array([c.mm for c in meant]) / lengths)
    pairs = tuple(zip(seen.names, meant, strict=True))
    return Cause(weight * float(np.prod([c.weight for c in meant])), seen.names, left, None, pairs)


def neck_doubled(seen: Discrepancy) -> Iterator[Cause]:
    """The way all around the neck given as half of it."""
    if (i := seen.place("half_neck")) is not None:
        yield _undone(seen, i, typed.scaled_reading(seen.readings[i], 0.5))
        for number, take in _several(seen, i):
            yield _take_undone(seen, i, number, typed.scaled_reading(take, 0.5))


def ring_halved(seen: Discrepancy) -> Iterator[Cause]:
    """Half the neck ring given as the ring."""
    if (i := seen.place(NECK_RING)) is not None:
        yield _undone(seen, i, typed.scaled_reading(seen.readings[i], 2.0))
        for number, take in _several(seen, i):
            yield _take_undone(seen, i, number, typed.scaled_reading(take, 2.0))


def second_unit(seen: Discrepancy) -> Iterator[Cause]:
    """Every reading begun at the tape's one, or one of them only."""
    for first, share in ((MM_PER_INCH, 1.0),) if _inches(seen) else ((10.0, 0.4), (100.0, 0.6)):
        meant = [
            typed.scaled_reading(r, 1.0 - first / r.mm, r.mm / (r.mm - first))
            for r in seen.readings
            if r.mm > 1.5 * first
        ]
        if len(meant) < len(seen.names):
            continue
        if len(meant) > 1:
            yield _all_undone(seen, meant, 0.5 * share)
        for i, candidate in enumerate(meant):
            part = 1.0 if len(meant) == 1 else 0.5 / len(meant)
            yield _undone(seen, i, candidate, part * share)


def _inches(seen: Discrepancy) -> bool:
    return sum(r.unit == "in" for r in seen.readings) * 2 > len(seen.readings)


# -- readings in each other's place ------------------------------------------------


def swapped_readings(seen: Discrepancy) -> Iterator[Cause]:
    """Two readings in each other's place."""
    pairs = list(combinations(range(len(seen.names)), 2))
    for i, j in pairs:
        one, other = seen.readings[i], seen.readings[j]
        if abs(one.mm - other.mm) < 1e-6:
            continue
        left = seen.differences.copy()
        step = float(np.log(other.mm / one.mm))
        left[i] += step
        left[j] -= step
        names = (seen.names[i], seen.names[j])
        shown = (typed.scaled_reading(other, 1.0), typed.scaled_reading(one, 1.0))
        yield Cause(1.0 / len(pairs), names, left, None, tuple(zip(names, shown, strict=True)))


def full_as_part(seen: Discrepancy) -> Iterator[Cause]:
    """The tape did not stop at the last rib, or did not begin there."""
    parts = [n for n in ("front_length", "rear_length") if n in seen.names]
    if len(seen.names) < 2:
        return  # by itself a long part is a long dog
    for name in parts:
        i = seen.names.index(name)
        left, spread = _as_full(seen, i)
        shown = _rest_of_full(seen, i)
        yield Cause(1.0 / len(parts), (name,), left, spread, ((name, shown),) if shown else ())


def _as_full(seen: Discrepancy, i: int) -> tuple[Array, Array]:
    """Differences and their spread if reading i is of the full length."""
    full = SPANS.index("full_length")
    rows = seen.rows.copy()
    rows[i] = np.eye(len(SPANS))[full]
    left = seen.differences.copy()
    left[i] += seen.expected[i] - seen.log_spans[full]
    photo = seen.rows @ seen.span_covariance @ seen.rows.T
    return left, seen.covariance - photo + rows @ seen.span_covariance @ rows.T


def _rest_of_full(seen: Discrepancy, i: int) -> Candidate | None:
    """The full length less the other part."""
    other = "rear_length" if seen.names[i] == "front_length" else "front_length"
    whole, rest = seen.place("full_length"), seen.place(other)
    if rest is None:
        return None
    full = seen.readings[i if whole is None else whole].mm
    mm = full - seen.readings[rest].mm
    return typed.scaled_reading(seen.readings[i], mm / seen.readings[i].mm) if mm > 0 else None


# -- errors of unknown size --------------------------------------------------------


def _along(
    seen: Discrepancy, direction: Array, size: float, middle: float = 0.0
) -> tuple[Array, Array]:
    """Differences less their mean, and their spread, with a shift of that size along d."""
    spread = seen.covariance + size**2 * np.outer(direction, direction)
    return seen.differences - middle * direction, spread


def last_rib_elsewhere(seen: Discrepancy) -> Iterator[Cause]:
    """Front and rear taken to another last rib than the marked one: their sum holds."""
    front, rear = seen.place("front_length"), seen.place("rear_length")
    if front is None or rear is None:
        return
    parts = np.exp(seen.expected[[front, rear]])
    direction = np.zeros(len(seen.names))
    direction[front], direction[rear] = parts.sum() / parts * (1.0, -1.0)
    names = ("front_length", "rear_length")
    left, spread = _along(seen, direction, LAST_RIB_MOVED)
    yield Cause(1.0, names, left, spread, _rib_candidates(seen, front, rear))


def _rib_candidates(seen: Discrepancy, front: int, rear: int) -> tuple[tuple[str, Candidate], ...]:
    """The same sum, parted as the photo parts it."""
    total = seen.readings[front].mm + seen.readings[rear].mm
    parts = np.exp(seen.expected[[front, rear]])
    return tuple(
        (
            seen.names[i],
            typed.scaled_reading(seen.readings[i], total * share / seen.readings[i].mm),
        )
        for i, share in zip((front, rear), parts / parts.sum(), strict=True)
    )


def full_on_another_line(seen: Discrepancy) -> Iterator[Cause]:
    """The full length over the back or the belly; front plus rear would fit."""
    i = seen.place("full_length")
    if i is None or not {"front_length", "rear_length"} <= set(seen.names):
        return
    left, spread = _along(seen, np.eye(len(seen.names))[i], OTHER_LINE)
    total = sum(seen.readings[seen.names.index(n)].mm for n in ("front_length", "rear_length"))
    shown = typed.scaled_reading(seen.readings[i], total / seen.readings[i].mm)
    yield Cause(1.0, ("full_length",), left, spread, (("full_length", shown),))


def reference_off(seen: Discrepancy) -> Iterator[Cause]:
    """All readings off by one factor: any, or that of a known mix-up."""
    if len({_span(n) for n in seen.names}) < 2:
        return  # one span alone cannot show that all are off alike
    one = np.ones(len(seen.names))
    known = list(known_factors(seen.references))
    share = 1.0 - MISNAMED if known else 1.0
    for size in REFERENCE_OFF:
        left, spread = _along(seen, one, size)
        yield Cause(share / len(REFERENCE_OFF), seen.names, left, spread)
    for factor, width, remark in known:
        left, spread = _along(seen, one, width, float(np.log(factor)))
        yield Cause(MISNAMED / len(known), seen.names, left, spread, remark=remark)


def _span(name: str) -> str:
    return "half_neck" if name == NECK_RING else name


def stance(change: dict[str, float]) -> Callable[[Discrepancy], Iterator[Cause]]:
    """The photo's span is changed by that much of the stance's size; the tape is right."""

    def ways(seen: Discrepancy) -> Iterator[Cause]:
        front, rear = np.exp(seen.log_spans[1:3])
        whole = (front * change["front_length"] + rear * change["rear_length"]) / (front + rear)
        full = {**change, "full_length": whole}
        # a shorter photo makes the tape look longer
        direction = -np.array([full[_span(n)] for n in seen.names])
        middle, size = STANCE_SIZE
        left, spread = _along(seen, direction, size, middle)
        yield Cause(1.0, seen.names, left, spread)

    return ways


def no_name(seen: Discrepancy) -> Iterator[Cause]:
    """One reading off by any amount, or one take of it, or each in its own way."""
    count = len(seen.names)
    for i, name in enumerate(seen.names):
        takes = [number for number, _ in _several(seen, i)]
        share = 0.8 / count / (2.0 if takes else 1.0)
        left, spread = _along(seen, np.eye(count)[i], ONE_READING_OFF)
        yield Cause(share, (name,), left, spread)
        for number in takes:
            yield _take_off(seen, i, number, share / len(takes))
    wide = seen.covariance + ALL_OFF**2 * np.eye(count)
    yield Cause(0.2, seen.names, seen.differences, wide)


def _take_off(seen: Discrepancy, i: int, number: int, weight: float) -> Cause:
    """One take off by any amount: it moves the mean by its share, and stands off the others.

    The likelihood ratio of a shift of normal size along one direction (Sherman and Morrison 1950
    for inverse and determinant); of more than two takes the middle is taken for the mean.
    """
    takes = [seen.readings[i].takes[k] for k, _ in _several(seen, i)]
    part = 1.0 / len(takes)
    exact = 1.0 / (seen.noise.scale * seen.noise.unit(seen.names[i], takes))
    away = np.log(seen.readings[i].takes[number].mm) - np.mean(np.log([t.mm for t in takes]))
    solved = np.linalg.solve(seen.covariance, np.eye(len(seen.names))[i])
    known = part**2 * solved[i] + (1.0 - part) * exact
    pull = part * float(solved @ seen.differences) + exact * float(away)
    variance = ONE_READING_OFF**2
    ratio = variance * pull**2 / (1.0 + variance * known) - np.log1p(variance * known)
    apart = seen.takes_apart - float(ratio)
    return Cause(weight, (seen.names[i],), seen.differences, takes_apart=apart)
