"""Bounds, starts and orders that planted faults moved unnoticed; held by hand and by shapely."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace
from typing import Any, cast

import cv2
import numpy as np
import pytest
from shapely import Point, Polygon

from photocheck.body import outline_shapes
from photocheck.body.outline_shapes import Shapes, _Pen
from photocheck.case.lengths import parse_length
from photocheck.case.model import DogFacts, Marking, Reference
from photocheck.errors import PhotocheckError
from photocheck.judge.causes import Cause
from photocheck.judge.explain import Ranked, _candidates
from photocheck.judge.explanations import KINDS
from photocheck.judge.impossible_marks import within_a_hand
from photocheck.judge.joint import Joint
from photocheck.judge.shots import Shot
from photocheck.judge.typed import Candidate
from photocheck.scale import edges, priors, unaided
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.pose import likely_poses
from photocheck.scale.subpixel import EdgeLine, fit_side
from tests.support.judged import marking, pixel, square_view

# --- readings and what is made of them -----------------------------------------------------------


def test_the_finest_fraction_of_a_tape_is_a_sixty_fourth_of_an_inch() -> None:
    # an inch is 25.4 mm (NIST SP 811); rules are divided to 64ths, common practice, no source
    assert parse_length("1/64 in", "in")[0] == pytest.approx(25.4 / 64)
    assert parse_length("12 45/64 in", "in")[0] == pytest.approx(25.4 * (12 + 45 / 64))
    with pytest.raises(PhotocheckError, match="fraction that no tape shows"):
        parse_length("1/65 in", "in")


def way(*values: tuple[str, str]) -> Cause:
    """A cause that puts these readings in doubt and would have them so."""
    names = tuple(name for name, _ in values)
    told = tuple((name, Candidate(text, float(text), 1.0)) for name, text in values)
    return Cause(1.0, names, np.zeros(4), None, told)


def test_of_two_readings_in_doubt_one_value_each_is_shown() -> None:
    both = [
        way(("half_neck", "360"), ("rear_length", "270")),
        way(("half_neck", "380"), ("rear_length", "250")),
    ]
    two = Ranked(KINDS[0], 1.0, 0.6, ((0.6, both[0]), (0.4, both[1])))
    assert _candidates(two) == (("half_neck", "360", 360.0), ("rear_length", "270", 270.0))
    alone = [way(("half_neck", "360")), way(("half_neck", "380"))]
    one = Ranked(KINDS[0], 1.0, 0.6, ((0.6, alone[0]), (0.4, alone[1])))
    assert _candidates(one) == (("half_neck", "360", 360.0), ("half_neck", "380", 380.0))


def test_two_marks_are_never_within_a_hand() -> None:
    near = {"breastbone": (0.0, 0.0), "shoulder_top": (30.0, -40.0)}
    assert not within_a_hand(near)
    assert within_a_hand({**near, "tail_base": (20.0, -30.0)})


def test_a_pair_from_the_front_begins_midway_between_its_marks() -> None:
    """Where its two marks lie at the reference's distance, by hand 120 mm right and 390 mm up."""
    side = square_view()
    told = Reference("a4", place="front_feet")
    view = dataclasses.replace(
        square_view(distance=2000.0), offset=priors.offset_prior(told, "front")
    )
    marks = Marking(
        {
            "neck_left": pixel(20.0, -410.0, 2000.0),
            "neck_right": pixel(220.0, -370.0, 2000.0),
        }
    )
    shot = Shot(view, likely_poses(view)[0], (marks,))
    joint = Joint([Shot(side, likely_poses(side)[0], (marking(),))], DogFacts(), fronts=[shot])
    place = joint.unknowns.place(("front_pair", 1, 0, "neck_width"))
    assert joint.unknowns.start[place] == pytest.approx([120.0, -390.0], abs=2.0)


# --- shapes of dogs ------------------------------------------------------------------------------

MARKS = {
    "breastbone": np.array([20.0, 45.0]),
    "shoulder_top": np.array([32.0, 25.0]),
    "last_rib": np.array([60.0, 45.0]),
    "tail_base": np.array([85.0, 28.0]),
    "front_foot": np.array([34.0, 95.0]),
    "rear_foot": np.array([80.0, 95.0]),
}


def test_every_other_dog_stands_where_its_feet_are_marked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(outline_shapes, "SHAPES", 4)
    drawn = Shapes(MARKS, 60.0, -1.0, (120, 110)).drawn
    pen = _Pen(MARKS, 60.0, -1.0, (120, 110), np.random.default_rng(3))
    for number, exact in enumerate((True, False, True, False)):
        for part, mask in pen.dog(exact=exact).items():
            assert np.array_equal(drawn[part][number], mask.reshape(-1)), (part, number)


# --- edges and corners ---------------------------------------------------------------------------


def test_a_strong_edge_far_off_outweighs_a_faint_one_by_what_staying_costs() -> None:
    """By hand: 8 of 10 px off, a pull of 1.5 standard deviations costs exp(-0.72) = 0.49."""
    weak_by_strong = []
    for share in (0.30, 0.46, 0.52, 0.70):
        # linear light across a side that lies at x = 60: a faint step there, a strong one 8 off
        light = np.full(121, 0.6)
        light[60:] = 0.6 - 0.3 * share
        light[68:] = 0.6 - 0.3 * share - 0.3
        codes = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
        picture = np.tile(np.rint(255 * codes), (160, 1)).astype(np.uint8)
        line = fit_side(
            picture,
            np.array([59.5, 20.0]),
            np.array([59.5, 140.0]),
            reach_px=10.0,
            stay=1.5,
            polarity=0,
        )
        assert line is not None
        weak_by_strong.append(bool(abs(float(line.start[0]) - 59.5) < 2.0))
    assert weak_by_strong == [False, False, True, True]


def moved_square(off: float) -> list[EdgeLine]:
    """The sides of a square 100 px wide from (off, 0), walked clockwise as seen."""
    corners = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]])
    corners[:, 0] += off
    return [
        EdgeLine(corners[k], corners[(k + 1) % 4], 1.0, 0.5, 0.1, 0.1, 0.1, 0.1) for k in range(4)
    ]


@pytest.mark.parametrize(("off", "fits"), [(17.5, True), (18.5, False), (20.5, False)])
def test_corners_move_four_times_the_reach_and_ten_pixels_at_most(
    off: float, fits: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(edges, "straight_sides", lambda *_: moved_square(off))
    start = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]])
    picture = np.zeros((120, 140, 3), np.uint8)
    found = edges._fit_quad(picture, REFERENCES["id_card"], start, 2.0, 0.0)
    assert (found is not None) is fits


def quads_of(mask: Any, monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    monkeypatch.setattr(unaided, "masks", lambda _: iter([mask]))
    window = cast(Any, SimpleNamespace(rgb=np.zeros((300, 300, 3), np.uint8)))
    return list(unaided._quads(window))


def test_four_corners_cover_what_they_are_the_corners_of(monkeypatch: pytest.MonkeyPatch) -> None:
    """By shapely: four corners of a disc cover 2 / pi of it, of a sheet nearly all."""
    disc = Point(150, 150).buffer(50)
    square = Polygon([(100, 150), (150, 100), (200, 150), (150, 200)])
    assert square.area / disc.area == pytest.approx(0.637, abs=0.01)
    assert unaided._FULL == 0.8
    round_one = cv2.circle(np.zeros((300, 300), np.uint8), (150, 150), 50, 1, -1)
    assert quads_of(round_one, monkeypatch) == []
    sheet = np.zeros((300, 300), np.uint8)
    sheet[100:170, 100:200] = 1
    (quad,) = quads_of(sheet, monkeypatch)
    assert quad.tolist() == [[100, 100], [199, 100], [199, 169], [100, 169]]
