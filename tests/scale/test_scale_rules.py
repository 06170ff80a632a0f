"""Rules of the scale room's searches, each alone: limits reached from both sides, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from photocheck.errors import ScaleError
from photocheck.scale import (
    candidates,
    coarse,
    discs,
    light,
    outline_fits,
)
from photocheck.scale.candidates import BORDER_PX
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.corners import check_corners, contains, corners_mm
from photocheck.scale.ellipses import Ellipse, distances, fit_circle, fit_ellipse
from photocheck.scale.light import Halved
from photocheck.scale.outline_fits import OutlineFit, fitted_outline
from photocheck.scale.sides import _LEAST_ROW_PX, Sides
from photocheck.scale.subpixel import EdgeLine, crossing_spread
from photocheck.scale.thresholds import lies_inside

Array = NDArray[np.float64]
CARD, A4, LETTER = (REFERENCES[kind] for kind in ("id_card", "a4", "letter"))
BLANK = np.full((600, 800, 3), 128, np.uint8)
SQUARE = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])


def _box(wide: float, high: float, x: float = 0.0, y: float = 0.0) -> Array:
    return SQUARE * np.array([wide, high]) / 2 + np.array([x, y])


def _line(
    start: Sequence[float], end: Sequence[float], support: float = 0.9, spread: float = 0.05
) -> EdgeLine:
    return EdgeLine(
        np.array(start, float), np.array(end, float), support, 0.5, 0.1, 0.1, spread, spread
    )


# --- outlines -------------------------------------------------------------------------------------


def _outline(
    half: float | Sequence[float], centre: Sequence[float] | Array = (0.0, 0.0), **told: float
) -> OutlineFit:
    ellipse = Ellipse(np.array(centre, float), np.broadcast_to(half, 2).astype(float), 0.0)
    facts = {"support": 0.9, "scatter_px": 0.5, "steepness": 0.1, "contrast": 0.5, "score": 1.0}
    return OutlineFit(ellipse, ellipse.points(24)[0], **(facts | told))


@pytest.mark.parametrize(
    ("half", "reach", "looked"),
    [
        # wide first, then as far as a pass may still miss by, then a blurred edge's own width
        (60.0, 10.0, (10.0, 4.0, 2.5)),
        (60.0, 4.5, (4.5, 4.0, 2.5)),
        (60.0, 3.5, (3.5, 3.5, 2.5)),
        (60.0, 1.0, (2.5, 2.5, 2.5)),
        # a large one is fitted at a half or a quarter of its size
        (200.0, 16.0, (8.0, 4.0, 2.5)),
        (500.0, 16.0, (4.0, 4.0, 2.5)),
    ],
)
@pytest.mark.parametrize(("kind", "rounds"), [("disc", (0, 0, 0)), ("ball", (1, 1, 0))])
def test_each_pass_looks_no_farther_than_the_last_may_miss(
    monkeypatch: pytest.MonkeyPatch,
    half: float, reach: float, looked: tuple[float, ...], kind: str, rounds: tuple[int, ...],
) -> None:  # fmt: skip
    passes: list[tuple[float, bool]] = []

    def one_pass(_: Any, ellipse: Ellipse, reach_px: float, round_only: bool) -> OutlineFit:
        passes.append((reach_px, round_only))
        return replace(_outline(1.0), ellipse=ellipse, score=3.0)

    monkeypatch.setattr(outline_fits, "_one_pass", one_pass)
    rough = _outline(half, (400.0, 300.0)).ellipse
    fit = fitted_outline(Halved(BLANK), rough, reach, kind)
    assert tuple(reach_px for reach_px, _ in passes) == pytest.approx(looked)
    assert tuple(int(only) for _, only in passes) == rounds
    # and it is told at full size, worth more for being a larger one
    assert fit is not None
    assert fit.ellipse.centre == pytest.approx(rough.centre)
    assert fit.ellipse.half == pytest.approx(rough.half)
    scale = {60.0: 1, 200.0: 2, 500.0: 4}[half]
    assert fit.scatter_px == pytest.approx(0.5 * scale)
    assert fit.score == pytest.approx(3.0 * scale**0.3)


@pytest.mark.parametrize(
    ("half", "level"), [(0.3, 0), (60.0, 0), (129.0, 0), (131.0, 1), (259.0, 1), (261.0, 2)]
)
def test_outlines_are_fitted_at_65_to_130_px(half: float, level: int) -> None:
    assert outline_fits._level(half) == level


def test_a_picture_is_halved_to_single_pixels() -> None:
    pictures = Halved(np.arange(24, dtype=np.uint8).reshape(3, 8))
    assert [pictures.at(level).shape for level in range(5)] == [
        *((3, 8), (1, 4), (1, 2), (1, 1), (1, 1)),
    ]
    assert pictures.at(1).tolist() == [[5, 7, 9, 11]]  # means of two by two


def test_what_is_worth_fitting_has_room_on_both_sides_of_its_edge() -> None:
    """Sixteen rays at least, and twelve that see an edge."""
    picture = np.full((200, 200, 3), 40, np.uint8)
    cv2.circle(picture, (100, 100), 50, (220, 220, 220), -1, cv2.LINE_AA)
    whole = outline_fits._one_pass(picture, _outline(50.0, (100.0, 100.0)).ellipse, 3.0, False)
    assert whole is not None
    assert whole.support > 0.95
    assert whole.ellipse.half == pytest.approx([50.0, 50.0], abs=0.5)
    # 120 rays: of a circle whose middle lies outside few are left in the picture
    for x, seen in ((-45.5, False), (-30.0, True)):
        aside = np.full((200, 200, 3), 40, np.uint8)
        cv2.circle(aside, (round(x), 100), 50, (220, 220, 220), -1, cv2.LINE_AA)
        fit = outline_fits._one_pass(aside, _outline(50.0, (x, 100.0)).ellipse, 3.0, False)
        assert (fit is not None) == seen


@pytest.mark.parametrize(
    ("hand", "half", "reach"),
    [(0.5, 50.0, 2.0), (0.8, 50.0, 2.4), (4.0, 60.0, 12.0), (4.0, 40.0, 10.0), (20.0, 60.0, 15.0)],
)
def test_an_outline_is_looked_for_as_far_as_a_hand_misses(
    monkeypatch: pytest.MonkeyPatch, hand: float, half: float, reach: float
) -> None:
    """Three deviations; 2 px at least; a quarter of the half axis at most."""
    looked: list[float] = []
    monkeypatch.setattr(discs, "fitted_outline", lambda *args: looked.append(args[2]))
    placed = _outline(half, (400.0, 300.0)).points
    points, remarks, spread = discs._from_outline(BLANK, "disc", placed, hand)
    assert looked == pytest.approx([reach])
    assert np.array_equal(points, placed)
    assert (len(remarks), spread) == (1, hand)


@pytest.mark.parametrize(
    ("off", "told", "taken"),
    [
        (5.9, {}, True), (6.1, {}, False),  # two and a half deviations of a hand of 2 px, and 1 px
        (0.0, {"support": 0.61}, True), (0.0, {"support": 0.59}, False),
        (0.0, {"contrast": 0.031}, True), (0.0, {"contrast": 0.029}, False),
    ],
)  # fmt: skip
def test_a_fitted_outline_must_lie_where_it_was_marked_and_be_seen(
    monkeypatch: pytest.MonkeyPatch, off: float, told: dict[str, float], taken: bool
) -> None:
    fit = _outline(60.0, (400.0, 300.0), **told)
    monkeypatch.setattr(discs, "fitted_outline", lambda *_: fit)
    placed = _outline(60.0 + off, (400.0, 300.0)).points
    points, remarks, spread = discs._from_outline(BLANK, "disc", placed, 2.0)
    assert (points is fit.points) == taken
    assert spread == pytest.approx(np.hypot(0.5, 0.15) if taken else 2.0)
    assert bool(remarks) != taken


@pytest.fixture
def fits_given(monkeypatch: pytest.MonkeyPatch) -> list[OutlineFit]:
    """What outlines there are, as a test has them; a rough one leads to each."""
    given: list[OutlineFit] = []
    monkeypatch.setattr(discs, "windows", lambda *_, **__: [None])
    monkeypatch.setattr(
        discs,
        "rough_ellipses",
        lambda *_: [(float(k), f.ellipse, 1.0) for k, f in enumerate(given)],
    )
    monkeypatch.setattr(discs, "alike", lambda *_: False)
    monkeypatch.setattr(discs, "larger_ones", lambda *_: [])
    monkeypatch.setattr(
        discs, "fitted_outline",
        lambda _, ellipse, *__: next(fit for fit in given if fit.ellipse is ellipse),
    )  # fmt: skip
    return given


AT = np.array([400.0, 300.0])


@pytest.mark.parametrize(
    ("half", "score", "apart"),
    [
        (100.0, 0.74, 0.0), (112.0, 0.76, 12.0),  # three quarters of the best one's worth
        (101.9, 0.9, 0.0), (102.1, 0.9, 2.1),  # a fiftieth of its size
    ],
)  # fmt: skip
def test_another_outline_is_doubt_by_half_of_how_much_larger_it_is(
    fits_given: list[OutlineFit], half: float, score: float, apart: float
) -> None:
    fits_given += [_outline(100.0, AT), _outline(half, AT + 30.0, score=score)]
    found = discs.outline_at(BLANK, "disc", AT)
    assert found.best is fits_given[0]
    assert found.rivalled == bool(apart)
    assert found.own == pytest.approx(np.hypot(discs._EDGE_SPREAD["disc"], apart / 100.0 / 2))
    assert found.spread_px == pytest.approx(np.hypot(0.5, 0.15))
    # what is scattered itself tells no such difference: three deviations
    scattered = [replace(fit, scatter_px=4.1) for fit in fits_given]
    fits_given[:] = scattered
    assert discs.outline_at(BLANK, "disc", AT).rivalled == (apart > 3 * np.hypot(4.1, 0.15))


def _pair(inner: float, **told: float) -> list[OutlineFit]:
    """An outline of 100 px and one within it that touches it on the left."""
    return [
        _outline(100.0, AT),
        _outline(inner, AT - [100.0 - inner - 0.2, 0.0], score=0.3, **told),
    ]


@pytest.mark.parametrize(
    ("inner", "told", "rivalled"),
    [
        (93.0, {}, True),
        (93.0, {"support": 0.81}, True), (93.0, {"support": 0.79}, False),  # a tenth less seen
        (99.5, {}, False),  # no other outline: the same, fitted a little elsewhere
    ],
)  # fmt: skip
def test_an_inner_outline_that_touches_is_doubt(
    fits_given: list[OutlineFit], inner: float, told: dict[str, float], rivalled: bool
) -> None:
    fits_given += _pair(inner, **told)
    assert discs.outline_at(BLANK, "disc", AT).rivalled == rivalled
    # in the middle it touches nothing
    fits_given[1] = _outline(inner, AT, score=0.3, **told)
    assert not discs.outline_at(BLANK, "disc", AT).rivalled


def test_a_shape_beside_another_is_not_within_it() -> None:
    outer = _outline(100.0, AT)
    assert discs._wraps("disc", outer, _outline(90.0, AT))
    for aside, within in ((10.5, True), (12.0, False), (60.0, False)):  # a hundredth over the rim
        assert discs._wraps("disc", outer, _outline(90.0, AT + np.array([aside, 0.0]))) == within
    assert not discs._touches(outer, _outline(90.0, AT))
    assert discs._touches(outer, _outline(90.0, AT + np.array([9.9, 0.0])))


def test_a_better_ellipse_that_touches_is_the_things() -> None:
    """A coin's upper edge, and its outline with its side or shadow: not quite an ellipse."""
    outer, inner = _outline(100.0, AT, scatter_px=2.0), _outline(93.0, AT - [6.8, 0.0])
    assert not discs._hides("disc", outer, inner)
    assert discs._hides("disc", outer, replace(inner, support=0.89))
    assert discs._hides("disc", outer, replace(inner, scatter_px=1.9))
    assert discs._hides("disc", outer, _outline(93.0, AT))
    assert not discs._hides("disc", outer, _outline(93.0, AT + 60.0))


@pytest.mark.parametrize(
    ("kind", "half", "told", "near", "taken"),
    [
        ("disc", (50.0, 30.0), {}, (0, 0), True),
        ("disc", (30.0, 50.0), {}, (0, 0), True),
        ("disc", (50.0, 30.0), {}, (0, 31), False),
        ("disc", (50.0, 30.0), {"support": 0.0}, (0, 0), False),
        ("disc", (50.0, 30.0), {"contrast": 0.029}, (0, 0), False),
        ("disc", (50.0, 4.0), {}, (0, 0), False),
        ("ball", (50.0, 30.0), {}, (0, 0), False),
        ("ball", (50.0, 49.0), {}, (0, 0), True),
        ("ball", (49.0, 50.0), {}, (0, 0), True),
    ],
)
def test_an_outline_must_be_seen_round_and_hold_the_mark(
    kind: str, half: tuple[float, float], told: dict[str, float], near: tuple[int, int], taken: bool
) -> None:
    fit = _outline(half, AT, **told)
    assert discs._plausible(kind, fit, AT + near, BLANK.shape) == taken


def test_diameters_and_marks_that_are_none() -> None:
    with pytest.raises(ScaleError, match="missing or not a positive"):
        discs.find_disc(BLANK, 0.0, "disc", near=(9.0, 9.0), size_spread=0.0)
    with pytest.raises(ScaleError, match="neither marked nor pointed at"):
        discs.find_disc(BLANK, 0.5, "disc", size_spread=0.0)
    for wrong in ((np.nan, 5.0), (5.0, np.nan)):
        with pytest.raises(ScaleError, match="not a number"):
            discs.outline_at(BLANK, "disc", np.array(wrong))


def test_ellipses_through_few_points() -> None:
    """Five fix an ellipse, three a circle; on one line lies neither."""
    round_ones = _outline((40.0, 25.0), AT).points[::5]
    assert fit_ellipse(round_ones[:4]) is None
    five = fit_ellipse(round_ones)
    assert five is not None
    assert sorted(five.half) == pytest.approx([25.0, 40.0], rel=1e-3)
    assert fit_ellipse(np.zeros((6, 2))) is None
    three = fit_circle(np.array([[0.0, 0.0], [6.0, 0.0], [0.0, 8.0]]))  # Thales: radius 5
    assert three is not None
    assert three.centre == pytest.approx([3.0, 4.0])
    assert three.half == pytest.approx([5.0, 5.0])
    small = fit_circle(np.array([[0.0, 0.0], [0.6, 0.0], [0.0, 0.8]]))
    assert small is not None
    assert small.half == pytest.approx([0.5, 0.5])
    assert fit_circle(np.array([[0.0, 0.0], [6.0, 0.0]])) is None
    assert fit_circle(np.array([[0.0, 0.0], [1.0, 1.0], [2.0, 2.0]])) is None
    # in the very middle, where no direction is the nearest, the distance is still told
    assert np.isfinite(distances(_outline(5.0).ellipse, np.zeros((1, 2)))).all()


# --- shapes with corners --------------------------------------------------------------------------


def test_the_border_is_half_a_pixel_beyond_the_outer_centres() -> None:
    for inside, points in (
        (True, [(-0.5, -0.5), (-0.3, 3.0), (639.5, 479.5), (639.4, 0.0), (3.0, 479.4)]),
        (False, [(-0.51, 0.0), (0.0, -0.51), (639.6, 0.0), (0.0, 479.6), (np.nan, 1.0)]),
    ):
        assert [lies_inside(x, y, (480, 640)) for x, y in points] == [inside] * 5


@pytest.mark.parametrize(("degrees", "told"), [(12.5, False), (11.5, True)])
def test_a_corner_of_twelve_degrees_lies_in_a_line(degrees: float, told: bool) -> None:
    aside = 100.0 * np.tan(np.deg2rad(degrees) / 2)
    kite = np.array(
        [[100.0, 200.0], [200.0, 200.0 - aside], [300.0, 200.0], [200.0, 200.0 + aside]]
    )
    if told:
        with pytest.raises(ScaleError, match="lies in a line"):
            check_corners(kite, (480, 640))
    else:
        assert check_corners(kite, (480, 640)).shape == (4, 2)


@pytest.mark.parametrize("scale", [0.01, 1.0, 100.0])
def test_a_shape_holds_its_middle_at_any_size(scale: float) -> None:
    assert contains(scale * SQUARE, np.zeros(2))
    for at in ([1.1, 0.0], [-1.1, 0.0], [0.0, 1.1], [0.0, -1.1]):
        assert not contains(scale * SQUARE, scale * np.array(at))


def test_only_what_has_two_sides_has_corners() -> None:
    for one_side in (replace(A4, width_mm=None), replace(A4, height_mm=None)):
        with pytest.raises(ScaleError, match="have corners"):
            corners_mm(one_side, _box(300.0, 200.0))
        with pytest.raises(ValueError, match="has no fixed size"):
            _ = one_side.size_mm


def test_a_fifth_of_a_side_at_most_is_left_out() -> None:
    """6 mm at either end for rounding and thumbs, of a thing 30 mm wide and less a fifth."""
    for short, trim in ((20.0, 0.2), (29.0, 0.2), (31.0, 6 / 31), (54.0, 6 / 54)):
        small = replace(CARD, width_mm=2 * short, height_mm=short)
        assert coarse.trim_of(small) == pytest.approx(trim)
        trims = coarse.trims_of(small, _box(200.0, 100.0, 300.0, 300.0))
        assert trims[1] == pytest.approx((trim, trim))
        assert trims[0] == pytest.approx((min(3 / short, 0.2),) * 2)


def test_lines_that_meet_aslant_doubt_their_corner_by_no_more_than_five_times() -> None:
    """A sine of a fifth is 11.5 degrees; at right angles each axis has one line's own doubt."""
    own = np.hypot(0.05, 0.3 * 0.1)
    for sine, times in ((1.0, 1.0), (0.5, 2.0), (0.21, 1 / 0.21), (0.19, 5.0), (0.05, 5.0)):
        meeting = _line((0, 0), (sine * 90.0, np.sqrt(1 - sine**2) * 90.0))
        assert crossing_spread(_line((0, -50), (0, 0)), meeting) == pytest.approx(own * times)


def _whole(quad: Array, support: float = 0.9) -> list[Any]:
    lines = [_line(a, b, support) for a, b in zip(quad, np.roll(quad, -1, axis=0), strict=True)]
    return [SimpleNamespace(first=line, second=line, support=line.support) for line in lines]


def test_sides_close_to_a_shape_near_the_rough_one() -> None:
    """Within 12 px and a twentieth of the longest side."""
    window: Any = SimpleNamespace(to_photo=lambda corners: 2.0 * corners)
    rough = _box(200.0, 100.0, 150.0, 150.0)
    shifted = [0.0, 21.5, -21.5, 22.5, -22.5]
    for off, kept in zip(shifted, (True, True, True, False, False), strict=True):
        shape = coarse._closed(window, rough, _whole(rough + np.array([off, 0.0])))
        assert (shape is not None) == kept
        if shape is not None:
            assert shape.corners == pytest.approx(2.0 * (rough + np.array([off, 0.0])))
    one_off = rough.copy()
    one_off[2] += 22.5  # a single corner beyond
    assert coarse._closed(window, rough, _whole(one_off)) is None
    hollow = rough.copy()
    hollow[2] = (80.0, 130.0)
    assert coarse._closed(window, hollow, _whole(hollow)) is None
    parallel = _whole(rough)
    parallel[1] = parallel[0]
    assert coarse._closed(window, rough, parallel) is None
    small = _box(0.6, 0.6, 5.0, 5.0)
    assert coarse._closed(window, small, _whole(small)) is not None


# --- looks at a picture ---------------------------------------------------------------------------


def _gradient(height: int, width: int) -> NDArray[np.uint8]:
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    return np.asarray(np.stack([x % 251, y % 251, (x + y) % 251], axis=2), np.uint8)


@pytest.mark.parametrize("shape", [(400, 900), (900, 400), (7, 400), (400, 7), (40, 30)])
def test_a_look_is_shrunk_until_its_longer_side_fits(shape: tuple[int, int]) -> None:
    window = candidates.window_of(_gradient(*shape), 100)
    high, wide = np.array(window.rgb.shape[:2]) - 2 * BORDER_PX
    if max(shape) > 100:
        assert max(high, wide) == 100
        assert min(high, wide) == max(round(min(shape) / window.scale), 8)
        assert window.scale == pytest.approx(max(shape) / 100, rel=0.01)
    else:
        assert (high, wide) == shape
    # its middle is the picture's
    assert window.to_photo(window.mark) == pytest.approx((np.array(shape[::-1]) - 1) / 2)


def test_a_look_made_of_halves_shows_each_thing_where_it_is() -> None:
    """A disc's middle, as far from the border as may be, in looks 4 to 17 times smaller."""
    picture = np.zeros((1211, 1603, 3), np.uint8)
    for at in ((150.0, 130.0), (1480.0, 1080.0), (803.0, 606.0)):
        y, x = np.mgrid[: picture.shape[0], : picture.shape[1]]
        here = np.where(np.hypot(x - at[0], y - at[1])[..., None] < 60, 200, picture)
        for most_px in (94, 150, 220, 399):
            look = candidates.window_of(here.astype(np.uint8), most_px)
            weights = look.rgb[..., 0].astype(float)
            row, column = np.mgrid[: weights.shape[0], : weights.shape[1]]
            middle = np.array([(weights * column).sum(), (weights * row).sum()]) / weights.sum()
            # both axes are as much smaller as the longer one, to half a px of the look at its end
            assert look.to_photo(middle) == pytest.approx(at, abs=0.55 * look.scale)


def test_halves_lose_only_what_has_no_pair() -> None:
    halves = Halved(_gradient(101, 64))
    assert halves.at(0) is halves.picture
    assert halves.at(2).shape == (25, 16, 3)
    assert halves.at(1) is halves.at(1)
    squares = halves.picture[:100].reshape(25, 4, 16, 4, 3).astype(float)
    # averaged twice, each time to whole codes
    assert halves.at(2) == pytest.approx(squares.mean(axis=(1, 3)), abs=1.0)


def test_a_look_is_made_of_halves_only_where_it_is_much_smaller(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[int] = []
    at = Halved.at

    def seen(halves: Halved, times: int) -> NDArray[np.uint8]:
        asked.append(times)
        return at(halves, times)

    monkeypatch.setattr(Halved, "at", seen)
    for shape, times in (((300, 390), 0), ((300, 410), 2), ((300, 1590), 3), ((40, 1590), 1)):
        # of less than 16 px across no half is made: it would lose too much with what has no pair
        candidates.window_of(_gradient(*shape), 100)
        assert asked.pop() == times, shape
        assert asked == []


def test_windows_grow_from_the_least_that_is_asked_for_to_the_widest() -> None:
    picture = _gradient(300, 400)
    near = np.array([200.0, 150.0])

    def widths(across: tuple[float, float], growth: float = 2.0) -> list[float]:
        looks = candidates.windows(picture, near, 100, across, growth)
        return [float(look.rgb.shape[1] * look.scale) for look in looks]

    first = 2 * candidates._FIRST_HALF * 100
    every = widths((0.0, np.inf))
    assert every[0] == pytest.approx(first, abs=3)
    assert every[-1] == pytest.approx(400 * (1 + 2 * BORDER_PX / 100), abs=3)
    assert widths((first + 1, np.inf))[0] == pytest.approx(2 * first, abs=4)
    assert widths((first - 1, np.inf)) == pytest.approx(every)
    assert len(widths((0.0, 1.0))) == 1
    assert len(widths((0.0, 2 * first + 1))) == 2
    assert len(widths((0.0, 2 * first - 1))) == 1


def test_the_last_window_is_the_whole_picture_whichever_border_is_farthest() -> None:
    for near in ((20.0, 20.0), (380.0, 20.0), (20.0, 280.0), (380.0, 280.0), (200.0, 20.0)):
        *_, last = candidates.windows(_gradient(300, 400), np.array(near), 500, growth=1.3)
        assert last.rgb.shape[:2] == (300 + 2 * BORDER_PX, 400 + 2 * BORDER_PX), near


def test_a_window_about_corners_lies_in_the_picture() -> None:
    picture = _gradient(300, 400)
    for corners, shape in (
        (_box(40.0, 20.0, 100.0, 100.0), (41, 61)),  # 10 px more on each side
        # at the picture's own border there is room to look beyond it
        (_box(40.0, 20.0, 0.0, 0.0), (21 + BORDER_PX, 31 + BORDER_PX)),
        (_box(40.0, 20.0, 399.0, 299.0), (21 + BORDER_PX, 31 + BORDER_PX)),
        (_box(40.0, 20.0, 600.0, 600.0), (2 + BORDER_PX, 2 + BORDER_PX)),
        (_box(40.0, 20.0, -300.0, -300.0), (2 + BORDER_PX, 2 + BORDER_PX)),
    ):
        look = candidates.window_about(picture, corners, corners.mean(axis=0), 320, 0.25)
        assert look.rgb.shape[:2] == shape


def test_an_outline_holds_the_mark_by_its_hull() -> None:
    angle = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    ring = np.rint(100 + 40 * np.column_stack([np.cos(angle), np.sin(angle)]))
    contour = ring.astype(np.int32)[:, None]
    for at, held in (((100, 100), True), ((60, 100), True), ((140, 100), True), ((100, 140), True),
                     ((72, 72), True), ((68, 68), False), ((140.5, 100), False),
                     ((100, 59.5), False)):  # fmt: skip
        assert candidates._holds(contour, np.array(at, float)) == held, at
    assert not candidates._holds(contour[:19], np.array([135.0, 110.0]))


@pytest.mark.parametrize("at", [(-40.0, 50.0), (0.0, 0.0), (1e4, 1e4), (50.0, -3.0), (99.0, 79.0)])
def test_a_mark_beyond_the_border_is_the_nearest_pixel(at: tuple[float, float]) -> None:
    plane = _gradient(80, 100)
    slope = np.zeros((80, 100, 2), np.float32)
    outside, inside = (
        SimpleNamespace(lab=plane, slope=slope, mark=np.array(mark))
        for mark in (at, np.clip(at, 0, [99, 79]))
    )
    looks: Any = (outside, inside)
    one, other = (list(candidates._regions(look)) for look in looks)
    assert all(np.array_equal(a, b) for a, b in zip(one, other, strict=True))


@pytest.mark.parametrize(("shape", "edges"), [((1, 9), False), ((9, 1), False), ((2, 9), True),
                                              ((9, 2), True), ((1, 1), False)])  # fmt: skip
def test_a_single_row_has_no_edges(shape: tuple[int, int], edges: bool) -> None:
    plane = np.asarray(np.indices(shape).sum(axis=0) % 2 * 200, np.uint8)
    assert candidates._has_edges(plane, 2) == edges


def test_light_is_sampled_up_to_the_border_and_told_beyond() -> None:
    picture = _gradient(40, 60)
    points = np.array([[5.0, 5.0], [59.0, 20.0], [0.0, 39.0], [57.0, 20.0], [70.0, 50.0]])
    normals = np.array([[1.0, 0.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]])
    seen, inside = light.sample_rows(picture, points, normals, np.array([-2.0, 0.0, 2.0]))
    assert inside.tolist() == [True, False, False, True, False]
    for row, (x, y) in enumerate([(5, 5), (59, 20), (0, 39), (57, 20), (59, 39)]):
        assert seen[row, 1] == pytest.approx(light.SRGB_TO_LIGHT[picture[y, x]])
    for at in ((-50.0, -60.0), (200.0, 300.0), (59.0, -9.0), (-9.0, 39.0)):
        (alone,), _ = light.sample_rows(picture, np.array([at]), normals[:1], np.zeros(1))
        x, y = np.clip(at, 0, [59, 39]).astype(int)
        assert alone[0] == pytest.approx(light.SRGB_TO_LIGHT[picture[y, x]])


def test_one_sample_a_side_tells_colours_apart() -> None:
    """Of one or two samples the outer thirds are one each."""
    rows = np.array([[[0.2], [0.8]]], np.float32)
    colour, contrast = light.colour_direction(rows)
    assert (colour.tolist(), contrast) == ([1.0], pytest.approx(-0.75))
    two = np.array([[[0.2, 0.4], [0.8, 0.4]]], np.float32)
    colour, contrast = light.colour_direction(two)
    assert colour == pytest.approx([-1.0, 0.0])
    assert contrast == pytest.approx(0.6 / np.hypot(0.8, 0.4))
    dark = np.array([[[0.001], [0.003]]], np.float32)  # a hundredth of white is the least
    assert light.colour_direction(dark)[1] == pytest.approx(-0.2)


@pytest.mark.parametrize(
    ("at", "half", "found"),
    [(4.3, 3, 4.3), (1.2, 9, 1.2 - 0.0), (7.4, 9, np.nan), (0.6, 9, np.nan), (6.2, 9, 6.2),
     (6.6, 2, np.nan)],
)  # fmt: skip
def test_a_peak_needs_a_neighbour_on_either_side(at: float, half: int, found: float) -> None:
    """A parabola through three samples gives back the one it was sampled from."""
    row = 5.0 - (np.arange(9.0) - at) ** 2
    position, _ = light.peak_position(row[None], 4, half)
    if at == 1.2:
        assert np.isnan(position[0])  # the border of the search
    else:
        assert position[0] + 4 == pytest.approx(found, nan_ok=True)


def test_pictures_are_halved_as_long_as_both_sides_can_be() -> None:
    def shapes(*shape: int, most: float = 8) -> tuple[tuple[int, ...], int]:
        small, shrink = light.halved(np.zeros(shape, np.uint8), most)
        return small.shape, shrink

    assert shapes(32, 16) == ((8, 4), 4)
    assert shapes(33, 17) == ((8, 4), 4)
    assert shapes(64, 2) == ((32, 1), 2)
    assert shapes(64, 1) == ((64, 1), 1)
    assert shapes(2, 64) == ((1, 32), 2)
    assert shapes(8, 8) == ((8, 8), 1)


def test_a_side_is_seen_a_few_pixels_to_either_side_of_it() -> None:
    picture = _gradient(40, 60)
    starts, ends = np.array([[[10.0, 5.0]]]), np.array([[[50.0, 5.0]]])

    def inside(y: float, wide: float) -> bool:
        down = np.array([0.0, y - 5.0])
        sides = Sides(picture, starts + down, ends + down, blocks=4,
                      margin_px=9.0, trim=(0.0, 0.0))  # fmt: skip
        return bool(sides.sample(np.zeros((1, 2)), np.array([-wide, 0.0, wide]), 1)[1].all())

    few = _LEAST_ROW_PX
    assert inside(few, 9.0)
    assert not inside(few - 0.1, 9.0)
    assert inside(39.0 - few, 9.0)
    assert not inside(39.1 - few, 9.0)
    assert inside(1.0, 1.0)
    assert not inside(0.9, 1.0)
    # a side that lies wholly outside has the border's light, and is not inside
    far = np.array([0.0, 90.0])
    beyond_it = Sides(picture, starts + far, ends + far, blocks=4, margin_px=2.0,
                      trim=(0.0, 0.0))  # fmt: skip
    seen, within = beyond_it.sample(np.zeros((1, 2)), np.array([-1.0, 0.0, 1.0]), 1)
    assert not within.any()
    middle = beyond_it.middle * 40.0 + 10.0
    columns = light.SRGB_TO_LIGHT[picture[39, np.rint(middle).astype(int)]]
    assert seen[0, :, 1] == pytest.approx(columns, abs=0.02)


def test_of_the_rings_around_an_outline_three_are_tried() -> None:
    """A coin has its core, its rim and its edge; what else is round about it is the ground's."""
    picture = np.full((300, 300, 3), 60, np.uint8)
    rings = (80.0, 73.0, 66.0, 59.0)
    for number, radius in enumerate(rings):
        tone = (95 + 35 * number,) * 3
        cv2.circle(picture, (150, 150), round(radius), tone, -1, cv2.LINE_AA)
    one = _outline(50.0, (150.0, 150.0)).ellipse
    larger = [float(found.half[0]) for found in outline_fits.larger_ones(Halved(picture), one)]
    nearest = [min(rings, key=lambda ring: abs(ring - half)) for half in larger]
    assert larger == pytest.approx(nearest, abs=1.5)
    assert len(nearest) == len(set(nearest)) == 3  # no ring twice
