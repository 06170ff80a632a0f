"""Faults as people make them, put into what was typed; for the order table.

Each function takes an order's true tape readings and texts and gives them back with one
fault in; None when this order cannot have it (no fraction to misread, say).  Nothing
here looks at how the judgement explains faults.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from photocheck.scale.catalogue import MM_PER_INCH
from photocheck.words import NECK_RING

Array = NDArray[np.float64]

KEYPAD = ("123", "456", "789", " 0 ")
NEIGHBOUR = 0.6
"""Share of wrong digits that are a neighbouring key (assumed)."""
# Sizes of the other faults, all assumed.
CM_STARTS = {10.0: 0.4, 100.0: 0.6}
"""Where a centimetre tape is begun instead of at its end, mm, with the chances."""
AS_FULL_SPREAD = 0.015
RIB_MOVES = (0.03, 0.06, 0.10, 0.15)
OTHER_LINES = (0.82, 0.88, 0.93, 1.06, 1.12)
SCALE_ERRORS = (0.08, 0.15, 0.25, 0.40)
UNNAMED_SIZES = (0.08, 0.40)


@dataclass(frozen=True)
class Drawn:
    """One simulated order.

    Attributes
    ----------
    mm : mapping of reading name to float
        What the tape showed, mm, with ordinary tape error.
    texts : mapping of reading name to str
        As typed, without unit.
    unit : str
    posed : mapping of stance to (4,)
        ln(span posed) - ln(span standing square), of some phantom.
    shift : (4,)
        What was wrong with the photo: added to its log-spans.
    """

    mm: Mapping[str, float]
    texts: Mapping[str, str]
    unit: str
    posed: Mapping[str, Array]
    shift: Array


Fault = Callable[[Drawn, np.random.Generator], Drawn | None]


def as_typed(mm: float, unit: str) -> str:
    """To the half centimetre or the quarter inch, as an owner types it."""
    if unit == "cm":
        return f"{round(mm / 5.0) * 0.5:.1f}".removesuffix(".0")
    whole, part = divmod(Fraction(round(mm / MM_PER_INCH * 4), 4), 1)
    return f"{whole} {part}" if part and whole else f"{part or whole}"


def _typed(order: Drawn, texts: Mapping[str, str]) -> Drawn:
    return replace(order, texts={**order.texts, **texts})


def _measured(order: Drawn, mm: Mapping[str, float]) -> Drawn | None:
    if min(mm.values()) < 30.0:
        return None
    return _typed(order, {name: as_typed(value, order.unit) for name, value in mm.items()})


def _any(order: Drawn, rng: np.random.Generator) -> str:
    return str(rng.choice(list(order.texts)))


# -- slips of the hand: what one typed text may become, with the chances ----------------


def _whole_digits(text: str) -> list[int]:
    return [i for i, c in enumerate(text.split(" ")[0]) if c.isdigit() and "/" not in text[:3]]


def _swapped_digits(text: str, unit: str) -> dict[str, float]:
    """Two digits beside each other, mostly of the whole number, change places."""
    pairs = [(a, b) for a, b in pairwise(_whole_digits(text)) if text[a] != text[b]]
    weights = [1.0 if b == a + 1 else 0.5 for a, b in pairs]
    found = {}
    for (a, b), weight in zip(pairs, weights, strict=True):
        signs = list(text)
        signs[a], signs[b] = signs[b], signs[a]
        found["".join(signs)] = weight / sum(weights)
    return found


def _wrong_digit(text: str, unit: str) -> dict[str, float]:
    """One digit becomes another: a neighbouring key or any."""
    places = _whole_digits(text)
    found = {}
    for place in places:
        near = _neighbours(text[place])
        far = [d for d in "0123456789" if d != text[place] and d not in near]
        for digits, share in ((near, NEIGHBOUR), (far, 1.0 - NEIGHBOUR)):
            for digit in digits:
                typed = text[:place] + digit + text[place + 1 :]
                found[typed] = share / len(digits) / len(places)
    return found


def _neighbours(digit: str) -> list[str]:
    where = {d: (r, c) for r, row in enumerate(KEYPAD) for c, d in enumerate(row) if d != " "}
    row, column = where[digit]
    return [d for d, (r, c) in where.items() if abs(r - row) + abs(c - column) == 1]


def _lost_or_doubled_digit(text: str, unit: str) -> dict[str, float]:
    """A digit is not typed, or twice."""
    places = _whole_digits(text)
    found: dict[str, float] = {}
    for place in places:
        for typed in (text[:place] + text[place + 1 :], text[: place + 1] + text[place:]):
            found[typed] = found.get(typed, 0.0) + 0.5 / len(places)
    return found


def _shifted_decimal(text: str, unit: str) -> dict[str, float]:
    """The point goes astray by one place."""
    if "/" in text:
        return {}
    whole, _, part = text.partition(".")
    return {whole + (part or "0"): 0.5, f"{whole[:-1] or '0'}.{whole[-1]}{part}": 0.5}


def _misread_fraction(text: str, unit: str) -> dict[str, float]:
    """Another quarter of the inch."""
    whole = text.split(" ")[0]
    if unit != "in" or "/" in whole:
        return {}
    texts = (whole, *(f"{whole} {q}" for q in ("1/4", "1/2", "3/4")))
    return {other: 1.0 / 3.0 for other in texts if other != text}


SLIPS: Mapping[str, Callable[[str, str], dict[str, float]]] = {
    "wrong_digit": _wrong_digit,
    "swapped_digits": _swapped_digits,
    "lost_or_doubled_digit": _lost_or_doubled_digit,
    "shifted_decimal": _shifted_decimal,
    "misread_fraction": _misread_fraction,
}
"""Text and unit to what it may become."""


def _slip(name: str) -> Fault:
    def fault(order: Drawn, rng: np.random.Generator) -> Drawn | None:
        reading = _any(order, rng)
        found = SLIPS[name](order.texts[reading], order.unit)
        if not found:
            return None
        return _typed(order, {reading: str(rng.choice(list(found), p=list(found.values())))})

    return fault


# -- faults of measuring and of the photo -------------------------------------------------


def _other(unit: str) -> str:
    return "cm" if unit == "in" else "in"


def other_unit_in_one(order: Drawn, rng: np.random.Generator) -> Drawn | None:
    """One reading is taken on the tape's other scale."""
    name = _any(order, rng)
    return _typed(order, {name: as_typed(order.mm[name], _other(order.unit))})


def other_unit_in_all(order: Drawn, rng: np.random.Generator) -> Drawn | None:
    """All readings are taken on the tape's other scale."""
    return _typed(order, {n: as_typed(order.mm[n], _other(order.unit)) for n in order.texts})


def neck_doubled(order: Drawn, rng: np.random.Generator) -> Drawn | None:
    """The whole neck given as the half."""
    return _measured(order, {"half_neck": 2.0 * order.mm["half_neck"]})


def ring_halved(order: Drawn, rng: np.random.Generator) -> Drawn | None:
    """Half the ring given as the ring."""
    if NECK_RING not in order.texts:
        return None
    return _measured(order, {NECK_RING: 0.5 * order.mm[NECK_RING]})


def swapped_readings(order: Drawn, rng: np.random.Generator) -> Drawn | None:
    """Two readings in each other's field."""
    one, other = (str(n) for n in rng.choice(list(order.texts), 2, replace=False))
    if order.texts[one] == order.texts[other]:
        return None
    return _typed(order, {one: order.texts[other], other: order.texts[one]})


def full_given_as_part(order: Drawn, rng: np.random.Generator) -> Drawn | None:
    """Front or rear taken over the whole length, with its own tape error."""
    name = str(rng.choice(["front_length", "rear_length"]))
    whole = order.mm["front_length"] + order.mm["rear_length"]
    return _measured(order, {name: whole * float(np.exp(rng.normal(0.0, AS_FULL_SPREAD)))})


def begun_at_second_unit(order: Drawn, rng: np.random.Generator) -> Drawn | None:
    """One inch, centimetre or decimetre too long, in one reading or in all."""
    first = (
        MM_PER_INCH
        if order.unit == "in"
        else float(rng.choice(list(CM_STARTS), p=list(CM_STARTS.values())))
    )
    names = list(order.texts) if rng.random() < 0.5 else [_any(order, rng)]
    return _measured(order, {n: order.mm[n] + first for n in names})


def last_rib_elsewhere(order: Drawn, rng: np.random.Generator) -> Drawn | None:
    """Front and rear measured to another rib: 3 to 15 % of the full length off."""
    whole = order.mm["front_length"] + order.mm["rear_length"]
    by = float(rng.choice([-1.0, 1.0]) * rng.choice(RIB_MOVES)) * whole
    moved = {
        "front_length": order.mm["front_length"] + by,
        "rear_length": order.mm["rear_length"] - by,
    }
    return _measured(order, moved)


def full_on_another_line(order: Drawn, rng: np.random.Generator) -> Drawn | None:
    """The full length taken over the back or slack."""
    factor = float(rng.choice(OTHER_LINES))
    return _measured(order, {"full_length": factor * order.mm["full_length"]})


def reference_off(order: Drawn, rng: np.random.Generator) -> Drawn | None:
    """The photo's scale is wrong: a reference out of plane or another one than named."""
    by = float(rng.choice([-1.0, 1.0]) * rng.choice(SCALE_ERRORS))
    return replace(order, shift=np.full(4, by))


def _posed(stance: str) -> Fault:
    def fault(order: Drawn, rng: np.random.Generator) -> Drawn | None:
        return replace(order, shift=order.posed[stance])

    return fault


def unnamed(order: Drawn, rng: np.random.Generator) -> Drawn | None:
    """One reading off by some amount that nothing explains."""
    name = _any(order, rng)
    by = float(rng.choice([-1.0, 1.0]) * rng.uniform(*UNNAMED_SIZES))
    return _measured(order, {name: order.mm[name] * float(np.exp(by))})


FAULTS: Mapping[str, Fault] = {
    **{name: _slip(name) for name in SLIPS},
    "other_unit_in_one": other_unit_in_one,
    "other_unit_in_all": other_unit_in_all,
    "neck_doubled": neck_doubled,
    "ring_halved": ring_halved,
    "swapped_readings": swapped_readings,
    "full_given_as_part": full_given_as_part,
    "begun_at_second_unit": begun_at_second_unit,
    "last_rib_elsewhere": last_rib_elsewhere,
    "full_on_another_line": full_on_another_line,
    "reference_off": reference_off,
    "dog_crouching": _posed("crouching"),
    "dog_stretched": _posed("stretched"),
    "dog_arched": _posed("arched"),
    "unnamed": unnamed,
}
"""By the name of the explanation that is right."""
