"""Photos that are cut, and what is made of them: told, doubted, covered."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from photocheck.benchmark.crops import CUTS, WITHIN, Cut, cut_out, outcome
from photocheck.benchmark.subjects import subject
from photocheck.benchmark.trial import Setting, photographs, view_of
from photocheck.case.model import DogFacts
from photocheck.judge.estimate import estimate
from photocheck.judge.framed import FILE_LIMIT, doubted, farthest
from photocheck.judge.joint import Joint, facts_told
from photocheck.judge.shots import Shot, camera_at
from photocheck.judge.solve import solve
from photocheck.photo.photo import WHOLE, CameraFacts, Framing
from photocheck.scale.pinhole import turn_about_x, turn_about_y
from photocheck.scale.pose import View, likely_poses
from photocheck.scale.priors import CENTRE_SHARE
from photocheck.scale.sheet import sheet_points
from tests.support.judged import CENTRE, FOCAL_PX, SIZE, marking, square_view


def near_sheet(shift: tuple[float, float] = (0.0, 0.0), zoom: float = 1.0) -> View:
    """The marker sheet near and aslant, its perspective strong, in a picture cut by `shift` px."""
    flat = sheet_points()[1]
    turn = turn_about_y(np.array(0.5)) @ turn_about_x(np.array(0.25))
    seen = np.column_stack([flat, np.zeros(len(flat))]) @ turn.T + [0.0, 0.0, 900.0]
    pixels = zoom * FOCAL_PX * seen[:, :2] / seen[:, 2:] + CENTRE + np.array(shift)
    view = square_view()
    facts = CameraFacts(26.0, "exif 35 mm", focal_spread=0.03)
    reference = replace(
        view.seen, kind="marker_sheet", points_mm=flat, points_px=pixels, spread_px=0.15
    )
    return View(SIZE, facts, reference, view.offset)


def off_file(view: View) -> float:
    shot = Shot(view, likely_poses(view)[0], (marking(),))
    joint = Joint([shot], DogFacts())
    return farthest(joint, solve(joint))


def test_a_focal_length_or_a_middle_far_from_the_files_is_found() -> None:
    assert off_file(near_sheet()) < 2.0
    assert off_file(near_sheet(zoom=1.55)) > FILE_LIMIT
    assert off_file(near_sheet(zoom=0.7)) > FILE_LIMIT
    assert off_file(near_sheet(shift=(500.0, 0.0))) > FILE_LIMIT


def test_such_a_photo_is_told_and_doubted() -> None:
    told = estimate([near_sheet(zoom=1.55)], [[marking()]], DogFacts())
    (sentence,) = told.outliers
    assert "does not go with its file" in sentence
    assert "cropped" in sentence
    plain = estimate([near_sheet()], [[marking()]], DogFacts())
    assert plain.outliers == ()


@pytest.mark.parametrize("zoom", [0.7, 1.55])
def test_a_doubted_file_leaves_room_for_what_was_found(zoom: float) -> None:
    open_view = doubted(near_sheet(zoom=zoom))
    assert min(off_file(replace(open_view, cut=way)) for way in (True, False)) < FILE_LIMIT
    assert open_view.log_focal_35mm.spread > 0.2
    shot = Shot(replace(open_view, cut=zoom > 1.0), likely_poses(open_view)[0], (marking(),))
    joint = Joint([shot], DogFacts())
    camera = camera_at(joint.unknowns, solve(joint).theta, shot, 0)
    # the usual stance still draws at it: the view is aslant by 29 degrees
    assert float(camera.focal_px) == pytest.approx(zoom * FOCAL_PX, rel=0.15)


def test_every_fact_is_left_out_where_a_photo_is_held_against_its_file() -> None:
    shot = Shot(near_sheet(), likely_poses(near_sheet())[0], (marking(),))
    told = DogFacts(girth_mm=700.0, weight_kg=25.0)
    for dog, fact in (
        (replace(told, height_mm=600.0), "height"),
        (replace(told, breed="Akita"), "breed"),
    ):
        facts = facts_told(dog)
        assert set(facts) == {"girth", "weight", fact}
        assert set(Joint([shot], dog).facts) == set(facts)
        assert not Joint([shot], dog, facts_left_out=frozenset(facts)).facts


def test_the_doubt_of_a_whole_photo_hardly_grows_by_where_its_middle_may_lie() -> None:
    found = estimate([square_view()], [[marking()]], DogFacts())
    share = found.shares["framing"] / np.diag(found.covariance)
    assert np.all(share < 0.02), share


def test_a_photo_that_may_be_cut_weighs_both_ways() -> None:
    view = square_view()

    def spread(framing: Framing) -> np.ndarray:
        camera = replace(view.camera, framing=framing)
        found = estimate([replace(view, camera=camera)], [[marking()]], DogFacts())
        np.testing.assert_allclose(
            np.sum(list(found.parts.values()), axis=0), found.covariance, rtol=1e-9
        )
        return np.sqrt(np.diag(found.covariance))

    whole, perhaps, surely = (spread(f) for f in (WHOLE, Framing(0.3), Framing(0.97, "shape")))
    # what hangs on the place of the last rib alone, nearer than the rest, doubts it most
    assert np.all(whole < perhaps * 1.01)
    assert whole[2] < perhaps[2] < surely[2]
    assert surely[2] > 1.05 * whole[2]


def test_the_share_of_cuts_is_as_it_says() -> None:
    one = subject(7, 1)
    rng = np.random.default_rng(5)
    for cut in (Cut("", 0.65), Cut("", 0.65, free=True), Cut("", 0.65, longer_px=1600)):
        ((_, seen, view, _),) = photographs(one, Setting("", "id_card", "middle", exif=True), rng)
        edited = cut_out(seen, cut, rng)
        if edited is None:
            continue
        made, framing = edited
        width, height = made.size_px
        if cut.longer_px:
            assert max(made.size_px) == 1600
            assert framing.cut < 0.5
        else:
            assert width * height == pytest.approx(0.65**2 * 4032 * 3024, rel=2e-3)
            assert framing.cut >= 0.5
        marks = np.array(list(made.marking.marks.values()))
        assert np.all((marks >= 0) & (marks <= np.array(made.size_px)))
        # distances in the picture are those of the whole one, evenly scaled
        whole = np.array(list(seen.marking.marks.values()))
        scale = 1.0 if cut.longer_px is None else 1600 / np.rint(0.65 * 4032)
        np.testing.assert_allclose(
            np.diff(marks, axis=0), scale * np.diff(whole, axis=0), atol=1e-6
        )
        assert view_of(made, framing).size_px == made.size_px
        assert view.size_px == (4032, 3024)


@pytest.mark.slow
def test_cut_photos_are_covered() -> None:
    """Eight in ten is what 20 phantoms can tell of the published 95 % (see FIGURES.md)."""
    outcomes = []
    for number in range(20):
        one = subject(8, number)
        for cut in CUTS[4:8]:
            found = outcome(one, cut, np.random.default_rng([8, number, 77]))
            if found is not None:
                outcomes.append(found)
    error = np.array([o.error for o in outcomes])
    spread = np.array([o.spread for o in outcomes])
    assert np.mean(np.abs(error) <= WITHIN * spread) > 0.92
    assert np.mean([o.named for o in outcomes]) > 0.9


def test_middles_of_calibrated_cameras_lie_where_they_are_believed_to() -> None:
    # OpenSfM's camera_calibration.yaml, c_x and c_y over the longer side: GoPro Hero 8, Skydio 2
    told = np.array([-0.00177, 0.00639, 0.00641, 0.00780])
    assert np.abs(told).max() < 2.0 * CENTRE_SHARE
    assert np.sqrt(np.mean(told**2)) > 0.4 * CENTRE_SHARE
