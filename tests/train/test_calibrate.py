"""What confidence is worth, without PyTorch; held against SciPy's minimiser."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize

from photocheck.phantom.teaching.drawn_look import KINDS
from photocheck.phantom.teaching.teaching_bodies import POINTS
from photocheck.train.calibrate import PILOT, Measured, calibrated, harder, logistic


def test_the_logistic_is_the_likeliest() -> None:
    rng = np.random.default_rng(2)
    x = rng.uniform(0.3, 0.9, 500)
    right = (rng.random(500) < 1 / (1 + np.exp(-(12 * x - 7)))).astype(float)
    a, b = logistic(x, right)
    z = (x - x.mean()) / x.std()

    def cost(beta: np.ndarray) -> float:
        u = beta[0] * z + beta[1]
        prior = 0.5 * (beta[0] / 3) ** 2 + 0.5 * (beta[1] / 10) ** 2
        return float(np.sum(np.log1p(np.exp(u)) - right * u) + prior)

    slope, offset = minimize(cost, np.zeros(2), tol=1e-10).x
    assert a == pytest.approx(slope / x.std(), rel=1e-3)
    assert b == pytest.approx(offset - slope / x.std() * x.mean(), rel=1e-3)


@pytest.mark.parametrize("every", [0.0, 1.0])
def test_the_logistic_exists_where_all_are_alike(every: float) -> None:
    a, b = logistic(np.linspace(0.4, 0.8, 30), np.full(30, every))
    assert np.isfinite([a, b]).all()


def test_confidence_means_what_it_says() -> None:
    rng = np.random.default_rng(3)
    n = 4000
    mass = rng.uniform(0.3, 0.9, (n, len(POINTS)))
    right = rng.random(mass.shape) < 1 / (1 + np.exp(-(9 * mass - 5)))
    error = np.where(right, 3.0, 9.0)
    truth = np.where(rng.random(n) < 0.56, 0, 2)
    told = calibrated(Measured(mass, error / 2.0, np.zeros((n, len(KINDS))), truth), 2.0)
    a, b = told["calibration"]["tail_base"]
    k = POINTS.index("tail_base")
    chance = 1 / (1 + np.exp(-(a * mass[:, k] + b)))
    for low, high in ((0.3, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 1.0)):
        some = (chance >= low) & (chance < high)
        if some.sum() > 100:
            assert right[some, k].mean() == pytest.approx(chance[some].mean(), abs=0.05)
    percent = told["spread"]["tail_base"]["percent"]
    assert percent == sorted(percent, reverse=True)


def test_fewer_side_on_taught_than_sent_lowers_the_threshold() -> None:
    """Bayes by hand: prior odds 9 where 1.27 were taught; 2 to 1 wanted: 2 * 1.27 / 9 = 0.28."""
    n = 100
    truth = np.where(np.arange(n) < 56, 0, 2)
    zeros = np.full((n, len(POINTS)), 0.5)
    told = calibrated(Measured(zeros, zeros, np.zeros((n, len(KINDS))), truth), 1.0)
    odds = 2 * (56 / 44) / 9
    assert told["side_on_from"] == pytest.approx(odds / (1 + odds), abs=1e-3)


def test_simulated_errors_are_stretched_to_the_pilots_median() -> None:
    error = np.full((5, len(POINTS)), 99.0)
    error[:3, :4] = 2.1  # side-on; the rest is neither a mark nor from the side
    seen = Measured(error, error, np.zeros((5, len(KINDS))), np.array([0, 0, 0, 2, 2]))
    assert harder(seen) * 2.1 == pytest.approx(PILOT)
