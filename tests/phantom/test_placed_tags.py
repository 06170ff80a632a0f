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
        # Half a cell apart, whichever way: paper bends and does not stretch.
        half = tag.side_mm / 12.0
        paper = tag.paper
        for steps, apart in (
            (np.diff(paper, axis=0), half),
            (np.diff(paper, axis=1), half),
            (paper[1:, 1:] - paper[:-1, :-1], half * np.sqrt(2)),
            (paper[1:, :-1] - paper[:-1, 1:], half * np.sqrt(2)),
        ):
            np.testing.assert_allclose(np.linalg.norm(steps, axis=-1), apart, rtol=1e-3)


def test_from_the_front_one_stands_at_either_side_of_the_neck(scene: Scene) -> None:
    left, right = front_tags(scene, np.random.default_rng(2))
    assert (left.landmark, right.landmark) == FRONT_LANDMARKS
