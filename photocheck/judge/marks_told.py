"""What is said of marks that no dog can have: an explanation, and a reason for the headline."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import combinations
from typing import Final

from photocheck.case.model import Point
from photocheck.judge.expected_marks import ExpectedMark
from photocheck.judge.impossible_marks import (
    HAND_MM,
    JudgedMarks,
    furthest_off,
    judge_marks,
    righted,
    within_a_hand,
)
from photocheck.report.model import Explanation
from photocheck.speech import joined, tr
from photocheck.words import ALL_LANDMARKS, FRONT_PAIRS, LANDMARK_TITLES, by_whom

EXCHANGED: Final = "marks_exchanged"
IMPOSSIBLE: Final = "marks_impossible"
MARKS_TOLD: Final = (EXCHANGED, IMPOSSIBLE)
"""What is said of marks, before anything is said of dog or tape."""

SPOT: Final = 0.06
"""Marks all within this share of the photo's longer side are told where no scale is known: a
hand's breadth where a dog of 50 cm fills a quarter of the picture (judgement)."""


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
    in_a_hand : bool
        Whether all lie within a hand's breadth by the reference alone: the plane of the dog gives
        way before it makes a dog so small.
    """

    marks: Mapping[str, Point]
    spread_mm: float
    photo: int
    by: str
    where: bool
    in_a_hand: bool = False


@dataclass(frozen=True)
class ToldMarks:
    """What is said of one set of marks: an explanation, and a clause for the headline."""

    explanation: Explanation
    reason: str


@dataclass(frozen=True)
class ToldAtOnce:
    """What is said of marks while they are being placed, before any check.

    Attributes
    ----------
    text : str
        One or two sentences.
    action : str
        What the button says that puts it right.
    exchange : mapping of landmark name to landmark name
        For each mark that the button moves, the landmark under whose name it was placed.
    again : tuple of str
        Landmarks that the button takes off, to be placed again.
    """

    text: str
    action: str
    exchange: Mapping[str, str] = field(default_factory=dict)
    again: tuple[str, ...] = ()


def told_at_once(
    marks: Mapping[str, Point],
    longer_side_px: float,
    px_per_mm: float = 0.0,
    expected: Mapping[str, ExpectedMark] | None = None,
) -> ToldAtOnce | None:
    """What is wrong with the marks placed so far on one photo, from their places alone.

    Parameters
    ----------
    marks : mapping of landmark name to Point
        Px of the upright photo; fewer than three from the side are not judged.
    longer_side_px : float
        Of the photo.
    px_per_mm : float
        At the reference, 0 where nothing is known.
    expected : mapping of landmark name to ExpectedMark, optional
        Where landmarks would be expected; what was confirmed as expected is no evidence and must
        not be among them.

    Returns
    -------
    ToldAtOnce or None
        None for marks that a dog may have.
    """
    for one, other in FRONT_PAIRS.values():  # left and right as seen in the picture
        if one in marks and other in marks and marks[one][0] > marks[other][0]:
            return _exchange_at_once({one: other, other: one})
    side = {name: marks[name] for name in ALL_LANDMARKS if name in marks}
    if len(side) < 3:
        return None
    if within_a_hand(side, 1.0 / (px_per_mm or SPOT * longer_side_px / HAND_MM)):
        return ToldAtOnce(
            tr("All these marks lie within a hand's breadth: no dog is so small."),
            tr("Place them again"),
            again=tuple(side),
        )
    for pair in combinations(side, 2):
        if side[pair[0]] == side[pair[1]]:
            return _spot_at_once(pair)
    judged = judge_marks(side, expected=expected)
    if not judged.told:
        return None
    found = _likeliest(judged)
    if found.exchanged:
        one, other = found.exchanged
        return _exchange_at_once({one: other, other: one})
    if found.spot:
        return _spot_at_once(found.spot)
    if order := righted(side):
        return _exchange_at_once(order)
    said = tr("No dog has its landmarks where they are marked.")
    if name := furthest_off(side) if len(side) > 3 else "":
        furthest = tr(
            "The mark of the {landmark} is furthest off.", landmark=tr(LANDMARK_TITLES[name])
        )
        return ToldAtOnce(joined(said, furthest), tr("Place it again"), again=(name,))
    return ToldAtOnce(said, tr("Place them again"), again=tuple(side))


def _exchange_at_once(order: Mapping[str, str]) -> ToldAtOnce:
    if len(order) == 2:
        text = tr("The {one} and the {other} seem exchanged.", **_names(tuple(order)))
        return ToldAtOnce(text, tr("Turn them round"), exchange=dict(order))
    titles = joined(*(tr(LANDMARK_TITLES[name]) for name in order), between=", ")
    text = tr("These marks seem to have changed places: {titles}.", titles=titles)
    return ToldAtOnce(text, tr("Put them right"), exchange=dict(order))


def _spot_at_once(pair: tuple[str, str]) -> ToldAtOnce:
    said = tr("the marks of the {one} and the {other} lie on nearly the same spot", **_names(pair))
    text = tr("One spot is marked twice: {said}.", said=said)
    return ToldAtOnce(text, tr("Place both again"), again=pair)


def told_marks(marked: Iterable[MarkedPhoto]) -> tuple[ToldMarks, ...]:
    """What is said of the marks that no dog can have, most probable first; empty for good ones."""
    found = []
    for one in marked:
        if one.in_a_hand:
            found.append(_of_hand(one))
            continue
        judged = judge_marks(one.marks, one.spread_mm)
        if judged.told:
            found.append(_told(one, judged))
    return tuple(sorted(found, key=lambda told: -told.explanation.probability))


@dataclass(frozen=True)
class _Likeliest:
    """The likeliest reason for marks that no dog can have, with its probability.

    A pair that changed places, or two on one spot, or neither.
    """

    probability: float
    exchanged: tuple[str, str] | None = None
    spot: tuple[str, str] | None = None


def _likeliest(judged: JudgedMarks) -> _Likeliest:
    pair, exchanged = next(iter(judged.exchanged.items()))
    spot, crowded = next(iter(judged.crowded.items()), (pair, 0.0))
    # Of an explanation without a name for its pair, all ways to come about count together.
    wrong = 1.0 - judged.fine - sum(judged.exchanged.values())
    if exchanged >= wrong:
        return _Likeliest(exchanged, exchanged=pair)
    return _Likeliest(wrong, spot=spot if crowded > judged.anywhere else None)


def _told(one: MarkedPhoto, judged: JudgedMarks) -> ToldMarks:
    found = _likeliest(judged)
    if found.exchanged:
        return _of_pair(one, found.exchanged, found.probability)
    if found.spot:
        return _of_spot(one, found.spot, found.probability)
    return _of_none(one, found.probability)


def _of_hand(one: MarkedPhoto) -> ToldMarks:
    title = tr("the marks lie within a hand's breadth")
    said = tr("No dog is so small.")
    action = tr("Please place the marks again, each on its own point of the dog.")
    explanation = Explanation(IMPOSSIBLE, title, 1.0, _sentence(one, said), action)
    return ToldMarks(explanation, title)


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
        said = joined(said, furthest)
        action = tr("Please place the mark of the {landmark} again.", landmark=landmark)
    explanation = Explanation(IMPOSSIBLE, title, probability, _sentence(one, said), action)
    return ToldMarks(explanation, title)


def _names(pair: tuple[str, ...]) -> dict[str, str]:
    one, other = (tr(LANDMARK_TITLES[name]) for name in pair)
    return {"one": one, "other": other}


def _sentence(one: MarkedPhoto, said: str) -> str:
    if not one.where:
        return said
    where = tr(
        "This concerns photo {photo} as marked by {who}.", who=by_whom(one.by), photo=one.photo
    )
    return joined(said, where)
