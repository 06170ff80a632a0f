"""Repeatability and reproducibility against published worked examples and a general library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import f_oneway

from photocheck.orders.precision import agreement, precision

# ISO 5725-2:1994, B.1, sulfur content of coal, % (m/m): eight laboratories, four levels, unequal
# numbers of results.  Data and results from memory; a wrong datum would hardly give back the
# published standard deviations of all levels to the last digit, as these do.
COAL = [
    [
        [0.71, 0.71, 0.70, 0.71],
        [0.69, 0.67, 0.68],
        [0.66, 0.65, 0.69],
        [0.67, 0.65, 0.66],
        [0.70, 0.69, 0.66, 0.71, 0.69],
        [0.73, 0.74, 0.73],
        [0.71, 0.71, 0.69],
        [0.70, 0.65, 0.68],
    ],
    [
        [1.20, 1.18, 1.23, 1.21],
        [1.22, 1.21, 1.22],
        [1.28, 1.31, 1.30],
        [1.23, 1.18, 1.20],
        [1.31, 1.22, 1.22, 1.24],
        [1.39, 1.36, 1.37],
        [1.20, 1.26, 1.26],
        [1.24, 1.22, 1.30],
    ],
    [
        [1.68, 1.70, 1.68, 1.69],
        [1.64, 1.64, 1.65],
        [1.61, 1.61, 1.62],
        [1.68, 1.66, 1.66],
        [1.64, 1.67, 1.60, 1.66, 1.68],
        [1.70, 1.73, 1.73],
        [1.69, 1.70, 1.68],
        [1.67, 1.68, 1.67],
    ],
    [
        [3.26, 3.26, 3.20, 3.24],
        [3.20, 3.20, 3.20],
        [3.37, 3.36, 3.38],
        [3.16, 3.22, 3.23],
        [3.20, 3.19, 3.18, 3.27, 3.24],
        [3.27, 3.31, 3.29],
        [3.27, 3.24, 3.23],
        [3.25, 3.26, 3.26],
    ],
]


@pytest.mark.parametrize(
    ("level", "repeat", "reproduced"),
    [(0, 0.015, 0.026), (1, 0.029, 0.061), (2, 0.017, 0.035), (3, 0.026, 0.058)],
)
def test_iso_5725_2_sulfur_in_coal(level: int, repeat: float, reproduced: float) -> None:
    found = precision([COAL[level]])
    assert (found.cells, found.results) == (8, 26 if level == 1 else 27)
    mean = np.mean([value for cell in COAL[level] for value in cell])
    assert mean == pytest.approx((0.690, 1.252, 1.667, 3.250)[level], abs=5e-3)
    assert found.repeatability == pytest.approx(repeat, abs=5e-4)
    assert found.reproducibility == pytest.approx(reproduced, abs=5e-4)


# NIST Statistical Reference Datasets, analysis of variance, "SiRstv": resistivity of silicon
# wafers by five instruments, five results each (itl.nist.gov/div898/strd/anova/SiRstv.html).
# Data and certified values from memory: they agree to the last digit of the certificate.
WAFERS = [
    [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
]


def test_nist_silicon_resistivity() -> None:
    found = precision([WAFERS])
    assert found.repeatability == pytest.approx(1.04076068334656e-1, rel=1e-10)
    assert (found.repeat_freedom, found.people_freedom) == (20, 4)
    within, between = 2.16636560000000e-1 / 20, 5.11462616000000e-2 / 4
    by_hand = within + (between - within) / 5
    assert found.reproducibility == pytest.approx(by_hand**0.5, rel=1e-9)
    # certified F; SciPy's own analysis of variance as well
    assert f_oneway(*WAFERS).statistic == pytest.approx(1.18046237440255, rel=1e-9)
    assert between / within == pytest.approx(1.18046237440255, rel=1e-9)


def test_nist_gauge_study_pools_standard_deviations_over_items() -> None:
    """NIST/SEMATECH e-Handbook, 2.4.4 (mpc444): sums of squares of five wafers, 60 degrees of
    freedom each, give a pooled standard deviation of sqrt(3.17635 / 300).
    """
    squares = (0.48115, 0.69209, 0.48483, 1.21752, 0.30076)
    rng = np.random.default_rng(0)
    items: list[list[list[float]]] = []
    for square in squares:
        cell = rng.normal(size=61)
        cell = (cell - cell.mean()) * np.sqrt(square / np.sum((cell - cell.mean()) ** 2))
        items.append([(cell + rng.normal(100.0, 5.0)).tolist()])
    found = precision(items)
    assert found.repeat_freedom == 300
    assert found.repeatability == pytest.approx((3.17635 / 300) ** 0.5, rel=1e-9)
    assert found.reproducibility is None


@pytest.mark.parametrize("balanced", [True, False])
def test_it_finds_what_was_put_in(balanced: bool) -> None:
    rng = np.random.default_rng(5)
    items = []
    for _ in range(3000):
        truth = rng.uniform(300.0, 900.0)
        counts = (2, 2, 2) if balanced else rng.integers(1, 4, size=rng.integers(1, 5))
        items.append(
            [(truth + rng.normal(0, 6) + rng.normal(0, 4, size=n)).tolist() for n in counts]
        )
    found = precision(items)
    assert found.repeatability == pytest.approx(4.0, rel=0.03)
    assert found.reproducibility == pytest.approx(52.0**0.5, rel=0.03)
    assert found.repeat_low is not None
    assert found.repeat_high is not None
    assert found.repeat_low < 4.0 < found.repeat_high


def test_people_who_measure_once_each_tell_of_reproducibility_alone() -> None:
    found = precision([[[1.0], [3.0]], [[10.0], [12.0]]])
    assert found.repeatability is None
    assert found.reproducibility == pytest.approx(2.0**0.5)  # by hand: (2² / 2 + 2² / 2) / 2
    assert not found.tells_repeat
    nothing = precision([[], [[]]])
    assert (nothing.items, nothing.repeatability, nothing.reproducibility) == (0, None, None)


# Bland & Altman 1986, Lancet 327:307, table I: peak expiratory flow of 17 people, l/min, two
# takes by a large and by a mini meter (data from memory; they give the paper's own figures).
LARGE = (494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427)
AGAIN = (490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421)
MINI = (512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451)


def test_bland_and_altmans_own_example() -> None:
    found = agreement(list(zip(MINI, LARGE, strict=True)))
    assert found is not None
    assert found.bias == pytest.approx(-2.1, abs=0.05)
    assert found.spread == pytest.approx(38.8, abs=0.05)
    # the paper takes 2 standard deviations where 1.96 are meant: -79.7 and 75.5
    assert found.low - 0.04 * found.spread == pytest.approx(-79.7, abs=0.15)
    assert found.high + 0.04 * found.spread == pytest.approx(75.5, abs=0.15)
    # -22.0 to 17.8, and -114.3 to -45.1
    assert found.bias - found.bias_reach == pytest.approx(-22.0, abs=0.2)
    assert found.bias + found.bias_reach == pytest.approx(17.8, abs=0.2)
    assert 2 * found.limit_reach == pytest.approx(114.3 - 45.1, abs=0.4)


def test_their_large_meter_repeats_to_fifteen() -> None:
    """Bland & Altman 1999, Stat. Methods Med. Res. 8:135: within-subject 15.3 l/min."""
    found = precision([[pair] for pair in zip(LARGE, AGAIN, strict=True)])
    assert found.repeatability == pytest.approx(15.3, abs=0.05)


def test_one_pair_agrees_with_nothing() -> None:
    assert agreement([(1.0, 2.0)]) is None
