"""Marks that no dog can have: exchanged, crowded, anywhere."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from itertools import combinations, permutations

import numpy as np
import pytest

import photocheck
from photocheck.benchmark.order_tables import wilson
from photocheck.body.posed import square_dogs, typical_dog
from photocheck.body.standards import Allowance
from photocheck.case.model import Case, Point
from photocheck.judge.impossible_marks import furthest_off, judge_marks, righted
from photocheck.judge.marks_told import MarkedPhoto, ToldAtOnce, told_at_once, told_marks
from photocheck.phantom.plan import POSTURES, random_plan
from photocheck.phantom.solid import Dog, make_dog
from photocheck.report.file import report_from_dict, report_to_dict
from photocheck.words import ALL_LANDMARKS, LANDMARK_TITLES, LANDMARKS
from tests.support.places import SAMPLES

Marks = dict[str, Point]

# A dog as breed standards draw it (`photocheck.body.standards`), mm, y down.
SQUARE: Marks = {
    "breastbone": (0.0, -384.0),
    "shoulder_top": (156.0, -600.0),
    "last_rib": (370.0, -420.0),
    "tail_base": (606.0, -549.0),
    "back_top": (198.0, -591.0),
    "chest_bottom": (216.0, -309.0),
    "front_foot": (144.0, 0.0),
    "rear_foot": (642.0, 0.0),
}
FOUR: Marks = {name: SQUARE[name] for name in LANDMARKS}


def exchanged(marks: Mapping[str, Point], one: str, other: str) -> Marks:
    return {**marks, one: marks[other], other: marks[one]}


def moved(marks: Marks, *, by: float = 1.0, side: float = 1.0) -> Marks:
    return {name: (900.0 + side * by * x, 400.0 + by * y) for name, (x, y) in marks.items()}


@pytest.mark.parametrize("marks", [FOUR, SQUARE], ids=["four", "eight"])
def test_a_dog_is_a_dog_of_any_size_at_any_place_facing_either_way(marks: Marks) -> None:
    fine = judge_marks(marks).fine
    assert fine > 0.99
    for by in (0.3, 5.0):
        for side in (1.0, -1.0):
            assert judge_marks(moved(marks, by=by, side=side)).fine == pytest.approx(fine)


@pytest.mark.parametrize("pair", list(combinations(LANDMARKS, 2)))
@pytest.mark.parametrize("marks", [FOUR, SQUARE], ids=["four", "eight"])
def test_an_exchange_is_named_first(marks: Marks, pair: tuple[str, str]) -> None:
    judged = judge_marks(exchanged(marks, *pair))
    assert judged.told
    assert next(iter(judged.exchanged)) == pair
    total = judged.fine + judged.anywhere
    total += sum(judged.exchanged.values()) + sum(judged.crowded.values())
    assert total == pytest.approx(1.0)


@pytest.mark.parametrize("pair", [("front_foot", "rear_foot"), ("back_top", "chest_bottom")])
def test_exchanged_helpers_are_named(pair: tuple[str, str]) -> None:
    judged = judge_marks(exchanged(SQUARE, *pair))
    assert judged.told
    assert next(iter(judged.exchanged)) == pair


def test_one_spot_marked_twice_is_told_but_not_where_landmarks_meet() -> None:
    x, y = SQUARE["tail_base"]
    told = told_marks([_marked({**SQUARE, "last_rib": (x - 8.0, y + 5.0)})])
    assert told[0].explanation.name == "marks_impossible"
    assert "last rib and the tail base lie on nearly the same spot" in told[0].reason
    x, y = SQUARE["shoulder_top"]
    assert not told_marks([_marked({**SQUARE, "back_top": (x + 8.0, y + 5.0)})])


def test_marks_off_any_dog_are_told_and_the_furthest_is_named() -> None:
    away = {**SQUARE, "tail_base": (500.0, 300.0)}
    told = told_marks([_marked(away)])
    assert told[0].explanation.name == "marks_impossible"
    assert furthest_off(away) == "tail_base"
    assert "The mark of the tail base is furthest off." in told[0].explanation.sentence
    upside_down = {name: (x, -y) for name, (x, y) in SQUARE.items()}
    told = told_marks([_marked(upside_down)])
    assert told[0].explanation.name == "marks_impossible"
    assert furthest_off(upside_down) == ""


def test_who_marked_which_photo_is_told_where_there_are_several() -> None:
    wrong = exchanged(FOUR, "breastbone", "tail_base")
    told = told_marks([_marked(FOUR, 1, "Ada"), _marked(wrong, 2, "Bea"), _marked(FOUR, 2, "Cy")])
    assert len(told) == 1
    assert "photo 2 as marked by Bea" in told[0].explanation.sentence


def _marked(marks: Marks, photo: int = 0, by: str = "owner") -> MarkedPhoto:
    return MarkedPhoto(marks, 0.0, photo, by, bool(photo))


# -- at the marks, from their places alone ------------------------------------------------------

LONGER_PX = 2000.0


def at_once(marks: Mapping[str, Point], px_per_mm: float = 0.0) -> ToldAtOnce:
    told = told_at_once(marks, LONGER_PX, px_per_mm)
    assert told is not None
    return told


def put_right(marks: Mapping[str, Point], told: ToldAtOnce) -> Marks:
    """As the button does it."""
    left = {name: at for name, at in marks.items() if name not in told.again}
    return {**left, **{to: marks[at] for to, at in told.exchange.items()}}


@pytest.mark.parametrize("pair", list(combinations(LANDMARKS, 2)))
def test_an_exchange_is_told_at_once_and_one_press_puts_it_right(pair: tuple[str, str]) -> None:
    wrong = exchanged(FOUR, *pair)
    told = at_once(wrong)
    one, other = (LANDMARK_TITLES[name] for name in pair)
    assert told.text == f"The {one} and the {other} seem exchanged."
    assert told.action == "Turn them round"
    assert put_right(wrong, told) == FOUR
    assert told_at_once(FOUR, LONGER_PX) is None


@pytest.mark.parametrize("order", list(permutations(LANDMARKS)))
def test_any_order_of_the_four_is_put_right_or_placed_again(order: tuple[str, ...]) -> None:
    """Head for tail among them: both ends and what lies between, mirrored."""
    wrong = {to: FOUR[at] for to, at in zip(LANDMARKS, order, strict=True)}
    told = told_at_once(wrong, LONGER_PX)
    if order == LANDMARKS:
        assert told is None
    else:
        assert told is not None
        assert put_right(wrong, told) == FOUR


def test_marks_on_one_spot_are_told_with_and_without_a_scale() -> None:
    small = {name: (800.0 + 0.14 * x, 600.0 + 0.14 * y) for name, (x, y) in FOUR.items()}
    for told in (at_once(small), at_once(small, px_per_mm=1.0)):
        assert "within a hand's breadth" in told.text
        assert set(told.again) == set(FOUR)
    # the same places where one px is five mm: a dog of half a metre, seen from afar
    assert told_at_once(small, LONGER_PX, 0.2) is None
    twice = {**FOUR, "last_rib": FOUR["shoulder_top"]}
    assert at_once(twice).again == ("shoulder_top", "last_rib")
    assert "nearly the same spot" in at_once(twice).text


def test_a_mark_off_any_dog_is_asked_for_again() -> None:
    told = at_once({**SQUARE, "tail_base": (500.0, 300.0)})
    assert told.again == ("tail_base",)
    assert "The mark of the tail base is furthest off." in told.text
    upside_down = {name: (x, -y) for name, (x, y) in SQUARE.items()}
    assert set(at_once(upside_down).again) == set(SQUARE)


def test_left_and_right_from_the_front() -> None:
    right = {"neck_left": (400.0, 300.0), "neck_right": (700.0, 310.0)}
    assert told_at_once(right, LONGER_PX) is None
    wrong = exchanged(right, "neck_left", "neck_right")
    assert put_right(wrong, at_once(wrong)) == right


def test_fewer_than_three_marks_are_not_judged() -> None:
    two = {name: FOUR[name] for name in ("shoulder_top", "breastbone")}
    assert told_at_once(exchanged(two, *two), LONGER_PX) is None
    three = {name: FOUR[name] for name in LANDMARKS[:3]}
    assert told_at_once(three, LONGER_PX) is None


def test_nothing_is_said_of_the_samples_nor_of_square_dogs() -> None:
    """However far they are placed: from the third mark on."""
    seen = []
    for truth in SAMPLES.glob("*/truth.json"):
        for photo in json.loads(truth.read_text(encoding="utf-8"))["photos"]:
            if "breastbone" in photo["landmarks_px"]:  # not from the front
                seen.append({name: tuple(photo["landmarks_px"][name]) for name in LANDMARKS})
    rng = np.random.default_rng(20)
    dogs = square_dogs(rng, 300, (0.02, 0.02), Allowance())
    for k in range(300):
        # 500 px high, marked to 6 px, head to either side
        noise = rng.normal(0.0, 6.0, (4, 2))
        size = (rng.choice([-500.0, 500.0]), -500.0)
        at = [dogs[name][k] * size for name in LANDMARKS] + noise
        seen.append({name: tuple(xy) for name, xy in zip(LANDMARKS, at, strict=True)})
    assert len(seen) > 310
    for marks in seen:
        for count in (3, 4):
            some = {name: marks[name] for name in LANDMARKS[:count]}
            assert told_at_once(some, LONGER_PX) is None, some


def test_no_order_is_offered_where_none_makes_a_dog() -> None:
    assert righted(FOUR) == {}
    assert righted({**FOUR, "tail_base": (250.0, 100.0)}) == {}


def test_the_typical_dog_is_one() -> None:
    dog = {name: (x, -y) for name, (x, y) in typical_dog().items() if name in ALL_LANDMARKS}
    assert set(dog) == set(ALL_LANDMARKS)
    assert judge_marks(dog).fine > 0.99


# -- the whole check --------------------------------------------------------------------------


def _with(case: Case, one: str, other: str) -> Case:
    entry = case.photos[0]
    marking = replace(entry.markings[0], marks=exchanged(entry.markings[0].marks, one, other))
    first = replace(entry, markings=(marking, *entry.markings[1:]))
    return replace(case, photos=(first, *case.photos[1:]))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("sample", "pair"),
    [
        ("teasel", ("breastbone", "tail_base")),  # its readings are flagged as well
        ("pike", ("breastbone", "tail_base")),  # eight marks
        ("sorrel", ("shoulder_top", "tail_base")),
    ],
)
def test_a_check_tells_exchanged_marks_before_all_else(sample: str, pair: tuple[str, str]) -> None:
    case = photocheck.read_case(SAMPLES / sample / "case.json")
    report = photocheck.check(_with(case, *pair))
    one, other = (LANDMARK_TITLES[name] for name in pair)
    first = report.explanations[0]
    assert report.verdict == "cannot_tell"
    assert report.headline == (
        f"Cannot tell from this photo: the marks of the {one} and the {other} seem to have "
        "changed places."
    )
    assert first.name == "marks_exchanged"
    assert first.title == f"the marks of the {one} and the {other} changed places"
    assert sum(each.probability for each in report.explanations) <= 1.0
    assert report.next_step == first.action
    assert {span.verdict for span in report.spans} <= {"cannot_tell", ""}
    assert report_from_dict(report_to_dict(report)) == report


@pytest.mark.slow
@pytest.mark.parametrize("sample", ["teasel", "sorrel"])  # the second's plane gives way to them
def test_a_check_blames_neither_dog_nor_tape_for_marks_within_a_hands_breadth(sample: str) -> None:
    case = photocheck.read_case(SAMPLES / sample / "case.json")
    entry = case.photos[0]
    marks = {name: entry.markings[0].marks[name] for name in LANDMARKS}
    u, v = marks["last_rib"]
    near = {name: (u + 0.12 * (x - u), v + 0.12 * (y - v)) for name, (x, y) in marks.items()}
    photo = replace(entry, markings=(replace(entry.markings[0], marks=near),))
    report = photocheck.check(replace(case, photos=(photo, *case.photos[1:])))
    assert report.verdict == "cannot_tell"
    assert "hand's breadth" in report.headline
    assert [each.name for each in report.explanations] == ["marks_impossible"]
    assert report.next_step == report.explanations[0].action


# -- phantoms, which share nothing with the densities -----------------------------------------


def _view(dog: Dog, names: tuple[str, ...], rng: np.random.Generator) -> Marks:
    """A phantom's landmarks as marked in a photo up to 20 degrees oblique, in its middle plane."""
    yaw, tilt = np.radians(rng.uniform(-20.0, 20.0)), np.radians(rng.normal(0.0, 3.0))
    away = rng.uniform(1500.0, 3500.0) + dog.plan.height_mm
    eye = np.array([rng.normal(0.0, 150.0), rng.uniform(300.0, 1200.0)])
    at = np.array([dog.visible[name] for name in names])
    x, y, z = (at - np.array([at[:, 0].mean(), 0.0, 0.0])).T
    x, z = np.cos(yaw) * x + np.sin(yaw) * z, np.cos(yaw) * z - np.sin(yaw) * x
    flat = eye + (np.stack([x, y], axis=1) - eye) * (away / (away - z))[:, None]
    turn = np.array([[np.cos(tilt), -np.sin(tilt)], [np.sin(tilt), np.cos(tilt)]])
    flat = flat @ turn.T + rng.normal(0.0, rng.uniform(3.0, 8.0), flat.shape)
    flat *= (rng.choice([-1.0, 1.0]), -1.0)
    return {name: (float(u), float(v)) for name, (u, v) in zip(names, flat, strict=True)}


@pytest.mark.slow
@pytest.mark.parametrize("names", [LANDMARKS, ALL_LANDMARKS], ids=["four", "eight"])
def test_phantoms_are_not_accused_and_their_exchanged_marks_are_named(
    names: tuple[str, ...],
) -> None:
    """The bars: under 0.2 % false alarms, each exchange of the four named first in 95 %."""
    rng = np.random.default_rng(4711)
    dogs = [make_dog(random_plan(rng, posture=posture), 60) for posture in POSTURES * 12]
    views = [_view(dog, names, rng) for dog in dogs for _ in range(40)]
    alarms = sum(judge_marks(marks).told for marks in views)
    assert wilson(alarms, len(views))[1] < 0.002
    for pair in combinations(LANDMARKS, 2):
        judged = [judge_marks(exchanged(marks, *pair)) for marks in views[::10]]
        named = [one.told and next(iter(one.exchanged)) == pair for one in judged]
        assert np.mean(named) >= 0.95, pair
