"""The frame round a picture: a cut picture is the same camera with its middle elsewhere."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from photocheck.photo.photo import Framing
from photocheck.scale.frames import frame_of
from photocheck.scale.pose import View, camera_of
from photocheck.scale.priors import CENTRE_SHARE, CUT_SHIFT, LOG_LOG_GROWTH
from tests.support.judged import FOCAL_PX, square_view

SIZE = (4032, 3024)
ZERO = np.zeros(())
POSE = np.array([0.1, -0.05, 0.02, 0.1, 0.05, np.log(2500.0)])
POINTS = np.array([[-400.0, 100.0, 0.0], [300.0, -250.0, -120.0], [10.0, 5.0, 60.0]])


def cut(framing: Framing, size: tuple[int, int] = (2400, 1500)) -> View:
    view = square_view()
    return replace(view, size_px=size, camera=replace(view.camera, framing=framing))


def test_a_frame_that_is_told_gives_the_whole_pictures_camera() -> None:
    whole = camera_of(square_view(), POSE, ZERO, np.asarray(2.0)).project(POINTS)
    told = Framing(0.99, "preview", (4032.0, 3024.0), (900.0, 700.0))
    camera = camera_of(cut(told), POSE, ZERO, np.asarray(2.0))
    assert float(camera.focal_px) == pytest.approx(FOCAL_PX)
    # the lens' distortion as well goes by the whole frame
    np.testing.assert_allclose(camera.project(POINTS), whole - [900.0, 700.0], atol=1e-9)


def test_the_recorded_frame_is_reached_at_the_middle_of_the_prior() -> None:
    frame = frame_of((2400, 1500), Framing(0.97, "recorded", (4032.0, 3024.0)))
    np.testing.assert_allclose(frame.size(ZERO), SIZE, rtol=1e-9)
    # the smallest frame of that shape that holds the picture is as wide as it is
    np.testing.assert_allclose(frame.least_px, (2400.0, 1800.0))


def test_a_cut_frame_grows_and_its_middle_has_room_as_it_does() -> None:
    frame = frame_of((2400, 1800), Framing(0.6, "size"))
    score = np.array([-1.0, 0.0, 1.0])
    size = frame.size(score)
    growth = np.exp(np.exp(LOG_LOG_GROWTH.mean + LOG_LOG_GROWTH.spread * score))
    np.testing.assert_allclose(size, growth[:, None] * [2400.0, 1800.0])
    centre = frame.centre(np.ones((3, 2)), size)
    room = CUT_SHIFT * (size - [2400.0, 1800.0]) / 2.0
    own = CENTRE_SHARE * size[:, :1]
    np.testing.assert_allclose(centre - np.array([1199.5, 899.5]), np.hypot(room, own))


def test_evenly_placed_cuts_have_the_spread_that_is_believed() -> None:
    # a uniform variable from -1 to 1 has standard deviation 1 / sqrt(3) = 0.577
    assert pytest.approx(1 / np.sqrt(3.0), abs=0.005) == CUT_SHIFT


def test_of_a_screenshot_only_what_lies_between_the_bars_counts() -> None:
    frame = frame_of((1080, 2340), Framing(0.15, photo_px=(0, 765, 1080, 1575)))
    np.testing.assert_allclose(frame.size(ZERO), (1080.0, 810.0))
    np.testing.assert_allclose(frame.middle_px, (539.5, 1169.5))


def test_a_picture_of_a_cameras_other_shape_leaves_the_focal_length_more_open() -> None:
    view = cut(Framing(0.15), (4032, 2268))
    shift = 0.5 * np.log((4032**2 + 3024**2) / (4032**2 + 2268**2))
    assert view.log_focal_35mm.mean == pytest.approx(np.log(26.0) + shift / 2)
    assert view.log_focal_35mm.spread == pytest.approx(np.hypot(0.01, shift / 2))


def test_whole_pictures_keep_middle_and_focal_length() -> None:
    camera = camera_of(square_view(), POSE, ZERO, ZERO)
    np.testing.assert_allclose(camera.centre_px, (2015.5, 1511.5))
    assert float(camera.focal_px) == pytest.approx(FOCAL_PX)
    assert square_view().frame.growth is None


def test_a_told_frame_counts_only_for_a_picture_that_was_cut() -> None:
    told = Framing(0.6, "preview", (4032.0, 3024.0), (900.0, 700.0))
    assert frame_of((2400, 1500), told, cut=True).least_px.tolist() == [4032.0, 3024.0]
    whole = frame_of((2400, 1500), told, cut=False)
    assert whole.least_px.tolist() == [2400.0, 1500.0]
    assert whole.growth is None


def test_a_recorded_frame_is_taken_as_it_is_but_for_a_picture_made_smaller() -> None:
    """Whoever made it smaller besides has no frame in its own pixels."""
    smaller = frame_of((2400, 1500), Framing(0.9, "smaller", (4032.0, 3024.0)))
    assert smaller.growth == LOG_LOG_GROWTH
    assert smaller.least_px.tolist() == [2400.0, 1800.0]  # the smallest of a camera's shape


@pytest.mark.parametrize(
    ("frame", "least", "grown"),
    [
        ((4000.0, 1600.0), (3750.0, 1500.0), 16 / 15),  # cut at its sides alone
        ((2200.0, 3000.0), (2000.0, 30000.0 / 11), 1.1),  # above and below alone
        ((2000.0, 3000.0), (2000.0, 3000.0), np.exp(0.02)),  # a fiftieth at least
        ((1900.0, 3000.0), (2000.0, 60000.0 / 19), np.exp(0.02)),
        ((2048.0, 3000.0), (2000.0, 6000.0 / 2.048), 1.024),
    ],
)
def test_a_recorded_frame_is_so_many_times_the_smallest_of_its_shape(
    frame: tuple[float, float], least: tuple[float, float], grown: float
) -> None:
    found = frame_of((2000, 1500), Framing(0.97, "recorded", frame))
    assert found.least_px == pytest.approx(least)
    assert found.growth is not None
    assert np.exp(np.exp(found.growth.mean)) == pytest.approx(grown)


def test_no_frame_is_more_than_twenty_times_the_picture() -> None:
    """e to the third: beyond it no camera can be told from a longer one."""
    frame = frame_of((2400, 1500), Framing(0.97, "shape"))
    far = frame.size(np.array([50.0, 500.0]))
    assert far == pytest.approx(np.exp(3.0) * np.array([frame.least_px] * 2))
