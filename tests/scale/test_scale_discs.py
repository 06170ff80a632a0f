from __future__ import annotations

import cv2
import numpy as np
import pytest

from photocheck.errors import ScaleError
from photocheck.scale.discs import find_disc
from photocheck.scale.ellipses import fit_circle, fit_ellipse
from tests.support.scale_scenes import (
    Layer,
    blob_layer,
    clouds,
    photograph,
    plane_to_photo,
    project,
)

SHAPE = (380, 420)
ANGLE = np.linspace(0, 2 * np.pi, 720, endpoint=False)


def _leaves(seed):
    return 0.03 + 0.4 * clouds(SHAPE, seed) * np.array([0.7, 1, 0.5])


def _disc(seed, diameter, scale, fingers=0):
    random = np.random.default_rng(seed)
    centre = (SHAPE[1] / 2, SHAPE[0] / 2)
    matrix = plane_to_photo(
        3000.0, centre, (0, 0, 3000 / scale), random.uniform(-35, 35), random.uniform(-15, 15)
    )
    outline = project(matrix, np.column_stack([np.cos(ANGLE), np.sin(ANGLE)]) * diameter / 2)
    layers = [blob_layer(SHAPE, outline, random.uniform(0.3, 0.9, 3))]
    for k in range(fingers):
        way = np.array([np.cos(seed + 2.5 * k), np.sin(seed + 2.5 * k)])
        across = np.array([-way[1], way[0]])
        thumb = (
            diameter * 0.6 * way + 0.2 * diameter * np.cos(ANGLE)[:, None] * way
            + 0.1 * diameter * np.sin(ANGLE)[:, None] * across
        )  # fmt: skip
        layers.append(blob_layer(SHAPE, project(matrix, thumb), (0.5, 0.3, 0.2)))
    picture = photograph(_leaves(seed), layers, blur=0.9, noise=2, seed=seed, over=2)
    return picture, outline, tuple(project(matrix, [[0.15 * diameter, -0.1 * diameter]])[0])


def _ball(seed, radius_mm, at):
    """A shaded ball with its shadow; the outline is the cone of tangents cut by the picture."""
    centre = np.asarray(at, float)
    far = float(np.linalg.norm(centre))
    look = centre / far
    one = np.cross(look, [0, 1, 0])
    one /= np.linalg.norm(one)
    other = np.cross(look, one)
    ring = centre * (1 - radius_mm**2 / far**2) + radius_mm * np.sqrt(1 - radius_mm**2 / far**2) * (
        np.cos(ANGLE)[:, None] * one + np.sin(ANGLE)[:, None] * other
    )
    outline = 3000 * ring[:, :2] / ring[:, 2:] + np.array(SHAPE[::-1]) / 2
    middle, size = outline.mean(axis=0), float(np.ptp(outline[:, 1])) / 2
    under = np.column_stack([np.cos(ANGLE), 0.25 * np.sin(ANGLE) + 0.95]) * size + middle
    shadow = blob_layer(SHAPE, under, (0.02, 0.02, 0.02))
    soft = Layer(shadow.texture, cv2.GaussianBlur(shadow.opacity * 0.7, (0, 0), 3), np.eye(3))
    ball = blob_layer(SHAPE, outline, (0.75, 0.65, 0.15))
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    nx, ny = (x - middle[0]) / size, (y - middle[1]) / size
    light = 0.25 + 0.75 * np.clip(
        0.3 * nx - 0.5 * ny + 0.8 * np.sqrt(np.clip(1 - nx**2 - ny**2, 0, 1)), 0, 1
    )
    shaded = Layer((ball.texture * light[:, :, None]).astype(np.float32), ball.opacity, np.eye(3))
    picture = photograph(_leaves(seed), [soft, shaded], blur=0.9, noise=2, seed=seed, over=2)
    return picture, outline, tuple(middle)


def _size_off(seen, outline):
    """Relative error of the largest diameter, by an independent library."""
    from skimage.measure import EllipseModel

    longest = []
    for points in (seen.outline_px, outline[::6]):
        if hasattr(EllipseModel, "from_estimate"):
            model = EllipseModel.from_estimate(points)
            longest.append(max(model.axis_lengths))
        else:  # before scikit-image 0.26
            model = EllipseModel()
            assert model.estimate(points)
            longest.append(max(model.params[2:4]))
    return longest[0] / longest[1] - 1


def test_ellipse_and_circle_fits_are_exact_on_exact_points():
    turn = 0.4
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    points = (np.column_stack([60 * np.cos(ANGLE), 35 * np.sin(ANGLE)]) @ axes) + [2000, 1500]
    ellipse = fit_ellipse(points[::20])
    assert ellipse is not None
    assert ellipse.centre == pytest.approx([2000, 1500], abs=1e-3)
    assert sorted(ellipse.half) == pytest.approx([35, 60], abs=1e-3)
    again, normals = ellipse.points(100)
    assert np.min(np.sum((again - ellipse.centre) * normals, axis=1)) > 0
    circle = fit_circle(np.column_stack([np.cos(ANGLE[:200]), np.sin(ANGLE[:200])]) * 12 + 7)
    assert circle is not None
    assert circle.half == pytest.approx([12, 12])
    assert fit_circle(np.array([[0.0, 0], [1, 1], [2, 2], [3, 3]])) is None


@pytest.mark.slow
@pytest.mark.parametrize("fingers", [0, 2])
def test_disc_from_a_mark(fingers):
    for seed in range(3):
        picture, outline, near = _disc(seed, 130, 0.9, fingers)
        seen = find_disc(picture, 130.0, "disc", near=near)
        assert 24 <= len(seen.outline_px) <= 64
        assert abs(_size_off(seen, outline)) < 0.006
        nearest = np.min(np.linalg.norm(seen.outline_px[:, None] - outline[None], axis=2), axis=1)
        assert np.sqrt(np.mean(nearest**2)) < 0.5
        assert seen.spread_px < 0.5


@pytest.mark.slow
def test_ball_from_a_mark():
    for seed, at in enumerate([(0, 0, 3000), (-60, 40, 3000)]):
        picture, outline, near = _ball(seed, 100, at)
        seen = find_disc(picture, 200.0, "ball", near=near)
        assert abs(_size_off(seen, outline)) < 0.01


@pytest.mark.slow
def test_a_small_ball_owns_up():
    picture, _, near = _ball(0, 33, (0, 0, 3000))
    seen = find_disc(picture, 66.0, "ball", near=near)
    assert seen.size_spread > 0.05
    assert any("by hand" in remark for remark in seen.remarks)


def test_marked_outline_is_refined_or_kept():
    picture, outline, _ = _disc(1, 130, 0.9)
    random = np.random.default_rng(0)
    marked = outline[::90] + random.normal(0, 2, (8, 2))
    seen = find_disc(picture, 130.0, "disc", outline=map(tuple, marked), spread_px=2.0)
    assert seen.how == "marked"
    assert abs(_size_off(seen, outline)) < 0.006
    blank = np.full((*SHAPE, 3), 100, np.uint8)
    kept = find_disc(blank, 130.0, "disc", outline=map(tuple, marked), spread_px=2.0)
    assert np.array_equal(kept.outline_px, marked)
    assert kept.spread_px == 2.0
    assert any("as marked" in remark for remark in kept.remarks)


def test_what_is_wrong_is_said():
    picture, outline, near = _disc(0, 130, 0.9)

    def told(words, *, diameter=130.0, kind="disc", **how):
        with pytest.raises(ScaleError, match=words):
            find_disc(picture, diameter, kind, **how)

    told("diameter of the disc is missing", diameter=None, near=near)
    told("not a positive length", diameter=-1.0, near=near)
    told("neither marked nor pointed at")
    told("lies outside the picture", near=(-5.0, 20.0))
    told("4 points on the outline", outline=map(tuple, outline[::180]))
    told("too small", outline=map(tuple, 100 + 8 * np.column_stack([np.cos(ANGLE), np.sin(ANGLE)])))
    flat = 180 + np.column_stack([90 * np.cos(ANGLE), 50 * np.sin(ANGLE)])
    told("no ball has such an outline", kind="ball", outline=map(tuple, flat))
    told("turned too far", outline=map(tuple, (flat - 180) * [1, 0.6] + 180))


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["disc", pytest.param("ball", marks=pytest.mark.slow)])
def test_nothing_there(kind):
    random = np.random.default_rng(0)
    pictures = [random.normal(150, 4, (*SHAPE, 3)), random.integers(0, 256, (150, 170, 3))]
    pictures += [255 * clouds((300, 340), seed, scales=(3, 8, 25, 90)) for seed in (4,)]
    for picture in pictures:
        near = (picture.shape[1] / 2, picture.shape[0] / 2)
        with pytest.raises(ScaleError, match=f"No {kind} was found"):
            find_disc(picture.astype(np.uint8), 60.0, kind, near=near)
