"""Where marks would be expected, as evidence for exchanges: it names more of them, accuses nobody
when it is wrong, and never outweighs what lies before one's eyes.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from math import log, pi

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from photocheck.body.posed import square_dogs
from photocheck.body.standards import Allowance
from photocheck.case.model import Point
from photocheck.judge.expected_marks import MOST, ROOM, deviations, log_fit
from photocheck.judge.impossible_marks import HAIR, judge_marks
from photocheck.judge.marks_told import told_at_once
from photocheck.words import LANDMARKS

Marks = dict[str, Point]


@dataclass(frozen=True)
class At:
    xy: Point
    covariance: tuple[tuple[float, float], tuple[float, float]]
    confidence: float = 0.85


def dogs(count: int) -> list[Marks]:
    """Marks of square dogs a metre high, 12 mm off per axis; y down."""
    rng = np.random.default_rng(5)
    found = []
    for short in (False, True):
        allowed = Allowance(short_legs=short, arched_back=True)
        places = square_dogs(rng, count // 2, HAIR, allowed)
        for k in range(count // 2):
            marks = {
                name: 1000.0 * places[name][k] * (1.0, -1.0) + rng.normal(0.0, 12.0, 2)
                for name in LANDMARKS
            }
            found.append({name: (float(x), float(y)) for name, (x, y) in marks.items()})
    return found


def expected_of(marks: Marks, off: float, rng: np.random.Generator) -> dict[str, At]:
    """Each in a direction of its own, by a share of the trunk; said to be 3.5 % off per axis."""
    trunk = float(np.hypot(*np.subtract(marks["breastbone"], marks["tail_base"])))
    spread = (0.035 * trunk) ** 2
    found = {}
    for name, (x, y) in marks.items():
        turn = rng.uniform(0.0, 2.0 * np.pi)
        at = (float(x + off * trunk * np.cos(turn)), float(y + off * trunk * np.sin(turn)))
        found[name] = At(at, ((spread, 0.0), (0.0, spread)))
    return found


@pytest.mark.parametrize("off", [0.0, 0.06, 0.2, 0.5])
def test_good_marks_are_never_accused_however_wrong_the_expectation(off: float) -> None:
    rng = np.random.default_rng(1)
    for marks in dogs(40):
        assert not judge_marks(marks, expected=expected_of(marks, off, rng)).told


@pytest.mark.parametrize("off", [0.02, 0.06])
def test_of_three_marks_every_exchange_is_named(off: float) -> None:
    """By their shape alone a quarter of them is not."""
    rng = np.random.default_rng(2)
    alone, together, all_of_them = 0, 0, 0
    for marks in dogs(24):
        expected = expected_of(marks, off, rng)
        for left_out in LANDMARKS:
            three = {name: xy for name, xy in marks.items() if name != left_out}
            assert not judge_marks(three, expected=expected).told
            for one, other in combinations(three, 2):
                wrong = {**three, one: three[other], other: three[one]}
                alone += judge_marks(wrong).told
                judged = judge_marks(wrong, expected=expected)
                named = set(next(iter(judged.exchanged)))
                together += judged.told and named == {one, other}
                all_of_them += 1
    assert together == all_of_them
    assert alone < 0.85 * all_of_them


def test_a_wrong_expectation_names_no_other_pair() -> None:
    rng = np.random.default_rng(3)
    for marks in dogs(24):
        expected = expected_of(marks, 0.2, rng)
        for one, other in combinations(LANDMARKS, 2):
            wrong = {**marks, one: marks[other], other: marks[one]}
            judged = judge_marks(wrong, expected=expected)
            assert judged.told
            assert set(next(iter(judged.exchanged))) == {one, other}


def test_it_is_told_at_once_and_can_be_put_right() -> None:
    marks = dogs(2)[0]
    expected = expected_of(marks, 0.02, np.random.default_rng(4))
    two = {**marks, "shoulder_top": marks["last_rib"], "last_rib": marks["shoulder_top"]}
    told = told_at_once(two, 4000.0, expected=expected)
    assert told is not None
    assert told.exchange == {"shoulder_top": "last_rib", "last_rib": "shoulder_top"}
    assert told_at_once(marks, 4000.0, expected=expected) is None


def test_the_densities_are_scipys() -> None:
    one = At((10.0, 20.0), ((9.0, 2.0), (2.0, 16.0)), 0.8)
    two = At((110.0, 20.0), ((9.0, 0.0), (0.0, 9.0)), 1.0)
    anywhere = 1.0 / (ROOM * 100.0) ** 2
    covariance = np.array(one.covariance) + 4.0 * np.eye(2)
    near = multivariate_normal((10.0, 20.0), covariance).pdf((13.0, 24.0))
    whole = log(0.8 * near + 0.2 * anywhere)
    peak = 1.0 / (2.0 * pi * 13.0)
    whole += log(MOST * peak + (1.0 - MOST) * anywhere)
    marks = {"last_rib": (13.0, 24.0), "tail_base": (110.0, 20.0)}
    expected = {"last_rib": one, "tail_base": two}
    assert log_fit(marks, expected, 2.0) == pytest.approx(whole)
    assert log_fit({}, expected, 2.0) == pytest.approx(2.0 * log(anywhere))
    square = np.array([3.0, 4.0]) @ np.linalg.inv(covariance) @ np.array([3.0, 4.0])
    assert deviations((13.0, 24.0), one, 2.0) == pytest.approx(np.sqrt(square))


def test_one_expectation_alone_is_no_evidence() -> None:
    marks = dogs(2)[0]
    expected = expected_of(marks, 0.0, np.random.default_rng(4))
    only = {"last_rib": expected["last_rib"]}
    assert judge_marks(marks, expected=only) == judge_marks(marks)
