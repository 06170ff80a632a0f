"""What must hold between two answers whatever the numbers are, and faults that would do harm.

Relations need no truth: a mirrored or enlarged photo shows the same dog.  (Metamorphic testing:
Chen, Cheung and Yiu, Metamorphic testing, HKUST-CS98-01, 1998.)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

import photocheck
from photocheck.body.heights import PUPPY_MONTHS
from photocheck.body.posed import POSTURES
from photocheck.body.stance import Finding, Stance
from photocheck.body.stance_figures import StanceFigure
from photocheck.body.trunk import weight
from photocheck.case.lengths import format_length
from photocheck.case.model import Case, DogFacts, Marking, Reading
from photocheck.judge import budget, causes, typed, wording
from photocheck.judge import compare as comparing
from photocheck.judge.compare import Comparison, compare
from photocheck.judge.estimate import Estimate, estimate
from photocheck.judge.explain import discrepancy_of, rank, told
from photocheck.judge.joint import Joint
from photocheck.judge.shots import Shot
from photocheck.judge.solve import solve
from photocheck.judge.standing import Standing
from photocheck.judge.tolerances import COMMON, MOST_TOLERANCE
from photocheck.photo.load import load_photo
from photocheck.report.model import Report
from photocheck.reporting import _decide, _plainly_not_square
from photocheck.scale.pinhole import turn_about_x, turn_about_y
from photocheck.scale.pose import View, likely_poses
from photocheck.scale.priors import Offset
from photocheck.words import NECK_RING, SPANS
from tests.support.judged import DOG, SIZE, marking, pixel, square_view
from tests.support.places import SAMPLES

DOUBTED = Offset(1.0, 60.0, 40.0)
"""A reference beside the near feet."""


def view_at_the_feet() -> View:
    return square_view(offset=DOUBTED, at=(120.0, 300.0), distance=2300.0)


def given(**mm: float) -> dict[str, Reading]:
    return {name: Reading(value, f"{value / 10:g}", "cm") for name, value in mm.items()}


@cache
def plain() -> Estimate:
    return estimate([view_at_the_feet()], [[marking()]], DogFacts())


def moved(view: View, way: Callable[[Any], Any], size: tuple[int, int]) -> View:
    """The same view of a photo whose pixels all went another way."""
    points = np.array([way(xy) for xy in view.seen.points_px])
    return replace(view, size_px=size, seen=replace(view.seen, points_px=points))


def same_spans(one: Estimate, other: Estimate) -> None:
    np.testing.assert_allclose(one.log_spans, other.log_spans, atol=2e-4)
    np.testing.assert_allclose(one.covariance, other.covariance, rtol=5e-3, atol=1e-6)


# --- relations -----------------------------------------------------------------------------


def test_a_mirrored_photo_shows_the_same_dog() -> None:
    def flipped(xy: tuple[float, float]) -> tuple[float, float]:
        return (SIZE[0] - 1.0 - xy[0], xy[1])

    view = view_at_the_feet()
    mirrored = moved(view, flipped, SIZE)
    # the sheet's own left and right change places, so that its corners stay clockwise
    order = [1, 0, 3, 2]
    mirrored = replace(
        mirrored, seen=replace(mirrored.seen, points_px=mirrored.seen.points_px[order])
    )
    marks = Marking({name: flipped(xy) for name, xy in marking().marks.items()})
    same_spans(estimate([mirrored], [[marks]], DogFacts()), plain())


@pytest.mark.parametrize("factor", [0.5, 1.5])
def test_an_enlarged_photo_shows_the_same_dog(factor: float) -> None:
    def enlarged(xy: tuple[float, float]) -> tuple[float, float]:
        # the middle of the first pixel is (0, 0)
        return (factor * (xy[0] + 0.5) - 0.5, factor * (xy[1] + 0.5) - 0.5)

    view = view_at_the_feet()
    size = (round(factor * SIZE[0]), round(factor * SIZE[1]))
    larger = moved(view, enlarged, size)
    larger = replace(larger, seen=replace(larger.seen, spread_px=factor * view.seen.spread_px))
    marks = Marking({name: enlarged(xy) for name, xy in marking().marks.items()})
    same_spans(estimate([larger], [[marks]], DogFacts()), plain())


@pytest.mark.parametrize(("span", "share"), [("half_neck", 0.2), ("rear_length", 0.2)])
def test_a_bend_off_the_line_lengthens_its_span(span: str, share: float) -> None:
    ends = {"half_neck": ("breastbone", "shoulder_top"), "rear_length": ("last_rib", "tail_base")}
    a, b = (np.array(marking().marks[name]) for name in ends[span])
    across = np.array([-(b - a)[1], (b - a)[0]])

    def way(bend: float) -> float:
        xy = (a + b) / 2.0 + bend * across
        marks = replace(marking(), bends={span: ((float(xy[0]), float(xy[1])),)})
        found = estimate([view_at_the_feet()], [[marks]], DogFacts())
        return float(np.exp(found.log_spans[SPANS.index(span)]))

    assert way(share) > 1.02 * way(0.0)
    assert way(-share) > 1.02 * way(0.0)


def test_a_second_marking_and_a_second_photo_narrow_every_span() -> None:
    view = view_at_the_feet()
    one = np.diag(plain().covariance)
    two = np.diag(estimate([view], [[marking(), marking(by="staff")]], DogFacts()).covariance)
    photos = np.diag(estimate([view, view], [[marking()], [marking()]], DogFacts()).covariance)
    assert np.all(two < one)
    assert np.all(photos < two)


def slipped(**mm: float) -> Comparison:
    return compare(plain().log_spans, plain().covariance, given(**mm))


def seen_mm() -> dict[str, float]:
    return dict(zip(SPANS, np.exp(plain().log_spans), strict=True))


@pytest.mark.parametrize("left_out", [(), *[(n,) for n in SPANS if n != "rear_length"]])
@pytest.mark.parametrize("factor", [0.4, 2.5])
def test_fewer_readings_never_clear_a_gross_slip(left_out: tuple[str, ...], factor: float) -> None:
    mm = {**seen_mm(), "rear_length": factor * seen_mm()["rear_length"]}
    for name in left_out:
        mm.pop(name)
    assert "rear_length" in {n for fault in slipped(**mm).faults for n in fault.readings}


def test_a_single_gross_slip_never_agrees() -> None:
    """72 cm on the tape against some 29 in the photo, and no other reading to hold it against."""
    outcome = slipped(rear_length=720.0)
    assert [fault.name for fault in outcome.faults] == ["rear_length"]
    case = Case((), given(rear_length=720.0))
    assert _decide(case, outcome, None)[:2] == ("measure_again", ("rear_length",))


def test_inches_get_the_verdict_of_centimetres() -> None:
    for mm in (seen_mm(), {**seen_mm(), "half_neck": 1.6 * seen_mm()["half_neck"]}):
        cm = {name: Reading(v, f"{v} mm", "cm") for name, v in mm.items()}
        inches = {name: Reading(v, f"{v / 25.4} in", "in") for name, v in mm.items()}
        one, other = (compare(plain().log_spans, plain().covariance, r) for r in (cm, inches))
        assert [f.name for f in one.faults] == [f.name for f in other.faults]
        assert (one.limit, one.largest) == (other.limit, other.largest)


# --- faults that would do harm ---------------------------------------------------------------


def test_the_half_width_is_part_of_the_offset() -> None:
    """By hand: a sheet against the near side stands half the trunk nearer to the camera."""
    near = square_view(offset=Offset(1.0, 15.0, 20.0), distance=2300.0)
    found = estimate([near], [[marking()]], DogFacts())
    # half of 0.90 x 0.74 x 0.43 of 620 mm is 89 mm; marks and a girth may move it somewhat
    assert 75.0 < found.half_flank_mm < 105.0
    assert found.cameras[0].offset_mm == pytest.approx(found.half_flank_mm + 15.0, abs=2.0)
    behind = replace(near, offset=Offset(-1.0, -80.0, 35.0))
    found = estimate([behind], [[marking()]], DogFacts())
    assert found.cameras[0].offset_mm == pytest.approx(-found.half_flank_mm - 80.0, abs=4.0)


def test_a_small_tilted_card_is_doubted_by_both_its_tilts() -> None:
    """The mixture's variance: within, and between the two ways it can have been tilted."""
    view = square_view("id_card", at=(5.0, 3.0), spread_px=0.3, offset=Offset(0.0, 0.0, 20.0))
    flat = np.column_stack([view.seen.points_mm, np.zeros(4)])
    tilt = turn_about_y(np.array(0.2)) @ turn_about_x(np.array(0.0))
    seen = np.array([pixel(x + 5.0, y + 3.0, 2500.0 + z) for x, y, z in flat @ tilt.T])
    view = replace(view, seen=replace(view.seen, points_px=seen))
    poses = likely_poses(view)
    assert len(poses) == 2
    assert poses[0][0] * poses[1][0] < 0.0  # one way and the other
    rear = SPANS.index("rear_length")
    both = estimate([view], [[marking()]], DogFacts())
    alone, lengths = [], []
    for pose in poses:
        joint = Joint([Shot(view, pose, (marking(),))], DogFacts())
        mode = solve(joint)
        lengths.append(float(joint.log_spans(mode.theta)[rear]))
        alone.append(mode.log_evidence)
    weights = np.exp(np.array(alone) - max(alone))
    weights /= weights.sum()
    mean = float(weights @ lengths)
    between = float(weights @ (np.array(lengths) - mean) ** 2)
    assert both.log_spans[rear] == pytest.approx(mean, abs=1e-4)
    assert both.shares["square"][rear] > between > 0.04**2
    assert np.sqrt(both.covariance[rear, rear]) > 0.075  # with one tilt it would be 0.052


def finding(name: str) -> Finding:
    figure = StanceFigure.__new__(StanceFigure)  # what was measured does not matter here
    return Finding(name, "", "", figure, 5.0, 0.2, ())


def stood(name: str = "", odds: float = 100.0) -> Standing:
    findings = (finding(name),) if name else ()
    return Standing(Stance(findings, {name: float(np.log(odds))}, {}, 0.01), None)


@pytest.mark.parametrize(
    ("stances", "named"),
    [
        ((stood("crouching"),), "crouching"),
        ((stood("crouching"), stood("arched")), "crouching"),
        ((stood("crouching"), stood()), ""),  # one of two is no verdict on both
        ((stood(), stood("crouching")), ""),
        ((stood("crouching", 11.0),), "crouching"),
        ((stood("crouching", 9.0),), ""),  # ten to one is asked
        ((stood("crouching"), stood("crouching", 9.0)), ""),
        ((), ""),
    ],
)
def test_one_crouching_photo_does_not_condemn_another(
    stances: tuple[Standing, ...], named: str
) -> None:
    assert _plainly_not_square(stances) == named


def test_agrees_ends_where_an_error_beyond_tolerance_could_pass() -> None:
    outcome = slipped(**seen_mm())
    case = Case((), given(**seen_mm()))
    shares = {name: 0.99 * outcome.tolerances.of(name) for name in SPANS}
    sure = replace(outcome, hides=shares, catches_common=0.1)
    assert _decide(case, sure, None)[0] == "agrees"
    for name in SPANS:
        more = {**shares, name: 1.01 * outcome.tolerances.of(name)}
        verdict, names, reason = _decide(case, replace(sure, hides=more), None)
        assert (verdict, names) == ("could_hide", (name,))
        assert format_length(more[name] * seen_mm()[name], "cm") in reason
    common = replace(sure, catches_common=1.01 * outcome.tolerances.of(COMMON))
    assert _decide(case, common, None)[0] == "could_hide"
    for nothing in (
        replace(
            sure,
            hides={**shares, "rear_length": 0.4},
            catches={**shares, "rear_length": 1.01 * MOST_TOLERANCE},
        ),
        replace(sure, catches_common=1.01 * MOST_TOLERANCE),
    ):
        assert _decide(case, nothing, None)[0] == "cannot_tell"


@cache
def sample(name: str) -> tuple[Case, dict[str, photocheck.photo.photo.Photo]]:
    case = photocheck.read_case(SAMPLES / name / "case.json")
    return case, {p.path: load_photo(p.path, focal_35mm=p.focal_35mm) for p in case.photos}


def check(name: str, **changes: Any) -> Report:
    case, photos = sample(name)
    return photocheck.check(replace(case, **changes), photos=photos)


@pytest.mark.slow
def test_a_check_of_a_poor_photo_says_cannot_tell() -> None:
    case, _ = sample("bramble")
    # a reference that may have stood anywhere within 60 cm, and marks good to 3 cm
    photo = case.photos[0]
    reference = replace(photo.reference, offset_mm=None, place="wall", offset_spread_mm=600.0)
    vague = tuple(replace(m, spread_mm=30.0) for m in photo.markings)
    only = {"full_length": case.readings["full_length"]}
    photo = replace(photo, reference=reference, markings=vague)
    mm = check("bramble", photos=(photo,), readings={}).spans[3].photo_mm
    only = {"full_length": Reading(mm, f"{mm} mm", "cm")}
    report = check("bramble", photos=(photo,), readings=only)
    assert report.verdict == report.spans[3].verdict == "cannot_tell"
    assert "too uncertain" in report.spans[3].sentence
    assert report.headline.startswith("Cannot tell")


def test_intervals_hold_95_of_100() -> None:
    """Two-sided, of a normal variable: the standard table."""
    report = check("bramble")
    for span in report.spans:
        reach = np.log(span.high_mm / span.low_mm) / 2.0
        assert reach == pytest.approx(norm.ppf(0.975) * span.log_spread, rel=1e-4)
        assert span.photo_mm == pytest.approx(np.sqrt(span.low_mm * span.high_mm), rel=1e-9)


@pytest.mark.slow
def test_the_ring_alone_is_shown_beside_the_half_neck() -> None:
    mm = check("bramble", readings={}).spans[0].photo_mm
    for factor, verdict in ((1.0, "agrees"), (1.06, "could_hide"), (1.9, "measure_again")):
        ring = {NECK_RING: Reading(2.0 * factor * mm, "ring", "cm")}
        row = check("bramble", readings=ring).spans[0]
        assert row.reading_mm == pytest.approx(factor * mm)
        assert row.difference == pytest.approx(np.log(factor), abs=1e-9)
        assert row.verdict == verdict
        assert row.catches > 0.0


@pytest.mark.slow
def test_a_young_dog_gets_its_caution() -> None:
    case, _ = sample("bramble")
    for months, said in ((3.0, True), (PUPPY_MONTHS, False), (None, False)):
        report = check("bramble", dog=replace(case.dog, age_months=months))
        assert (wording.PUPPY_CAUTION in report.cautions) == said


# --- what random planting found unnoticed ------------------------------------------------------


def test_another_marking_leaves_its_share_of_the_marks_doubt() -> None:
    """By hand: n of n + 1."""
    case, _ = sample("bramble")
    left = budget.what_actions_leave(case, [view_at_the_feet()])
    assert left["marks"].leaves == pytest.approx(1 / 2)
    assert left["photo"].leaves == pytest.approx(1 / 2)
    assert left["offset"].leaves == pytest.approx((25.0 / 40.0) ** 2)
    twice = replace(case.photos[0], markings=case.photos[0].markings * 2)
    left = budget.what_actions_leave(replace(case, photos=(twice, twice)), [view_at_the_feet()])
    assert left["marks"].leaves == pytest.approx(4 / 5)
    assert left["photo"].leaves == pytest.approx(2 / 3)


def test_a_weight_is_held_against_the_cube_of_the_size() -> None:
    """By hand: ln of 22 % between dogs of one shape and size."""
    facts = {}
    for kg in (20.0, 30.0):
        shot = Shot(view_at_the_feet(), likely_poses(view_at_the_feet())[0], (marking(),))
        joint = Joint([shot], DogFacts(weight_kg=kg))
        misses = joint.residuals(joint.unknowns.start)
        facts[kg] = float(misses[joint.sources.index("weight")])
        trunk = joint.trunk(joint.unknowns.start)
    assert facts[30.0] - facts[20.0] == pytest.approx(np.log(30.0 / 20.0) / 0.22, rel=1e-9)
    larger = replace(
        trunk,
        points={name: 1.1 * xy for name, xy in trunk.points.items()},
        depth=1.1 * trunk.depth,
        width=1.1 * trunk.width,
    )
    assert weight(larger) == pytest.approx(1.1**3 * weight(trunk), rel=1e-9)


def test_a_reading_in_centimetres_has_no_misread_fraction() -> None:
    assert typed.misread_fraction("rear_length", Reading(420.0, "42", "cm")) == ()
    assert typed.misread_fraction("rear_length", Reading(419.1, "16 1/2", "in"))


@pytest.mark.parametrize("unit", ["cm", "in"])
@pytest.mark.parametrize("count", [1, 3])
def test_the_ways_of_a_tape_begun_late_share_out_their_probability(unit: str, count: int) -> None:
    names = ("half_neck", "front_length", "rear_length")[:count]
    inch = {"cm": 10.0, "in": 25.4}[unit]
    readings = {n: Reading(20.0 * inch, "20", unit) for n in names}
    seen = discrepancy_of(plain().log_spans, plain().covariance, readings)
    ways = list(causes.second_unit(seen))
    # what a candidate weighs by how often such a text is meant is taken out again
    starts = (25.4,) if unit == "in" else (10.0, 100.0)
    shares = {"in": (1.0,), "cm": (0.4, 0.6)}[unit]
    meant = dict(zip(starts, shares, strict=True))
    total = 0.0
    for way in ways:
        first = next(
            f for f in starts
            if way.candidates[0][1].mm == pytest.approx(20.0 * inch - f)
        )  # fmt: skip
        habit = (20.0 * inch / (20.0 * inch - first)) ** len(way.candidates)
        total += way.weight / habit
        part = 1.0 if count == 1 else 0.5 if len(way.candidates) > 1 else 0.5 / count
        assert way.weight / habit == pytest.approx(meant[first] * part)
    assert total == pytest.approx(1.0)


def test_how_far_the_tape_is_off_is_said_with_its_side() -> None:
    assert wording.percent_off(420.0, 400.0) == "5 % longer"
    assert wording.percent_off(380.0, 400.0) == "5 % shorter"


def test_a_tape_that_reads_double_the_neck_is_told_so() -> None:
    mm = {**seen_mm(), "half_neck": 2.0 * seen_mm()["half_neck"]}
    likeliest = told(rank(discrepancy_of(plain().log_spans, plain().covariance, given(**mm))))
    assert likeliest is not None
    assert likeliest.readings == ("half_neck",)
    assert comparing.expectation((NECK_RING,), plain().log_spans)[0][0] == pytest.approx(
        np.log(2.0 * seen_mm()["half_neck"])
    )


# Least, most and telling size of each posture, and its odds (judgement of `body/posed.py`): the
# least moves a reading by about the tape's own spread, the most is where a dog no longer stands.
POSTURE_SIZES = {
    "crouching": (0.06, 0.24, 0.15, 0.08),
    "stretched": (0.12, 0.40, 0.25, 0.04),
    "arched": (0.20, 0.80, 0.50, 0.05),
    "rear_lowered": (0.08, 0.36, 0.20, 0.08),
    "weight_shifted": (0.10, 0.25, 0.18, 0.03),
    "head_down": (0.04, 0.14, 0.10, 0.04),
    "turned_away": (0.35, 0.85, 0.60, 0.04),
    "front_lowered": (0.10, 0.50, 0.30, 0.02),
}


@pytest.mark.parametrize("name", POSTURES)
def test_a_postures_sizes_are_not_moved_by_a_fifth_unnoticed(name: str) -> None:
    held = POSTURES[name]
    assert (held.least, held.most, held.telling, held.odds) == pytest.approx(
        POSTURE_SIZES[name], rel=0.2
    )
    assert held.least < held.telling < held.most


def test_the_dog_of_these_tests_is_seen_as_long_as_it_is() -> None:
    a, b = (np.array(DOG[name]) for name in ("breastbone", "tail_base"))
    view = square_view(offset=Offset(0.0, 0.0, 10.0))
    found = estimate([view], [[marking()]], DogFacts())
    assert found.straight_mm[3] == pytest.approx(np.linalg.norm(a - b), rel=2e-3)
