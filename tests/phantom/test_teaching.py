"""Looks to teach with: what their labels say is where things are, and a seed gives them again.

HeldProposal against the pinhole worked by hand, NumPy's own arithmetic and OpenCV's drawing.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from photocheck.phantom.teaching.drawn_look import KINDS, SIDE, DrawnLook, looks_of_block
from photocheck.phantom.teaching.fur import ON_THE_COAT, fluffed
from photocheck.phantom.teaching.mesh_drawing import BodyView, draw
from photocheck.phantom.teaching.poses import FOLDED, draw_pose
from photocheck.phantom.teaching.sceneries import panorama_view, read_scenery
from photocheck.phantom.teaching.teaching_bodies import (
    POINTS,
    TeachingBody,
    phantom_body,
    read_bodies,
)
from photocheck.phantom.teaching.warp import other_side, warped


@pytest.fixture(scope="module")
def dog() -> TeachingBody:
    return phantom_body(np.random.default_rng(3))


@pytest.fixture(scope="module")
def looks() -> list[DrawnLook]:
    return list(looks_of_block(5, 2, read_scenery(None), count=8))


@pytest.mark.slow
def test_a_seed_gives_the_same_looks_again(looks: list[DrawnLook]) -> None:
    again = list(looks_of_block(5, 2, read_scenery(None), count=8))
    for one, other in zip(looks, again, strict=True):
        np.testing.assert_array_equal(one.picture, other.picture)
        np.testing.assert_array_equal(one.points, other.points)


@pytest.mark.slow
def test_another_number_gives_other_looks(looks: list[DrawnLook]) -> None:
    other = next(looks_of_block(5, 3, read_scenery(None), count=1))
    assert (looks[0].picture != other.picture).any()


@pytest.mark.slow
def test_labels_lie_where_they_can(looks: list[DrawnLook]) -> None:
    for look in looks:
        assert look.kind in KINDS
        assert look.picture.shape == (SIDE, SIDE, 3)
        assert look.points.shape == (len(POINTS), 2)
        taught = look.points[np.isfinite(look.points).all(axis=1)]
        assert ((taught >= -1) & (taught <= SIDE)).all()
        if look.kind == "no_dog":
            assert not len(taught)
            assert np.isnan(look.frame).all()
        else:
            x0, y0, x1, y1 = look.frame
            assert 0 <= x0 < x1 <= 1
            assert 0 <= y0 < y1 <= 1
        if look.kind == "side_on":
            nose, tail = (look.points[POINTS.index(name)] for name in ("nose", "tail_base"))
            assert (nose[0] > tail[0]) == look.facing_right
            # all that is taught of a dog from the side lies within its frame, but for hair
            x, y = taught.T / SIDE
            assert (x > x0 - 0.05).all()
            assert (x < x1 + 0.05).all()
            assert (y > y0 - 0.05).all()
            assert (y < y1 + 0.05).all()


def test_marks_of_a_phantom_lie_on_it(dog: TeachingBody) -> None:
    for name in ("breastbone", "shoulder_top", "last_rib", "back_top", "chest_bottom"):
        gap = np.linalg.norm(dog.vertices - dog.points[name], axis=1).min()
        assert gap < 0.03, name
    assert dog.points["breastbone"][0] < dog.points["last_rib"][0] < dog.points["tail_base"][0]


def test_hair_makes_a_dog_thicker_and_takes_its_marks_along(dog: TeachingBody) -> None:
    for seed in range(6):
        hairy = fluffed(dog, np.random.default_rng(seed))
        assert np.isfinite(hairy.vertices).all()
        assert hairy.vertices[:, 1].min() >= min(0.0, float(dog.vertices[:, 1].min()))
        assert np.ptp(hairy.vertices[:, 2]) > np.ptp(dog.vertices[:, 2])
        for name in ON_THE_COAT:  # outward, by no more than the deepest coat with its mane
            gap = float(np.linalg.norm(hairy.points[name] - dog.points[name]))
            assert 0.0 < gap < 0.16, name
        assert hairy.points["last_rib"] is dog.points["last_rib"]
        assert hairy.points["shoulder_top"][1] > dog.points["shoulder_top"][1]


@pytest.mark.parametrize("kind", FOLDED)
def test_folded_dogs_lie_as_they_are_said_to(kind: str) -> None:
    folded = phantom_body(np.random.default_rng(4), kind)
    heights = {name: float(folded.points[name][1]) for name in POINTS}
    if kind == "bowing":
        assert heights["breastbone"] < 0.4  # 0.57 to 0.76 of a standing dog
        assert heights["tail_base"] > heights["breastbone"] + 0.4
    elif kind == "sitting":
        assert heights["tail_base"] < 0.55 < heights["breastbone"]
    else:
        assert max(heights["tail_base"], heights["shoulder_top"]) < 0.85
        assert heights["breastbone"] < 0.4


def test_a_pose_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="none of"):
        draw_pose(np.random.default_rng(0), "flying")


def test_a_pinhole_shrinks_with_distance() -> None:
    """By hand: at distance d a step z towards the camera is drawn d / (d - z) times as large."""
    view = BodyView(0.0, 0.0, 0.0, 4.0, scale=100.0, shift=(50.0, 60.0), middle=(0.0, 0.0, 0.0))
    pixels, nearness = view.project(np.array([[1.0, 0.5, 0.0], [1.0, 0.5, 1.0]]))
    np.testing.assert_allclose(pixels[0], [150.0, 10.0])
    np.testing.assert_allclose(pixels[1], [50 + 100 * 4 / 3, 60 - 50 * 4 / 3])
    assert nearness[1] > nearness[0]


def test_axes_of_a_view_are_orthonormal() -> None:
    axes = BodyView(0.4, 0.2, 0.1, 3.0).axes
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-12)


def test_the_nearer_of_two_squares_is_seen() -> None:
    square = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]], np.float32)
    vertices = np.concatenate([square, square * 0.5 + np.array([0, 0, 0.5], np.float32)])
    faces = np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7]], np.int32)
    tint = np.repeat(np.array([0.0, 1.0], np.float32), 4)
    view = BodyView(0.0, 0.0, 0.0, 50.0, 20.0, (32.0, 32.0), (0.0, 0.0, 0.0))
    seen = draw(vertices, faces, vertices, view, (64, 64), tint)
    picture = np.full((64, 64), -1.0)
    picture[seen.rows, seen.columns] = seen.tint
    assert picture[32, 32] == pytest.approx(1.0)
    assert picture[32, 16] == pytest.approx(0.0)
    assert picture[2, 2] == -1.0
    np.testing.assert_allclose(seen.normals, np.tile([0, 0, 1], (len(seen.rows), 1)), atol=1e-6)


def test_what_turns_its_back_is_not_drawn() -> None:
    square = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]], np.float32)
    view = BodyView(0.0, 0.0, 0.0, 50.0, 20.0, (32.0, 32.0), (0.0, 0.0, 0.0))
    back = np.array([[0, 2, 1], [0, 3, 2]], np.int32)
    assert not len(draw(square, back, square, view, (64, 64)).rows)


def test_points_go_with_a_deformed_body(dog: TeachingBody) -> None:
    other = warped(dog, np.random.default_rng(8))
    assert np.ptp(other.vertices - dog.vertices) > 0.01
    for name in ("breastbone", "shoulder_top", "last_rib"):
        nearest = int(np.linalg.norm(dog.vertices - dog.points[name], axis=1).argmin())
        gap = np.linalg.norm(other.vertices[nearest] - other.points[name])
        assert gap < 0.06, name


def test_the_other_side_is_a_mirror(dog: TeachingBody) -> None:
    twice = other_side(other_side(dog))
    np.testing.assert_allclose(twice.vertices, dog.vertices)
    for name in POINTS:
        np.testing.assert_allclose(twice.points[name], dog.points[name])
    once = other_side(dog)
    assert once.points["near_front_foot"][2] == -dog.points["far_front_foot"][2]
    assert once.points["last_rib"][2] == dog.points["last_rib"][2]


def test_a_panorama_is_seen_straight_ahead() -> None:
    """The middle of an equirectangular picture lies straight ahead of the angle 0."""
    panorama = np.zeros((64, 128, 3), np.uint8)
    panorama[:, 64:] = 200
    view = panorama_view(panorama, np.pi, 0.0, 0.0, 0.4, 33)
    assert view[16, 4, 0] == 0.0
    assert view[16, 28, 0] == 200.0


def test_bodies_come_back_from_their_file(dog: TeachingBody, tmp_path: Path) -> None:
    path = tmp_path / "dogs.npz"
    save: Any = np.savez
    save(
        path,
        **{
            "rex/vertices": dog.vertices[None],
            "rex/faces": dog.faces,
            "rex/points": np.stack([dog.points[name] for name in POINTS])[None],
            "rex/poll": dog.poll[None],
            "rex/eye": dog.eye[None],
            "rex/tint": np.zeros(len(dog.vertices)),
            "rex/kinds": np.array(["side_on"]),
        },
    )
    (back,) = read_bodies(path)
    np.testing.assert_allclose(back.vertices, dog.vertices)
    assert back.name == "rex"
    assert back.trunk == pytest.approx(dog.trunk)


def test_scenery_is_read_from_a_folder(tmp_path: Path) -> None:
    folder = tmp_path / "panoramas"
    folder.mkdir()
    cv2.imwrite(str(folder / "a.png"), np.full((8, 16, 3), (10, 20, 30), np.uint8))
    (folder / "b.txt").write_text("no picture")
    scenery = read_scenery(folder.parent)
    assert len(scenery.panoramas) == 1
    assert scenery.panoramas[0][0, 0].tolist() == [30, 20, 10]
    assert scenery.surfaces
