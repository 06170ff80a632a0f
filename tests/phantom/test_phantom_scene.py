"""The phantom's camera and scenes: hand-computed pinholes, honest offsets, reproducible draws."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from photocheck.phantom.draws import KIND_WEIGHTS, PLACE_WEIGHTS, true_offset
from photocheck.phantom.placed import PlacedReference
from photocheck.phantom.scene import Scene, observe, random_scene
from photocheck.phantom.solid import Dog, make_dog, random_plan
from photocheck.phantom.true_camera import Camera
from photocheck.scale.catalogue import REFERENCES
from photocheck.words import ALL_LANDMARKS, PLACES


@pytest.fixture(scope="module")
def dog() -> Dog:
    return make_dog(random_plan(np.random.default_rng(21), posture="square"))


def test_pinhole_by_hand():
    # 36 mm x 24 mm at 28 mm: 3600 px wide, so 100 px per mm of the frame, 2800 px focal length.
    camera = Camera((0.0, 500.0, 3000.0), (0.0, 500.0, 0.0), 28.0, (3600, 2400))
    assert camera.focal_px == pytest.approx(2800.0)
    seen = camera.project(np.array([[0.0, 500.0, 0.0], [300.0, 500.0, 0.0], [0.0, 600.0, 200.0]]))
    np.testing.assert_allclose(seen[0], [1799.5, 1199.5], atol=1e-9)
    np.testing.assert_allclose(seen[1], [1799.5 + 2800 * 300 / 3000, 1199.5], atol=1e-9)
    np.testing.assert_allclose(seen[2], [1799.5, 1199.5 - 2800 * 100 / 2800], atol=1e-9)


def test_head_is_left_and_up_is_up():
    camera = Camera((100.0, 900.0, 2500.0), (300.0, 300.0, 0.0), 26.0, (2000, 1500))
    seen = camera.project(np.array([[0.0, 300.0, 0.0], [600.0, 300.0, 0.0], [300.0, 500.0, 0.0]]))
    assert seen[0, 0] < seen[1, 0]
    assert seen[2, 1] < seen[0, 1]


def test_hundred_millimetres_nearer_reads_longer():
    # The design's figure: 100 mm nearer than a reference at 3 m reads 3.45 % long.
    camera = Camera((0.0, 0.0, 3000.0), (0.0, 0.0, 0.0))
    far, near = camera.px_per_mm(np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 100.0]]))
    assert near / far == pytest.approx(1.0345, abs=5e-5)


def test_roll_turns_the_content_clockwise():
    camera = Camera((0.0, 0.0, 2000.0), (0.0, 0.0, 0.0), roll_deg=10.0)
    middle, right = camera.project(np.array([[0.0, 0.0, 0.0], [300.0, 0.0, 0.0]]))
    assert right[1] - middle[1] == pytest.approx(np.tan(np.radians(10.0)) * (right - middle)[0])


def test_distortion_by_hand():
    camera = Camera((0.0, 0.0, 1000.0), (0.0, 0.0, 0.0), distortion=(0.1, 0.02, 0.0, 0.0))
    x = 0.3
    (u, v) = camera.project(np.array([[300.0, 0.0, 0.0]]))[0]
    bent = x * (1 + 0.1 * x**2 + 0.02 * x**4)
    assert u == pytest.approx(camera.matrix[0, 2] + camera.focal_px * bent)
    assert v == pytest.approx(camera.matrix[1, 2])


def test_behind_the_camera_is_refused():
    camera = Camera((0.0, 0.0, 1000.0), (0.0, 0.0, 0.0))
    with pytest.raises(ValueError, match="behind"):
        camera.project(np.array([[0.0, 0.0, 1500.0]]))
    assert not camera.sees(np.array([[0.0, 0.0, 1500.0]]))


def test_placed_axes_turn_the_right_way():
    flat = PlacedReference("a4", "middle", 0.0, (0.0, 0.0, 0.0))
    corners = flat.points()
    np.testing.assert_allclose(corners[0], [-148.5, 105.0, 0.0], atol=1e-9)
    np.testing.assert_allclose(corners[2], [148.5, -105.0, 0.0], atol=1e-9)
    turned = PlacedReference("a4", "middle", 0.0, (0.0, 0.0, 0.0), turn_deg=90.0).points()
    np.testing.assert_allclose(turned[0], [105.0, 148.5, 0.0], atol=1e-9)
    leaning = PlacedReference("a4", "middle", 0.0, (0.0, 0.0, 0.0), lean_deg=10.0).points()
    assert leaning[0, 2] < 0 < leaning[2, 2]
    swung = PlacedReference("a4", "middle", 0.0, (0.0, 0.0, 0.0), swing_deg=10.0).points()
    assert swung[1, 2] < 0 < swung[0, 2]


def test_ball_outline_is_where_rays_touch():
    ball = PlacedReference("ball", "near_feet", 0.0, (50.0, 90.0, 100.0), diameter_mm=180.0)
    eye = (0.0, 700.0, 2500.0)
    rim = ball.outline(eye, 36)
    np.testing.assert_allclose(np.linalg.norm(rim - ball.centre, axis=1), 90.0)
    touch = ((rim - np.array(eye)) * (rim - np.array(ball.centre))).sum(axis=1)
    np.testing.assert_allclose(touch, 0.0, atol=1e-6)


def test_offsets_are_drawn_from_the_stated_situations():
    rng = np.random.default_rng(0)
    half = 80.0
    drawn = {p: [true_offset(rng, p, half) for _ in range(300)] for p in PLACE_WEIGHTS}
    assert set(PLACE_WEIGHTS) == set(PLACES) - {"unknown"}
    assert 85.0 <= min(drawn["near_flank"]) <= max(drawn["near_flank"]) <= 110.0
    assert 80.0 <= min(drawn["near_feet"]) <= max(drawn["near_feet"]) <= 200.0
    assert max(np.abs(drawn["middle"])) <= 30.0
    assert -210.0 <= min(drawn["far_feet"]) <= max(drawn["far_feet"]) <= -110.0
    assert -330.0 <= min(drawn["wall_close"]) <= max(drawn["wall_close"]) <= -110.0
    assert -1200.0 <= min(drawn["wall"]) <= max(drawn["wall"]) <= -300.0


@pytest.mark.parametrize("kind", KIND_WEIGHTS)
def test_without_noise_the_observation_is_the_projection(dog: Dog, kind: str):
    # tags are no object beside the dog: tests/phantom/test_placed_tags.py
    assert set(KIND_WEIGHTS) == set(REFERENCES) - {"dog_tags"}
    scene = random_scene(np.random.default_rng(3), dog=dog, kind=kind)
    seen = observe(scene, np.random.default_rng(0), 0.0, 0.0, bends=True)
    assert set(seen.marking.marks) == set(ALL_LANDMARKS)
    for name, mark in seen.marking.marks.items():
        np.testing.assert_allclose(mark, scene.landmarks_px[name], atol=1e-9)
    assert len(seen.marking.bends["front_length"]) == 1
    placed, camera = scene.reference, scene.camera
    assert placed.centre[2] == placed.offset_mm
    if placed.form in ("disc", "ball"):
        assert seen.outline_px.shape == (24, 2)
        assert seen.reference.diameter_mm == placed.diameter_mm
    else:
        world = placed.place_points(placed.size_factor * seen.points_mm)
        np.testing.assert_allclose(seen.points_px, camera.project(world), atol=1e-9)
    if placed.form in ("rectangle", "markers"):
        ring = np.array(seen.reference.corners)
        assert cv2.contourArea(ring.astype(np.float32), oriented=True) > 0  # clockwise, y down
        # From the reference plane and back: a homography explains the corners.
        clear = Camera(camera.position, camera.aim, camera.focal_35mm, camera.size_px)
        found, _ = cv2.findHomography(seen.points_mm, clear.project(world))
        back = cv2.perspectiveTransform(seen.points_mm[None], found)[0]
        np.testing.assert_allclose(back, clear.project(world), atol=0.01)


def test_marks_scatter_as_asked(dog: Dog):
    scene = random_scene(np.random.default_rng(5), dog=dog)
    rng = np.random.default_rng(1)
    true = np.array(scene.landmarks_px["tail_base"])
    scale = scene.camera.px_per_mm(scene.landmarks["tail_base"])[0]
    slips = [
        (np.array(observe(scene, rng, 6.0).marking.marks["tail_base"]) - true) / scale
        for _ in range(400)
    ]
    np.testing.assert_allclose(np.std(slips, axis=0), 6.0, rtol=0.15)


def test_the_other_side_is_the_mirror_image(dog: Dog):
    left = random_scene(np.random.default_rng(9), dog=dog, faces_right=False)
    right = random_scene(np.random.default_rng(9), dog=dog, faces_right=True)
    assert left.landmarks_px["breastbone"][0] < left.landmarks_px["tail_base"][0]
    assert right.landmarks_px["breastbone"][0] > right.landmarks_px["tail_base"][0]
    assert right.landmarks["last_rib"][2] > 0


def test_dog_yaw_keeps_the_offset_line(dog: Dog):
    placed = PlacedReference("a4", "middle", 0.0, (0.0, 200.0, 0.0))
    camera = Camera((300.0, 500.0, 3000.0), (300.0, 300.0, 0.0))
    scene = Scene(dog, camera, placed, dog_yaw_deg=10.0)
    pivot = scene.pivot
    np.testing.assert_allclose(scene.to_world(pivot[None])[0], pivot)
    assert scene.landmarks["tail_base"][2] < 0 < scene.landmarks["breastbone"][2]


def test_same_seed_same_scene(dog: Dog):
    one, two = (random_scene(np.random.default_rng(17), dog=dog) for _ in range(2))
    assert one.camera == two.camera
    assert one.reference == two.reference
    a, b = (observe(one, np.random.default_rng(2)) for _ in range(2))
    assert a.marking == b.marking
    assert a.reference == b.reference


def test_scenes_are_a_mixed_set(dog: Dog):
    rng = np.random.default_rng(8)
    scenes = [random_scene(rng, dog=dog) for _ in range(150)]
    assert {s.reference.kind for s in scenes} == set(KIND_WEIGHTS)
    assert {s.reference.place for s in scenes} == set(PLACE_WEIGHTS)
    assert 0.15 < np.mean([s.exif_focal_35mm is None for s in scenes]) < 0.45
    for s in scenes:
        assert s.exif_focal_35mm is None or abs(s.exif_focal_35mm - s.camera.focal_35mm) <= 0.5
        assert 200.0 < s.camera.position[1] < 1650.0
        assert s.camera.sees(np.array(list(s.landmarks.values())))
    assert np.std([s.dog_yaw_deg for s in scenes]) == pytest.approx(4.0, rel=0.25)
