"""Balls and discs found without a mark: where they were drawn, and nothing in their stead."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from photocheck.case.samples import samples_folder
from photocheck.phantom.composites import composite
from photocheck.phantom.rounds import round_composite
from photocheck.photo.load import load_photo
from photocheck.scale.catalogue import USUAL_ROUNDS, usual_rounds
from photocheck.scale.ellipses import fit_ellipse
from photocheck.scale.unaided_rounds import round_sightings


def _ground(seed: int = 1) -> np.ndarray:
    """Soft blotches: nothing round."""
    noise = np.random.default_rng(seed).normal(0, 60, (700, 1000, 3))
    soft = 110 + 6 * cv2.GaussianBlur(noise, (0, 0), 12)
    return np.clip(soft, 0, 255).astype(np.uint8)


def _with(*rounds: tuple[tuple[int, int], tuple[int, int]]) -> np.ndarray:
    """Filled ellipses of a centre and half axes, px."""
    picture = _ground()
    for at, half in rounds:
        cv2.ellipse(picture, at, half, 0, 0, 360, (226, 222, 70), -1, cv2.LINE_AA)
    return picture


@pytest.mark.slow
def test_a_ball_is_found_where_it_lies():
    (found,) = round_sightings(_with(((620, 430), (52, 52))))
    assert found.kinds == ("ball", "disc")
    assert np.hypot(*(found.ellipse.centre - (620, 430))) < 0.5
    assert found.ellipse.half == pytest.approx([52, 52], abs=0.7)


@pytest.mark.slow
def test_what_is_no_circle_is_no_ball():
    (found,) = round_sightings(_with(((620, 430), (60, 40))))
    assert found.kinds == ("disc",)
    assert sorted(found.ellipse.half) == pytest.approx([40, 60], abs=0.7)


@pytest.mark.slow
def test_two_that_are_alike_side_by_side_are_spots_or_eyes():
    assert round_sightings(_with(((500, 400), (30, 30)), ((600, 400), (30, 30)))) == ()


def test_nothing_is_found_where_nothing_is():
    assert round_sightings(_ground(2)) == ()


def test_a_square_is_none():
    picture = _ground()
    picture[300:380, 500:580] = (226, 222, 70)
    assert round_sightings(picture) == ()


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "seed"), [("ball", 2), ("ball", 6), ("disc", 3), ("disc", 6)])
def test_drawn_coins_and_balls_are_found(kind: str, seed: int):
    made = round_composite(kind, seed)
    truth = fit_ellipse(made.outline_px)
    (found,) = round_sightings(made.picture)
    assert truth is not None
    assert kind in found.kinds
    assert np.hypot(*(found.ellipse.centre - truth.centre)) < 0.05 * np.mean(truth.half)
    assert np.mean(found.ellipse.half) == pytest.approx(np.mean(truth.half), rel=0.05)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [8, 201, 204])
def test_a_patch_on_a_ball_is_not_shown_in_its_stead(seed: int):
    """Once each had a patch for a disc."""
    assert round_sightings(round_composite("ball", seed).picture) == ()


@pytest.mark.slow
def test_grounds_and_the_samples_have_none():
    for seed in (0, 3, 4):
        assert round_sightings(composite("", "dog", seed).picture) == ()
    for name in ("flint", "teasel"):  # whose eyes and tags are round
        photo = load_photo(samples_folder() / name / "side.jpg")
        assert round_sightings(photo.rgb) == ()


def test_usual_coins_and_balls():
    """Euro: Regulation (EU) 729/2014; dollar: 31 U.S.C. 5112 (a), inches; balls: ITF and IFAB.

    All from memory.
    """
    told = {one.title: one.across_mm for one in USUAL_ROUNDS}
    assert told == pytest.approx(
        {
            **{"2 euro": 25.75, "1 euro": 23.25, "50 euro cent": 24.25},
            "quarter dollar": 0.955 * 25.4,
            "half dollar": 1.205 * 25.4,
            "dollar coin": 1.043 * 25.4,
            "tennis ball": (65.4 + 68.6) / 2,
            "football, size 5": (680 + 700) / 2 / np.pi,
        }
    )
    assert [one.title for one in usual_rounds("disc", "US")] == [
        *("quarter dollar", "half dollar", "dollar coin"),
    ]
    assert usual_rounds("disc", "JP") == ()
    assert len(usual_rounds("disc", "")) == 6
    assert len(usual_rounds("ball", "JP")) == 2
