"""Widths between two boards: what they cut, what a wrong one does, and what drawing inputs says."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from photocheck.body import shape
from photocheck.case.model import DogFacts, Reading
from photocheck.judge.compare import Comparison, compare
from photocheck.judge.estimate import Estimate, estimate
from photocheck.judge.joint import Joint
from photocheck.judge.repeats import ONCE
from photocheck.judge.shots import Shot
from photocheck.judge.solve import solve
from photocheck.judge.tolerances import FALSE_ALARMS
from photocheck.judge.widths import (
    accuser,
    outvoted,
    proved,
    told_widths,
    unlikely_width,
    without_width,
)
from photocheck.scale.pose import likely_poses
from photocheck.words import NECK_RING, SPANS
from tests.support.judged import marking, square_view

VIEW = square_view()
NECK = SPANS.index("half_neck")


def joint_of(dog: DogFacts) -> Joint:
    return Joint([Shot(VIEW, likely_poses(VIEW)[0], (marking(),))], dog)


def expected_widths() -> tuple[float, float]:
    """What the photo alone takes for the widths of neck and chest, mm."""
    joint = joint_of(DogFacts())
    trunk = joint.trunk(solve(joint).theta)
    return float(trunk.neck_width), float(trunk.width)


def found_with(dog: DogFacts) -> Estimate:
    return estimate([VIEW], [[marking()]], dog)


def spread(found: Estimate, span: str) -> float:
    i = SPANS.index(span)
    return float(np.sqrt(found.covariance[i, i]))


def test_a_known_neck_width_cuts_the_half_necks_doubt() -> None:
    neck, _ = expected_widths()
    bare, told = found_with(DogFacts()), found_with(DogFacts(neck_width_mm=neck))
    # 6.7 % by the photo alone, 3.5 % with boards held at a neck of 18.6 cm
    assert spread(told, "half_neck") < 0.6 * spread(bare, "half_neck")
    assert told.log_spans[NECK] == pytest.approx(bare.log_spans[NECK], abs=0.005)
    for span in ("rear_length", "full_length"):
        assert spread(told, span) <= spread(bare, span) * (1 + 1e-9)


def test_a_known_chest_width_cuts_front_and_rear() -> None:
    _, chest = expected_widths()
    bare, told = found_with(DogFacts()), found_with(DogFacts(chest_width_mm=chest))
    # rear 6.05 % to 5.55 %, the front, whose doubt is where the tape turns, 5.68 to 5.62 %
    assert spread(told, "rear_length") < 0.94 * spread(bare, "rear_length")
    assert spread(told, "front_length") < spread(bare, "front_length")


def test_a_wider_neck_has_a_longer_half_neck() -> None:
    neck, _ = expected_widths()
    narrow, wide = (found_with(DogFacts(neck_width_mm=neck * f)) for f in (0.9, 1.1))
    # half an ellipse's perimeter grows by about 0.4 % for each per cent of its width
    gain = (wide.log_spans[NECK] - narrow.log_spans[NECK]) / np.log(1.1 / 0.9)
    assert 0.2 < gain < 0.45


def test_boards_are_a_twentieth_off_or_eight_millimetres() -> None:
    assert shape.width_log_spread(80.0) == pytest.approx(0.1)
    assert shape.width_log_spread(250.0) == pytest.approx(0.05)


def test_shares_name_the_boards_and_still_sum_up() -> None:
    neck, chest = expected_widths()
    found = found_with(DogFacts(neck_width_mm=neck, chest_width_mm=chest))
    assert {"neck_boards", "chest_boards"} <= set(found.shares)
    assert found.shares["neck_boards"][NECK] > 0
    total = np.sum(list(found.shares.values()), axis=0)
    np.testing.assert_allclose(total, np.diag(found.covariance), rtol=1e-6)


@pytest.mark.slow
def test_covariance_with_a_width_agrees_with_drawing_dogs() -> None:
    """JCGM 101:2008, clause 8: necks drawn from the prior, boards held with their own error.

    The marks are seen without error, so that only the neck is drawn: what is left of its
    roundness must be as large as the covariance says.
    """
    rng = np.random.default_rng(7)
    neck, _ = expected_widths()
    joint = joint_of(DogFacts())
    theta = solve(joint).theta
    place = joint.unknowns.place(("term", "neck_width"))
    errors, stated = [], []
    for _ in range(60):
        truth = theta.copy()
        truth[place] = rng.normal()
        true_width = float(joint.trunk(truth).neck_width)
        seen = true_width * np.exp(rng.normal(0.0, shape.width_log_spread(neck)))
        found = found_with(DogFacts(neck_width_mm=seen))
        errors.append(found.log_spans[NECK] - joint.log_spans(truth)[NECK])
        own = found.shares["neck_width"] + found.shares["neck_boards"]
        stated.append(own[NECK])
    ratio = np.sqrt(np.mean(np.square(errors)) / np.mean(stated))
    assert 0.75 < ratio < 1.3, ratio  # 60 draws know a standard deviation to 9 %


# --- a wrong one ---------------------------------------------------------------


def test_a_width_beyond_belief_is_left_out_and_said() -> None:
    neck, _ = expected_widths()
    bare = found_with(DogFacts())
    told = found_with(DogFacts(neck_width_mm=neck * 2.54))  # inches taken for centimetres
    np.testing.assert_allclose(told.log_spans, bare.log_spans, atol=1e-9)
    np.testing.assert_allclose(told.covariance, bare.covariance, atol=1e-9)
    assert any("neck width does not fit the photo" in said for said in told.outliers)
    joint = joint_of(DogFacts(neck_width_mm=neck))
    assert unlikely_width(joint, solve(joint)) == ""


def true_readings(*more: str) -> dict[str, Reading]:
    lengths = np.exp(found_with(DogFacts()).log_spans)
    mm = dict(zip(SPANS, (float(length) for length in lengths), strict=True))
    mm[NECK_RING] = 2.0 * mm["half_neck"]
    return {n: Reading(mm[n], f"{mm[n]:.0f} mm", "cm") for n in (*SPANS, *more)}


def judged(dog: DogFacts, readings: dict[str, Reading]) -> Comparison:
    found = found_with(dog)
    return compare(found.log_spans, found.covariance, readings)


@pytest.mark.parametrize("factor", [0.7, 1.3])
def test_a_wrong_width_does_not_accuse_readings_that_prove_each_other(factor: float) -> None:
    neck, chest = expected_widths()
    readings = true_readings(NECK_RING)
    for dog in (
        DogFacts(neck_width_mm=neck * factor),
        DogFacts(chest_width_mm=chest * factor),
        DogFacts(neck_width_mm=neck * factor, chest_width_mm=chest),
    ):
        comparison = judged(dog, readings)

        def without(fact: str, dog: DogFacts = dog) -> Comparison:
            return judged(without_width(dog, fact), readings)

        if comparison.faults:
            wrong = accuser(comparison, told_widths(dog), without)
            assert wrong
            assert outvoted(comparison, readings)
            assert not without(wrong).faults


@pytest.mark.slow
def test_good_orders_with_a_wrong_width_and_a_ring_are_hardly_flagged() -> None:
    """Readings drawn from the photo's own doubt and the tape's, the width 30 % too large."""
    rng = np.random.default_rng(3)
    neck, _ = expected_widths()
    bare = found_with(DogFacts())
    dog = DogFacts(neck_width_mm=1.3 * neck)
    found = {dog: found_with(dog), DogFacts(): bare}
    flagged = {"wrong width": 0, "no width": 0, "wrong width, no ring": 0}
    count = 300
    for _ in range(count):
        spans = rng.multivariate_normal(bare.log_spans, bare.covariance)
        spans[3] = np.log(np.exp(spans[1]) + np.exp(spans[2]))
        mm = dict(zip(SPANS, np.exp(spans), strict=True))
        mm[NECK_RING] = 2.0 * mm["half_neck"]
        tape = ONCE.covariance(tuple(mm), np.array(list(mm.values())))
        off = rng.multivariate_normal(np.zeros(len(mm)), tape)
        readings = {
            n: Reading(float(v * np.exp(o)), "x", "cm")
            for (n, v), o in zip(mm.items(), off, strict=True)
        }

        def held(dog: DogFacts, readings: dict[str, Reading] = readings) -> Comparison:
            return compare(found[dog].log_spans, found[dog].covariance, readings)

        comparison = held(dog)

        def without(fact: str, held: Callable[[DogFacts], Comparison] = held) -> Comparison:
            return held(without_width(dog, fact))

        wrong = accuser(comparison, told_widths(dog), without)
        given_up = bool(wrong) and outvoted(comparison, readings)
        flagged["wrong width"] += bool(comparison.faults and not given_up)
        flagged["no width"] += bool(held(DogFacts()).faults)
        del readings[NECK_RING]
        flagged["wrong width, no ring"] += bool(held(dog, readings).faults)
    # without a ring it is one tape against one pair of boards: both are to be measured again
    assert flagged["wrong width, no ring"] > 0.2 * count
    # with one, 2.9 % of a thousand such orders, 2.2 % had no width been given
    assert flagged["wrong width"] <= flagged["no width"] + FALSE_ALARMS * count


def test_a_width_still_tells_of_a_wrong_reading() -> None:
    neck, _ = expected_widths()
    readings = true_readings()
    slip = readings["half_neck"].mm * 1.2
    readings["half_neck"] = Reading(slip, f"{slip:.0f} mm", "cm")
    dog = DogFacts(neck_width_mm=neck)
    assert [f.name for f in judged(dog, readings).faults] == ["half_neck"]
    assert not judged(DogFacts(), readings).faults  # which the photo alone does not see
    comparison = judged(dog, readings)
    # one tape against one pair of boards: both are to be measured again
    assert accuser(comparison, ("neck_width",), lambda _: judged(DogFacts(), readings))
    assert not outvoted(comparison, readings)


def test_which_readings_prove_each_other() -> None:
    readings = true_readings(NECK_RING)
    assert proved(readings) == {*SPANS, NECK_RING}
    del readings["rear_length"]
    assert proved(readings) == {"half_neck", NECK_RING}
    doubled = Reading(readings[NECK_RING].mm * 1.2, "x", "cm")
    assert proved({**readings, NECK_RING: doubled}) == set()


def test_what_widths_are_doubted_by_is_what_their_reasons_say() -> None:
    # the ring thought 15 mm too high on a neck 200 mm wide that flares by 6 mm a cm
    assert shape.FRONT_LOOK["neck_width"].log_spread == pytest.approx(15 * 0.6 / 200, rel=0.2)
    # the chest's outline is the shoulders' more often than not: twice as doubtful, at the least
    assert 1.8 < shape.FRONT_LOOK["chest_width"].log_spread / 0.045 < 2.4
    assert shape.FRONT_LOOK["neck_width"].median == shape.FRONT_LOOK["chest_width"].median == 1.0
    # boards: a centimetre of give at either side of a chest of 200 mm, hardly less at a neck of 100
    assert shape.width_log_spread(200.0) == pytest.approx(10.0 / 200.0, rel=0.2)
    assert shape.width_log_spread(100.0) == pytest.approx(8.0 / 100.0, rel=0.2)
