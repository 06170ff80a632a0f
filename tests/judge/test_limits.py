"""Limits and sizes, held by draws, scores and tails of the tests' own."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from photocheck.case.model import Reading
from photocheck.judge import limits
from photocheck.judge.compare import compare
from photocheck.judge.limits import (
    MOST_MOVED,
    ScoreLimits,
    good_orders,
    limits_of,
    repeated_orders,
)
from photocheck.judge.tolerances import Tolerances

FALSE_ALARMS = 0.02
TOGETHER = np.array([[1.0, 0.7, 0.2], [0.7, 1.0, 0.1], [0.2, 0.1, 1.0]])
"""Two readings that go together, as ring and half neck do, and one that hardly does."""
JOINT = np.outer([0.04, 0.03, 0.05], [0.04, 0.03, 0.05]) * TOGETHER
WAYS = np.vstack([np.eye(3), np.ones(3), [1.0, 0.0, -1.0]])
REPEAT = np.array([0.02, 0.015, 0.03]) ** 2
MANY = 60_000
NOTHING = np.full(5, np.inf)


def held(promised: np.ndarray = NOTHING) -> ScoreLimits:
    return limits_of(JOINT, WAYS, promised, FALSE_ALARMS, good_orders(JOINT), normal=True)


def flagged(orders: np.ndarray, found: ScoreLimits) -> float:
    """Share of orders, (m, 3), any of whose scores is beyond its limit: Baarda 1968."""
    weights = np.linalg.inv(JOINT)
    scores = orders @ weights @ WAYS.T / np.sqrt(np.diag(WAYS @ weights @ WAYS.T))
    squares = np.einsum("mi,ij,mj->m", orders, weights, orders)
    overall = stats.norm.isf(stats.chi2.sf(squares, 3) / 2.0)
    return float(np.mean((np.abs(scores) > found.own).any(axis=1) | (overall > found.overall)))


def orders(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).multivariate_normal(np.zeros(3), JOINT, MANY)


def short_of(found: ScoreLimits, by: float) -> np.ndarray:
    """The third reading is to be seen sooner than it is; the others have room, one promises none.

    Of the draws' own sizes, so that it does not hang on them.
    """
    return np.append(found.seen_from[:4] * [1.15, 1.15, 1.0 - by, 1.3], np.inf)


@pytest.mark.parametrize("by", [0.0, 0.03])
def test_good_orders_are_flagged_as_often_as_stated_and_sizes_seen_in_95_of_100(by: float) -> None:
    found = held(short_of(held(), by))
    assert (found.own.std() > 0.05) == (by > 0.0)
    good = orders(1)
    assert flagged(good, found) == pytest.approx(FALSE_ALARMS, abs=0.003)
    for way, size in zip(WAYS, found.seen_from, strict=True):
        for sign in (-1.0, 1.0):  # of 60 000 one deviation is 0.001; of the limit's own draws 0.002
            assert flagged(good + sign * size * way, found) == pytest.approx(0.95, abs=0.007)


def test_the_same_where_the_tape_is_learnt_from_its_takes() -> None:
    """The tape's repeats by Student's t of the same variance, as a mixture of normals."""
    freedom = 8.0
    draws = repeated_orders(JOINT, REPEAT, freedom)
    found = limits_of(JOINT, WAYS, NOTHING, FALSE_ALARMS, draws, normal=False)
    assert found.usual > held().usual + 0.02  # heavier tails
    rng = np.random.default_rng(2)
    scale = (freedom - 2.0) / rng.chisquare(freedom, (MANY, 1))
    good = rng.multivariate_normal(np.zeros(3), JOINT - np.diag(REPEAT), MANY)
    good = good + np.sqrt(REPEAT * scale) * rng.normal(size=(MANY, 3))
    assert flagged(good, found) == pytest.approx(FALSE_ALARMS, abs=0.003)
    for way, size in zip(WAYS, found.seen_from, strict=True):
        assert flagged(good + size * way, found) == pytest.approx(0.95, abs=0.007)


def test_one_score_alone_is_seen_from_its_limit_and_the_normal_tables_1645() -> None:
    own = np.array([[0.04**2]])
    one = limits_of(own, np.ones((1, 1)), NOTHING[:1], FALSE_ALARMS, good_orders(own), normal=True)
    assert one.seen_from[0] == pytest.approx((one.usual + stats.norm.ppf(0.95)) * 0.04, rel=1e-9)


@pytest.mark.parametrize("freedom", [1, 3, 5])
def test_the_overall_score_is_of_the_same_two_sided_chance(freedom: int) -> None:
    squares = np.array([0.5, 4.0, 9.0, 25.0])
    expected = stats.norm.isf(stats.chi2.sf(squares, freedom) / 2.0)
    np.testing.assert_allclose(limits.chi_score(squares, freedom), expected, rtol=1e-9)


def test_sizes_do_not_hang_on_how_many_draws_are_gone_through(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    few = held().seen_from
    for share in (0.1, 0.999):  # all that matter at once, and too few
        monkeypatch.setattr(limits, "_LEAST_SHARE", share)
        np.testing.assert_allclose(held().seen_from, few, rtol=1e-12)


def test_what_other_scores_see_is_never_less_than_its_own_does() -> None:
    found = held()
    alone = (found.usual + stats.norm.ppf(0.95)) / np.sqrt(
        np.diag(WAYS @ np.linalg.inv(JOINT) @ WAYS.T)
    )
    assert np.all(found.seen_from < alone)
    assert np.all(found.seen_from > 0.9 * alone)


def test_a_limit_is_moved_only_where_that_keeps_what_was_promised() -> None:
    usual = held()
    for promised in (1.01 * usual.seen_from, 0.8 * usual.seen_from, short_of(usual, 0.4)):
        # kept anyway; not to be kept by any; not even by a limit of 0
        same = held(promised)
        np.testing.assert_array_equal(same.own, np.full(5, same.usual))
        np.testing.assert_array_equal(same.seen_from, usual.seen_from)
    wanted = short_of(usual, 0.03)
    moved = held(wanted)
    assert np.all(moved.seen_from <= wanted)
    assert moved.own[2] < usual.usual < moved.own[:2].min()
    assert moved.own[4] == moved.overall  # what nothing is promised of stays with the overall test
    assert np.ptp(moved.own) <= MOST_MOVED + usual.usual - moved.own[2] + 1e-9
    assert held(np.append(10.0 * wanted[:2], wanted[2:])).own.max() < usual.usual + MOST_MOVED + 0.2


def test_a_shops_tolerance_lets_an_error_be_seen_that_one_limit_for_all_lets_pass() -> None:
    photo = np.log([300.0, 420.0, 330.0, 750.0])
    covariance = 0.05**2 * np.ones((4, 4)) + 0.03**2 * np.eye(4)

    def read(off: float, **told: float) -> tuple[float, bool, float]:
        lengths = np.exp(photo[:3]) * np.array([1.0, 1.0, np.exp(off)])
        names = ("half_neck", "front_length", "rear_length")
        takes = {n: Reading(mm, "", "cm") for n, mm in zip(names, lengths, strict=True)}
        wide = {"half_neck": 0.5, "front_length": 0.5, "rear_length": 0.5, "common": 0.5}
        found = compare(photo, covariance, takes, tolerated=Tolerances(wide | told))
        score = abs(found.scores["rear_length"])
        assert bool(found.faults) == (found.largest > found.limit)
        return found.limits["rear_length"], bool(found.faults), score

    seen = compare(
        photo,
        covariance,
        {"half_neck": Reading(300.0, "", "cm"), "front_length": Reading(420.0, "", "cm"),
         "rear_length": Reading(330.0, "", "cm")},
    ).catches["rear_length"]  # fmt: skip
    usual, _, one = read(0.1)
    lower, _, _ = read(0.1, rear_length=0.97 * seen)
    assert lower < usual - 0.03
    between = 0.1 * 0.5 * (usual + lower) / one  # the score grows with the error
    assert not read(between)[1]
    assert read(between, rear_length=0.97 * seen)[1]
