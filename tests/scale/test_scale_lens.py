"""A calibrated lens: distortion by OpenCV's own model is taken out before measuring."""

import cv2
import numpy as np
import pytest

from photocheck.case.model import DogFacts
from photocheck.errors import CaseError
from photocheck.judge.estimate import estimate
from photocheck.photo.photo import CameraFacts, Photo
from photocheck.scale.lens import straighten
from photocheck.scale.seen import ReferenceSeen
from tests.support.judged import CENTRE, FOCAL_PX, SIZE, marking, square_view

COEFFICIENTS = (-0.12, 0.03, 0.001, -0.0005)
FOCAL = np.array([[FOCAL_PX, 0, CENTRE[0]], [0, FOCAL_PX, CENTRE[1]], [0, 0, 1]])


def photo() -> Photo:
    blank = np.zeros((SIZE[1], SIZE[0], 3), np.uint8)
    return Photo(blank, CameraFacts(26.0, "given", focal_spread=0.01), "", "JPEG")


def bent(points: np.ndarray) -> np.ndarray:
    rays = np.column_stack([(points - CENTRE) / FOCAL_PX, np.ones(len(points))])
    out, _ = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), FOCAL, np.array(COEFFICIENTS))
    return out[:, 0]


def test_a_calibrated_lens_gives_what_a_perfect_lens_gives() -> None:
    clean_view, clean_marks = square_view(at=(250.0, 120.0)), marking()
    names = list(clean_marks.marks)
    pixels = bent(np.array([clean_marks.marks[n] for n in names]))
    seen = clean_view.seen
    curved = ReferenceSeen(
        seen.kind, seen.how, seen.points_mm, bent(seen.points_px), seen.spread_px, seen.size_spread
    )
    marks = type(clean_marks)(dict(zip(names, map(tuple, pixels), strict=True)))
    straight, (moved,) = straighten(curved, [marks], COEFFICIENTS, photo())
    np.testing.assert_allclose(straight.points_px, seen.points_px, atol=0.02)
    for name in names:
        np.testing.assert_allclose(moved.marks[name], clean_marks.marks[name], atol=0.02)


def test_an_unknown_lens_is_part_of_the_doubt() -> None:
    found = estimate([square_view(at=(500.0, 300.0))], [[marking()]], DogFacts())
    assert np.all(found.shares["lens"] > 0)


@pytest.mark.parametrize("coefficients", [(0.1,), (0.1, 0.0, 0.0), (-10.0, 0.0, 0.0, 0.0)])
def test_coefficients_that_cannot_be_used(coefficients: tuple[float, ...]) -> None:
    view = square_view(at=(500.0, 300.0))
    with pytest.raises(CaseError):
        straighten(view.seen, [marking()], coefficients, photo())
