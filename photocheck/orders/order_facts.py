"""What one order's history says of how well the shop checks, small enough to hold of thousands."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median
from typing import Final

from photocheck.case.model import Case, Take
from photocheck.case.takes import OWNER
from photocheck.judge.repeats import needs_third
from photocheck.orders.heard import last_heard
from photocheck.orders.model import Check, Order
from photocheck.report.model import Report
from photocheck.words import TAGS, TAGS_AND_OWNER

ENDINGS: Final = ("slip", "false_alarm", "as_it_was", "open")
"""What became of a reading that was flagged: read again and another length; read again and the
same; accepted unchanged; nothing of these (yet)."""

UNDECIDED: Final = ("could_hide", "cannot_tell")
"""Verdicts that neither let an order pass nor name what is wrong."""


@dataclass(frozen=True)
class Flagged:
    """A reading that a check told to measure again, and what became of it.

    Attributes
    ----------
    reading, kind, ending : str
        A span, the likeliest explanation's name, one of `ENDINGS`.
    """

    reading: str
    kind: str
    ending: str


@dataclass(frozen=True)
class PhotoSeen:
    """One photo of an order's last check: its month ("2026-03"), px per cm, and whether doubted."""

    month: str
    px_per_cm: float
    remarked: bool


@dataclass(frozen=True)
class OrderFacts:
    """What counts of one order.

    Attributes
    ----------
    first, last : str
        The first and the last check's verdict.
    why : str
        The source of most doubt where the last is one of `UNDECIDED`; else empty.
    flagged : tuple of Flagged
    photo_asked, photo_mended : bool
        Whether a check asked for another photo, and whether a later one, with other photos or
        marks, did not any more.
    photos : tuple of PhotoSeen
    decided_s : tuple of float
        Seconds from a check to the decision on it.
    answered_s : tuple of float
        Seconds from asking again to the owner's next check.
    result : str
        What was heard of the harness (`photocheck.orders.heard.RESULTS`); empty for nothing.
    agreed : bool
        Whether the check that was cut by agreed.
    felt : tuple of (str, str)
        Measures that were tight or loose.
    takes : tuple of (str, tuple of tuple of float)
        Of each reading taken more than once, its takes in mm, person by person.
    pairs : tuple of (float, float)
        First and second take by the same hands, mm.
    marks : tuple of (str, tuple of float)
        Landmark, and where each of several people set it along one axis of the photo, mm on
        the dog.
    """

    first: str
    last: str
    why: str = ""
    flagged: tuple[Flagged, ...] = ()
    photo_asked: bool = False
    photo_mended: bool = False
    photos: tuple[PhotoSeen, ...] = ()
    decided_s: tuple[float, ...] = ()
    answered_s: tuple[float, ...] = ()
    result: str = ""
    agreed: bool = False
    felt: tuple[tuple[str, str], ...] = ()
    takes: tuple[tuple[str, tuple[tuple[float, ...], ...]], ...] = ()
    pairs: tuple[tuple[float, float], ...] = ()
    marks: tuple[tuple[str, tuple[float, ...]], ...] = ()


def facts_of(order: Order) -> OrderFacts | None:
    """What counts of an order; None before its first check."""
    if not order.checks:
        return None
    first, last = order.checks[0], order.checks[-1]
    asked = [k for k, one in enumerate(order.checks) if one.report.verdict == "retake"]
    heard = last_heard(order)
    takes, pairs = _takes(last.report.case)
    return OrderFacts(
        first=first.report.verdict,
        last=last.report.verdict,
        why=_why(last.report) if last.report.verdict in UNDECIDED else "",
        flagged=tuple(_flagged(order)),
        photo_asked=bool(asked),
        photo_mended=bool(asked) and _mended(order.checks, asked[0]),
        photos=tuple(
            PhotoSeen(f"{last.at:%Y-%m}", 10.0 * photo.px_per_mm, bool(photo.remarks))
            for photo in last.report.photos
        ),
        decided_s=tuple(_decided(order)),
        answered_s=tuple(_answered(order)),
        result=heard.result if heard else "",
        agreed=last.report.verdict == "agrees",
        felt=tuple(heard.felt.items()) if heard else (),
        takes=takes,
        pairs=pairs,
        marks=tuple(_marks(last.report)),
    )


def _why(report: Report) -> str:
    """The source that brings most of the doubt of those readings which are not vouched for."""
    open_spans = [span.span for span in report.spans if span.verdict in UNDECIDED]
    shares = {
        line.source: sum(line.shares.get(span, 0.0) for span in open_spans)
        for line in report.budget
    }
    return max(shares, key=lambda source: shares[source], default="")


# -- what was flagged ---------------------------------------------------------------


def _flagged(order: Order) -> list[Flagged]:
    """Each reading as often as it was flagged with another value, and its ending."""
    found = []
    known: set[tuple[str, tuple[float, ...]]] = set()
    for k, check in enumerate(order.checks):
        report = check.report
        kind = report.explanations[0].name if report.explanations else "unnamed"
        for span in report.spans:
            reading = report.case.readings.get(span.span)
            if span.verdict != "measure_again" or reading is None:
                continue
            takes = tuple(take.mm for take in reading.takes)
            if (span.span, takes) in known:
                continue
            known.add((span.span, takes))
            ending = _ending(order, k, span.span, reading.mm, takes)
            found.append(Flagged(span.span, kind, ending))
    return found


def _ending(order: Order, at: int, name: str, value: float, takes: tuple[float, ...]) -> str:
    for check in order.checks[at + 1 :]:
        reading = check.report.case.readings.get(name)
        if reading is None:
            return "open"
        new = list((Counter(take.mm for take in reading.takes) - Counter(takes)).elements())
        if new:
            # As two good takes of one reading hardly ever differ (`judge.repeats.needs_third`).
            two = [Take(value, "", "cm"), Take(float(median(new)), "", "cm")]
            return "slip" if needs_third(two) else "false_alarm"
        if len(reading.takes) < len(takes):
            return "slip"  # one of its own takes was struck out
    return "as_it_was" if order.state == "accepted" else "open"


def _mended(checks: Sequence[Check], asked: int) -> bool:
    """Whether a later check saw other photos or marks and asked for no photo any more."""
    before = _seen(checks[asked])
    return any(
        check.report.verdict != "retake" and _seen(check) != before for check in checks[asked + 1 :]
    )


def _seen(check: Check) -> tuple[object, ...]:
    photos = check.report.case.photos
    return tuple(
        (result.sha256, photo.reference, photo.markings)
        for result, photo in zip(check.report.photos, photos, strict=False)
    )


# -- how long it took ---------------------------------------------------------------


def _decided(order: Order) -> list[float]:
    """From each check to the first decision on it."""
    found = []
    for check in order.checks:
        at = [one.at for one in order.decisions if one.check == check.number]
        if at:
            found.append((min(at) - check.at).total_seconds())
    return found


def _answered(order: Order) -> list[float]:
    """From each time the owner was asked again to the next check that the owner sent."""
    found = []
    for decision in order.decisions:
        if decision.choice != "asked_again":
            continue
        later = [c.at for c in order.checks if c.by == OWNER and c.number > decision.check]
        if later and min(later) > decision.at:
            found.append((min(later) - decision.at).total_seconds())
    return found


# -- repeats ------------------------------------------------------------------------


def _takes(
    case: Case,
) -> tuple[tuple[tuple[str, tuple[tuple[float, ...], ...]], ...], tuple[tuple[float, float], ...]]:
    """Takes of each reading taken more than once by person, and pairs by the same hands."""
    found, pairs = [], []
    for name, reading in case.readings.items():
        if len(reading.takes) < 2:
            continue
        by_hand: dict[str, list[float]] = {}
        for take in reading.takes:
            by_hand.setdefault(take.by or OWNER, []).append(take.mm)
        found.append((name, tuple(tuple(takes) for takes in by_hand.values())))
        pairs += [(takes[0], takes[1]) for takes in by_hand.values() if len(takes) > 1]
    return tuple(found), tuple(pairs)


def _marks(report: Report) -> list[tuple[str, tuple[float, ...]]]:
    """Where several people set the same mark in the same photo, axis by axis, mm on the dog.

    Tags are no people.
    """
    found = []
    for photo, result in zip(report.case.photos, report.photos, strict=False):
        people = {
            marking.by: marking.marks
            for marking in photo.markings
            if marking.by not in (TAGS, TAGS_AND_OWNER)
        }
        if len(people) < 2 or result.px_per_mm <= 0:
            continue
        for landmark in {name: None for marks in people.values() for name in marks}:
            places = [marks[landmark] for marks in people.values() if landmark in marks]
            if len(places) > 1:
                found += [
                    (landmark, tuple(place[axis] / result.px_per_mm for place in places))
                    for axis in (0, 1)
                ]
    return found
