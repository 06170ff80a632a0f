"""When readings are said to agree: by two one-sided tests; and how many that are off still do.

Schuirmann 1987, J. Pharmacokin. Biopharm. 15, 657-680, doi 10.1007/BF01068419 (abstract).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm, t

from photocheck.case.model import Reading, Take
from photocheck.judge.compare import Comparison, compare
from photocheck.judge.limits import limits_of, repeated_orders
from photocheck.judge.repeats import ONCE
from photocheck.judge.tolerances import AS_SHIPPED, FALSE_ALARMS, POWER, Tolerances
from photocheck.words import READINGS, SPANS

PHOTO = np.log([360.0, 420.0, 330.0, 750.0])
SURE = 0.02**2 * np.eye(4)


def told(lengths: np.ndarray, names: tuple[str, ...] = SPANS) -> dict[str, Reading]:
    """Readings by their takes, (takes, n) mm."""
    return {
        name: Reading.of([Take(float(mm), f"{mm:.0f} mm", "cm") for mm in column])
        for name, column in zip(names, np.atleast_2d(lengths).T, strict=True)
    }


def one_alone(off: float, tolerance: float) -> Comparison:
    """The front length only, `off` standard deviations longer than the photo has it."""
    spread = np.sqrt(SURE[1, 1] + ONCE.covariance(("front_length",), np.exp(PHOTO[1:2]))[0, 0])
    mm = np.exp(PHOTO[1] + off * spread)
    return compare(
        PHOTO,
        SURE,
        told(np.array([[mm]]), ("front_length",)),
        tolerated=Tolerances({"front_length": tolerance}),
    )


@pytest.mark.parametrize("off", [-1.9, -0.7, 0.0, 0.3, 1.2, 2.0])
@pytest.mark.parametrize("tolerance", [0.04, 0.06, 0.08, 0.1, 0.12, 0.16])
def test_a_reading_agrees_where_both_one_sided_tests_say_so(off: float, tolerance: float) -> None:
    found = one_alone(off, tolerance)
    (spread,) = np.sqrt(np.diag(found.covariance))
    (difference,) = found.differences
    margin = np.log1p(tolerance)
    too_long = norm.cdf((difference - margin) / spread)
    too_short = norm.sf((difference + margin) / spread)
    both = max(too_long, too_short) <= 0.025
    # the power approach as well, whose error at the tolerance is no larger
    flagged_from = found.limit + norm.ppf(POWER)
    assert found.agrees == (both or flagged_from * spread <= margin)


def test_what_can_hide_is_the_far_end_of_the_interval_and_never_more_than_is_caught() -> None:
    for off in (-1.5, 0.0, 0.4, 2.2):
        found = one_alone(off, 0.1)
        (spread,) = np.sqrt(np.diag(found.covariance))
        interval = np.expm1((abs(off) + norm.ppf(0.975)) * spread)
        assert found.hides["front_length"] == pytest.approx(
            min(interval, found.catches["front_length"]), rel=1e-3
        )


def test_the_size_that_is_seen_is_tolerated_where_it_agrees_and_else_caught() -> None:
    sure, unsure = one_alone(0.0, 0.1), one_alone(0.0, 0.05)
    assert sure.agrees
    assert sure.catches["front_length"] > 0.1
    assert sure.seen_from("front_length") == 0.1
    assert unsure.unsure == ("front_length",)
    assert unsure.seen_from("front_length") == unsure.catches["front_length"]
    exact = one_alone(0.0, 0.45)
    assert exact.seen_from("front_length") == exact.catches["front_length"] < 0.45


@pytest.mark.parametrize("freedom", [3.5, 5.0, 12.0])
def test_while_the_tapes_noise_is_not_known_more_can_hide(freedom: float) -> None:
    """With nothing but the tape's repeats a good reading's score is a scaled Student's t."""
    joint = np.diag([0.03**2 + 1e-10])
    repeat = np.array([0.03**2])
    draws = repeated_orders(joint, repeat, freedom)
    held = limits_of(joint, np.eye(1), np.array([np.inf]), FALSE_ALARMS, draws, normal=False)
    scaled = t.ppf(0.975, freedom) * np.sqrt((freedom - 2.0) / freedom)
    assert held.beyond[0] == pytest.approx(0.03 * scaled, rel=0.02)


@pytest.mark.slow
@pytest.mark.parametrize("takes", [1, 2])
def test_of_orders_off_by_the_tolerance_few_are_said_to_agree(takes: int) -> None:
    """Drawn as the program takes photo and tape to be (JCGM 101:2008, 5.9); 5 in 100 may."""
    rng = np.random.default_rng(12)
    covariance = 0.03**2 * np.eye(4) + 0.02**2
    lower = np.linalg.cholesky(covariance)
    tape = ONCE.covariance(SPANS, np.exp(PHOTO))
    repeat = ONCE.repeat_variance(SPANS, np.exp(PHOTO))
    led = np.linalg.cholesky(tape - np.diag(repeat))
    count, agreed, good = 60, np.zeros(4), 0
    for number in range(count):
        logs = PHOTO + lower @ rng.normal(size=4) + led @ rng.normal(size=4)
        laid = logs + np.sqrt(repeat) * rng.normal(size=(takes, 4))
        sign = 1.0 if number % 2 else -1.0

        def agrees(off: np.ndarray, laid: np.ndarray = laid) -> bool:
            found = compare(PHOTO, covariance, told(np.exp(laid + off)))
            return replace(found, catches_common=0.0).agrees

        good += agrees(np.zeros(4))
        for i, span in enumerate(SPANS):
            agreed[i] += agrees(sign * np.log1p(AS_SHIPPED.of(span)) * np.eye(4)[i])
    assert good / count > (0.2 if takes == 1 else 0.4)  # so that there is something to be kept from
    # 240 orders: 5 in 100 and twice the standard error of that share
    share = agreed.sum() / (4 * count)
    assert share <= 0.05 + 2.0 * np.sqrt(0.05 * 0.95 / (4 * count))


def test_readings_of_every_kind_have_a_size_that_could_hide() -> None:
    lengths = np.append(np.exp(PHOTO), 720.0)
    found = compare(PHOTO, SURE, told(lengths, READINGS))
    assert set(found.hides) == set(READINGS)
    assert all(0.0 < found.hides[name] <= found.catches[name] for name in READINGS)
