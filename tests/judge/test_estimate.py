"""The joint estimate: hand-computed pinholes, a Monte Carlo twin, fusion, outliers."""

import numpy as np
import pytest

from photocheck.case.model import DogFacts, Marking
from photocheck.judge.estimate import estimate
from photocheck.judge.joint import Joint
from photocheck.judge.shots import Shot
from photocheck.judge.solve import solve
from photocheck.photo.photo import CameraFacts
from photocheck.scale.pose import View, camera_of, likely_poses
from photocheck.scale.priors import Offset
from photocheck.scale.seen import ReferenceSeen
from photocheck.words import SPAN_ENDS, SPANS
from tests.support.judged import DOG, FOCAL_PX, marking, pixel, square_view


def straight(span: str) -> float:
    a, b = (np.array(DOG[name]) for name in SPAN_ENDS[span])
    return float(np.linalg.norm(a - b))


@pytest.mark.parametrize("offset", [0.0, -150.0, 120.0, -800.0])
def test_square_pinhole_by_hand_is_exact(offset: float) -> None:
    # The reference 2.5 m away; the dog's middle plane is `offset` farther.
    view = square_view(offset=Offset(0.0, offset, 5.0))
    found = estimate([view], [[marking(2500.0 + offset)]], DogFacts())
    for span in ("half_neck", "full_length"):
        assert found.straight_mm[SPANS.index(span)] == pytest.approx(straight(span), rel=1e-3)
    camera = found.cameras[0]
    assert camera.distance_mm == pytest.approx(2500.0, rel=1e-3)
    assert abs(camera.yaw_deg) < 0.05
    assert abs(camera.pitch_deg) < 0.3  # the prior looks down a little
    assert camera.px_per_mm == pytest.approx(FOCAL_PX / (2500.0 + offset), rel=1e-3)


def test_last_rib_lies_on_the_near_flank() -> None:
    view = square_view()
    # by hand: a point `half` nearer is seen larger by 2500 / (2500 - half)
    half = 88.0  # what the prior gives this dog, to a few mm
    seen_there = estimate([view], [[marking(half_flank=half)]], DogFacts()).straight_mm
    i = SPANS.index("rear_length")
    assert seen_there[i] == pytest.approx(straight("rear_length"), rel=1e-3)
    taken_there = estimate([view], [[marking()]], DogFacts()).straight_mm
    shrunk = 70.0 * (2500.0 - half) / 2500.0
    assert taken_there[i] == pytest.approx(np.hypot(300.0 - shrunk, 100.0), rel=1e-3)


def test_a_dog_facing_right_gives_the_same() -> None:
    view = square_view()
    left = estimate([view], [[marking()]], DogFacts())
    right = estimate([view], [[marking(mirrored=True)]], DogFacts())
    np.testing.assert_allclose(left.log_spans, right.log_spans, atol=1e-6)
    np.testing.assert_allclose(left.covariance, right.covariance, atol=1e-7)


def test_shares_sum_to_the_variance() -> None:
    found = estimate([square_view()], [[marking()]], DogFacts(weight_kg=25.0, girth_mm=680.0))
    total = np.sum(list(found.shares.values()), axis=0)
    np.testing.assert_allclose(total, np.diag(found.covariance), rtol=1e-6)


@pytest.mark.slow
def test_covariance_agrees_with_a_monte_carlo_twin() -> None:
    """JCGM 101:2008, clause 8: the GUM result held against drawing the inputs.

    Truth is drawn from the priors, photographed by the forward model, noise is
    added, and the estimate is made afresh each time.
    """
    rng = np.random.default_rng(11)
    base_view = square_view("a4", offset=Offset(0.0, -300.0, 60.0), at=(150.0, 60.0))
    base = Joint([Shot(base_view, likely_poses(base_view)[0], (marking(2200.0),))], DogFacts())
    u = base.unknowns
    normals = [
        u.place(k)
        for kind in ("term", "size", "focal", "lens", "offset", "session", "dog_yaw", "dog_lean")
        for k in u.kinds(kind)
    ]
    errors, variances = [], []
    for _ in range(220):
        truth = u.start
        for place in normals:
            truth[place] = rng.normal()
        pose = u.place(("pose", 0))
        truth[pose][:2] = rng.normal(0.0, [0.16, 0.14])
        seen, marks = photograph(base, base_view, truth, rng)
        found = estimate([seen], [[marks]], DogFacts())
        errors.append(found.log_spans - base.log_spans(truth))
        variances.append(np.diag(found.covariance))
    ratio = np.sqrt(np.mean(np.square(errors), axis=0) / np.mean(variances, axis=0))
    # 220 draws know a standard deviation to 5 %
    assert np.all((ratio > 0.85) & (ratio < 1.17)), ratio
    # what linear propagation leaves out stays well below the doubt itself
    bias = np.mean(errors, axis=0) / np.sqrt(np.mean(variances, axis=0))
    assert np.all(np.abs(bias) < 0.35), bias


def photograph(
    joint: Joint, view: View, truth: np.ndarray, rng: np.random.Generator
) -> tuple[View, Marking]:
    """Noisy corners and marks of a drawn truth."""
    u = joint.unknowns
    trunk = joint.trunk(truth)
    focal, lens = u.kinds("focal")[0], u.kinds("lens")[0]
    camera = camera_of(
        view,
        u.of(truth, ("pose", 0)),
        u.one(truth, focal),
        u.one(truth, lens),
        u.of(truth, ("centre", 0)),
    )
    size = np.exp(view.seen.size_spread * u.one(truth, u.kinds("size")[0]))
    flat = np.column_stack([view.seen.points_mm * size, np.zeros(4)])
    corners = camera.project(flat) + rng.normal(0.0, view.seen.spread_px, (4, 2))
    marks = {}
    for mark in joint.marks:
        level = joint._marked_points(truth, 0, [mark], trunk)
        px_per_mm = float(camera.focal_px / camera.translation[2])
        seen = camera.project(level)[0] + rng.normal(0.0, 5.5 * px_per_mm, 2)
        marks[mark.landmark] = (float(seen[0]), float(seen[1]))
    old = view.seen
    new = ReferenceSeen(old.kind, old.how, old.points_mm, corners, old.spread_px, old.size_spread)
    return View(view.size_px, view.camera, new, view.offset), Marking(marks)


def test_fusing_three_photos_averages_what_is_their_own() -> None:
    view = square_view()
    one = estimate([view], [[marking()]], DogFacts())
    three = estimate([view] * 3, [[marking()]] * 3, DogFacts())
    np.testing.assert_allclose(three.shares["marks"] / one.shares["marks"], 1 / 3, rtol=0.1)
    # what belongs to the dog stays
    np.testing.assert_allclose(three.shares["neck_width"][0], one.shares["neck_width"][0], rtol=0.1)
    np.testing.assert_allclose(three.log_spans, one.log_spans, atol=2e-3)


def test_two_markings_on_one_photo_share_its_scale() -> None:
    view = square_view(offset=Offset(0.0, 0.0, 150.0))
    one = estimate([view], [[marking()]], DogFacts())
    two = estimate([view], [[marking(by="owner"), marking(by="staff")]], DogFacts())
    np.testing.assert_allclose(two.shares["marks"] / one.shares["marks"], 0.5, rtol=0.1)
    np.testing.assert_allclose(two.shares["offset"], one.shares["offset"], rtol=0.1)


def test_fusing_a_left_and_a_right_side_photo() -> None:
    view = square_view()
    found = estimate([view] * 2, [[marking()], [marking(mirrored=True)]], DogFacts())
    alone = estimate([view], [[marking()]], DogFacts())
    np.testing.assert_allclose(found.log_spans, alone.log_spans, atol=2e-3)


def test_an_outlying_mark_is_named_and_left_out() -> None:
    view = square_view()
    slip = np.zeros((4, 2))
    slip[1] = (70.0, -60.0)
    found = estimate(
        [view] * 3, [[marking()], [marking(noise=slip, by="staff")], [marking()]], DogFacts()
    )
    assert len(found.outliers) == 1
    assert "shoulder top" in found.outliers[0]
    assert "staff" in found.outliers[0]
    assert "photo 2" in found.outliers[0]
    clean = estimate([view] * 3, [[marking()]] * 3, DogFacts())
    np.testing.assert_allclose(found.log_spans, clean.log_spans, atol=3e-3)


def test_two_contradicting_markings_are_both_named() -> None:
    slip = np.zeros((4, 2))
    slip[0] = (-80.0, 0.0)
    found = estimate(
        [square_view()], [[marking(by="owner"), marking(noise=slip, by="staff")]], DogFacts()
    )
    assert len(found.outliers) == 1
    assert "contradict" in found.outliers[0]


def test_a_photo_with_the_wrong_reference_is_named() -> None:
    good = square_view("a4")
    # an A4 sheet taken for a letter sheet would hardly show; a card taken for one does
    wrong_seen = square_view("a4", distance=2500.0).seen
    small = ReferenceSeen(
        "id_card", "marked", wrong_seen.points_mm * 0.288, wrong_seen.points_px, 0.5, 0.001
    )
    wrong = View(good.size_px, good.camera, small, good.offset)
    found = estimate([good, wrong, good], [[marking()]] * 3, DogFacts())
    assert any("Photo 2" in sentence for sentence in found.outliers)
    alone = estimate([good], [[marking()]], DogFacts())
    np.testing.assert_allclose(found.log_spans, alone.log_spans, atol=3e-3)


@pytest.mark.slow
def test_good_marks_are_rarely_named() -> None:
    rng = np.random.default_rng(3)
    view = square_view()
    named = 0
    for _ in range(60):
        markings = [[marking(noise=rng.normal(0, 5.5, (4, 2)))] for _ in range(3)]
        named += bool(estimate([view] * 3, markings, DogFacts()).outliers)
    assert named <= 3


def test_girth_and_chest_marks_narrow_the_rear() -> None:
    view = square_view()
    plain = estimate([view], [[marking()]], DogFacts())
    marks = dict(marking().marks)
    marks["back_top"] = pixel(-120.0, -140.0, 2500.0)
    marks["chest_bottom"] = pixel(-120.0, 110.0, 2500.0)
    helped = estimate([view], [[Marking(marks)]], DogFacts(girth_mm=730.0))
    i = SPANS.index("front_length")
    assert helped.covariance[i, i] < plain.covariance[i, i]


def test_unknown_focal_length_and_far_wall_cost_certainty() -> None:
    near = estimate([square_view()], [[marking()]], DogFacts())
    wall = Offset(0.0, -720.0, 280.0)
    far = estimate([square_view(offset=wall, distance=3200.0)], [[marking(2480.0)]], DogFacts())
    vague = estimate(
        [square_view(offset=wall, distance=3200.0, focal_known=False)],
        [[marking(2480.0)]],
        DogFacts(),
    )
    assert near.covariance[3, 3] < far.covariance[3, 3] < vague.covariance[3, 3]


@pytest.mark.parametrize("kind", ["two_points", "disc", "ball"])
def test_other_references_give_the_same_scale(kind: str) -> None:
    if kind == "two_points":
        flat = np.array([[-150.0, 0.0], [150.0, 0.0]])
        seen = ReferenceSeen(
            kind, "marked", flat, np.array([pixel(x, y, 2500.0) for x, y in flat]), 1.0, 0.003
        )
    else:
        t = np.linspace(0, 2 * np.pi, 32, endpoint=False)
        # seen from 2.5 m a ball's outline is a hair larger than its equator: by hand
        radius = 100.0 if kind == "disc" else 100.0 / np.sqrt(1 - (100.0 / 2500.0) ** 2)
        rim = np.array([pixel(radius * np.cos(a), radius * np.sin(a), 2500.0) for a in t])
        seen = ReferenceSeen(
            kind,
            "found",
            np.zeros((0, 2)),
            np.zeros((0, 2)),
            1.0,
            0.005,
            outline_px=rim,
            diameter_mm=200.0,
        )
    view = View(
        (4032, 3024), CameraFacts(26.0, "given", focal_spread=0.01), seen, Offset(0.0, 0.0, 10.0)
    )
    found = estimate([view], [[marking()]], DogFacts())
    assert found.straight_mm[3] == pytest.approx(straight("full_length"), rel=2e-3)


def test_the_solver_agrees_with_a_derivative_free_minimiser() -> None:
    """SciPy's Powell on the same cost finds nothing lower."""
    from scipy.optimize import minimize

    view = square_view("id_card", spread_px=1.0)
    rng = np.random.default_rng(2)
    shot = Shot(view, likely_poses(view)[0], (marking(noise=rng.normal(0, 5, (4, 2))),))
    joint = Joint([shot], DogFacts(girth_mm=700.0))
    mode = solve(joint)

    def cost(theta: np.ndarray) -> float:
        return float(0.5 * np.sum(joint.residuals(theta) ** 2))

    other = minimize(cost, mode.theta, method="Powell", options={"maxiter": 20})
    assert cost(mode.theta) <= other.fun + 1e-3
