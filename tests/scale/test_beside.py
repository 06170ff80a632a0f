"""A second edge along a side is doubt, but for a shadow outside it and print inside it."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from photocheck.phantom.phone import encode
from photocheck.scale.beside import strips_beside

GROUND = np.array([0.45, 0.38, 0.30])
CARD = np.array([0.40, 0.14, 0.04])
PX_PER_MM = 4.0
WIDE, HIGH = 342, 216
LEFT, TOP = 60.0, 50.0


def _picture(parts: list[tuple[tuple[float, float, float, float], np.ndarray]]) -> np.ndarray:
    """Rectangles (left, top, right, bottom) of linear light on a ground, blurred and encoded."""
    light = np.zeros((320, 470, 3)) + GROUND
    for (left, top, right, bottom), tone in parts:
        light[round(top) : round(bottom), round(left) : round(right)] = tone
    light = cv2.GaussianBlur(light, (0, 0), 1.0)
    light += np.random.default_rng(4).normal(0, 0.002, light.shape)
    return np.rint(255 * encode(np.clip(light, 0, 1))).astype(np.uint8)


def _corners(right: float = 0.0) -> np.ndarray:
    """Of the card, or of what is wider by so many px on its right."""
    far = LEFT + WIDE + right
    low = TOP + HIGH
    return np.array([[LEFT, TOP], [far, TOP], [far, low], [LEFT, low]]) - 0.5


def _box(right: float = 0.0) -> tuple[float, float, float, float]:
    return LEFT, TOP, LEFT + WIDE + right, TOP + HIGH


def _strips(picture: np.ndarray, corners: np.ndarray) -> np.ndarray:
    return strips_beside(picture, corners, PX_PER_MM, (0.1, 0.1))


@pytest.mark.parametrize("wide", [4, 8, 14])
def test_the_far_edge_of_a_shadow_taken_for_the_side_is_doubted(wide):
    """By half of how wide the shadow is, on the side where it falls and on no other."""
    picture = _picture([(_box(wide), 0.45 * GROUND), (_box(), CARD)])
    off = _strips(picture, _corners(wide))
    assert off[1] == pytest.approx(0.5 * wide, abs=0.6)
    assert np.all(off[[0, 2, 3]] == 0.0)


def test_a_shadow_beyond_the_side_is_no_doubt():
    assert np.all(_strips(_picture([(_box(8), 0.45 * GROUND), (_box(), CARD)]), _corners()) == 0.0)


def test_a_border_that_lies_beyond_what_was_taken_for_the_side_is_doubted():
    picture = _picture([(_box(10), np.array([0.1, 0.2, 0.6])), (_box(), CARD)])
    assert _strips(picture, _corners())[1] == pytest.approx(5.0, abs=0.6)


def test_a_printed_border_inside_the_side_is_no_doubt():
    picture = _picture([(_box(10), np.array([0.1, 0.2, 0.6])), (_box(), CARD)])
    assert np.all(_strips(picture, _corners(10)) == 0.0)


def test_what_runs_farther_off_than_four_mm_is_no_doubt():
    picture = _picture([(_box(20), 0.45 * GROUND), (_box(), CARD)])
    assert np.all(_strips(picture, _corners(20)) == 0.0)
