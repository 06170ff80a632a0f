"""Why readings and photo may disagree: the rival explanations, one entry each in `KINDS`.

An explanation is a small object: its name, its prior odds with their reason, the ways in
which it can have come about in this order, and what to say and do.  A way says what the
differences r = ln(tape) - ln(photo) would be if it were undone, and how they would then
be spread:

* a slip with candidate values (swapped digits, a wrong unit) leaves nothing but the
  ordinary doubt once the candidate stands in place of what was typed: exact;
* a slip of unknown size along a direction d adds tau^2 d d' to the covariance.

To add an explanation, add its function of ways and its line in `KINDS`; nothing else
needs to know of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Reading, Reference
from photocheck.judge import typed
from photocheck.judge.misnamed import known_factors
from photocheck.judge.typed import Candidate
from photocheck.speech import capital_first, later, listed, tr
from photocheck.words import NECK_RING, READING_PATHS, READING_TITLES, SPANS

Array = NDArray[np.float64]

UNNAMED: Final = "unnamed"

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


@dataclass(frozen=True)
class Order:
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

    def place(self, name: str) -> int | None:
        """Where a reading stands; None when it was not given."""
        return self.names.index(name) if name in self.names else None


@dataclass(frozen=True)
class Way:
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
    """

    weight: float
    readings: tuple[str, ...]
    left: Array
    covariance: Array | None = None
    candidates: tuple[tuple[str, Candidate], ...] = ()
    remark: str = ""


@dataclass(frozen=True)
class Kind:
    """One explanation.

    Attributes
    ----------
    name : str
        Plain words joined by underscores.
    title : str
        For people; follows "Most likely:".
    odds : float
        Prior odds against "all agree": of each reading where `ways` gives every reading's
        ways the whole weight, else of the order.
    reason : str
        Where the odds come from.
    ways : callable
    sentence, action : str
        What it means and what to do; ``{readings}`` is filled in with titles, ``{paths}``
        with how to measure.
    retake : bool
        Whether the photo is at fault and not the tape.
    """

    name: str
    title: str
    odds: float
    reason: str
    ways: Callable[[Order], Iterator[Way]]
    sentence: str
    action: str
    retake: bool = False


# -- slips in one reading ----------------------------------------------------------


def _undone(order: Order, i: int, candidate: Candidate, weight: float = 1.0) -> Way:
    left = order.differences.copy()
    left[i] += np.log(candidate.mm / order.readings[i].mm)
    name = order.names[i]
    return Way(weight * candidate.weight, (name,), left, None, ((name, candidate),))


def _text_slip(
    candidates: Callable[[str, Reading, bool], tuple[Candidate, ...]],
) -> Callable[[Order], Iterator[Way]]:
    def ways(order: Order) -> Iterator[Way]:
        for i, (name, reading) in enumerate(zip(order.names, order.readings, strict=True)):
            others = [r for k, r in enumerate(order.readings) if k != i]
            even = bool(others) and all(typed.is_even(r.mm, r.unit) for r in others)
            for candidate in candidates(name, reading, even):
                yield _undone(order, i, candidate)

    return ways


def _other_unit(reading: Reading) -> float:
    """What turns the number from the owner's unit into the other one."""
    return 1.0 / 2.54 if reading.unit == "in" else 2.54


def _unit_of_one(order: Order) -> Iterator[Way]:
    if len(order.names) < 2:
        return  # one reading alone is all of them
    for i, reading in enumerate(order.readings):
        candidate = typed.scaled_reading(reading, _other_unit(reading), _odd_style(order, i))
        yield _undone(order, i, _in_other_unit(reading, candidate))


def _unit_of_all(order: Order) -> Iterator[Way]:
    meant = [_in_other_unit(r, typed.scaled_reading(r, _other_unit(r))) for r in order.readings]
    yield _all_undone(order, meant, 1.0)


ODD_STYLE: Final = 5.0
"""How much likelier a decimal among fractions, or a fraction among decimals, is when it was
read in the other unit (judgement)."""
FRACTION_IN_CM: Final = 0.02
"""How rarely anyone writes centimetres as a fraction (judgement)."""


STEP_RATIO: Final = 2.0
"""Numbers of centimetres come in halves, of inches in quarters: any one number is twice as
common among the former."""


def _odd_style(order: Order, i: int) -> float:
    """Centimetres are written as decimals and inches mostly as fractions."""
    own = _style(order.readings[i])
    others = {_style(r) for k, r in enumerate(order.readings) if k != i}
    if order.readings[i].unit == "in":
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
    return replace(candidate, text=f"{text} {meant} ({candidate.text})")


def _all_undone(order: Order, meant: list[Candidate], weight: float) -> Way:
    lengths = np.array([r.mm for r in order.readings])
    left = order.differences + np.log(np.array([c.mm for c in meant]) / lengths)
    pairs = tuple(zip(order.names, meant, strict=True))
    return Way(weight * float(np.prod([c.weight for c in meant])), order.names, left, None, pairs)


def _neck_doubled(order: Order) -> Iterator[Way]:
    if (i := order.place("half_neck")) is not None:
        yield _undone(order, i, typed.scaled_reading(order.readings[i], 0.5))


def _ring_halved(order: Order) -> Iterator[Way]:
    if (i := order.place(NECK_RING)) is not None:
        yield _undone(order, i, typed.scaled_reading(order.readings[i], 2.0))


def _second_unit(order: Order) -> Iterator[Way]:
    """Every reading begun at the tape's one, or one of them only."""
    for first, share in ((25.4, 1.0),) if _inches(order) else ((10.0, 0.4), (100.0, 0.6)):
        meant = [
            typed.scaled_reading(r, 1.0 - first / r.mm, r.mm / (r.mm - first))
            for r in order.readings
            if r.mm > 1.5 * first
        ]
        if len(meant) < len(order.names):
            continue
        if len(meant) > 1:
            yield _all_undone(order, meant, 0.5 * share)
        for i, candidate in enumerate(meant):
            part = 1.0 if len(meant) == 1 else 0.5 / len(meant)
            yield _undone(order, i, candidate, part * share)


def _inches(order: Order) -> bool:
    return sum(r.unit == "in" for r in order.readings) * 2 > len(order.readings)


# -- readings in each other's place ------------------------------------------------


def _swapped_readings(order: Order) -> Iterator[Way]:
    pairs = list(combinations(range(len(order.names)), 2))
    for i, j in pairs:
        one, other = order.readings[i], order.readings[j]
        if abs(one.mm - other.mm) < 1e-6:
            continue
        left = order.differences.copy()
        step = float(np.log(other.mm / one.mm))
        left[i] += step
        left[j] -= step
        names = (order.names[i], order.names[j])
        shown = (typed.scaled_reading(other, 1.0), typed.scaled_reading(one, 1.0))
        yield Way(1.0 / len(pairs), names, left, None, tuple(zip(names, shown, strict=True)))


def _full_as_part(order: Order) -> Iterator[Way]:
    """The tape did not stop at the last rib, or did not begin there."""
    parts = [n for n in ("front_length", "rear_length") if n in order.names]
    if len(order.names) < 2:
        return  # by itself a long part is a long dog
    for name in parts:
        i = order.names.index(name)
        left, spread = _as_full(order, i)
        shown = _rest_of_full(order, i)
        yield Way(1.0 / len(parts), (name,), left, spread, ((name, shown),) if shown else ())


def _as_full(order: Order, i: int) -> tuple[Array, Array]:
    """Differences and their spread if reading i is of the full length."""
    full = SPANS.index("full_length")
    rows = order.rows.copy()
    rows[i] = np.eye(len(SPANS))[full]
    left = order.differences.copy()
    left[i] += order.expected[i] - order.log_spans[full]
    photo = order.rows @ order.span_covariance @ order.rows.T
    return left, order.covariance - photo + rows @ order.span_covariance @ rows.T


def _rest_of_full(order: Order, i: int) -> Candidate | None:
    """The full length less the other part."""
    other = "rear_length" if order.names[i] == "front_length" else "front_length"
    whole, rest = order.place("full_length"), order.place(other)
    if rest is None:
        return None
    full = order.readings[i if whole is None else whole].mm
    mm = full - order.readings[rest].mm
    return typed.scaled_reading(order.readings[i], mm / order.readings[i].mm) if mm > 0 else None


# -- errors of unknown size --------------------------------------------------------


def _along(order: Order, direction: Array, size: float, middle: float = 0.0) -> tuple[Array, Array]:
    """Differences less their mean, and their spread, with a shift of that size along d."""
    spread = order.covariance + size**2 * np.outer(direction, direction)
    return order.differences - middle * direction, spread


def _last_rib_elsewhere(order: Order) -> Iterator[Way]:
    front, rear = order.place("front_length"), order.place("rear_length")
    if front is None or rear is None:
        return
    parts = np.exp(order.expected[[front, rear]])
    direction = np.zeros(len(order.names))
    direction[front], direction[rear] = parts.sum() / parts * (1.0, -1.0)
    names = ("front_length", "rear_length")
    left, spread = _along(order, direction, LAST_RIB_MOVED)
    yield Way(1.0, names, left, spread, _rib_candidates(order, front, rear))


def _rib_candidates(order: Order, front: int, rear: int) -> tuple[tuple[str, Candidate], ...]:
    """The same sum, parted as the photo parts it."""
    total = order.readings[front].mm + order.readings[rear].mm
    parts = np.exp(order.expected[[front, rear]])
    return tuple(
        (
            order.names[i],
            typed.scaled_reading(order.readings[i], total * share / order.readings[i].mm),
        )
        for i, share in zip((front, rear), parts / parts.sum(), strict=True)
    )


def _full_on_another_line(order: Order) -> Iterator[Way]:
    i = order.place("full_length")
    if i is None or not {"front_length", "rear_length"} <= set(order.names):
        return
    left, spread = _along(order, np.eye(len(order.names))[i], OTHER_LINE)
    total = sum(order.readings[order.names.index(n)].mm for n in ("front_length", "rear_length"))
    shown = typed.scaled_reading(order.readings[i], total / order.readings[i].mm)
    yield Way(1.0, ("full_length",), left, spread, (("full_length", shown),))


def _reference_off(order: Order) -> Iterator[Way]:
    if len({_span(n) for n in order.names}) < 2:
        return  # one span alone cannot show that all are off alike
    one = np.ones(len(order.names))
    known = list(known_factors(order.references))
    share = 1.0 - MISNAMED if known else 1.0
    for size in REFERENCE_OFF:
        left, spread = _along(order, one, size)
        yield Way(share / len(REFERENCE_OFF), order.names, left, spread)
    for factor, width, remark in known:
        left, spread = _along(order, one, width, float(np.log(factor)))
        yield Way(MISNAMED / len(known), order.names, left, spread, remark=remark)


MISNAMED: Final = 0.3
"""Of references that are not as said: those that another known object, a fitted print or a
slip in the size given would explain (judgement)."""


def _span(name: str) -> str:
    return "half_neck" if name == NECK_RING else name


def _stance(change: dict[str, float]) -> Callable[[Order], Iterator[Way]]:
    """The photo's span is changed by that much of the stance's size; the tape is right."""

    def ways(order: Order) -> Iterator[Way]:
        front, rear = np.exp(order.log_spans[1:3])
        whole = (front * change["front_length"] + rear * change["rear_length"]) / (front + rear)
        full = {**change, "full_length": whole}
        # a shorter photo makes the tape look longer
        direction = -np.array([full[_span(n)] for n in order.names])
        middle, size = STANCE_SIZE
        left, spread = _along(order, direction, size, middle)
        yield Way(1.0, order.names, left, spread)

    return ways


def _no_name(order: Order) -> Iterator[Way]:
    """One reading off by any amount, or each in its own way."""
    count = len(order.names)
    for i, name in enumerate(order.names):
        left, spread = _along(order, np.eye(count)[i], ONE_READING_OFF)
        yield Way(0.8 / count, (name,), left, spread)
    wide = order.covariance + ALL_OFF**2 * np.eye(count)
    yield Way(0.2, order.names, order.differences, wide)


# -- the table ---------------------------------------------------------------------

PER_FIELD: Final = 5 * 0.002
"""Slips of digits in one typed field: single entry by trained staff makes 15 to 22 errors in
10,000 fields (CHART and CAST trials, as quoted in the design notes; not re-read here); an
owner on a phone with a dog at hand five times as many (judgement)."""

_DIGITS = (
    "of 0.01 slips a field (five times the 15 to 22 in 10,000 of CHART and CAST) {share}; Verhoeff "
    "1969 as summarised by Wagner, The Laws of Cryptography (2002): single digits 60 to 95 %, "
    "neighbours exchanged 10 to 20 %, a digit left out or added 10 to 20 %"
)

KINDS: Final[tuple[Kind, ...]] = (
    Kind(
        "wrong_digit",
        later("one digit of the {readings} differs"),
        0.65 * PER_FIELD,
        _DIGITS.format(share="65 %"),
        _text_slip(typed.wrong_digit),
        later("One digit of the {readings} may have become another, as on a neighbouring key."),
        later("Please read the {readings} off the tape once more, {paths}"),
    ),
    Kind(
        "swapped_digits",
        later("two digits of the {readings} changed places"),
        0.15 * PER_FIELD,
        _DIGITS.format(share="15 %"),
        _text_slip(typed.swapped_digits),
        later("Two digits of the {readings} may have changed places while typing."),
        later(
            "Please look at the number you noted for the {readings}, or measure it again, {paths}"
        ),
    ),
    Kind(
        "lost_or_doubled_digit",
        later("a digit of the {readings} is missing or there twice"),
        0.10 * PER_FIELD,
        _DIGITS.format(share="10 %, for a short number misses a digit plainly"),
        _text_slip(typed.lost_or_doubled_digit),
        later("A digit of the {readings} may be missing or there twice."),
        later(
            "Please look at the number you noted for the {readings}, or measure it again, {paths}"
        ),
    ),
    Kind(
        "shifted_decimal",
        later("the decimal point of the {readings} moved"),
        0.10 * PER_FIELD,
        _DIGITS.format(share="10 %, which is left (judgement)"),
        _text_slip(typed.shifted_decimal),
        later("The decimal point of the {readings} may have moved by one place."),
        later(
            "Please look at the number you noted for the {readings}, or measure it again, {paths}"
        ),
    ),
    Kind(
        "misread_fraction",
        later("the fraction of the {readings} was read differently"),
        0.005,
        "a few times a digit slip, for the marks between whole inches look alike (judgement)",
        _text_slip(typed.misread_fraction),
        later("The parts of an inch of the {readings} may have been read differently."),
        later("Please read the {readings} off the tape once more, {paths}"),
    ),
    Kind(
        "other_unit_in_one",
        later("the {readings} is in the other unit"),
        0.002,
        "wrong units are among the commonest slips of a hospital's height entries (Kukielka "
        "2021, as quoted in the design notes); the rate is judgement",
        _unit_of_one,
        later("The {readings} fits if inches and centimetres were mixed up in it."),
        later("Please say whether the {readings} was read in inches or centimetres"),
    ),
    Kind(
        "other_unit_in_all",
        later("all readings are in the other unit"),
        0.004,
        "a tape with both scales, or the form's unit left as it was; judgement",
        _unit_of_all,
        later("All readings fit if they were taken in the other unit than the one chosen."),
        later("Please say whether the tape was read in inches or centimetres"),
    ),
    Kind(
        "neck_doubled",
        later("the whole neck was given as the half neck"),
        0.01,
        "a neck is usually asked for as a whole; common practice, no source",
        _neck_doubled,
        later("The half neck fits if the way all around the neck was given."),
        later("Please measure the half neck once more, {paths}"),
    ),
    Kind(
        "ring_halved",
        later("the half neck was given as the neck ring"),
        0.006,
        "the reverse of the doubled neck, rarer since a ring is closed; judgement",
        _ring_halved,
        later("The neck ring fits if half of it was given."),
        later("Please measure the neck ring once more, {paths}"),
    ),
    Kind(
        "swapped_readings",
        later("{readings} changed places"),
        0.004,
        "values in another field's place (Kukielka 2021, as quoted in the design notes); the "
        "rate is judgement",
        _swapped_readings,
        later("{Readings} fit if they changed places on the form."),
        later("Please look at the numbers you noted for {readings}"),
    ),
    Kind(
        "full_given_as_part",
        later("the {readings} runs the full length"),
        0.003,
        "the long way is the one that people know how to measure, yet who is asked for part and "
        "whole sees that they differ; judgement",
        _full_as_part,
        later("The {readings} is as long as the way from the breastbone to the tail base."),
        later("Please measure the {readings} once more, {paths}"),
    ),
    Kind(
        "begun_at_second_unit",
        later("the tape began one unit in at the {readings}"),
        0.004,
        "worn tape ends are skipped and the skipped part forgotten; common practice, no source",
        _second_unit,
        later("{Readings} would fit if the tape began at its first full mark and not at its end."),
        later("Please measure {readings} again, with the very end of the tape at the first point"),
    ),
    Kind(
        "last_rib_elsewhere",
        later("the last-rib point on the dog and on the photo differ"),
        0.02,
        "the one point without a hard edge to feel; judgement",
        _last_rib_elsewhere,
        later(
            "Front and rear are off in opposite senses while their sum fits: the "
            "last-rib point on the dog and the one marked on the photo are probably "
            "not the same."
        ),
        later(
            "Please find the last rib with a finger, mark it with a bit of tape, and "
            "measure front and rear length to it once more"
        ),
    ),
    Kind(
        "full_on_another_line",
        later("the full length was taken along another line"),
        0.01,
        "a tape straight over the back is the everyday length of a dog; common practice, no source",
        _full_on_another_line,
        later(
            "Front and rear fit the photo, the full length does not fit their sum: "
            "it may have been taken along another line."
        ),
        later("Please measure the full length once more, {paths}"),
    ),
    Kind(
        "reference_off",
        later("the reference or its place is not what was said"),
        0.01,
        "another sheet or card than named, or its place in words only; judgement",
        _reference_off,
        later(
            "All readings are off by the same factor: the reference object, or where "
            "it stood, is probably not as said."
        ),
        later("Please check which reference was used and where it stood, and take the photo again"),
        retake=True,
    ),
    Kind(
        "dog_crouching",
        later("the dog crouched in the photo"),
        0.01,
        "the hips flex and tuck the pelvis under (rear shorter), the trunk sinks between the "
        "shoulder blades, which then stand proud (half neck a little longer), the front keeps "
        "nearly its length; sizes and odds are judgement, the stance's own evidence comes on "
        "top",
        _stance({"half_neck": 0.3, "front_length": -0.2, "rear_length": -1.0}),
        later(
            "The photo's lengths are as of a dog that crouches: with the pelvis "
            "tucked under, the tail base comes forward and the rear length looks "
            "short."
        ),
        later("Please take the photo again when the dog stands at ease"),
        retake=True,
    ),
    Kind(
        "dog_stretched",
        later("the dog stood stretched in the photo"),
        0.01,
        "the hind feet far back turn the pelvis back (rear longer), the body leans forward "
        "over the forelegs (front and half neck a little longer); sizes and odds are "
        "judgement, the stance's own evidence comes on top",
        _stance({"half_neck": 0.2, "front_length": 0.3, "rear_length": 1.0}),
        later(
            "The photo's lengths are as of a dog that stands stretched: with the "
            "hind feet far back the pelvis turns and the rear length looks long."
        ),
        later("Please take the photo again with the hind feet below the dog"),
        retake=True,
    ),
    Kind(
        "dog_arched",
        later("the dog arched its back in the photo"),
        0.008,
        "a bent trunk brings its ends nearer (rear most, front less) and the head comes down "
        "(half neck shorter); sizes and odds are judgement, the stance's own evidence comes "
        "on top",
        _stance({"half_neck": -0.3, "front_length": -0.7, "rear_length": -1.0}),
        later(
            "The photo's lengths are as of a dog with an arched back: the ends of "
            "the trunk come nearer to each other than the tape's way along it."
        ),
        later("Please take the photo again when the dog stands at ease"),
        retake=True,
    ),
    Kind(
        UNNAMED,
        later("no named explanation fits"),
        0.005,
        "judgement: two sound measurements of one dog do differ now and then",
        _no_name,
        later("{Readings} and photo differ, and none of the usual reasons fits."),
        later("Please measure once more, and have someone look at the marks: {readings}"),
    ),
)
"""Every explanation with its prior odds: the one place."""


def words(kind: Kind, readings: tuple[str, ...]) -> tuple[str, str, str]:
    """Title, sentence and action of an explanation for the readings it concerns."""
    joined = listed([tr(READING_TITLES[name]) for name in readings])
    paths = [tr(READING_PATHS[name]) for name in readings]
    filled = {
        "readings": joined,
        "Readings": capital_first(joined),
        "paths": "; ".join(paths),
    }
    title, sentence, action = (
        tr(text, **filled) for text in (kind.title, kind.sentence, kind.action)
    )
    return title, sentence, f"{action}."
