"""Measured bodies, judged by constants that their maker had no part in."""

import numpy as np
import pytest

from photocheck.benchmark import other_makers
from photocheck.benchmark.body_study import bodies
from photocheck.benchmark.other_makers import HEIGHTS_MM, PhotoSession, stand_in, trial, truths
from photocheck.body import shape
from photocheck.words import SPAN_ENDS


def test_truths_are_the_measured_ratios_over_the_bodys_own_chords() -> None:
    body = bodies()[0]
    long = truths(body)
    ends = [np.array(body.landmarks[name]) for name in SPAN_ENDS["rear_length"]]
    assert long[2] == pytest.approx(body.rear_over_chord * np.hypot(*(ends[1] - ends[0])))
    assert long[3] == pytest.approx(long[1] + long[2])
    stuck = next(one for one in bodies() if one.front_over_chord is None)
    assert np.isnan(truths(stuck)[[1, 3]]).all()


def test_a_maker_left_out_moves_what_its_bodies_chose_and_nothing_else_for_good() -> None:
    before = shape.REAR_SURPLUS
    near = [one for one in bodies() if one.kind != "other"]
    rest = np.log([one.rear_surplus for one in near if one.maker != "Quaternius"])
    every = np.log([one.rear_surplus for one in near])
    with other_makers.without("Quaternius"):
        moved = shape.REAR_SURPLUS
        assert moved.median / before.median == pytest.approx(
            np.exp(np.median(rest) - np.median(every))
        )
        grown = np.std(rest, ddof=1) / np.std(every, ddof=1)
        assert moved.log_spread / before.log_spread == pytest.approx(grown)
        assert shape.TRUNK_WIDTH_OVER_DEPTH["slim"].median != 0.62
    assert before is shape.REAR_SURPLUS
    assert shape.TRUNK_WIDTH_OVER_DEPTH["slim"].median == 0.62


@pytest.mark.slow
def test_a_bodys_marks_lie_where_it_was_measured(monkeypatch) -> None:
    """Without noise, known to the program: what is left are the body's own errors."""
    monkeypatch.setattr(other_makers, "MARK_MM", 1e-6)
    monkeypatch.setattr(other_makers, "WAYS", (PhotoSession("three", 3, told=True),))
    dog = stand_in(bodies()[4], HEIGHTS_MM[1])
    assert dog.visible["last_rib"][2] > 40.0
    errors = []
    for number in (12, 13, 14):  # one dog in its three sizes
        shipped, without = trial(1, number)
        errors.append(shipped[0].error)
        assert not np.array_equal(shipped[0].error, without[0].error)
    spread = np.std(errors, axis=0)
    assert np.all(spread < 0.05)  # sizes alone change little


@pytest.mark.slow
def test_the_doubt_covers_bodies_of_makers_that_were_left_out(monkeypatch) -> None:
    """Every dog and dog-like once, one photo: 40 lengths, of which 95 % are to be covered."""
    monkeypatch.setattr(other_makers, "WAYS", other_makers.WAYS[:1])
    inside = []
    for number, body in enumerate(bodies()):
        if body.kind != "other":
            _, (one, *_) = trial(2, number * len(HEIGHTS_MM) + 1)
            inside.append(np.abs(one.error) <= 1.96 * one.spread)
    assert np.mean(inside) >= 0.85  # two deviations of 40 draws below 95 %
