from __future__ import annotations

import cv2
import numpy as np
import pytest

from photocheck.errors import ScaleError
from photocheck.scale.catalogue import MM_PER_INCH, REFERENCES
from photocheck.scale.corners import check_corners, order_corners
from photocheck.scale.edges import find_rectangle
from tests.support.scale_scenes import (
    Layer,
    blob_layer,
    card_layer,
    clouds,
    photograph,
    plane_to_photo,
    project,
)

SHAPE = (420, 480)


def _corners(width, height):
    return np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array([width, height]) / 2


def _scene(
    kind, seed, scale, *, back="leaves", upright=False, art=None, fingers=0, shadow=False,
    radius=3.18, colour=None, turn=25, noise=2.0,
):  # fmt: skip
    item = REFERENCES[kind]
    random = np.random.default_rng(seed)
    width, height = item.width_mm, item.height_mm
    if upright:
        width, height = height, width
    rows, columns = SHAPE
    matrix = plane_to_photo(
        3000.0,
        (columns / 2, rows / 2),
        (0, 0, 3000 / scale),
        random.uniform(-turn, turn),
        random.uniform(-12, 12),
        random.uniform(-15, 15),
    )
    if back == "leaves":
        behind = 0.03 + 0.4 * clouds(SHAPE, seed) * np.array([0.7, 1, 0.5])
    else:
        behind = np.ones((*SHAPE, 3)) * np.array([0.52, 0.5, 0.47])
        behind = behind * (1 + 0.05 * clouds(SHAPE, seed, scales=(60, 200), colour=False))
    if colour is None:
        colour = random.uniform(0.05, 0.8, 3) if kind == "id_card" else (0.78, 0.78, 0.76)
    layers = []
    rounding = radius if kind == "id_card" else 0.0
    if shadow:
        moved = matrix @ np.array([[1, 0, 2.5], [0, 1, 2.5], [0, 0, 1.0]])
        dark = card_layer(moved, width, height, (0.1, 0.1, 0.1), radius_mm=rounding, px_per_mm=2)
        soft = cv2.GaussianBlur(dark.opacity * 0.5, (0, 0), 3)
        layers.append(Layer(dark.texture, soft, dark.to_photo))
    layers.append(
        card_layer(matrix, width, height, colour, radius_mm=rounding, px_per_mm=4, art=art)
    )
    angle = np.linspace(0, 2 * np.pi, 50)
    for finger in range(fingers):
        # From outside over the middle of a side: a thumb 16 mm wide.
        side = (seed + 2 * finger) % 4
        foot = _corners(width, height)[[side, (side + 1) % 4]].mean(axis=0)
        along = foot / np.hypot(*foot)
        across = np.array([-along[1], along[0]])
        outline = (
            foot + 22 * along + 32 * np.cos(angle)[:, None] * along
            + 8 * np.sin(angle)[:, None] * across
        )  # fmt: skip
        layers.append(blob_layer(SHAPE, project(matrix, outline), (0.5, 0.31, 0.2)))
    picture = photograph(behind, layers, blur=0.9, noise=noise, seed=seed, over=2)
    near = project(matrix, [[0.15 * width, -0.1 * height]])[0]
    return picture, order_corners(project(matrix, _corners(width, height))), tuple(near), item


def _miss(seen, truth):
    return min(
        (seen.points_px - np.roll(truth, k, axis=0) for k in range(4)),
        key=lambda miss: float(np.sum(np.abs(miss))),
    )


def _print(seed):
    random = np.random.default_rng(seed)
    art = np.ascontiguousarray((60 + 120 * clouds((216, 342), seed, (30, 80))).astype(np.uint8))
    for _ in range(8):
        x, y = (int(v) for v in random.uniform(0, [330, 200]))
        w, h = (int(v) for v in random.uniform(8, [120, 50]))
        cv2.rectangle(art, (x, y), (x + w, y + h), random.uniform(0, 255, 3).tolist(), -1)
    cv2.putText(art, "0123 4567", (20, 150), cv2.FONT_HERSHEY_SIMPLEX, 1.0, (240, 240, 240), 2)
    return art.astype(np.float32) / 255


def test_sizes_are_the_standards():
    card, a4, letter = (REFERENCES[kind] for kind in ("id_card", "a4", "letter"))
    assert (card.width_mm, card.height_mm) == (85.60, 53.98)  # ISO/IEC 7810 ID-1
    assert (a4.width_mm, a4.height_mm) == (297.0, 210.0)  # ISO 216
    # A4 is A0 (1 m2, sides 1 : sqrt 2) halved four times and rounded to mm.
    assert round(1000 * 2 ** (1 / 4) / 4) == a4.width_mm
    assert round(1000 * 2 ** (-1 / 4) / 4) == a4.height_mm
    assert MM_PER_INCH == 25.4
    assert letter.width_mm == pytest.approx(279.4, abs=1e-9)


@pytest.mark.parametrize(
    ("kind", "scale", "how", "limit"),
    [
        ("id_card", 1.4, {}, 0.3),
        ("id_card", 1.4, {"upright": True, "back": "wall"}, 0.3),
        ("id_card", 1.4, {"fingers": 2}, 0.4),
        ("a4", 0.8, {}, 0.15),
        ("a4", 0.8, {"back": "wall", "upright": True}, 0.15),
        ("a4", 0.8, {"back": "wall", "shadow": True}, 0.4),
        ("letter", 0.8, {"fingers": 1, "back": "wall"}, 0.2),
    ],
)
@pytest.mark.parametrize("scenes", [1, pytest.param(3, marks=pytest.mark.slow)])
def test_found_from_a_mark(kind, scale, how, limit, scenes):
    squares = []
    for seed in range(scenes):
        picture, truth, near, item = _scene(kind, seed, scale, **how)
        seen = find_rectangle(picture, item, near=near)
        miss = _miss(seen, truth)
        assert np.max(np.abs(miss)) < 2.0
        squares.append(np.mean(miss**2))
        assert seen.how == "found"
        # The longer side lies where it does: points and millimetres match.
        lengths = np.hypot(*(np.roll(seen.points_mm, -1, axis=0) - seen.points_mm).T)
        drawn = np.hypot(*(np.roll(truth, -1, axis=0) - truth).T)
        assert (lengths[0] > lengths[1]) == (drawn[0] / drawn[1] > 1)
        assert np.sqrt(np.mean(miss**2)) < 4 * seen.spread_px
    assert np.sqrt(np.mean(squares)) < limit


@pytest.mark.slow
def test_busy_print():
    good = 0
    for seed in range(4):
        picture, truth, near, item = _scene("id_card", seed, 1.6, art=_print(seed))
        try:
            seen = find_rectangle(picture, item, near=near)
        except ScaleError:
            continue
        good += bool(np.max(np.abs(_miss(seen, truth))) < 1.5)
    assert good >= 3


def test_rounded_corners_do_not_bias():
    """Sharp corners and the largest radius of ISO/IEC 7810 give the same fit."""
    out = []
    for radius in (0.0, 3.48):
        picture, truth, near, item = _scene(
            "id_card", 7, 2.5, radius=radius, colour=(0.8, 0.8, 0.1), back="wall", noise=0.5
        )
        miss = _miss(find_rectangle(picture, item, near=near), truth)
        away = truth - truth.mean(axis=0)
        out.append(np.sum(miss * away, axis=1) / np.hypot(*away.T))
    # The arc's own corner lies 3.48 (sqrt 2 - 1) mm = 3.6 px inside.
    assert np.max(np.abs(out[1] - out[0])) < 0.1
    assert np.max(np.abs(out[1])) < 0.2


@pytest.mark.slow
def test_marks_by_hand_are_refined():
    random = np.random.default_rng(0)
    before, after = [], []
    for seed in range(4):
        picture, truth, _, item = _scene("a4", seed, 0.8)
        rough = truth + random.normal(0, 4, (4, 2))
        seen = find_rectangle(picture, item, rough_corners=map(tuple, rough), corner_spread_px=4)
        before.append(np.mean((rough - truth) ** 2))
        after.append(np.mean(_miss(seen, truth) ** 2))
        assert seen.how == "marked"
        assert seen.spread_px < 1
    assert np.sqrt(np.mean(before)) > 3
    assert np.sqrt(np.mean(after)) < 0.15


def test_marks_by_hand_are_kept_where_no_edge_supports_them():
    picture = np.full((*SHAPE, 3), 128, np.uint8)
    picture += np.random.default_rng(0).integers(0, 5, picture.shape, dtype=np.uint8)
    rough = [(100.0, 100.0), (271.0, 102.0), (270.0, 208.0), (99.0, 207.0)]
    seen = find_rectangle(picture, REFERENCES["id_card"], rough_corners=rough, corner_spread_px=3.0)
    assert np.array_equal(seen.points_px, rough)
    assert seen.spread_px == pytest.approx(3.0)
    assert any("as marked" in remark for remark in seen.remarks)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["id_card", "a4"])
def test_nothing_there(kind):
    """A mark on leaves, on a bare wall or on noise finds no card."""
    for seed in (2,):  # the one chance shape that once passed
        leaves = (255 * clouds(SHAPE, seed, scales=(3, 8, 25, 90))).astype(np.uint8)
        wall = np.random.default_rng(seed).normal(150, 4, (*SHAPE, 3)).astype(np.uint8)
        soft = cv2.GaussianBlur(leaves, (0, 0), 3)
        for picture in (leaves, wall, soft):
            with pytest.raises(ScaleError, match="found around the mark"):
                find_rectangle(picture, REFERENCES[kind], near=(240.0, 210.0))


def test_what_is_wrong_with_the_corners_is_said():
    good = np.array([[100.0, 100], [260, 105], [255, 210], [98, 200]])

    def told(corners, words):
        with pytest.raises(ScaleError, match=words):
            check_corners(np.array(corners, float), SHAPE)

    told(good[:3], "3 corners")
    told([*good[:3], (98, 500)], "bottom left corner at .98, 500. lies outside the picture")
    told(good[[0, 1, 3, 2]], "cross.*swapped")
    told(good[[0, 2, 1, 3]], "cross.*swapped")
    told([good[0], (180, 152), good[2], good[3]], "top right corner lies in a line")
    told([good[0], good[1], (150, 130), good[3]], "bottom right corner lies inside")
    told([good[0], good[0], good[2], good[3]], "coincides")
    told(np.array([[10, 10], [40, 10], [40, 25], [10, 25]]), "Only 15 px across")
    told([*good[:3], (np.nan, 1)], "not a number")
    # Another order is put right: clockwise from the top left.
    assert np.array_equal(check_corners(good[[2, 3, 0, 1]], SHAPE), good)
    assert np.array_equal(check_corners(good[::-1], SHAPE), good)


def test_missing_and_misplaced_marks():
    picture = np.zeros((*SHAPE, 3), np.uint8)
    with pytest.raises(ScaleError, match="neither marked nor pointed at"):
        find_rectangle(picture, REFERENCES["a4"])
    with pytest.raises(ScaleError, match="lies outside the picture"):
        find_rectangle(picture, REFERENCES["a4"], near=(500.0, 10.0))
    with pytest.raises(ScaleError, match="degrees away"):
        find_rectangle(
            picture,
            REFERENCES["a4"],
            rough_corners=[(20.0, 100.0), (460.0, 100.0), (460.0, 160.0), (20.0, 160.0)],
        )
