"""The practice dogs can be made again, and the close-ups show what they say."""

import json

import numpy as np
import pytest

from photocheck.benchmark.practice_dogs import PLANS, scene_of, truth_of, write_dog
from photocheck.practice.closeup import SIDE_PX, closeup
from photocheck.practice.dogs import FOLDER, practice_dogs
from photocheck.practice.misses import px_per_mm


def test_every_dog_has_its_plan() -> None:
    assert {plan.name for plan in PLANS} == {dog.name for dog in practice_dogs()}


@pytest.mark.slow
@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.name)
def test_the_truth_can_be_made_again(plan) -> None:
    shipped = json.loads((FOLDER / f"{plan.name}.json").read_text())
    made = json.loads(json.dumps(truth_of(plan, scene_of(plan))))
    assert made.keys() == shipped.keys()
    for name, xy in shipped["marks_px"].items():
        assert made["marks_px"][name] == pytest.approx(xy, abs=0.1)
    for span, mm in shipped["spans_mm"].items():
        assert made["spans_mm"][span] == pytest.approx(mm, rel=0.002)


@pytest.mark.slow
def test_a_dog_is_written_whole(tmp_path) -> None:
    def blank(scene, look) -> np.ndarray:
        width, height = scene.camera.size_px
        return np.zeros((height, width, 3), np.uint8)

    write_dog(PLANS[5], tmp_path, draw=blank)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["hazel.jpg", "hazel.json"]


def test_a_close_up_is_true_to_the_photo() -> None:
    """By hand: two marks 40 px apart at 1 px a mm; 104 px would hold them, 90 mm is the least."""
    rgb = np.zeros((600, 800, 3), np.uint8)
    rgb[:, :, 0] = np.arange(800)[None, :] // 4
    drawn = closeup(rgb, (400.0, 300.0), (440.0, 300.0), 1.0)
    assert drawn.shape == (SIDE_PX, SIDE_PX, 3)
    # 2.6 x 40 px = 104 px across 320: the middle is (420, 300), the edge 52 px from it
    assert int(drawn[10, 1, 0]) == pytest.approx((420 - 52) / 4, abs=1.5)
    scale = SIDE_PX / 104.0
    x = round(160 + scale * 20)
    assert drawn[160 - 11, x].tolist() == [255, 255, 255]  # the ring, 11 px about the placed one
    x = round(160 - scale * 20)
    assert drawn[160 - 9, x].tolist() == [127, 227, 193]  # the diamond's tip above the true one


def test_the_scale_at_a_mark() -> None:
    """By hand: 1500 px of focal length at 2 m make 0.75 px a mm, whatever the plane's axes."""
    plane = np.array([[-1500.0, 0.0, 2.0e6], [0.0, -1500.0, 1.5e6], [0.0, 0.0, 2000.0]])
    assert px_per_mm(plane) == pytest.approx(0.75)
