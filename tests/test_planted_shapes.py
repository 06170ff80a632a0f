"""Corners, lines, outlines and photos held by shapely, SciPy and arithmetic by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage, optimize
from shapely import LineString, Point, Polygon
from shapely.affinity import scale

from photocheck.body.outline_frame import CloseUp
from photocheck.body.outline_trust import _on_marks
from photocheck.body.silhouette import _beside, _feet, _head, _one_piece, _topline, _touches
from photocheck.case.model import DogFacts
from photocheck.judge.estimate import estimate
from photocheck.judge.explain import Posterior, Ranked, told
from photocheck.judge.explanations import KINDS, UNNAMED
from photocheck.scale import rivals
from photocheck.scale.candidates import Window
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.corners import (
    _sides_cross,
    contains,
    corner_turns,
    corners_mm,
    order_corners,
)
from photocheck.scale.light import gradient_across, peak_position
from photocheck.scale.marker_detection import places_mm
from photocheck.scale.marker_plane import _SPREAD_FLOOR_PX, settled
from photocheck.scale.planes import fit_homography, project
from photocheck.scale.priors import Offset
from photocheck.scale.rivals import FittedShape
from photocheck.scale.subpixel import EdgeLine, crossing
from tests.support.judged import marking, square_view

# --- four corners --------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(12))
def test_corners_are_walked_clockwise_as_shapely_walks_them(seed: int) -> None:
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0, 2 * np.pi, 4)) if seed % 2 else np.arange(4) * np.pi / 2 + 0.4
    convex = np.column_stack([np.cos(angle), np.sin(angle)]) * 50.0 + rng.uniform(80, 90, 2)
    ordered = order_corners(rng.permutation(convex))
    assert Polygon(ordered).is_valid
    # y runs down: clockwise as seen is shapely's counter-clockwise
    assert Polygon(ordered).exterior.is_ccw
    assert np.argmin(ordered.sum(axis=1)) == 0
    assert np.all(corner_turns(ordered) > 0)
    assert np.all(corner_turns(ordered[::-1]) < 0)
    # twice the area: half the turns at opposite corners
    assert corner_turns(ordered)[::2].sum() == pytest.approx(2 * Polygon(ordered).area)
    for point in rng.uniform(20, 150, (20, 2)):
        assert contains(ordered, point) == Polygon(ordered).contains(Point(point))


@pytest.mark.parametrize("seed", range(20))
def test_sides_cross_where_shapely_says_so(seed: int) -> None:
    corners = np.random.default_rng(seed).uniform(0, 100, (4, 2))
    for k in range(4):
        a, b, c, d = (corners[(k + i) % 4] for i in range(4))
        assert _sides_cross(corners, k) == LineString([a, b]).crosses(LineString([c, d]))


@pytest.mark.parametrize("upright", [False, True])
def test_the_longer_side_lies_where_it_needs_the_less_slant(upright: bool) -> None:
    size = np.array([53.98, 85.6] if upright else [85.6, 53.98])
    seen = 3.0 * size * np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
    points, angle, other = corners_mm(REFERENCES["id_card"], seen)
    np.testing.assert_allclose(np.ptp(points, axis=0), size)
    assert angle == pytest.approx(0.0, abs=2e-3)  # where a cosine is flat
    # squeezed the other way: sides' ratio twice over is the cosine
    assert np.cos(other) == pytest.approx((53.98 / 85.6) ** 2, rel=1e-6)


def line(start: tuple[float, float], end: tuple[float, float]) -> EdgeLine:
    return EdgeLine(np.array(start), np.array(end), 1.0, 0.5, 0.1, 0.1, 0.05, 0.05)


@pytest.mark.parametrize("seed", range(10))
def test_lines_meet_where_shapely_has_them_meet(seed: int) -> None:
    rng = np.random.default_rng(seed)
    one, other = rng.uniform(0, 100, (2, 2, 2))
    found = crossing(line(*one), line(*other))
    if found is None:
        return
    longer = [LineString([e[0] - 99 * (e[1] - e[0]), e[1] + 99 * (e[1] - e[0])]) for e in
              (one, other)]  # fmt: skip
    at = longer[0].intersection(longer[1])
    assert (at.x, at.y) == pytest.approx(tuple(found), abs=1e-6)


@pytest.mark.parametrize(
    ("degrees", "meets"), [(7.8, False), (8.2, True), (-7.8, False), (-90, True)]
)
def test_lines_nearly_parallel_meet_nowhere(degrees: float, meets: bool) -> None:
    far = (100.0 * np.cos(np.radians(degrees)), 100.0 * np.sin(np.radians(degrees)))
    assert (
        crossing(line((0, 0), (60, 0)), line((0, 5), (far[0], 5 + far[1]))) is not None
    ) == meets


CARD = 3.0 * np.array([85.6, 53.98]) * np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) + 40.0


def shape_at(corners: NDArray[np.float64], scale: float = 1.0) -> FittedShape:
    """A shape found there, in a window of so many px of the photo to one of its own."""
    window = SimpleNamespace(scale=scale, origin=np.zeros(2))
    return FittedShape(corners, (), np.zeros(4), cast(Window, window))


def test_shapes_are_weighed_as_a_logit_weighs_them(monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: the exponential of each score, over all of them and one for none."""
    stripe = CARD * np.array([1.0, 0.7])
    found = [shape_at(CARD), shape_at(stripe), shape_at(CARD + 0.3, scale=2.0)]
    facts = np.zeros((3, len(rivals.FEATURES)))
    facts[:, rivals.FEATURES.index("seen mean")] = [1.0, 0.9, 0.95]
    facts[:, rivals.FEATURES.index("size")] = [2.0, 1.8, 2.0]
    monkeypatch.setattr(rivals, "measured", lambda *_, **__: facts.copy())
    weights = dict(zip(rivals.FEATURES, rivals.WEIGHTS, strict=True))
    scores = [
        weights["seen mean"] * seen + weights["size"] * (size - 2.0) + rivals.BIAS
        for seen, size in ((1.0, 2.0), (0.9, 1.8), (0.95, 2.0))
    ]
    odds = np.exp(scores)
    shares = odds / (1.0 + odds.sum())
    weighed = rivals.weigh(found, (85.6, 53.98), (400, 400, 3))
    assert weighed is not None
    assert weighed.best is found[0]  # of one shape in two windows the one that shows it larger
    assert weighed.sure == pytest.approx(shares[0] + shares[2])
    assert weighed.any_of_them == pytest.approx(shares.sum())
    ((share, corners),) = weighed.rivals
    assert share == pytest.approx(shares[1] / (shares[0] + shares[2]))
    np.testing.assert_allclose(corners, stripe)
    assert rivals.weigh([], (85.6, 53.98), (400, 400, 3)) is None


def test_what_lies_in_one_place_is_looked_at_again_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The likeliest places, each by the window that shows it largest, and no more than asked."""
    stripe = CARD * np.array([1.0, 0.7])
    found = [shape_at(stripe), shape_at(CARD, scale=2.0), shape_at(CARD + 0.3), shape_at(2 * CARD)]
    facts = np.zeros((4, len(rivals.FEATURES)))
    facts[:, rivals.FEATURES.index("seen mean")] = [0.9, 1.0, 0.95, 0.2]
    monkeypatch.setattr(rivals, "measured", lambda *_, **__: facts.copy())
    kept = rivals.apart(found, (85.6, 53.98), (400, 400, 3), 2)
    assert kept[0] is found[2]
    assert kept[1] is found[0]
    assert len(kept) == 2
    assert rivals.apart([], (85.6, 53.98), (400, 400, 3), 2) == []


# --- the sheet's plane ---------------------------------------------------------------------------

TILTED = np.array([[2.0, 0.1, 400.0], [-0.2, 1.9, 300.0], [1e-4, -2e-4, 1.0]])
EVERY = [(place, k) for place in range(4) for k in range(4)]


def printed(growth_mm: float, noise: float = 0.0) -> dict[tuple[int, int], np.ndarray]:
    """Corners as a camera sees them where all that is black has grown."""
    rng = np.random.default_rng(0)
    found = {}
    for place, k in EVERY:
        corner, middle = places_mm(place)[k], places_mm(place).mean(axis=0)
        grown = corner + growth_mm * np.sign(corner - middle)
        found[place, k] = project(TILTED, grown[None])[0] + noise * rng.normal(0.0, 1.0, 2)
    return found


@pytest.mark.parametrize("growth", [-0.15, 0.0, 0.2])
def test_what_ink_grows_by_is_taken_off(growth: float) -> None:
    found = settled(printed(growth))
    assert found is not None
    source, corrected, spread, places = found
    # the growth is held near none by half a pixel: a hundredth of it may be left
    np.testing.assert_allclose(corrected, project(TILTED, source), atol=0.02)
    assert spread == _SPREAD_FLOOR_PX
    assert places == {0, 1, 2, 3}


def test_what_corners_leave_over_is_that_of_a_general_fit() -> None:
    """SciPy's least squares on the nine numbers, the growth held by half a pixel."""
    seen = printed(0.1, noise=0.4)
    found = settled(seen)
    assert found is not None
    source, target = found[0], np.array([seen[key] for key in sorted(seen)])
    outward = np.array(
        [np.sign(places_mm(p)[k] - places_mm(p).mean(axis=0)) for p, k in sorted(seen)]
    )
    scale = np.sqrt(np.linalg.det(TILTED[:2, :2]))

    def misses(nine: np.ndarray) -> np.ndarray:
        matrix = np.append(nine[:8], 1.0).reshape(3, 3)
        miss = project(matrix, source + nine[8] * outward) - target
        return np.append(miss.ravel(), 0.2 * scale * nine[8])

    start = np.append((TILTED / TILTED[2, 2]).ravel()[:8], 0.0)
    best = optimize.least_squares(misses, start, x_scale=np.maximum(np.abs(start), 1e-4))
    left = best.fun[:-1]
    assert found[2] == pytest.approx(np.sqrt(left @ left / (2 * 16 - 9)), rel=0.01)


@pytest.mark.parametrize("wrong", [[(1, 2)], [(2, 0), (2, 1)], [(0, 3), (0, 0)]])
def test_corners_that_contradict_the_rest_are_dropped(wrong: list[tuple[int, int]]) -> None:
    seen = printed(0.0, noise=0.05)
    for key in wrong:
        seen[key] = seen[key] + [2.5, -1.5]
    found = settled(seen)
    assert found is not None
    assert len(found[0]) == 16 - len(wrong)
    kept = {tuple(np.round(mm, 3)) for mm in found[0]}
    for place, k in wrong:
        assert tuple(np.round(places_mm(place)[k], 3)) not in kept
    assert found[2] < 0.15


@pytest.mark.parametrize(("keys", "enough"), [(6, True), (5, False)])
def test_six_corners_of_two_squares_are_needed(keys: int, enough: bool) -> None:
    seen = printed(0.0)
    some = {key: seen[key] for key in [(0, 0), (0, 1), (0, 2), (2, 0), (2, 1), (2, 2)][:keys]}
    assert (settled(some) is not None) == enough
    assert settled({key: at for key, at in seen.items() if key[0] == 1}) is None


def test_points_that_fix_no_plane_give_none() -> None:
    square = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 50.0], [0.0, 50.0]])
    assert fit_homography(square[:3], square[:3]) is None
    assert fit_homography(square, np.zeros((4, 2))) is None
    found = fit_homography(square, 3.0 * square)
    assert found is not None
    np.testing.assert_allclose(found, np.diag([3.0, 3.0, 1.0]), atol=1e-5)


# --- edges ---------------------------------------------------------------------------------------


def test_slopes_across_are_those_of_scipys_gaussian() -> None:
    rng = np.random.default_rng(1)
    rows = np.cumsum(rng.normal(0.0, 1.0, (5, 60)), axis=1)
    for sigma, step in ((1.0, 0.5), (2.0, 0.5), (1.5, 1.0)):
        found = gradient_across(rows, sigma, step)
        # of a ramp the slope, whatever the kernel
        np.testing.assert_allclose(
            gradient_across(np.arange(60.0)[None] * step, sigma, step)[:, 20:40], 1.0
        )
        expected = ndimage.gaussian_filter1d(
            rows, sigma / step, axis=1, order=1, truncate=3.0, mode="nearest"
        )
        np.testing.assert_allclose(found[:, 15:45], expected[:, 15:45] / step, rtol=0.06, atol=0.06)


def test_a_peak_is_that_of_its_parabola() -> None:
    columns = np.arange(41.0)
    rows = np.stack([5.0 - 0.3 * (columns - at) ** 2 for at in (20.3, 18.8, 23.49)])
    position, height = peak_position(rows, 20, 6)
    np.testing.assert_allclose(position, [0.3, -1.2, 3.49])
    np.testing.assert_allclose(height, rows.max(axis=1))
    away, _ = peak_position(rows, 20, 2)
    assert np.isnan(away[2])
    assert np.isfinite(away[:2]).all()


# --- outlines ------------------------------------------------------------------------------------

FRAME = CloseUp(0, 0, 300, 200, 1.0, (300, 200), -1.0, 120.0)
MARKS = {
    "breastbone": np.array([60.0, 100.0]),
    "shoulder_top": np.array([90.0, 60.0]),
    "last_rib": np.array([130.0, 90.0]),
    "tail_base": np.array([180.0, 60.0]),
}


def block() -> np.ndarray:
    """A table of a dog: trunk, two legs, a head ahead of it."""
    mask = np.zeros((200, 300), np.uint8)
    mask[60:110, 60:181] = 1
    mask[110:170, 70:81] = 1
    mask[110:173, 165:176] = 1
    mask[30:64, 40:61] = 1
    return mask


def test_the_outline_is_trusted_by_how_near_it_passes_to_its_marks() -> None:
    mask = block()
    # what the gradient marks is the rim on both sides
    rim = ndimage.binary_dilation(mask, np.ones((3, 3))) & ~ndimage.binary_erosion(
        mask, np.ones((3, 3))
    )
    away = ndimage.distance_transform_edt(~rim)
    near = max(2.5, 120.0 / 30.0)
    named = ("breastbone", "shoulder_top", "tail_base")
    for shift in (0.0, 5.0, 9.0, -14.0):
        moved = {name: at + np.array([0.0, shift]) for name, at in MARKS.items()}
        gaps = np.array([away[int(moved[n][1]), int(moved[n][0])] for n in named])
        scores = np.exp(-0.5 * (gaps / near) ** 2)
        assert _on_marks(mask, moved, 120.0) == pytest.approx(scores.mean(), abs=0.04)
        moved["tail_base"] = np.array([400.0, 60.0])  # off the picture
        assert _on_marks(mask, moved, 120.0) == pytest.approx(scores[:2].sum() / 3.0, abs=0.04)
    assert _on_marks(np.zeros_like(mask), MARKS, 120.0) == 0.0
    # marks on the very first and last pixels are in the picture
    corner = np.zeros_like(mask)
    corner[:, 100:] = 1
    for at in ((100.0, 0.0), (100.0, 199.0)):
        assert _on_marks(corner, {"breastbone": np.array(at)}, 120.0) == 1.0
        assert _on_marks(corner.T.copy(), {"breastbone": np.array(at[::-1])}, 120.0) == 1.0
    for out in ((100.0, -1.0), (100.0, 200.0)):
        assert _on_marks(corner, {"breastbone": np.array(out)}, 120.0) == 0.0


def test_head_feet_and_back_are_read_off_a_drawn_block() -> None:
    mask = block()
    head = _head(mask, MARKS, -1.0)
    assert head is not None
    assert tuple(head) == (50.0, 29.5)
    behind = _head(mask, MARKS, 1.0)
    assert behind is not None
    assert behind[1] == 59.5
    feet = _feet(mask, MARKS, FRAME)
    assert tuple(feet["front_foot"]) == (75.0, 169.5)
    assert tuple(feet["rear_foot"]) == (170.0, 172.5)
    short = mask.copy()
    short[110:] = 0  # no leg reaches below the chest by 0.3 of the trunk
    assert _feet(short, MARKS, FRAME) == {}
    line = np.array(_topline(mask, MARKS))
    assert line[:, 0].tolist() == list(range(90, 181))
    assert np.all(line[:, 1] == 59.5)
    tail = mask.copy()
    tail[20:60, 176:181] = 1  # a raised tail rises beyond a fifth of the back: it is none
    assert len(_topline(tail, MARKS)) == 91 - 5


@pytest.mark.parametrize("side", ["left", "right", "top", "bottom"])
@pytest.mark.parametrize("wide", [2, 4])
def test_a_dog_touches_an_edge_of_the_photo_by_more_than_a_hair(side: str, wide: int) -> None:
    mask = block()
    part = {"left": mask[50 : 50 + wide, :2], "right": mask[50 : 50 + wide, -2:],
            "top": mask[:2, 50 : 50 + wide], "bottom": mask[-2:, 50 : 50 + wide]}[side]  # fmt: skip
    part[...] = 1
    assert _touches(mask, FRAME) == ((side,) if wide > 2 else ())
    inner = CloseUp(5, 5, 305, 205, 1.0, (400, 300), -1.0, 120.0)
    assert _touches(mask, inner) == ()


def test_one_piece_keeps_the_trunk_and_fills_its_small_holes() -> None:
    mask = block()
    mask[185:195, 250:260] = 1  # something else
    mask[80:88, 100:108] = 0  # a patch of the coat
    mask[75:100, 120:160] = 0  # daylight
    found = _one_piece(mask, MARKS)
    assert not found[185:195, 250:260].any()
    assert found[80:88, 100:108].all()
    assert not found[78:98, 123:157].any()
    # daylight amid the marks is not taken for the dog because most of it is there
    open_middle = block()
    open_middle[62:78, 96:125] = 0
    kept = _one_piece(open_middle, MARKS)
    assert kept[70, 70]
    assert not kept[150, 120]


def test_the_part_of_the_photo_around_a_dog_is_laid_out_by_hand() -> None:
    """A trunk of 100 px: 75 ahead, 60 behind, 75 above, 105 below the shoulder top."""
    rgb = np.zeros((600, 800, 3), np.uint8)
    marks = {"breastbone": (300.0, 300.0), "shoulder_top": (320.0, 280.0),
             "last_rib": (360.0, 300.0), "tail_base": (400.0, 300.0)}  # fmt: skip
    left = CloseUp.around(rgb, marks)
    assert left is not None
    assert (left.left, left.top, left.right, left.bottom) == (225, 205, 461, 386)
    assert (left.ahead, left.scale, left.trunk) == (-1.0, 1.0, 100.0)
    mirrored = {name: (799.0 - x, y) for name, (x, y) in marks.items()}
    right = CloseUp.around(rgb, mirrored)
    assert right is not None
    assert (right.left, right.right, right.ahead) == (339, 575, 1.0)
    feet = CloseUp.around(rgb, marks | {"front_foot": (310.0, 420.0), "rear_foot": (390.0, 430.0)})
    assert feet is not None
    assert feet.bottom == 439  # the lower foot and 8 px
    at = np.array([331.0, 303.0])
    np.testing.assert_allclose(left.back(left.into((331.0, 303.0))), at)
    assert CloseUp.around(rgb, marks | {"tail_base": (310.0, 300.0)}) is None
    assert CloseUp.around(rgb, marks | {"last_rib": (float("nan"), 0.0)}) is None
    assert CloseUp.around(rgb[:, :230], {n: (x - 8, y) for n, (x, y) in marks.items()}) is None
    big = CloseUp.around(np.zeros((3000, 4000, 3), np.uint8),
                         {n: (10 * x, 10 * y - 1000) for n, (x, y) in marks.items()})  # fmt: skip
    assert big is not None
    assert big.scale == pytest.approx(240.0 / max(big.right - big.left, big.bottom - big.top))
    copy = big.copy(np.zeros((3000, 4000, 3), np.uint8))
    assert max(copy.shape) == 240


@pytest.mark.slow
@pytest.mark.parametrize("corners", [2, 3, 4])
def test_a_reference_before_the_dog_is_cut_out_with_a_quarter_more_around_it(corners: int) -> None:
    angle = np.arange(corners) * 2.0 * np.pi / corners + 0.3
    middle = np.array([18.0, 85.0])
    ring = middle + 12.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    beside = _beside((200, 300), list(ring))
    if corners == 2:  # no area
        assert not beside.any()
        return
    # shapely's outline a quarter larger, but for half a pixel of drawing
    grown = scale(Polygon(ring), 1.25, 1.25, origin=tuple(middle))
    rows, columns = np.mgrid[:200, :300]
    apart = np.array([grown.exterior.distance(Point(x, y)) > 1.5 for x, y in zip(
        columns.ravel(), rows.ravel(), strict=True)]).reshape(200, 300)  # fmt: skip
    inside = np.array([grown.contains(Point(x, y)) for x, y in zip(
        columns.ravel(), rows.ravel(), strict=True)]).reshape(200, 300)  # fmt: skip
    np.testing.assert_array_equal(beside[apart] > 0, inside[apart])
    assert (inside & apart).sum() > 50


# --- two photos ----------------------------------------------------------------------------------


def test_two_photos_of_two_sizes_are_told_and_neither_is_left_out() -> None:
    """By hand: a sheet taken for one a quarter larger makes a dog a quarter larger."""
    view = square_view(offset=Offset(0.0, 0.0, 20.0))
    larger = square_view(offset=Offset(0.0, 0.0, 20.0), distance=2500.0 * 1.25)
    found = estimate([view, larger], [[marking()], [marking()]], DogFacts())
    (said,) = [text for text in found.outliers if "apart in size" in text]
    assert "Photos 1 and 2" in said
    assert "20 %" in said  # the first is 1 / 1.25 of the second
    alike = estimate([view, view], [[marking()], [marking()]], DogFacts())
    assert alike.outliers == ()
    third = estimate([view, view, larger], [[marking()]] * 3, DogFacts())
    assert any("Photo 3" in text and "25 % off" in text for text in third.outliers)


@pytest.mark.parametrize(("probability", "named"), [(0.49, False), (0.51, True)])
def test_an_explanation_is_told_as_the_one_when_it_outweighs_all_others(
    probability: float, named: bool
) -> None:
    ranked = Ranked(KINDS[0], float(np.log(probability)), probability, ())
    other = Ranked(KINDS[1], -1.0, 0.48, ())
    posterior = Posterior((ranked, other), 0.52 - probability, 0.0)
    assert (told(posterior) is ranked) == named
    unnamed = replace(ranked, kind=next(k for k in KINDS if k.name == UNNAMED), probability=0.9)
    assert told(Posterior((unnamed,), 0.1, 0.0)) is None
    assert told(Posterior((), 1.0, 0.0)) is None
