"""Benchmarks of tags: dogs that wear them, ways of measuring, a shop that learns of both."""

from __future__ import annotations

import numpy as np
import pytest

from photocheck.benchmark import learning_tags
from photocheck.benchmark.learning_shop import Seen
from photocheck.benchmark.subjects import Subject, subject
from photocheck.benchmark.tagged_dogs import FELT_MM, _over_tape, by_neck_tags, felt
from photocheck.benchmark.tagged_ways import TAG_WAYS, TO_5_MM, Worn, seen_by, wearing
from photocheck.judge.repeats import ONCE
from photocheck.phantom.facing import random_front
from photocheck.phantom.tape import tape_truth
from photocheck.scale.catalogue import DOG_TAGS
from photocheck.words import LANDMARKS, READINGS, SPANS, TAGS


@pytest.fixture(scope="module")
def dog() -> Subject:
    return subject(5, 2)


@pytest.fixture(scope="module")
def worn(dog: Subject) -> Worn:
    return wearing(dog, np.random.default_rng(1))


@pytest.mark.slow
def test_points_lie_where_they_were_felt_and_the_tape_goes_by_them(dog: Subject) -> None:
    moved = [felt(dog, np.random.default_rng(k)) for k in range(12)]
    steps = np.array(
        [[one.dog.tape[n] - dog.dog.tape[n] for n in LANDMARKS] for one in moved]
    ).reshape(-1, 3)
    # along the dog as far as was felt; out of it not at all
    far = np.sqrt(np.mean(np.sum(steps**2, axis=1)))
    assert 0.6 * FELT_MM < far < 1.8 * FELT_MM
    for one in moved[:3]:
        for name in LANDMARKS:
            depth, _ = one.dog.tape_field.sample(one.dog.tape[name][None])
            assert abs(depth[0]) < 2.0
            apart = one.dog.visible[name] - one.dog.tape[name]
            np.testing.assert_allclose(apart, dog.dog.visible[name] - dog.dog.tape[name])
        truth = tape_truth(one.dog)
        np.testing.assert_allclose(one.truth_mm, [truth[span] for span in SPANS])
    assert np.std([one.truth_mm[0] for one in moved]) > 1.0


@pytest.mark.slow
def test_photos_are_seen_with_the_tags_of_a_way_and_a_hand_for_the_rest(worn: Worn) -> None:
    view, markings = worn.side.shot(LANDMARKS, sheet=True)
    found = {tag.landmark for tag in view.tags.tags}
    assert found <= set(LANDMARKS)
    assert len(found) >= 2
    assert view.seen.kind == "marker_sheet"
    assert view.at_tags
    placed = {name: m.by for m in markings for name in m.marks}
    assert placed.keys() == set(LANDMARKS)
    assert {name for name, by in placed.items() if by == TAGS} == found
    bare, by_hand = worn.side.shot((), sheet=True)
    assert bare.tags.tags == ()
    assert [m.by for m in by_hand] == ["owner"]
    alone, _ = worn.side.shot(LANDMARKS, sheet=False)
    assert alone.seen.kind == DOG_TAGS


@pytest.mark.slow
def test_tags_tell_more_than_a_hand_does(worn: Worn) -> None:
    by_hand, tagged = (seen_by(worn, each) for each in TAG_WAYS[:2])
    assert by_hand[1] == ()
    assert set(tagged[1]) <= set(READINGS)
    assert np.all(np.diag(tagged[0].covariance) < np.diag(by_hand[0].covariance))


def test_a_tape_that_repeats_to_5_mm_does() -> None:
    usual = np.sqrt(ONCE.repeat_variance(["front_length"], np.array([450.0]))[0]) * 450.0
    assert usual * TO_5_MM == pytest.approx(5.0, rel=0.01)


# --- learning ----------------------------------------------------------------------


def pool(count: int) -> list[Seen]:
    rng = np.random.default_rng(3)
    found = []
    for _ in range(count):
        truth = np.log([380.0, 520.0, 360.0])
        photo = truth + 0.03 * rng.normal(size=3)
        full = np.append(photo, np.log(np.exp(photo[1:]).sum()))
        moves = np.vstack([np.eye(3), [0.0, *np.exp(photo[1:] - full[3])]])
        own = np.array([0.05, 0.06, 0.03]) ** 2
        covariance = moves @ np.diag(own + 0.02**2) @ moves.T + 1e-6 * np.eye(4)
        found.append(Seen(full, covariance, own, truth))
    return found


@pytest.mark.slow
def test_a_shop_whose_owners_have_a_habit_learns_better_apart() -> None:
    some = pool(12)
    left = np.array([learning_tags.one_shop(some, 1, k) for k in range(10)])
    rms = np.sqrt(np.mean(left**2, axis=(0, -1)))  # habits, stores, apart or alike, hand or tags
    large, both = len(learning_tags.HABITS) - 1, learning_tags.STORES.index((30, 15))
    assert rms[large, both, 0, 1] < rms[large, both, 1, 1]
    assert rms.shape == (len(learning_tags.HABITS), len(learning_tags.STORES), 2, 2)
    hand_only = learning_tags.STORES.index((30, 0))
    np.testing.assert_array_equal(left[:, :, hand_only, 0], left[:, :, hand_only, 1])


def test_a_wrong_order_moves_less_than_its_slip() -> None:
    moved = learning_tags.spoilt(pool(12), 1, 0)
    assert np.all(np.abs(moved[:, 0, 0]) < 0.1)
    assert np.all(np.abs(moved[:, 1, 0]) < 0.2)


@pytest.mark.slow
def test_a_half_neck_follows_the_tags_at_the_neck(dog: Subject) -> None:
    """Towards the body the neck is wider, and a tape that passes there is longer."""
    still = by_neck_tags(dog, np.zeros((2, 3)))
    np.testing.assert_allclose(still.truth_mm, dog.truth_mm, rtol=1e-3)
    low, high = dog.dog.tape["breastbone"], dog.dog.tape["shoulder_top"]
    chord = (high - low) / np.linalg.norm(high - low)
    back = np.array([chord[1], -chord[0], 0.0])
    back *= np.sign(back[0])  # the head lies at small x
    wider, narrower = (by_neck_tags(dog, np.tile(s * 10.0 * back, (2, 1))) for s in (1.0, -1.0))
    assert wider.truth_mm[0] > 1.005 * dog.truth_mm[0]
    assert narrower.truth_mm[0] < 0.995 * dog.truth_mm[0]
    np.testing.assert_array_equal(wider.truth_mm[1:], dog.truth_mm[1:])


@pytest.mark.slow
def test_tags_at_the_neck_are_where_they_were_stuck_wherever_the_camera_is(dog: Subject) -> None:
    steps = np.array([[4.0, -3.0, 0.0], [-5.0, 2.0, 0.0]])
    stuck = []
    for seed in (1, 2, 3):
        scene = random_front(np.random.default_rng(seed), dog.dog, kind="marker_sheet")
        tips = scene.to_dog(_over_tape(scene, steps))
        stuck.append(tips[np.argsort(tips[:, 2])])
        off, _ = dog.dog.visible_field.sample(tips)
        assert np.all(np.abs(off) < 2.0)  # on the coat
    assert np.ptp(stuck, axis=0).max() < 0.01
