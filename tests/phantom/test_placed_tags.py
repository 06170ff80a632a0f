"""Tags on phantom dogs: their tips are the landmarks, and their paper is as large as printed."""

from __future__ import annotations

import numpy as np
import pytest

from photocheck.phantom.placed_tags import PRINT_SPREAD, front_tags, side_tags
from photocheck.phantom.scene import Scene, random_scene
from photocheck.phantom.solid import make_dog, random_plan
from photocheck.scale.tag_layout import STANDING
from photocheck.words import FRONT_LANDMARKS


@pytest.fixture(scope="module")
def scene() -> Scene:
    rng = np.random.default_rng(5)
    dog = make_dog(random_plan(rng), 60)
    return random_scene(rng, dog=dog, kind="marker_sheet")


def test_tips_lie_on_their_landmarks_and_squares_have_their_size(scene: Scene) -> None:
    tags = side_tags(scene, np.random.default_rng(1), 40.0)
    assert {tag.landmark for tag in tags} == {*STANDING, "last_rib"}
    for tag in tags:
        assert np.linalg.norm(tag.tip - scene.landmarks[tag.landmark]) < 3.0
        assert tag.side_mm == pytest.approx(40.0, rel=4 * PRINT_SPREAD)
        # Half a cell apart; what follows a flank is stretched at its corners.
        steps = np.linalg.norm(np.diff(tag.paper, axis=0), axis=-1)
        corners = 0.1 if tag.landmark == "last_rib" else 1e-6
        np.testing.assert_allclose(steps, tag.side_mm / 12.0, rtol=corners)
        assert steps.mean() == pytest.approx(tag.side_mm / 12.0, rel=0.02)


def test_from_the_front_one_stands_at_either_side_of_the_neck(scene: Scene) -> None:
    left, right = front_tags(scene, np.random.default_rng(2))
    assert (left.landmark, right.landmark) == FRONT_LANDMARKS
