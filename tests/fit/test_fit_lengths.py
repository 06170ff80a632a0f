"""What is cut: tape and photo together, the coat, the weight."""

from __future__ import annotations

from dataclasses import replace
from math import log, pi

import numpy as np
import pytest
from scipy.optimize import minimize
from shapely.geometry import Polygon

from photocheck.case.model import DogFacts, Reading
from photocheck.fit.allowances import CUT_SPANS, WEIGHT_EXPONENTS, coat_allowance, growing
from photocheck.fit.cut_lengths import Lengths, measured, with_coat, with_weight
from photocheck.judge.tolerances import tape_log_spread
from photocheck.report.model import Report
from tests.support.made_report import made_report


def report_with(covariance: np.ndarray, photo_mm: list[float], **readings: float) -> Report:
    report = made_report(verdict="agrees")
    spans = tuple(
        replace(span, photo_mm=mm) for span, mm in zip(report.spans, photo_mm, strict=True)
    )
    typed = {name: Reading(mm, f"{mm} mm", "cm") for name, mm in readings.items()}
    return replace(
        report,
        spans=spans,
        covariance=tuple(map(tuple, covariance)),
        case=replace(report.case, readings=typed),
    )


def full_covariance(three: np.ndarray, photo_mm: list[float]) -> np.ndarray:
    """As a report has it: the full length follows from front and rear."""
    front, rear = photo_mm[1], photo_mm[2]
    slopes = np.vstack([np.eye(3), [0.0, front / (front + rear), rear / (front + rear)]])
    return slopes @ three @ slopes.T


PHOTO = [400.0, 450.0, 280.0, 730.0]


def test_one_reading_and_the_photo_are_weighed_by_their_variances() -> None:
    """The textbook's weighted mean of two independent values, by hand.

    Photo 400 mm with 5 %; a tape at 420 mm, where 1 cm of 400 mm is 2.5 %:
    weights 400 and 1600, so ln x = ln 400 + 0.8 ln 1.05, u = 1 / sqrt(2000) = 2.236 %.
    """
    report = report_with(full_covariance(np.eye(3) * 0.05**2, PHOTO), PHOTO, half_neck=420.0)
    lengths = measured(report)
    assert lengths.logs[0] == pytest.approx(log(400.0) + 0.8 * log(1.05), abs=1e-9)
    assert np.sqrt(lengths.covariance[0, 0]) == pytest.approx(0.0223607, abs=1e-6)
    # Nothing was read of the trunk: there the photo stands alone.
    assert np.exp(lengths.logs[1:]) == pytest.approx([450.0, 280.0])
    assert np.sqrt(lengths.covariance[1, 1]) == pytest.approx(0.05)


def test_the_ring_counts_as_a_second_reading_of_the_neck() -> None:
    """By hand: ring 840 mm, 1 cm of 800 mm is 1.25 % and 2 % is the least: weight 2500."""
    both = report_with(
        full_covariance(np.eye(3) * 0.05**2, PHOTO), PHOTO, half_neck=410.0, neck_ring=840.0
    )
    logs, covariance = measured(both).measures()
    mean = (400 * log(800.0) + 1600 * log(820.0) + 2500 * log(840.0)) / 4500
    assert logs[0] == pytest.approx(mean, abs=1e-9)
    assert np.sqrt(covariance[0, 0]) == pytest.approx(1 / np.sqrt(4500), abs=1e-7)


def test_readings_that_overlap_against_a_general_optimiser() -> None:
    """All five readings, correlated photo: SciPy's minimiser on the same density."""
    rng = np.random.default_rng(5)
    root = rng.normal(0, 0.03, (3, 3))
    three = root @ root.T + np.eye(3) * 0.02**2
    read = {
        "half_neck": 412.0,
        "front_length": 461.0,
        "rear_length": 268.0,
        "full_length": 741.0,
        "neck_ring": 801.0,
    }
    report = report_with(full_covariance(three, PHOTO), PHOTO, **read)
    expected = {
        "half_neck": 400.0,
        "front_length": 450.0,
        "rear_length": 280.0,
        "full_length": 730.0,
        "neck_ring": 800.0,
    }

    def cost(x: np.ndarray) -> float:
        neck, front, rear = np.exp(x)
        means = {
            "half_neck": neck,
            "front_length": front,
            "rear_length": rear,
            "full_length": front + rear,
            "neck_ring": 2 * neck,
        }
        off = x - np.log(PHOTO[:3])
        total = off @ np.linalg.solve(three, off)
        for name, mm in read.items():
            spread = float(tape_log_spread(expected[name]))
            total += (log(mm / means[name]) / spread) ** 2
        return float(total / 2)

    best = minimize(
        cost, np.log(PHOTO[:3]), method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12}
    )
    assert measured(report).logs == pytest.approx(best.x, abs=1e-6)
    logs, _ = measured(report).measures()
    assert np.exp(logs[3]) == pytest.approx(np.exp(logs[1]) + np.exp(logs[2]))


def test_the_doubt_of_what_is_cut_against_monte_carlo() -> None:
    """JCGM 101: draws through the exact sum, against the first-order covariance."""
    three = np.array([[9.0, 2.0, -1.0], [2.0, 4.0, 1.5], [-1.0, 1.5, 6.0]]) * 1e-4
    lengths = Lengths(np.log([400.0, 450.0, 280.0]), three)
    draws = np.exp(np.random.default_rng(7).multivariate_normal(lengths.logs, three, 400_000))
    cut = np.log(
        np.stack([2 * draws[:, 0], draws[:, 1], draws[:, 2], draws[:, 1] + draws[:, 2]], 1)
    )
    logs, covariance = lengths.measures()
    assert logs == pytest.approx(cut.mean(0), abs=3e-4)
    assert covariance == pytest.approx(np.cov(cut.T), abs=6e-6)


def test_a_coat_adds_what_a_parallel_curve_is_longer() -> None:
    """Shapely's own offset curve, around an egg-shaped neck 30 mm deep in hair.

    A tenth of 30 mm stays under the harness, so it runs 3 mm farther out.
    """
    turn = np.linspace(0, 2 * pi, 2001)
    neck = Polygon(np.stack([150 * np.cos(turn) + 8 * np.cos(2 * turn), 110 * np.sin(turn)], 1))
    around = neck.buffer(3.0, quad_segs=500).length
    lengths = Lengths(np.log([neck.length / 2, 450.0, 280.0]), np.eye(3) * 1e-4)
    cut = with_coat(lengths, DogFacts(coat="long", coat_depth_mm=30.0))
    assert np.exp(cut.measures()[0][0]) == pytest.approx(around, rel=2e-4)


def test_no_coat_adds_less_than_a_tape_can_read_and_a_deeper_one_more() -> None:
    added = [coat_allowance(DogFacts(coat=coat))[0] for coat in ("short", "medium", "long")]
    for span in CUT_SPANS:
        assert 0 < added[0][span] < added[1][span] < added[2][span]
    assert 2 * added[0]["half_neck"] < 5.0
    _, spread = coat_allowance(DogFacts(coat="long"))
    assert spread["half_neck"] >= 0.5 * added[2]["half_neck"]  # its doubt is owned up to


def test_a_change_of_weight_by_hand() -> None:
    """0.9 ** 0.35 = 0.96380 on the neck; between the cube and the square root of 0.9."""
    lengths = Lengths(np.log([400.0, 450.0, 280.0]), np.zeros((3, 3)))
    later = with_weight(lengths, 30.0, 27.0)
    assert np.exp(later.logs[0] - lengths.logs[0]) == pytest.approx(0.96380, abs=5e-6)
    assert 0.9**0.5 < np.exp(later.logs[0] - lengths.logs[0]) < 0.9 ** (1 / 3)
    spread = np.sqrt(np.diag(later.covariance))
    change = abs(log(0.9))
    assert spread[0] == pytest.approx(change * np.hypot(0.12, 0.25 * 0.35))
    # 18.3 kg to 18.3 kg changes nothing and adds no doubt.
    assert with_weight(lengths, 18.3, 18.3).covariance == pytest.approx(np.zeros((3, 3)))


def test_the_necks_exponent_covers_what_was_published() -> None:
    """Isometry 1/3; a cylinder of fixed length 1/2; cattle 1/2.88 to 1/2.72 (Missouri XLI)."""
    neck = WEIGHT_EXPONENTS["half_neck"]
    for exponent in (1 / 3, 1 / 2, 1 / 2.88, 1 / 2.72):
        assert abs(exponent - neck.value) < 2 * neck.spread


@pytest.mark.parametrize(
    ("age", "weight", "expected"),
    [
        (None, 20.0, None),
        (6.0, None, True),
        (17.9, 20.0, True),
        (18.0, 20.0, False),
        (20.0, 55.0, True),  # charts run to two years, and giants have none of their own
        (24.0, 55.0, False),
    ],
)
def test_who_is_growing(age: float | None, weight: float | None, expected: bool | None) -> None:
    assert growing(DogFacts(age_months=age, weight_kg=weight)) is expected
