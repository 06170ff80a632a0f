"""What one finished order says of the ratios tape / photo."""

from __future__ import annotations

import hashlib
import json
import unicodedata
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.body.shape import WAY_TERMS, WAYS, TapeRatios, way_of
from photocheck.case.model import Case, DogFacts, Reading
from photocheck.errors import CaseError
from photocheck.judge.compare import expectation
from photocheck.judge.hierarchy import Evidence
from photocheck.judge.repeats import ONCE, TapeNoise, tape_noise
from photocheck.judge.shared_points import spans_at_tags
from photocheck.judge.tape_habits import NO_TAPE, TapeSeen, tape_seen
from photocheck.report.model import Report
from photocheck.speech import tr
from photocheck.words import BUILDS, NECK_RING, READINGS, SPANS

Array = NDArray[np.float64]

TEACHES: Final[Mapping[str, float]] = MappingProxyType({"fitted": 1.0, "accepted": 0.5})
"""How much an order counts by its outcome: half while it was accepted and cut but nobody has heard
whether it fitted (judgement: its readings are as good as the check and the shop's eyes, and a
check that lets pass cuts the outer ends off)."""
OUTCOMES: Final = (*TEACHES, "returned", "unknown")
"""What became of an order."""


@dataclass(frozen=True, eq=False)
class FinishedOrder:
    """One finished order as learning sees it.

    Attributes
    ----------
    name : str
        For people.
    key : str
        The same for the same photos and readings, so that no order counts twice.
    outcome : str
        One of `OUTCOMES`.
    group : str
        As `group_of` has it; "" when breed and build are not known.
    build : str
        One of `words.BUILDS`.
    tape : TapeSeen
        What it says of the tape alone.
    readings : tuple of str
        The r readings given, in the order of `words.READINGS`.
    differences : (r,)
        ln(tape) - ln(photo) under the shipped ratios.
    design : (r, w)
        Which way's ratio moves which difference.
    noise : (r, r)
        Covariance of the differences without the part the ratios stand for.
    own : (w,)
        Shipped variance of each way's ratio.
    why_not : str
        Why it does not teach, where more is known of that than its outcome.
    at_tags : bool
        Whether the tape of every reading was held at tags.
    """

    name: str
    key: str
    outcome: str
    group: str
    build: str
    tape: TapeSeen
    readings: tuple[str, ...]
    differences: Array
    design: Array
    noise: Array
    own: Array
    why_not: str = ""
    at_tags: bool = False

    @property
    def weight(self) -> float:
        """How much it counts; 0 where it does not teach."""
        return TEACHES.get(self.outcome, 0.0)


def group_of(dog: DogFacts) -> str:
    """The breed as typed, without case, accents and punctuation; else the build; else "".

    >>> group_of(DogFacts(breed="Trail-Cross")), group_of(DogFacts(build="slim"))
    ('trail cross', 'build slim')
    """
    plain = unicodedata.normalize("NFKD", dog.breed.casefold())
    kept = "".join(c if c.isalnum() else " " for c in plain if not unicodedata.combining(c))
    breed = " ".join(kept.split())
    if breed:
        return breed
    return f"build {dog.build}" if dog.build != "unknown" else ""


def order_of(
    log_spans: Array,
    covariance: Array,
    own: Array,
    marked: Sequence[bool],
    tape_mm: Mapping[str, float],
    *,
    name: str = "",
    key: str = "",
    outcome: str = "unknown",
    group: str = "",
    build: str = "unknown",
    noise: TapeNoise = ONCE,
    tape_alone: TapeSeen = NO_TAPE,
) -> FinishedOrder:
    """An order from numbers.

    Parameters
    ----------
    log_spans : (4,)
        ln(mm) from the photos under the shipped ratios, order of `words.SPANS`.
    covariance : (4, 4)
        Of the log-spans.
    own : (3,)
        Variance that each span's `WAY_TERMS` bring: half neck, front, rear.
    marked : 3 bool
        Whether the span's way was marked in the photo.
    tape_mm : mapping of reading to mm
    noise : TapeNoise
        Of these readings; without it, each was taken once.  Ways whose readings went from tag to
        tag are ways of their own.
    tape_alone : TapeSeen
        What they say of the tape, as `tape_habits.tape_seen` has it.
    """
    names = tuple(reading for reading in READINGS if reading in tape_mm)
    expect, rows = expectation(names, log_spans)
    ways = _ways(marked, spans_at_tags(noise.at_tags))
    moves = _way_rows(log_spans, ways)
    owns = np.zeros(len(WAYS))
    owns[list(ways)] = own
    # These terms enter one span only and nothing observes them, so they can be taken out.
    rest = covariance - np.einsum("sw,w,tw->st", moves, owns, moves)
    tape = noise.covariance(names, np.exp(expect))
    return FinishedOrder(
        name,
        key,
        outcome,
        group,
        build,
        tape_alone,
        names,
        np.log(np.array([tape_mm[n] for n in names])) - expect,
        rows @ moves,
        rows @ rest @ rows.T + tape,
        owns,
        at_tags=bool(names) and noise.at_tags >= set(names),
    )


def _ways(marked: Sequence[bool], tagged: Collection[str]) -> tuple[int, ...]:
    """The places in `WAYS` of half neck, front and rear."""
    return tuple(
        WAYS.index(way_of(span, marked=marked[i], tagged=span in tagged))
        for i, span in enumerate(WAY_TERMS)
    )


def _way_rows(log_spans: Array, ways: Sequence[int]) -> Array:
    """How the four log-spans move with the ways' log-ratios, (4, w)."""
    moves = np.zeros((len(SPANS), len(WAYS)))
    parts = np.exp(log_spans[1:3])
    weights = parts / parts.sum()
    for i, way in enumerate(ways):
        moves[i, way] = 1.0
        if i:
            moves[3, way] = weights[i - 1]
    return moves


def order_from_report(
    report: Report, outcome: str, ratios: TapeRatios, *, name: str = "", where: str = "report"
) -> FinishedOrder:
    """An order from its report.

    Parameters
    ----------
    report : Report
    outcome : str
        One of `OUTCOMES`.
    ratios : TapeRatios
        The ratios the report was made with, to take them out again.

    Raises
    ------
    CaseError
        When the report's numbers are not those of a check.
    """
    case = report.case
    covariance = np.array(report.covariance, float)
    log_spans = np.array([np.log(max(span.photo_mm, 1e-9)) for span in report.spans])
    known = tuple(span.span for span in report.spans) == SPANS
    if not (known and covariance.shape == (4, 4) and np.all(np.isfinite(covariance))):
        raise CaseError(
            tr("this report lacks a span or its covariance"),
            where=where,
            do=tr("Check the case again"),
        )
    shares = {line.source: line.shares for line in report.budget}
    marked, tagged = _marked(case), spans_at_tags(report.at_tags)
    ratios = ratios.at_tags(tagged)
    own = np.zeros(3)
    back = np.zeros(3)
    for i, (span, terms) in enumerate(WAY_TERMS.items()):
        learnt = ratios.of(span, marked[i])
        share = sum(shares.get(term, {}).get(span, 0.0) for term in terms)
        own[i] = share * covariance[i, i]
        back[i] = learnt.shift
    # The covariance as the shipped ratios would have it, then the median.
    ways = _ways(marked, tagged)
    moves = _way_rows(log_spans, ways)
    extra = np.zeros(len(WAYS))
    for i, span in enumerate(WAY_TERMS):
        shipped = own[i] / ratios.of(span, marked[i]).spread_factor ** 2
        extra[ways[i]] = shipped - own[i]
        own[i] = shipped
    covariance = covariance + np.einsum("sw,w,tw->st", moves, extra, moves)
    fresh = log_spans.copy()
    fresh[:3] -= back
    if back.any():
        # the full length follows the front and the rear, now in other proportions
        fresh[3] += np.log(np.exp(fresh[1:3]).sum() / np.exp(log_spans[1:3]).sum())
        parts = np.exp(fresh[1:3])
        follow = np.vstack([np.eye(3), [0.0, *(parts / parts.sum())]])
        covariance = follow @ covariance[:3, :3] @ follow.T
    order = order_of(
        fresh,
        covariance,
        own,
        marked,
        {n: r.mm for n, r in case.readings.items() if not (n in _NECK and _neck_seen(case))},
        name=name or case.name or case.dog.name,
        key=_key(report),
        outcome=outcome,
        group=group_of(case.dog),
        build=case.dog.build,
        noise=tape_noise(case.readings, at_tags=report.at_tags),
        tape_alone=_tape_alone(case.readings, report.at_tags),
    )
    if order.readings and np.linalg.eigvalsh(order.noise)[0] <= 0.0:
        raise CaseError(
            tr("the covariance and the doubt budget of this report do not go together"),
            where=where,
            do=tr("Check the case again"),
        )
    return order


def _tape_alone(readings: Mapping[str, Reading], at_tags: Collection[str]) -> TapeSeen:
    """What readings say of the tape, all from tag to tag or none of them; both together nothing."""
    if at_tags and not readings.keys() <= set(at_tags):
        return NO_TAPE
    return tape_seen(readings, at_tags)


_NECK: Final = ("half_neck", NECK_RING)


def _neck_seen(case: Case) -> bool:
    """Whether the neck's width was measured or seen: its readings then teach no ratio of necks."""
    fronts = any(photo.view == "front" for photo in case.photos)
    return fronts or case.dog.neck_width_mm is not None


def _marked(case: Case) -> tuple[bool, bool, bool]:
    """Whether each span's way was marked: half neck, front, rear."""
    markings = [marking for photo in case.photos for marking in photo.markings]
    half, front, rear = (any(m.bends.get(span) for m in markings) for span in WAY_TERMS)
    return half, front or any("chest_bottom" in m.marks for m in markings), rear


def _key(report: Report) -> str:
    told = {
        "photos": sorted(photo.sha256 for photo in report.photos),
        "readings": {name: round(r.mm, 3) for name, r in report.case.readings.items()},
    }
    text = json.dumps(told, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def evidence_of(orders: Sequence[FinishedOrder], groups: Sequence[str]) -> Evidence:
    """Orders side by side, padded to the same number of readings."""
    count, most = len(orders), max((len(order.readings) for order in orders), default=0)
    differences = np.zeros((count, most))
    design = np.zeros((count, most, len(WAYS)))
    noise = np.tile(np.eye(most), (count, 1, 1))
    for i, order in enumerate(orders):
        r = len(order.readings)
        differences[i, :r] = order.differences
        design[i, :r] = order.design
        noise[i, :r, :r] = order.noise
    return Evidence(
        differences,
        design,
        noise,
        np.array([order.own for order in orders]).reshape(count, len(WAYS)),
        np.array([groups.index(order.group) for order in orders], dtype=np.intp),
        len(groups),
        np.array([BUILDS.index(build_of(orders, group)) for group in groups], dtype=np.intp),
        np.array([order.weight for order in orders]),
    )


def build_of(orders: Sequence[FinishedOrder], group: str) -> str:
    """What most owners of a group's dogs call their build; "unknown" where none says."""
    told = Counter(o.build for o in orders if o.group == group and o.build != "unknown")
    return min(told, key=lambda build: (-told[build], BUILDS.index(build)), default="unknown")
