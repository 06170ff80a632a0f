"""Misses and what they do: held against hand-computed pinholes and an independent camera."""

import contextlib
import json

import cv2
import numpy as np
import pytest
from PIL import Image

from photocheck.errors import CaseError
from photocheck.photo.load import load_photo
from photocheck.practice.dogs import (
    ABOUT,
    FOLDER,
    PracticeDog,
    plane_to_pixels,
    practice_dogs,
    read_dog,
)
from photocheck.practice.effects import weigh
from photocheck.practice.lesson import answer
from photocheck.practice.misses import between, misses
from photocheck.practice.sentences import miss_sentence
from photocheck.words import LANDMARKS, SPANS

# A camera at the origin looking along -z, x to the right and y up in the world: a picture of
# 2001 x 1501 px has its middle at (1000, 750).
HAND = {
    "size_px": [2001, 1501],
    "focal_px": 1500.0,
    "position_mm": [0.0, 0.0, 0.0],
    "right": [1.0, 0.0, 0.0],
    "down": [0.0, -1.0, 0.0],
    "ahead": [0.0, 0.0, -1.0],
}
FORWARD, UP = np.array([-1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0])


def hand_plane(depth_mm: float) -> np.ndarray:
    return plane_to_pixels(HAND, np.array([0.0, 0.0, -depth_mm]), FORWARD, UP)


def test_a_miss_by_hand() -> None:
    """By hand: at 2 m and 1500 px of focal length 1 mm is 0.75 px."""
    plane = hand_plane(2000.0)
    miss = between(plane, (1000.0, 750.0), (1015.0, 735.0))
    # 15 px to the right is 20 mm toward the tail of a dog whose head is to the left
    assert (miss.forward_mm, miss.up_mm) == pytest.approx((-20.0, 20.0))
    assert miss.distance_mm == pytest.approx(20.0 * 2**0.5)


def test_each_landmark_is_measured_in_its_own_plane() -> None:
    """By hand: the same 15 px are a twentieth less on a flank a twentieth nearer."""
    far = between(hand_plane(2000.0), (1000.0, 750.0), (985.0, 750.0))
    near = between(hand_plane(1900.0), (1000.0, 750.0), (985.0, 750.0))
    assert near.forward_mm / far.forward_mm == pytest.approx(0.95)


def test_a_dog_seen_at_an_angle_by_hand() -> None:
    """By hand: a dog turned by 60 degrees, its tail away from the camera at 2 m.

    A point 100 mm toward its head lies 50 mm to the left and 86.6 mm nearer:
    x = 1000 - 1500 * 50 / (2000 - 86.60) = 960.80 px.
    """
    turn = np.radians(60.0)
    forward = np.array([-np.cos(turn), 0.0, np.sin(turn)])
    plane = plane_to_pixels(HAND, np.array([0.0, 0.0, -2000.0]), forward, UP)
    miss = between(plane, (1000.0, 750.0), (960.803, 750.0))
    assert miss.forward_mm == pytest.approx(100.0, abs=0.01)
    assert miss.up_mm == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("dog", practice_dogs(), ids=lambda dog: dog.name)
def test_the_truth_of_each_dog_is_one_camera(dog: PracticeDog) -> None:
    """OpenCV's projectPoints sees marks and displaced marks where the JSON says."""
    data = json.loads((FOLDER / f"{dog.name}.json").read_text())
    camera = data["camera"]
    axes = np.array([camera["right"], camera["down"], camera["ahead"]])
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-5)
    (w, h), f = camera["size_px"], camera["focal_px"]
    inner = np.array([[f, 0, (w - 1) / 2], [0, f, (h - 1) / 2], [0, 0, 1.0]])
    forward, up = np.array(data["forward"]), np.array(data["up"])

    def seen(point: np.ndarray) -> np.ndarray:
        turn, _ = cv2.Rodrigues(axes)
        shift = -axes @ np.array(camera["position_mm"])
        return cv2.projectPoints(point[None], turn, shift, inner, None)[0].reshape(2)

    for name in LANDMARKS:
        true = np.array(data["landmarks_mm"][name])
        assert seen(true) == pytest.approx(np.array(dog.marks[name]), abs=0.05)
        moved = tuple(seen(true + 25.0 * forward - 12.0 * up))
        miss = misses(dog, {name: moved})[name]
        assert (miss.forward_mm, miss.up_mm) == pytest.approx((25.0, -12.0), abs=0.1)


def test_the_dogs_are_many_and_small_files() -> None:
    dogs = practice_dogs()
    assert [dog.name for dog in dogs] == list(ABOUT)
    assert len(dogs) >= 10
    assert sum(dog.stance != "square" for dog in dogs) == 2
    assert {dog.facts.coat for dog in dogs} == {"short", "medium", "long"}
    assert {dog.facts.build for dog in dogs} == {"slim", "medium", "broad"}
    for dog in dogs:
        assert dog.photo.stat().st_size <= 350_000
        with Image.open(dog.photo) as picture:
            assert picture.size == dog.size_px
            assert picture.size[0] >= 1600
            assert "invented" in picture.getexif()[0x010E]


@pytest.mark.parametrize("dog", practice_dogs(), ids=lambda dog: dog.name)
def test_true_marks_do_no_harm_and_agree_with_the_tape(dog: PracticeDog) -> None:
    """The tape truth is taut string over the phantom's mesh, not the estimator's own."""
    given = answer(dog, load_photo(dog.photo), dog.marks)
    assert given.effects.weight == "slight"
    assert max(m.distance_mm for m in given.misses.values()) < 0.1
    if dog.stance != "square":
        return
    for effect in given.effects.together:
        assert effect.change == pytest.approx(0.0, abs=1e-6)
        assert effect.right_mm == pytest.approx(dog.spans_mm[effect.span], rel=0.12), effect.span


def test_a_last_rib_too_far_back_moves_front_and_rear_apart() -> None:
    dog = practice_dogs()[0]
    to_px = dog.to_pixels["last_rib"] @ np.array([-30.0, 0.0, 1.0])
    placed = {**dog.marks, "last_rib": tuple(to_px[:2] / to_px[2])}
    given = answer(dog, load_photo(dog.photo), placed)
    assert miss_sentence("last_rib", given.misses["last_rib"], "cm") == (
        "Last rib: 3.0 cm too far back"
    )
    neck, front, rear, full = (effect.change_mm for effect in given.effects.together)
    # the chord breastbone - last rib grows and the chord to the tail shrinks by nearly 30 mm
    assert 15.0 < front < 40.0
    assert -40.0 < rear < -15.0
    assert abs(front + rear - full) < 0.5
    assert abs(neck) < 6.0
    # alone and together are the same when only one mark is off
    assert [e.change_mm for e in given.effects.alone["last_rib"]] == pytest.approx(
        [neck, front, rear, full], abs=1e-6
    )
    for other in ("breastbone", "shoulder_top", "tail_base"):
        assert given.effects.weight_of(other) == "slight"
    assert given.effects.weight != "slight"
    assert tuple(e.span for e in given.effects.together) == SPANS


def test_what_matters_is_what_a_tape_would_show() -> None:
    # 500 mm: a tape is unsure of 10 mm, 2 % (photocheck.judge.tolerances)
    assert weigh(0.019, 500.0, 0.05) == "slight"
    assert weigh(-0.03, 500.0, 0.05) == "felt"
    assert weigh(-0.099, 500.0, 0.05) == "misleading"


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_marks_anywhere_are_answered_or_refused_in_a_sentence(seed: int) -> None:
    dog = practice_dogs()[seed]
    photo = load_photo(dog.photo)
    rng = np.random.default_rng(seed)
    for _ in range(3):
        placed = {name: tuple(rng.uniform(0, 1499, 2)) for name in LANDMARKS}
        with contextlib.suppress(CaseError):
            given = answer(dog, photo, placed)
            assert np.isfinite([e.placed_mm for e in given.effects.together]).all()
    spot = dict.fromkeys(LANDMARKS, (800.0, 700.0))
    with pytest.raises(CaseError, match="same spot"):
        answer(dog, photo, spot)
    with pytest.raises(CaseError, match="not all four"):
        answer(dog, photo, {"breastbone": (800.0, 700.0)})


def test_a_broken_dog_is_told(tmp_path) -> None:
    whole = json.loads((FOLDER / "linnet.json").read_text())
    for name, broken in {
        "empty": {},
        "format": {**whole, "format": "other"},
        "marks": {**whole, "landmarks_mm": {}},
    }.items():
        path = tmp_path / f"{name}.json"
        path.write_text(json.dumps(broken))
        with pytest.raises(CaseError, match=rf"{name}\.json"):
            read_dog(path)
    with pytest.raises(CaseError):
        read_dog(tmp_path / "missing.json")
