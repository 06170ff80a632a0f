"""The next best step: the chance of a miss by simulation, and sensible choices."""

from dataclasses import replace

import numpy as np
import pytest

from photocheck.case.model import Case, DogFacts, PhotoEntry, Reading, Reference
from photocheck.judge.compare import compare
from photocheck.judge.estimate import estimate
from photocheck.judge.steps import ERROR_SIZES, missed, next_step
from photocheck.scale.priors import Offset
from photocheck.words import SPANS
from tests.support.judged import marking, square_view


def situation(offset: Offset, readings: tuple[str, ...], marks: int = 1) -> tuple:
    view = square_view(offset=offset)
    markings = tuple(marking() for _ in range(marks))
    found = estimate([view], [markings], DogFacts())
    lengths = dict(
        zip(
            ("half_neck", "front_length", "rear_length", "full_length"),
            np.exp(found.log_spans),
            strict=True,
        )
    )
    given = {n: Reading(float(lengths[n]), f"{lengths[n]:.0f} mm", "cm") for n in readings}
    case = Case((PhotoEntry("a.jpg", Reference("a4"), markings),), given)
    outcome = compare(found.log_spans, found.covariance, given)
    return found, outcome, case, [view]


def test_the_chance_of_a_miss_is_what_drawing_gives() -> None:
    rng = np.random.default_rng(3)
    scores = np.array([18.0, 25.0])
    limit = 2.8
    drawn = [
        np.mean(np.abs(rng.normal(size=40_000) + size * score) < limit)
        for size in ERROR_SIZES
        for score in scores
    ]
    assert missed(scores, limit) == pytest.approx(np.mean(drawn), abs=3e-3)


def test_a_reference_far_behind_with_one_reading_asks_where_it_stood() -> None:
    # with a single reading nothing else tells the scale
    step = next_step(*situation(Offset(0.0, -700.0, 280.0), ("full_length",)))
    assert "how far the reference stood" in step or "once more" in step
    found, outcome, case, views = situation(Offset(0.0, -700.0, 280.0), ("full_length",))
    sure = [replace(views[0], offset=Offset(0.0, -700.0, 10.0))]
    assert "how far the reference stood" not in next_step(found, outcome, case, sure)


def test_without_readings_the_photo_is_bettered() -> None:
    found, outcome, case, views = situation(Offset(0.0, -700.0, 280.0), ())
    assert "how far the reference stood" in next_step(found, outcome, case, views)


def test_a_step_is_one_sentence() -> None:
    names = ("half_neck", "front_length", "rear_length", "full_length")
    step = next_step(*situation(Offset(0.0, 0.0, 20.0), names))
    assert step.endswith(".")
    assert step.count(".") == 1


def test_the_neck_ring_is_asked_for_before_a_second_reading() -> None:
    step = next_step(*situation(Offset(0.0, 0.0, 20.0), SPANS))
    assert step.startswith("Measure the neck ring as well")


def test_a_missing_full_length_is_asked_for() -> None:
    # without it nothing holds front and rear against each other
    step = next_step(*situation(Offset(0.0, 0.0, 20.0), ("front_length", "rear_length")))
    assert step.startswith("Measure the full length as well")


def test_a_place_not_said_is_asked_for_before_any_reading() -> None:
    step = next_step(*situation(Offset(0.0, -120.0, 300.0), SPANS))
    assert "how far the reference stood" in step
