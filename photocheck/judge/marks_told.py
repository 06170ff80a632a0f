"""What is said of marks that no dog can have: an explanation, and a reason for the headline."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from photocheck.case.model import Point
from photocheck.judge.impossible_marks import JudgedMarks, furthest_off, judge_marks
from photocheck.report.model import Explanation
from photocheck.speech import tr
from photocheck.words import LANDMARK_TITLES, MARKED_BY_TITLES

EXCHANGED: Final = "marks_exchanged"
IMPOSSIBLE: Final = "marks_impossible"
MARKS_TOLD: Final = (EXCHANGED, IMPOSSIBLE)
"""What is said of marks, before anything is said of dog or tape."""


@dataclass(frozen=True)
class MarkedPhoto:
    """One person's marks on one photo, in a plane of the dog.

    Attributes
    ----------
    marks : mapping of landmark name to Point
        y down, upright; of any size.
    spread_mm : float
        Standard deviation of each mark in that plane, where told, else 0.
    photo : int
        The photo's number, from 1.
    by : str
        Who placed them.
    where : bool
        Whether the photo and the person need to be named, for there are several.
    """

    marks: Mapping[str, Point]
    spread_mm: float
    photo: int
    by: str
    where: bool


@dataclass(frozen=True)
class ToldMarks:
    """What is said of one set of marks: an explanation, and a clause for the headline."""

    explanation: Explanation
    reason: str


def told_marks(marked: Iterable[MarkedPhoto]) -> tuple[ToldMarks, ...]:
    """What is said of the marks that no dog can have, most probable first; empty for good ones."""
    found = []
    for one in marked:
        judged = judge_marks(one.marks, one.spread_mm)
        if judged.told:
            found.append(_told(one, judged))
    return tuple(sorted(found, key=lambda told: -told.explanation.probability))


def _told(one: MarkedPhoto, judged: JudgedMarks) -> ToldMarks:
    pair, exchanged = next(iter(judged.exchanged.items()))
    spot, crowded = next(iter(judged.crowded.items()), (pair, 0.0))
    # Of an explanation without a name for its pair, all ways to come about count together.
    wrong = 1.0 - judged.fine - sum(judged.exchanged.values())
    if exchanged >= wrong:
        return _of_pair(one, pair, exchanged)
    if crowded > judged.anywhere:
        return _of_spot(one, spot, wrong)
    return _of_none(one, wrong)


def _of_pair(one: MarkedPhoto, pair: tuple[str, str], probability: float) -> ToldMarks:
    names = _names(pair)
    return ToldMarks(
        Explanation(
            EXCHANGED,
            tr("the marks of the {one} and the {other} changed places", **names),
            probability,
            _sentence(
                one,
                tr(
                    "No dog has its landmarks as they are marked; with these two marks exchanged "
                    "a dog has."
                ),
            ),
            tr(
                "Please exchange the marks of the {one} and the {other} on the photo, and look "
                "whether each then lies where it belongs.",
                **names,
            ),
        ),
        tr("the marks of the {one} and the {other} seem to have changed places", **names),
    )


def _of_spot(one: MarkedPhoto, spot: tuple[str, str], probability: float) -> ToldMarks:
    names = _names(spot)
    title = tr("the marks of the {one} and the {other} lie on nearly the same spot", **names)
    said = tr("On no dog are these two points so near to each other.")
    action = tr(
        "Please place the marks of the {one} and the {other} again, each on its own point.", **names
    )
    explanation = Explanation(IMPOSSIBLE, title, probability, _sentence(one, said), action)
    return ToldMarks(explanation, title)


def _of_none(one: MarkedPhoto, probability: float) -> ToldMarks:
    title = tr("no dog has its landmarks where they are marked")
    said = tr("In no posture and of no build does a dog have its landmarks so.")
    action = tr("Please place the marks again.")
    if name := furthest_off(one.marks, one.spread_mm):
        landmark = tr(LANDMARK_TITLES[name])
        furthest = tr("The mark of the {landmark} is furthest off.", landmark=landmark)
        said = f"{said} {furthest}"
        action = tr("Please place the mark of the {landmark} again.", landmark=landmark)
    explanation = Explanation(IMPOSSIBLE, title, probability, _sentence(one, said), action)
    return ToldMarks(explanation, title)


def _names(pair: tuple[str, str]) -> dict[str, str]:
    one, other = (tr(LANDMARK_TITLES[name]) for name in pair)
    return {"one": one, "other": other}


def _sentence(one: MarkedPhoto, said: str) -> str:
    if not one.where:
        return said
    who = tr(MARKED_BY_TITLES[one.by]) if one.by in MARKED_BY_TITLES else one.by
    where = tr("This concerns photo {photo} as marked by {who}.", who=who, photo=one.photo)
    return f"{said} {where}"
