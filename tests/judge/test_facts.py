"""Girth, weight and height as evidence on the size of the dog, and so on an error common to all."""

from __future__ import annotations

import numpy as np
import pytest

from photocheck.body import shape
from photocheck.body.heights import BREED_HEIGHTS_CM, heights_told
from photocheck.body.trunk import girth, weight
from photocheck.case.model import DogFacts
from photocheck.judge.estimate import Estimate, estimate
from photocheck.judge.joint import Joint, facts_told
from photocheck.judge.shots import Shot
from photocheck.judge.solve import solve
from photocheck.judge.wording import FACT_SENTENCES, fact_left_out
from photocheck.scale.priors import Offset
from tests.support.judged import marking, square_view

UNSAID = Offset(0.0, 0.0, 500.0)


def found(dog: DogFacts, *, unsaid: bool = False) -> Estimate:
    view = square_view(offset=UNSAID) if unsaid else square_view()
    return estimate([view], [[marking()]], dog)


def telling(told: str, value: float) -> DogFacts:
    """A dog of which only this is told."""
    return {
        "girth_mm": DogFacts(girth_mm=value),
        "weight_kg": DogFacts(weight_kg=value),
        "height_mm": DogFacts(height_mm=value),
    }[told]


def expected(fact: str) -> float:
    """What the photo alone lets expect."""
    shot = Shot(square_view(), np.array([0.0, 0.0, 0.0, 0.0, 0.0, np.log(2500.0)]), (marking(),))
    joint = Joint([shot], DogFacts())
    mode = solve(joint)
    return float(joint.expected_fact(joint.trunk(mode.theta), fact))


def common_spread(estimated: Estimate) -> float:
    """Standard deviation of a factor common to all spans, from how they vary together."""
    return float(1.0 / np.sqrt(np.sum(np.linalg.inv(estimated.covariance))))


@pytest.mark.parametrize("fact", ["girth", "weight", "height"])
def test_a_fact_tells_of_a_size_that_no_place_tells(fact: str) -> None:
    value = expected(fact)
    told = {"girth": "girth_mm", "weight": "weight_kg", "height": "height_mm"}[fact]
    without, with_it = found(DogFacts(), unsaid=True), found(telling(told, value), unsaid=True)
    assert with_it.covariance[3, 3] < 0.4 * without.covariance[3, 3]
    assert not with_it.facts_left_out


@pytest.mark.parametrize("fact", ["girth", "weight", "height"])
def test_a_larger_fact_makes_the_dog_larger(fact: str) -> None:
    value = expected(fact)
    told = {"girth": "girth_mm", "weight": "weight_kg", "height": "height_mm"}[fact]
    power = 3.0 if fact == "weight" else 1.0
    larger = found(telling(told, value * 1.1**power), unsaid=True)
    smaller = found(telling(told, value / 1.1**power), unsaid=True)
    moved = (larger.log_spans - smaller.log_spans)[3]
    # the fact is surer of the size than the unsaid place is, not than everything
    assert 0.5 * 2.0 * np.log(1.1) < moved < 2.0 * np.log(1.1)


def test_the_evidence_adds_by_hand() -> None:
    # one unknown size, two normal witnesses: precisions add (JCGM 100, 5.1 with one input each)
    own = found(DogFacts()).covariance[3, 3]
    size = found(DogFacts(), unsaid=True).covariance[3, 3] - own
    ratio = np.hypot(shape.HEIGHT_OVER_F.log_spread, shape.HEIGHT_READING)
    after = found(DogFacts(height_mm=expected("height")), unsaid=True).covariance[3, 3]
    assert after == pytest.approx(own + 1.0 / (1.0 / size + 1.0 / ratio**2), rel=0.15)


@pytest.mark.parametrize(
    ("told", "value"), [("girth_mm", 1.8), ("weight_kg", 4.0), ("height_mm", 0.6)]
)
def test_a_fact_beyond_belief_is_left_out_and_named(told: str, value: float) -> None:
    fact = told.partition("_")[0]
    plain = found(DogFacts())
    wrong = found(telling(told, value * expected(fact)))
    assert list(wrong.facts_left_out) == [fact]
    assert wrong.facts_left_out[fact] == pytest.approx(expected(fact), rel=0.02)
    assert np.allclose(wrong.log_spans, plain.log_spans, atol=1e-6)
    assert "left" in fact_left_out(fact, wrong.facts_left_out[fact], "cm")


def test_every_fact_has_its_sentence() -> None:
    dog = DogFacts(girth_mm=700.0, weight_kg=25.0, height_mm=560.0)
    assert {*facts_told(dog), *facts_told(DogFacts(breed="Samoyed"))} == set(FACT_SENTENCES)


def test_heights_of_breeds_are_a_dogs() -> None:
    # FCI breeds stand 15 to 90 cm (from memory: Chihuahua to Irish wolfhound and Great Dane)
    for low, high, source in BREED_HEIGHTS_CM.values():
        assert 15.0 < low < high <= 90.0
        assert high / low < 1.3
        assert source.startswith("FCI ")


@pytest.mark.parametrize(
    ("dog", "source"),
    [
        (DogFacts(breed="Siberian Husky"), "breed"),
        (DogFacts(breed="siberian husky", height_mm=550.0), "height"),
        (DogFacts(breed="Siberian husky", age_months=9.0), ""),
        (DogFacts(breed="Husky mix"), ""),
        (DogFacts(breed="Labrador cross"), ""),
        (DogFacts(breed="Basset", height_mm=350.0), ""),
        (DogFacts(breed="sled cross"), ""),
    ],
)
def test_whose_height_counts(dog: DogFacts, source: str) -> None:
    assert [one.source for one in heights_told(dog)] == ([source] if source else [])


def test_girth_and_weight_of_the_usual_trunk_are_a_dogs() -> None:
    shot = Shot(square_view(), np.array([0.0, 0.0, 0.0, 0.0, 0.0, np.log(2500.0)]), (marking(),))
    joint = Joint([shot], DogFacts())
    trunk = joint.trunk(solve(joint).theta)
    # girth over the height about 1.15 to 1.3 (Kangal and Akbash studies, phantoms' plan), and a
    # body of 550 to 600 mm weighs 18 to 35 kg (WALTHAM charts by weight; from memory)
    height = float(joint.expected_fact(trunk, "height"))
    assert 1.05 < float(girth(trunk)) / height < 1.4
    assert 14.0 < float(weight(trunk)) * (575.0 / height) ** 3 < 38.0
