from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from photocheck.errors import ScaleError
from photocheck.scale.planes import (
    angles,
    fit_homography,
    homography,
    jacobian,
    mm_per_px,
    obliqueness,
    poses,
)
from photocheck.scale.seen import ReferenceSeen
from photocheck.scale.sheet import sheet_points
from tests.support.scale_scenes import plane_to_photo, project

POINTS = sheet_points()[1]


def rotation_from(yaw, pitch, roll):
    """``Ry(yaw) @ Rx(pitch) @ Rz(roll)``, (3, 3), from radians."""
    cy, sy, cp, sp = np.cos(yaw), np.sin(yaw), np.cos(pitch), np.sin(pitch)
    cr, sr = np.cos(roll), np.sin(roll)
    about_y = np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    about_x = np.array([[1, 0, 0], [0, cp, -sp], [0, sp, cp]])
    about_z = np.array([[cr, -sr, 0], [sr, cr, 0], [0, 0, 1.0]])
    return np.asarray(about_y @ about_x @ about_z)


def _seen(points_mm, points_px, **more):
    return ReferenceSeen(
        "marker_sheet", "markers", np.asarray(points_mm, float), np.asarray(points_px, float),
        0.1, 0.01, **more,
    )  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(st.floats(-1.2, 1.2), st.floats(-1.2, 1.2), st.floats(-3.1, 3.1))
def test_angles_undo_rotation(yaw, pitch, roll):
    from scipy.spatial.transform import Rotation

    turn = rotation_from(yaw, pitch, roll)
    # Intrinsic y, x, z in scipy's notation is Ry @ Rx @ Rz.
    assert np.allclose(turn, Rotation.from_euler("YXZ", [yaw, pitch, roll]).as_matrix())
    assert angles(turn) == pytest.approx((yaw, pitch, roll), abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.floats(-40, 40), st.floats(-25, 25), st.floats(-170, 170), st.floats(1500, 5000))
def test_pose_is_recovered(yaw, pitch, roll, far):
    matrix = plane_to_photo(3100.0, (2015.5, 1511.5), (150, -80, far), yaw, pitch, roll)
    found = poses(_seen(POINTS, project(matrix, POINTS)), 3100.0, (2015.5, 1511.5))
    assert 1 <= len(found) <= 2
    best = found[0]
    assert best.miss_px < 1e-3
    assert best.translation == pytest.approx([150, -80, far], rel=1e-4, abs=0.05)
    assert best.distance_mm == pytest.approx(np.hypot(np.hypot(150, 80), far), rel=1e-4)
    # Against the input turn itself: angles wrap.
    wanted = rotation_from(*np.deg2rad([yaw, pitch, roll]))
    assert np.allclose(best.rotation, wanted, atol=1e-3)


def test_size_factor_moves_the_sheet_away():
    matrix = plane_to_photo(3000.0, (0, 0), (0, 0, 3000), 10)
    picture = project(matrix, POINTS)
    plain = poses(_seen(POINTS, picture), 3000.0, (0, 0))[0]
    larger = poses(_seen(POINTS, picture, size_factor=1.02), 3000.0, (0, 0))[0]
    assert larger.distance_mm / plain.distance_mm == pytest.approx(1.02, rel=1e-6)


def test_hand_computed_scale():
    # f = 3000 px at 3000 mm, face on: 1 px per mm; at 60 degrees one way is halved.
    face = _seen(POINTS, project(plane_to_photo(3000, (9, 9), (0, 0, 3000)), POINTS))
    assert mm_per_px(face) == pytest.approx(1.0, rel=1e-6)
    turned = _seen(POINTS, project(plane_to_photo(3000, (9, 9), (0, 0, 3000), 60), POINTS))
    assert mm_per_px(turned) == pytest.approx(np.sqrt(2), rel=1e-6)
    assert obliqueness(homography(turned)) == pytest.approx(np.pi / 3, rel=1e-6)
    two = _seen([[-150, 0], [150, 0]], [[0, 0], [90, 120]])
    assert mm_per_px(two) == pytest.approx(2.0)
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    ring = 500 + np.column_stack([50 * np.cos(angle), 30 * np.sin(angle)])
    disc = ReferenceSeen(
        "disc", "found", np.zeros((0, 2)), np.zeros((0, 2)), 0.2, 0.005,
        outline_px=ring, diameter_mm=120.0,
    )  # fmt: skip
    assert mm_per_px(disc) == pytest.approx(1.2, rel=1e-5)


def test_homography_against_opencv_and_scikit_image():
    from skimage.transform import ProjectiveTransform

    random = np.random.default_rng(0)
    matrix = plane_to_photo(3000.0, (2000, 1500), (40, 30, 2800), 22, -9, 5)
    picture = project(matrix, POINTS) + random.normal(0, 0.3, POINTS.shape)
    ours = fit_homography(POINTS, picture)
    assert ours is not None
    opencv, _ = cv2.findHomography(POINTS, picture, 0)
    if hasattr(ProjectiveTransform, "from_estimate"):
        ski = ProjectiveTransform.from_estimate(POINTS, picture)
    else:  # before scikit-image 0.26
        ski = ProjectiveTransform()
        assert ski.estimate(POINTS, picture)
    for other in (opencv, ski.params):
        assert np.max(np.abs(project(ours, POINTS) - project(other, POINTS))) < 0.05
    # Least squares in the picture: no other fit leaves less over.
    left = np.sum((project(ours, POINTS) - picture) ** 2)
    assert left <= np.sum((project(ski.params, POINTS) - picture) ** 2) * (1 + 1e-6)


def test_jacobian_against_differences():
    matrix = plane_to_photo(3000.0, (200, 150), (40, 30, 800), 22, -9, 5)
    step = 1e-4
    at = np.array([30.0, -20.0])
    for axis in range(2):
        shift = np.eye(2)[axis] * step
        slope = (project(matrix, [at + shift]) - project(matrix, [at - shift]))[0] / (2 * step)
        assert jacobian(matrix, at)[:, axis] == pytest.approx(slope, rel=1e-5)


def test_points_that_fix_nothing():
    line = np.column_stack([np.arange(4.0), np.arange(4.0)])
    with pytest.raises(ScaleError, match="fix no plane"):
        homography(_seen(line, line * 3 + 1))
    with pytest.raises(ScaleError, match="Fewer than four"):
        homography(_seen(line[:2], line[:2]))
    with pytest.raises(ScaleError, match="fixes the scale"):
        mm_per_px(_seen(np.zeros((0, 2)), np.zeros((0, 2))))


@pytest.mark.parametrize("pitch", [-0.3, 0.0, 0.3])
def test_a_plane_seen_exactly_symmetrically_has_a_pose(pitch: float) -> None:
    """The corners of a sheet of A4 square to the sides, its middle in the picture's."""
    flat = 0.5 * np.array([[-210, -297], [210, -297], [210, 297], [-210, 297.0]])
    turned = np.column_stack([flat, np.zeros(4)]) @ rotation_from(0.0, pitch, 0.0).T
    at = turned + np.array([0.0, 0.0, 1500.0])
    seen = ReferenceSeen(
        "a4", "marked", flat, at[:, :2] / at[:, 2:] * 300.0 + [150.0, 110.0], 0.1, 0.01
    )
    found = poses(seen, 300.0, (150.0, 110.0))
    assert min(abs(pose.pitch - pitch) for pose in found) < 2e-3
    assert found[0].miss_px < 0.01
