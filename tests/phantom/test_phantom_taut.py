"""Taut strings and geodesics against closed forms, and one method against another."""

from __future__ import annotations

import mpmath
import numpy as np
import potpourri3d
import pygeodesic.geodesic as exact
import pytest
import trimesh
from scipy.special import ellipe, ellipeinc

from photocheck.phantom.field import Egg, Field, Limb, build_field
from photocheck.phantom.section import hull_perimeter
from photocheck.phantom.solid import BEHIND_ELBOW, make_dog, mesh_of, random_plan
from photocheck.phantom.tape import tape_paths, tape_truth
from photocheck.phantom.taut import length, pull_taut, push_out


def ball(radius: float, step: float) -> Field:
    return build_field([(Egg((0.0, 0.0, 0.0), (radius,) * 3), 0.0)], step, ground=False)


def test_string_on_a_ball_is_an_arc_of_a_great_circle():
    radius = 100.0
    field = ball(radius, 3.0)
    angle = 2.1
    start = radius * np.array([1.0, 0.0, 0.0])
    end = radius * np.array([np.cos(angle), 0.6 * np.sin(angle), 0.8 * np.sin(angle)])
    middle = 1.3 * radius * np.array([0.3, 0.2, 1.0])
    path = pull_taut(field, np.stack([start, middle, end]))
    assert length(path) == pytest.approx(radius * angle, rel=1.5e-3)


def test_string_between_free_points_leaves_a_ball_on_its_tangents():
    radius, far = 80.0, 150.0
    field = build_field(
        [(Egg((0.0, 0.0, 0.0), (radius,) * 3), 0.0)], 3.0, ground=False, margin_mm=120.0
    )
    ends = np.array([[-far, 0.0, 0.0], [far, 0.0, 0.0]])
    path = pull_taut(field, np.stack([ends[0], [0.0, 1.2 * radius, 0.0], ends[1]]))
    tangent = np.sqrt(far**2 - radius**2)
    arc = radius * (np.pi - 2.0 * np.arccos(radius / far))
    assert length(path) == pytest.approx(2.0 * tangent + arc, rel=2e-3)


def test_string_on_a_cylinder_is_the_unrolled_straight_line():
    radius = 90.0
    body = Limb((-400.0, 0.0, 0.0), (400.0, 0.0, 0.0), radius, radius)
    field = build_field([(body, 0.0)], 3.0, ground=False)
    start = np.array([-120.0, 0.0, radius])
    turn = 1.4
    end = np.array([130.0, radius * np.sin(turn), radius * np.cos(turn)])
    path = pull_taut(field, np.stack([start, [0.0, 1.2 * radius, 1.2 * radius], end]))
    assert length(path) == pytest.approx(np.hypot(250.0, radius * turn), rel=1.5e-3)


@pytest.mark.slow
def test_string_on_an_elliptic_cylinder_needs_the_incomplete_elliptic_integral():
    half_y, half_z = 110.0, 77.0
    body = Limb((-400.0, 0.0, 0.0), (400.0, 0.0, 0.0), half_y, half_y, across=half_z / half_y)
    field = build_field([(body, 0.0)], 3.0, ground=False)
    start = np.array([-100.0, 0.0, half_z])
    end = np.array([120.0, half_y, 0.0])
    path = pull_taut(field, np.stack([start, [10.0, half_y, half_z], end]))
    m = 1.0 - (half_z / half_y) ** 2
    across = half_y * ellipe(m)
    assert float(half_y * mpmath.ellipe(m)) == pytest.approx(across, rel=1e-12)
    assert half_y * ellipeinc(np.pi / 2, m) == pytest.approx(across, rel=1e-12)
    assert length(path) == pytest.approx(np.hypot(220.0, across), rel=2e-3)


def test_string_spans_a_hollow():
    masses = [
        (Egg((-90.0, 0.0, 0.0), (60.0, 60.0, 60.0)), 0.0),
        (Egg((90.0, 0.0, 0.0), (60.0, 60.0, 60.0)), 0.0),
        (Limb((-90.0, 0.0, 0.0), (90.0, 0.0, 0.0), 25.0, 25.0), 0.0),
    ]
    field = build_field(masses, 3.0, ground=False)
    ends = np.array([[-90.0, 60.0, 0.0], [90.0, 60.0, 0.0]])
    path = pull_taut(field, np.stack([ends[0], [0.0, 30.0, 0.0], ends[1]]))
    assert length(path) == pytest.approx(180.0, rel=2e-3)


def test_ring_around_an_ellipsoid_is_its_ellipse():
    half = (90.0, 140.0, 60.0)
    mesh = mesh_of(build_field([(Egg((0.0, 0.0, 0.0), half), 0.0)], 3.0, ground=False))
    ring = hull_perimeter(mesh, np.array([0.0, -140.0, 0.0]), np.array([0.0, 140.0, 0.0]))
    want = 4.0 * 140.0 * float(mpmath.ellipe(1 - (60.0 / 140.0) ** 2))
    assert ring == pytest.approx(want, rel=1.5e-3)


def test_section_that_misses_says_so():
    mesh = mesh_of(ball(50.0, 4.0))
    with pytest.raises(ValueError, match="section"):
        hull_perimeter(mesh, np.array([100.0, 0.0, 0.0]), np.array([120.0, 10.0, 0.0]))


def with_points(mesh: trimesh.Trimesh, points: np.ndarray) -> tuple[np.ndarray, np.ndarray, list]:
    """The mesh with each point made a vertex by splitting the face it lies on."""
    vertices, faces = np.asarray(mesh.vertices), np.asarray(mesh.faces)
    names = []
    for point in points:
        spots = trimesh.triangles.closest_point(vertices[faces], np.tile(point, (len(faces), 1)))
        k = int(np.argmin(np.linalg.norm(spots - point, axis=1)))
        a, b, c = faces[k]
        corner = faces[k][np.argmin(np.linalg.norm(vertices[faces[k]] - spots[k], axis=1))]
        if np.linalg.norm(vertices[corner] - spots[k]) < 0.3:
            names.append(int(corner))
            continue
        new = len(vertices)
        vertices = np.vstack([vertices, spots[k]])
        faces = np.vstack([np.delete(faces, k, axis=0), [[a, b, new], [b, c, new], [c, a, new]]])
        names.append(new)
    return vertices, faces, names


@pytest.mark.slow
@pytest.mark.parametrize("seed", [3, 16])
def test_rear_and_ribs_against_two_mesh_geodesics(seed: int):
    dog = make_dog(random_plan(np.random.default_rng(seed), posture="square"))
    paths = tape_paths(dog)
    marks = dog.tape
    spots = np.array([marks["last_rib"], marks["tail_base"], marks[BEHIND_ELBOW]])
    vertices, faces, (rib, tail, elbow) = with_points(dog.tape_mesh, spots)
    for end, path in ((tail, paths.rear), (elbow, paths.ribs)):
        solver = exact.PyGeodesicAlgorithmExact(vertices, faces)
        shortest, _ = solver.geodesicDistance(rib, end)
        flips = potpourri3d.EdgeFlipGeodesicSolver(vertices, faces)
        flipped = length(np.asarray(flips.find_geodesic_path(rib, end)))
        assert flipped == pytest.approx(shortest, rel=5e-3)
        # A taut tape may span a hollow: never longer than the surface, hardly shorter.
        taut = length(path)
        assert taut <= shortest * 1.002
        assert taut >= shortest * 0.95


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 8])
def test_strings_stay_outside_and_are_converged(seed: int):
    dog = make_dog(random_plan(np.random.default_rng(seed)))
    paths = tape_paths(dog)
    for path in (paths.under, paths.ribs, paths.rear):
        value, _ = dog.tape_field.sample(path)
        assert value.min() > -0.5
        again = pull_taut(dog.tape_field, path, levels=(65,), rounds=800)
        assert length(again) == pytest.approx(length(path), rel=2e-4)


def test_full_is_front_and_rear():
    truth = tape_truth(make_dog(random_plan(np.random.default_rng(2))))
    assert truth["full_length"] == truth["front_length"] + truth["rear_length"]


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_truth_does_not_hang_on_the_mesh(seed: int):
    plan = random_plan(np.random.default_rng(seed))
    coarse, fine = tape_truth(make_dog(plan)), tape_truth(make_dog(plan, 120))
    for span, value in fine.items():
        assert coarse[span] == pytest.approx(value, rel=0.005), span


def test_push_out_leaves_what_is_outside():
    field = ball(50.0, 3.0)
    points = np.array([[0.0, 60.0, 0.0], [0.0, 40.0, 10.0]])
    moved = push_out(field, points)
    np.testing.assert_allclose(moved[0], points[0])
    assert np.linalg.norm(moved[1]) == pytest.approx(50.0, abs=0.3)
