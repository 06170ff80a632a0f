"""The best that anyone could do on the faults as they are put in.

Whoever knew every fault with its chances and sizes, and the true covariance, would flag
an order by the likelihood ratio of the mixture of all faults against none: by the lemma
of Neyman and Pearson (1933) no other test finds more of that mixture at the same share
of false alarms.  A test that is told which fault it is and how large can find more of
each; no single test can be all of those at once.  The same likelihoods rank the faults
with the fewest wrong firsts there can be when all are equally frequent (Bayes).

Written from `photocheck.benchmark.faults` alone; how the judgement explains faults is
not looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import lru_cache, partial
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from photocheck.benchmark import faults
from photocheck.benchmark.faults import FAULTS, SLIPS, as_typed
from photocheck.case.lengths import POSSIBLE_MM
from photocheck.judge.causes import Discrepancy
from photocheck.judge.tolerances import tape_log_spread
from photocheck.scale.catalogue import MM_PER_INCH
from photocheck.words import NECK_RING, SPANS

Array = NDArray[np.float64]
Posed = Sequence[Mapping[str, Array]]
"""What stances do to the log-spans of several phantoms, as `orders.posed` gives it."""
Way = tuple[float, Array]
"""A chance, and the lengths that were meant, mm, (n,).  The chance is per ln(length), so a
change that squeezes lengths together counts for more."""

STEP_MM = {"cm": 5.0, "in": MM_PER_INCH / 4.0}
"""The steps of `faults.as_typed`."""
UNNAMED_STEPS = 17
"""Points of the integral over the size of an unnamed fault."""


def log_ratios(seen: Discrepancy, posed: Posed) -> Array:
    """ln of the density under each fault over that under none, in the order of `FAULTS`.

    Minus infinity for a fault that cannot have led to these texts.

    Parameters
    ----------
    seen : Discrepancy
        As made by `photocheck.benchmark.simulated_orders`.
    posed : sequence
        See `Posed`; each is as likely as the others.
    """
    inverse = np.linalg.inv(seen.covariance)
    lengths = np.array([r.mm for r in seen.readings])
    owners, chances, left = [], [], []
    for k, name in enumerate(FAULTS):
        if name in PHOTO:
            shifts = PHOTO[name](posed)
            rows = [seen.differences + seen.rows @ shift for shift in shifts]
            weights = [1.0 / len(shifts)] * len(shifts)
        else:
            ways = [way for way in _ways(name, seen, lengths) if way[1].min() > 0.0]
            rows = [seen.differences + np.log(meant / lengths) for _, meant in ways]
            weights = [weight for weight, _ in ways]
        owners += [k] * len(rows)
        chances += weights
        left += rows
    away = np.stack(left)
    base = seen.differences @ inverse @ seen.differences
    logs = np.log(chances) - 0.5 * (np.einsum("ki,ij,kj->k", away, inverse, away) - base)
    owner = np.array(owners)
    found = np.full(len(FAULTS), -np.inf)
    for k, name in enumerate(FAULTS):
        if name == "full_given_as_part":
            found[k] = _full_as_part(seen, float(base))
        elif np.any(owner == k):
            found[k] = logsumexp(logs[owner == k])
    return found


# -- the photo at fault -----------------------------------------------------------------


def _of_stance(stance: str, posed: Posed) -> list[Array]:
    return [one[stance] for one in posed]


PHOTO: Mapping[str, Callable[[Posed], list[Array]]] = {
    "reference_off": lambda posed: [
        np.full(len(SPANS), sign * size) for sign in (-1, 1) for size in faults.SCALE_ERRORS
    ],
    **{
        f"dog_{stance}": partial(_of_stance, stance)
        for stance in ("crouching", "stretched", "arched")
    },
}
"""Shifts of the log-spans to undo, equally likely; sign as in `faults.Drawn.shift`."""


# -- the tape or the hand at fault --------------------------------------------------------


def _ways(name: str, seen: Discrepancy, lengths: Array) -> Iterator[Way]:
    if name in SLIPS:
        yield from _text_slips(name, seen, lengths)
    elif name in ("other_unit_in_one", "other_unit_in_all"):
        yield from _other_unit(name.endswith("all"), seen, lengths)
    elif name in SIMPLE:
        yield from SIMPLE[name](seen.names, lengths, _unit(seen))


def _unit(seen: Discrepancy) -> str:
    return seen.readings[0].unit


def _put(lengths: Array, changes: Mapping[int, float]) -> Array:
    meant = lengths.copy()
    meant[list(changes)] = list(changes.values())
    return meant


def _text_slips(name: str, seen: Discrepancy, lengths: Array) -> Iterator[Way]:
    back = _meant_by(name, _unit(seen))
    for i, (reading, mm) in enumerate(zip(seen.readings, lengths, strict=True)):
        low, high = POSSIBLE_MM[seen.names[i]]
        for meant, chance in back.get(reading.typed, ()):
            if low <= meant <= high:
                # equal steps are unequal in ln(length)
                yield chance / len(lengths) * mm / meant, _put(lengths, {i: meant})


@lru_cache(maxsize=32)
def _meant_by(name: str, unit: str) -> Mapping[str, list[tuple[float, float]]]:
    """What was typed to what may have been meant, mm, with the chance of just that slip."""
    low = min(low for low, _ in POSSIBLE_MM.values())
    high = max(high for _, high in POSSIBLE_MM.values())
    step = STEP_MM[unit]
    found: dict[str, list[tuple[float, float]]] = {}
    for count in range(int(np.ceil(low / step)), int(high / step) + 1):
        for typed, chance in SLIPS[name](as_typed(count * step, unit), unit).items():
            found.setdefault(typed, []).append((count * step, chance))
    return found


def _other_unit(every: bool, seen: Discrepancy, lengths: Array) -> Iterator[Way]:
    inches = _unit(seen) == "in"
    scale = 10.0 / MM_PER_INCH if inches else MM_PER_INCH / 10.0
    steps = STEP_MM["cm"] / STEP_MM["in"] if inches else STEP_MM["in"] / STEP_MM["cm"]
    if every:
        yield (steps / scale) ** len(lengths), lengths * scale
        return
    for i, mm in enumerate(lengths):
        yield steps / scale / len(lengths), _put(lengths, {i: mm * scale})


def _neck_doubled(names: tuple[str, ...], mm: Array, unit: str) -> Iterator[Way]:
    i = names.index("half_neck")
    yield 1.0, _put(mm, {i: 0.5 * mm[i]})


def _ring_halved(names: tuple[str, ...], mm: Array, unit: str) -> Iterator[Way]:
    if NECK_RING in names:
        i = names.index(NECK_RING)
        yield 1.0, _put(mm, {i: 2.0 * mm[i]})


def _swapped(names: tuple[str, ...], mm: Array, unit: str) -> Iterator[Way]:
    pairs = list(combinations(range(len(names)), 2))
    for i, j in pairs:
        yield 1.0 / len(pairs), _put(mm, {i: mm[j], j: mm[i]})


def _second_unit(names: tuple[str, ...], mm: Array, unit: str) -> Iterator[Way]:
    starts = {MM_PER_INCH: 1.0} if unit == "in" else faults.CM_STARTS
    for first, chance in starts.items():
        meant = mm - first
        if meant.min() > 0.0:
            yield 0.5 * chance * float(np.prod(mm / meant)), meant
        for i in np.flatnonzero(meant > 0.0):
            part = 0.5 * chance / len(mm) * mm[i] / meant[i]
            yield part, _put(mm, {int(i): meant[i]})


def _last_rib(names: tuple[str, ...], mm: Array, unit: str) -> Iterator[Way]:
    i, j = names.index("front_length"), names.index("rear_length")
    whole = mm[i] + mm[j]
    sizes = [sign * size for sign in (-1, 1) for size in faults.RIB_MOVES]
    for size in sizes:
        front, rear = mm[i] - size * whole, mm[j] + size * whole
        if min(front, rear) > 0.0:
            chance = mm[i] / front * mm[j] / rear / len(sizes)
            yield chance, _put(mm, {i: front, j: rear})


def _other_line(names: tuple[str, ...], mm: Array, unit: str) -> Iterator[Way]:
    i = names.index("full_length")
    for factor in faults.OTHER_LINES:
        yield 1.0 / len(faults.OTHER_LINES), _put(mm, {i: mm[i] / factor})


def _unnamed(names: tuple[str, ...], mm: Array, unit: str) -> Iterator[Way]:
    sizes = np.linspace(*faults.UNNAMED_SIZES, UNNAMED_STEPS)
    each = 1.0 / (2 * UNNAMED_STEPS * len(mm))
    for i in range(len(mm)):
        for by in (*sizes, *-sizes):
            yield each, _put(mm, {i: mm[i] / np.exp(by)})


SIMPLE: Mapping[str, Callable[[tuple[str, ...], Array, str], Iterator[Way]]] = {
    "neck_doubled": _neck_doubled,
    "ring_halved": _ring_halved,
    "swapped_readings": _swapped,
    "begun_at_second_unit": _second_unit,
    "last_rib_elsewhere": _last_rib,
    "full_on_another_line": _other_line,
    "unnamed": _unnamed,
}


def _full_as_part(seen: Discrepancy, base: float) -> float:
    """A part read as front plus rear: another mean and another covariance."""
    names = seen.names
    places = [names.index("front_length"), names.index("rear_length")]
    parts = np.exp(seen.expected[places])
    shares = parts / parts.sum()
    tape = np.diag(tape_log_spread(np.exp(seen.expected)))
    own = np.linalg.slogdet(seen.covariance)[1]
    logs = []
    for i in places:
        loads, rows = tape.copy(), seen.rows.copy()
        loads[i] = shares @ tape[places]
        rows[i] = shares @ seen.rows[places]
        covariance = rows @ seen.span_covariance @ rows.T + loads @ loads.T
        covariance[i, i] += faults.AS_FULL_SPREAD**2
        left = seen.differences.copy()
        left[i] += seen.expected[i] - np.log(parts.sum())
        square = left @ np.linalg.solve(covariance, left)
        logs.append(-0.5 * (square - base + np.linalg.slogdet(covariance)[1] - own))
    return float(logsumexp(logs) - np.log(2.0))
