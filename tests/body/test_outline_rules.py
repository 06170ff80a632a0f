"""Reading an outline and a stance: each rule alone, reached from both sides."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from photocheck.body import outline_frame, silhouette
from photocheck.body.outline_frame import CloseUp
from photocheck.body.outline_trust import _on_marks, _parts
from photocheck.body.shape import TAGGED, WAY_TERMS, Learnt, TapeRatios
from photocheck.body.silhouette import find_silhouette
from photocheck.body.stance import BodyMarks, _normal_places, judge_stance
from photocheck.body.stance_figures import _FIGURES, abnormal
from photocheck.body.trunk import build_trunk
from photocheck.case.model import DogFacts

Mask = NDArray[np.uint8]
MARKS = {
    "breastbone": (600.0, 400.0),
    "shoulder_top": (540.0, 300.0),
    "last_rib": (420.0, 380.0),
    "tail_base": (300.0, 320.0),
}


def _around(marks: dict[str, tuple[float, float]], shape: tuple[int, int] = (900, 1000)) -> Any:
    return CloseUp.around(np.zeros((*shape, 3), np.uint8), marks)


def test_a_close_up_has_more_room_where_the_head_is() -> None:
    """A dog and its mirror image have mirrored close-ups."""
    right = _around(MARKS)
    left = _around({name: (999.0 - x, y) for name, (x, y) in MARKS.items()})
    assert (right.ahead, left.ahead) == (1.0, -1.0)
    assert (1000 - left.right, 1000 - left.left) == pytest.approx((right.left, right.right), abs=1)
    trunk = float(np.hypot(300.0, 80.0))
    assert right.trunk == pytest.approx(trunk * right.scale)
    assert right.left == int(300.0 - outline_frame.BEHIND * trunk)
    assert right.right == int(600.0 + outline_frame.AHEAD * trunk) + 1
    # which way an upright line looks nobody can say: to the left, as most dogs are photographed
    upright = _around(MARKS | {"breastbone": (300.0, 700.0)})
    assert upright.ahead == -1.0


@pytest.mark.parametrize(("size", "there"), [((16, 400), True), ((15, 400), False),
                                             ((400, 16), True), ((400, 15), False)])  # fmt: skip
def test_a_close_up_is_sixteen_pixels_at_least(size: tuple[int, int], there: bool) -> None:
    """Of a photo whose other pixels lie beside the dog there is nothing to cut."""
    frame = _around(MARKS, size)  # the dog lies beyond its corner
    assert frame is None
    marks = {name: (0.1 * x - 25.0, 0.1 * y - 25.0) for name, (x, y) in MARKS.items()}
    assert (_around(marks, size) is not None) == there


def test_small_copies_have_a_pixel_at_least() -> None:
    frame = CloseUp(0, 0, 400, 2, 0.1, (400, 300), 1.0, 100.0)
    assert frame.copy(np.zeros((300, 400, 3), np.uint8)).shape == (1, 40, 3)
    frame = CloseUp(0, 0, 2, 300, 0.1, (400, 300), 1.0, 100.0)
    assert frame.copy(np.zeros((300, 400, 3), np.uint8)).shape == (30, 1, 3)


@pytest.mark.parametrize("missing", MARKS)
def test_no_outline_without_each_of_the_four_marks(missing: str) -> None:
    marks = {name: at for name, at in MARKS.items() if name != missing}
    assert find_silhouette(np.zeros((900, 1000, 3), np.uint8), marks) is None


# --- the piece ------------------------------------------------------------------------------------


def _marks(**moved: tuple[float, float]) -> dict[str, NDArray[np.float64]]:
    given = {"breastbone": (160.0, 60.0), "shoulder_top": (150.0, 40.0), "tail_base": (50.0, 40.0)}
    return {name: np.array(at) for name, at in (given | moved).items()}


def test_the_dog_is_the_piece_about_the_marks_middle() -> None:
    mask = np.zeros((120, 200), np.uint8)
    mask[30:70, 40:170] = 1
    mask[90:118, 5:190] = 1  # larger, and not the dog
    piece = silhouette._one_piece(mask, _marks())
    assert piece[50, 100] == 1
    assert piece[100, 100] == 0
    aside = _marks(breastbone=(180.0, 8.0), shoulder_top=(180.0, 4.0), tail_base=(180.0, 6.0))
    assert not silhouette._one_piece(mask, aside).any()
    corner = np.zeros((120, 200), np.uint8)
    corner[:20, :20] = 1
    near = _marks(breastbone=(1.0, 1.0), shoulder_top=(1.0, 1.0), tail_base=(1.0, 1.0))
    assert silhouette._one_piece(corner, near).sum() == 400
    one = np.zeros((120, 200), np.uint8)
    one[4, 4] = 1  # a single pixel is a piece
    assert silhouette._one_piece(one, near).sum() == 1


@pytest.mark.parametrize(
    ("hole", "filled"),
    [
        ((100, 50), True),  # a patch of the coat
        ((43, 50), True), ((40, 50), False),  # at the dog's own rim it is daylight
        ((0, 50), False), ((196, 50), False), ((100, 0), False), ((100, 116), False),
        ((1, 50), True), ((195, 50), True), ((100, 1), True), ((100, 115), True),
    ],
)  # fmt: skip
def test_small_holes_are_coat_unless_they_run_out_of_the_picture(
    hole: tuple[int, int], filled: bool
) -> None:
    mask = np.ones((120, 200), np.uint8)
    if hole == (40, 50):
        mask[:, :40] = 0
    x, y = hole
    mask[y : y + 4, x : x + 4] = 0
    piece = silhouette._one_piece(mask, _marks())
    assert bool(piece[y + 1 : y + 3, x + 1 : x + 3].all()) == filled
    # crossing legs leave more daylight than a patch is large
    mask[20:100, 20:100] = 0
    assert not silhouette._one_piece(mask, _marks())[60, 60]


# --- lines and places -----------------------------------------------------------------------------


def test_the_topline_keeps_to_a_fifth_about_the_straight_line() -> None:
    mask = np.zeros((120, 200), np.uint8)
    mask[38:100, 40:170] = 1
    marks = _marks()
    line = silhouette._topline(mask, marks)
    assert [at[0] for at in line] == list(np.arange(50.0, 151.0))
    assert {float(at[1]) for at in line} == {37.5}  # between the last pixel without and the first
    mask[10:38, 60:70] = 1  # a raised tail, beyond a fifth of 100 px
    assert len(silhouette._topline(mask, marks)) == 91
    mask[:38, 60:70] = 0
    mask[21:38, 60:70] = 1  # a hunch within it
    assert min(float(at[1]) for at in silhouette._topline(mask, marks)) == 20.5
    # near the picture's upper border there is less to look at
    high = np.zeros((120, 200), np.uint8)
    high[3:60, 40:170] = 1
    up = _marks(shoulder_top=(150.0, 5.0), tail_base=(50.0, 5.0))
    assert {float(at[1]) for at in silhouette._topline(high, up)} == {2.5}
    high[1:3] = high[3]
    assert {float(at[1]) for at in silhouette._topline(high, up)} == {0.5}


def test_marks_above_each_other_have_no_line_between_them() -> None:
    """No dog stands like that; what is said of the marks comes before, and this must not fail."""
    mask = np.ones((120, 200), np.uint8)
    assert silhouette._topline(mask, _marks(shoulder_top=(50.0, 20.0))) == []
    assert (
        silhouette._topline(mask, _marks(shoulder_top=(50.4, 20.0), tail_base=(50.1, 40.0))) == []
    )


@pytest.mark.parametrize("ahead", [1.0, -1.0])
def test_head_and_feet_lie_on_their_sides(ahead: float) -> None:
    mask = np.zeros((120, 200), np.uint8)
    mask[30:60, 40:170] = 1  # the trunk
    mask[20:30, 176:180] = mask[30:40, 165:180] = 1  # the head
    mask[60:111, 140:145] = mask[60:116, 50:55] = 1  # fore and hind leg
    mask[10:30, 42:44] = 1  # a tail that rises higher than the head
    marks = _marks()
    if ahead < 0:
        mask = np.ascontiguousarray(mask[:, ::-1])
        marks = {name: np.array([199.0 - at[0], at[1]]) for name, at in marks.items()}

    def seen(x: float) -> float:
        return x if ahead > 0 else 199.0 - x

    head = silhouette._head(mask, marks, ahead)
    assert head == pytest.approx([seen(177.5), 19.5])
    frame: Any = SimpleNamespace(ahead=ahead, trunk=110.0)
    feet = silhouette._feet(mask, marks, frame)
    assert feet["front_foot"] == pytest.approx([seen(142.0), 110.5])
    assert feet["rear_foot"] == pytest.approx([seen(52.0), 115.5])
    # below the chest by three tenths of the trunk: 60 + 33
    mask[93:] = 0
    assert silhouette._feet(mask, marks, frame) == {}
    mask[93:95] = mask[92]
    assert set(silhouette._feet(mask, marks, frame)) == {"front_foot", "rear_foot"}
    # of a foot its last three rows tell where it stands
    toes = np.zeros((120, 200), np.uint8)
    toes[95, 20:31] = toes[96:98, 24:27] = toes[98, 40] = 1
    to_right: Any = SimpleNamespace(ahead=1.0, trunk=110.0)
    at = silhouette._feet(toes, _marks(), to_right)
    assert at["rear_foot"] == pytest.approx([25.5, 98.5])


def test_a_single_row_of_foot_is_one() -> None:
    mask = np.zeros((3, 40), np.uint8)
    mask[1, 30] = mask[2, 4] = 1
    low = {"breastbone": np.array([35.0, -50.0]), "tail_base": np.array([5.0, -50.0])}
    frame: Any = SimpleNamespace(ahead=1.0, trunk=30.0)
    feet = silhouette._feet(mask, low, frame)
    assert feet["front_foot"] == pytest.approx([30.0, 1.5])
    assert feet["rear_foot"] == pytest.approx([4.0, 2.5])


@pytest.mark.parametrize(("trunk", "least"), [(100.0, 3), (149.0, 3), (250.0, 5), (400.0, 8)])
def test_a_dog_runs_out_of_the_photo_over_more_than_a_hairs_width(trunk: float, least: int) -> None:
    """A fiftieth of the trunk, three px at least, of the rim's px not all."""
    sides = {"left": np.s_[20:, :1], "right": np.s_[20:, -1:], "top": np.s_[:1, 20:],
             "bottom": np.s_[-1:, 20:]}  # fmt: skip
    frame: Any = SimpleNamespace(trunk=trunk, open_edges=lambda: dict.fromkeys(sides, True))
    shut: Any = SimpleNamespace(trunk=trunk, open_edges=lambda: dict.fromkeys(sides, False))
    for side, at in sides.items():
        for count in (least - 1, least):
            mask = np.zeros((100, 120), np.uint8)
            flat = mask[at].reshape(-1)
            flat[:count] = 1
            mask[at] = flat.reshape(mask[at].shape)
            assert silhouette._touches(mask, frame) == ((side,) if count == least else ())
            assert silhouette._touches(mask, shut) == ()


def test_what_shapes_say_is_never_certain() -> None:
    """Odds stay those of a probability between both ends of what is beyond doubt."""
    sure = np.ones((9, 9), np.float32)
    most = float(np.log((1 - silhouette.BEYOND) / silhouette.BEYOND))
    for place in (sure, 0 * sure):
        for first in (sure, 0 * sure, 0.5 * sure):
            odds = silhouette._placed(place, first, 100.0, 0)
            assert np.isfinite(odds).all()
            assert np.abs(odds).max() <= most * (1 + 1e-5)


@pytest.mark.parametrize(("open_px", "counted"), [(4, False), (5, True)])
def test_a_gap_of_four_pixels_tells_nothing(open_px: int, counted: bool) -> None:
    legs = np.ones((100, 100), np.float32)
    legs[70, 45 : 45 + open_px] = 0.0
    nothing = np.zeros_like(legs)
    shapes: Any = SimpleNamespace(part=lambda name: legs if name == "fore" else nothing)
    marks = {
        "shoulder_top": np.array([80.0, 20.0]), "tail_base": np.array([10.0, 20.0]),
        "last_rib": np.array([40.0, 25.0]), "front_foot": np.array([80.0, 90.0]),
        "rear_foot": np.array([10.0, 90.0]),
    }  # fmt: skip
    shares = _parts(np.zeros((100, 100), np.uint8), shapes, marks, 70.0)
    assert len(shares) == (4 if counted else 3)
    # parts that overlap count as covered, not as less than nothing
    twice: Any = SimpleNamespace(part=lambda name: nothing if name in ("trunk", "head") else legs)
    shares = _parts(np.ones((100, 100), np.uint8), twice, marks, 70.0)
    assert len(shares) == (4 if counted else 3)
    if counted:
        assert shares[-1] == pytest.approx(0.0, abs=1e-6)


def test_marks_on_the_outline_are_told_by_their_distance() -> None:
    """A normal of a thirtieth of the trunk, 2.5 px at least."""
    mask = np.zeros((100, 200), np.uint8)
    mask[40:] = 1
    for trunk, near in ((150.0, 5.0), (60.0, 2.5)):
        for off in (0.0, 3.0, 10.0):
            marks = {"shoulder_top": np.array([100.0, 39.0 - off])}
            assert _on_marks(mask, marks, trunk) == pytest.approx(
                np.exp(-0.5 * (off / near) ** 2), abs=0.05
            )


# --- stance and trunk -----------------------------------------------------------------------------

SQUARE_ON: dict[str, tuple[float, float]] = {
    "breastbone": (0.0, 0.0), "shoulder_top": (90.0, -200.0), "tail_base": (560.0, -150.0),
    "front_foot": (110.0, 380.0), "rear_foot": (590.0, 380.0),
}  # fmt: skip


@pytest.mark.parametrize("accused", [0.0009, 0.0012, 0.49, 0.51])
def test_from_one_in_a_thousand_to_half_of_square_dogs_may_be_accused(accused: float) -> None:
    if 0.001 <= accused <= 0.5:
        assert judge_stance(BodyMarks(SQUARE_ON), accused=accused).accused_share == accused
    else:
        with pytest.raises(ValueError, match=r"between 0\.001 and 0\.5"):
            judge_stance(BodyMarks(SQUARE_ON), accused=accused)


def test_what_a_stance_cannot_be_judged_by_is_refused() -> None:
    upright = SQUARE_ON | {"tail_base": (0.9, -150.0)}
    with pytest.raises(ValueError, match="one upright line"):
        judge_stance(BodyMarks(upright))
    odd: list[dict[str, Any]] = [{"mark_spread_mm": -0.1}, {"coat_mm": -0.1}, {"tilt_deg": np.inf}]
    for wrong in odd:
        with pytest.raises(ValueError, match="finite and not negative"):
            judge_stance(BodyMarks(SQUARE_ON, **wrong))
    assert _normal_places(BodyMarks(SQUARE_ON, mark_spread_mm=0.2, coat_mm=0.2))[1] > 500.0


def test_a_line_of_two_points_is_a_topline() -> None:
    line = ((90.0, -200.0), (560.0, -150.0))
    places, trunk = _normal_places(BodyMarks(SQUARE_ON, topline=line))
    assert places["topline"] == pytest.approx([325.0, 175.0])
    assert trunk == pytest.approx(np.hypot(560.0, 150.0))
    assert "topline" not in _normal_places(BodyMarks(SQUARE_ON, topline=line[:1]))[0]


def test_chest_depth_is_marked_by_two_points_or_by_none() -> None:
    points = {name: np.array([x, y, 0.0]) for name, (x, y) in SQUARE_ON.items()}
    points["last_rib"] = np.array([300.0, -20.0, 0.0])
    terms: Any = dict.fromkeys(("trunk_depth", "trunk_width"), 0.0)
    bare = build_trunk(points, {}, terms, DogFacts())
    for one in ("back_top", "chest_bottom"):
        known = build_trunk(points | {one: np.array([100.0, 99.0, 0.0])}, {}, terms, DogFacts())
        assert known.depth == pytest.approx(bare.depth)
    both = {
        "back_top": np.array([100.0, -200.0, 0.0]),
        "chest_bottom": np.array([100.0, 50.0, 0.0]),
    }
    assert build_trunk(points | both, {}, terms, DogFacts()).depth == pytest.approx(250.0)


def test_ratios_with_tags_that_nobody_taught_are_those_without_give_or_take() -> None:
    span = next(iter(WAY_TERMS))
    by_hand = Learnt(0.04, 0.5)
    own = TapeRatios("1", {span: by_hand, span + TAGGED: Learnt(0.01, 0.7)})
    assert own.way(span) == by_hand
    assert own.way(span + TAGGED) == Learnt(0.01, 0.7)
    wider = TapeRatios("1", {span: by_hand}).way(span + TAGGED)
    assert (wider.shift, wider.spread_factor > 0.5) == (0.04, True)
    assert TapeRatios("1", {}).way(span + TAGGED) == Learnt()


def test_a_figures_sign_is_a_direction_and_no_weight() -> None:
    """Of several that show a posture the one farthest out is told, each by its own width."""
    plans = {plan for groups in _FIGURES.values() for group in groups for plan in group}
    assert {plan.sign for plan in plans} == {-1, 0, 1}
    values = np.array([0.5, 1.0, 1.5, 2.0, 2.5])
    for plan in plans:
        beyond = abnormal(plan, values, 1.0, 2.0)
        below, above = plan.sign <= 0, plan.sign >= 0
        assert beyond.tolist() == [below, False, False, False, above]
