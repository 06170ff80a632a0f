"""The camera model against OpenCV and against points on the outlines themselves."""

import cv2
import numpy as np
import pytest

from photocheck.scale.pinhole import (
    Pinhole,
    ball_conic,
    conic_distance,
    disc_conic,
    turn_about_x,
    turn_about_y,
)


def camera(yaw: float = 0.2, pitch: float = -0.1, shift: float = 0.0) -> Pinhole:
    return Pinhole(
        rotation=turn_about_y(np.array(yaw)) @ turn_about_x(np.array(pitch)),
        translation=np.array([120.0, -80.0, 2600.0]),
        focal_px=np.array(3000.0),
        corner_shift=np.array(shift),
        centre_px=np.array([2015.5, 1511.5]),
        corner_radius_px=np.array(2520.0),
    )


POINTS = np.array([[-400.0, 100.0, 0.0], [300.0, -250.0, -120.0], [10.0, 5.0, 60.0]])


@pytest.mark.parametrize("shift", [0.0, 0.015, -0.02])
def test_projection_is_opencv_project_points(shift: float) -> None:
    cam = camera(shift=shift)
    # OpenCV's k1 counts the radius in focal lengths, ours in half diagonals
    k1 = shift * (3000.0 / 2520.0) ** 2
    matrix = np.array([[3000.0, 0, 2015.5], [0, 3000.0, 1511.5], [0, 0, 1]])
    turn, _ = cv2.Rodrigues(cam.rotation)
    expected, _ = cv2.projectPoints(POINTS, turn, cam.translation, matrix, np.array([k1, 0, 0, 0]))
    np.testing.assert_allclose(cam.project(POINTS), expected[:, 0], atol=1e-6)


def test_rays_meet_the_plane_they_came_from() -> None:
    cam = camera(shift=0.01)
    flat = POINTS * np.array([1.0, 1.0, 0.0]) + np.array([0.0, 0.0, -150.0])
    seen = cam.project(flat)
    normal = np.array([0.0, 0.0, 1.0])
    back = cam.onto_plane(seen, np.array([0.0, 0.0, -150.0]), normal)
    np.testing.assert_allclose(back, flat, atol=1e-4)


def test_a_body_point_100_mm_nearer_than_a_reference_at_3_m_reads_3_45_per_cent_long() -> None:
    # by hand: 3000 / 2900 = 1.0345
    cam = Pinhole(
        np.eye(3),
        np.array([0.0, 0.0, 3000.0]),
        np.array(3000.0),
        np.array(0.0),
        np.zeros(2),
        np.array(2500.0),
    )
    ends = np.array([[-100.0, 0.0, -100.0], [100.0, 0.0, -100.0]])
    length = np.ptp(cam.project(ends)[:, 0])
    assert length / 200.0 == pytest.approx(3000.0 / 2900.0, rel=1e-12)


def test_disc_outline_lies_on_its_conic() -> None:
    cam = camera(yaw=0.5)
    t = np.linspace(0, 2 * np.pi, 90)
    rim = np.column_stack([110 * np.cos(t), 110 * np.sin(t), 0 * t])
    seen = cam.project(rim) - cam.centre_px
    assert np.abs(conic_distance(disc_conic(cam, np.array(110.0)), seen)).max() < 1e-6


def test_ball_outline_is_touched_by_its_farthest_points() -> None:
    cam = camera()
    rng = np.random.default_rng(1)
    skin = rng.normal(size=(200_000, 3))
    skin = 105.0 * skin / np.linalg.norm(skin, axis=1, keepdims=True)
    seen = cam.project(skin) - cam.centre_px
    distance = conic_distance(ball_conic(cam, np.array(105.0)), seen)
    assert distance.max() < 1e-6  # nothing of the ball shows outside
    assert distance.max() > -0.05  # and its edge reaches the outline


def test_conic_distance_is_in_pixels() -> None:
    cam = camera(yaw=0.0, pitch=0.0)
    conic = disc_conic(cam, np.array(110.0))
    t = np.linspace(0, 2 * np.pi, 30)
    rim = np.column_stack([110 * np.cos(t), 110 * np.sin(t), 0 * t])
    seen = cam.project(rim) - cam.centre_px
    middle = seen.mean(axis=0)
    outward = (seen - middle) / np.linalg.norm(seen - middle, axis=1, keepdims=True)
    np.testing.assert_allclose(conic_distance(conic, seen + 2 * outward), 2.0, rtol=0.03)
