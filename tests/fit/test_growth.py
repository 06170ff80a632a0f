"""A puppy looked ahead to: against published growth, and never in what is cut."""

from __future__ import annotations

from math import exp, log
from typing import Any

import numpy as np
import pytest

from photocheck.case.model import DogFacts
from photocheck.errors import CaseError
from photocheck.fit.answer import Wish, fit
from photocheck.fit.cut_lengths import Lengths
from photocheck.fit.growth import (
    ADULT_SPREAD,
    GROWTH_EXPONENTS,
    AdultWeight,
    adult_weight,
    grown,
    suits_age,
    weight_in,
)
from photocheck.fit.shelf import Size
from photocheck.report.model import Report
from photocheck.shown.plain_fit import growth_rows, plain_fit
from photocheck.speech import speaking
from tests.support.agreed import agreed

GROWN = AdultWeight(24.0, 24.0, "vet")


def puppy(**dog: Any) -> Report:
    return agreed(**{"age_months": 5.0, "weight_kg": 14.0, **dog})


def looked(report: Report, adult: AdultWeight | None = GROWN, sizes: list[Size] | None = None):  # type: ignore[no-untyped-def]
    return fit(report, sizes or [], Wish(growth="for_growth", adult=adult))


# -- published growth --------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "weeks", "shares"),
    [
        # Hawthorne et al. 2004 and Salomon et al., as Helmsmüller et al. 2013 (BMC Vet. Res.
        # 9:203) quote them: half and 99 %, half and 95 %; and their own, 95 and 98 %.
        ("17 kg", (14.8, 41.9), (0.50, 0.99)),
        ("11.8 kg", (7.1, 35.1), (0.50, 0.95)),
        ("own", (38.6, 47.8), (0.95, 0.98)),
    ],
)
def test_published_growth_of_beagles_lies_within_what_is_told(
    line: str, weeks: tuple[float, float], shares: tuple[float, float]
) -> None:
    """From the first weight, with the adult one known, the second is within 1.96 spreads."""
    grown_to = AdultWeight(15.0, 15.0, "vet")
    now = shares[0] * 15.0
    log_kg, spread = weight_in(7.0 * (weeks[1] - weeks[0]), now, grown_to)
    assert abs(log(shares[1] * 15.0) - log_kg) < 1.96 * max(spread, 1e-9), line


def test_published_bodies_of_kangals_lie_within_what_is_told() -> None:
    """Puppies of 3.87 kg at eight weeks: chest girth 35.36, height 27.32, length 27.77 cm at 52
    days (Bulg. J. Agric. Sci. 18(6), 2012, abstract); adults of 48 kg: about 86, 73 and 78 (from
    memory).  Girth as the neck, lengths as the rear; the powers, not the dates, are held here.
    """
    gained = log(48.0 / 3.87)
    for span, before, after in (
        ("half_neck", 35.36, 86.0),
        ("rear_length", 27.32, 73.0),
        ("rear_length", 27.77, 78.0),
    ):
        power = GROWTH_EXPONENTS[span]
        off = abs(log(after / before) / gained - power.value)
        assert off < 1.96 * power.spread, span


def test_girth_over_height_falls_as_it_does_in_puppies() -> None:
    """1.29 at 52 days, about 1.18 in adults: by the powers, over a twelvefold weight."""
    later = 1.29 * 12.4 ** (
        GROWTH_EXPONENTS["half_neck"].value - GROWTH_EXPONENTS["rear_length"].value
    )
    assert 1.05 < later < 1.25
    girth = GROWTH_EXPONENTS["half_neck"].value
    assert girth < 1 / 3 < GROWTH_EXPONENTS["rear_length"].value  # Helmsmüller et al. 2013


def test_the_doubt_is_that_of_drawn_dogs() -> None:
    """JCGM 101: adult weight and time constant drawn, against the first-order spread."""
    rng = np.random.default_rng(1)
    adult = 24.0 * np.exp(rng.normal(0, ADULT_SPREAD["vet"], 200_000))
    time = 60.0 * np.exp(rng.normal(0, 0.30, 200_000))
    kept = np.log(12.0) + np.log(adult / 12.0) * (1 - np.exp(-45.0 / time))
    middle, spread = weight_in(45.0, 12.0, GROWN)
    assert middle == pytest.approx(np.median(kept), abs=0.01)
    assert spread == pytest.approx(np.std(kept), rel=0.1)


def test_lengths_follow_weight_to_their_powers_and_the_doubt_grows() -> None:
    dog = Lengths(np.log([300.0, 400.0, 250.0]), np.diag([0.02, 0.02, 0.02]) ** 2)
    later = grown(dog, 100.0, 12.0, GROWN)
    gained = weight_in(100.0, 12.0, GROWN)[0] - log(12.0)
    assert later.logs - dog.logs == pytest.approx([0.32 * gained, 0.35 * gained, 0.38 * gained])
    assert np.all(np.diag(later.covariance) > np.diag(dog.covariance))
    same = grown(dog, 0.0, 12.0, GROWN)
    assert same.logs == pytest.approx(dog.logs)
    assert same.covariance == pytest.approx(dog.covariance)


# -- the answer --------------------------------------------------------------------


def test_as_is_stays_the_default_and_what_is_cut_is_the_same() -> None:
    as_is, ahead = fit(puppy()), looked(puppy())
    assert as_is.growth == ()
    assert ahead.growth != ()
    assert ahead.measures == as_is.measures
    assert (ahead.headline, ahead.outcome) == (as_is.headline, as_is.outcome)


def test_the_range_widens_date_by_date_up_to_the_adult_weight() -> None:
    steps = looked(puppy()).growth
    assert [step.days for step in steps] == sorted(step.days for step in steps)
    assert steps[-1].weight_kg == pytest.approx(24.0, rel=0.03)
    widths = [log(step.measures[0].high_mm / step.measures[0].low_mm) for step in steps]
    assert widths == sorted(widths)
    for step in steps:
        for measure in step.measures:
            assert measure.low_mm < measure.mm < measure.high_mm


def test_the_size_that_fits_now_and_the_one_that_fits_then() -> None:
    mm = {"neck_opening": 722.0, "front_length": 528.0, "rear_length": 338.0}
    small = Size("small", {n: (0.9 * v, 1.1 * v) for n, v in mm.items()})
    large = Size("large", {n: (1.05 * v, 1.6 * v) for n, v in mm.items()})
    answer = looked(puppy(), sizes=[small, large])
    assert answer.sizes[0].name == "small"
    assert answer.growth[-1].sizes[0].name == "large"
    assert any("'small' will fit" in remark for remark in answer.remarks)
    assert "large" in growth_rows(answer)[-1][-1]


def test_it_says_what_is_judgement_and_warns_of_a_loose_harness() -> None:
    said = " ".join(looked(puppy()).remarks)
    assert "judgement" in said
    assert "slip out" in said
    assert any("vet" in caution for caution in looked(puppy()).cautions)


@pytest.mark.parametrize(
    ("dog", "adult", "said"),
    [
        ({}, None, "expected to weigh"),
        ({"age_months": None}, GROWN, "age"),
        ({"weight_kg": None}, GROWN, "weight today"),
        ({"age_months": 2.5}, GROWN, "12 weeks"),
        ({}, AdultWeight(55.0, 60.0, "breed", "a standard"), "no growth chart"),
        ({"weight_kg": 24.0}, GROWN, "as much already"),
    ],
)
def test_what_cannot_be_foreseen_is_refused_and_a_vet_named(
    dog: dict[str, float | None], adult: AdultWeight | None, said: str
) -> None:
    answer = looked(puppy(**dog), adult)
    assert answer.outcome == "not_foreseen"
    assert answer.measures == answer.growth == ()
    assert said in " ".join(answer.reasons)
    assert "vet" in answer.headline


def test_a_grown_dog_is_not_looked_ahead_to() -> None:
    answer = looked(puppy(age_months=40.0))
    assert answer.outcome == "to_measure"
    assert answer.growth == ()


def test_a_weight_unlike_the_age_sends_to_a_vet() -> None:
    assert suits_age(DogFacts(age_months=5.0, weight_kg=16.0), GROWN)
    assert not suits_age(DogFacts(age_months=9.0, weight_kg=6.0), GROWN)
    odd = " ".join(looked(puppy(age_months=9.0, weight_kg=6.0)).remarks)
    assert "ask a vet" in odd
    assert "ask a vet" not in " ".join(looked(puppy(weight_kg=16.0)).remarks)


# -- what is typed -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("25 kg", 25.0, 25.0),
        ("22-28 kg", 22.0, 28.0),
        ("22 \u2013 28 kg", 22.0, 28.0),
        ("22 to 28", 22.0, 28.0),
        ("22 bis 28 kg", 22.0, 28.0),
        ("50-60 lb", 22.67962, 27.21554),  # exact: 1 lb = 0.45359237 kg
    ],
)
def test_an_adult_weight_as_typed(text: str, low: float, high: float) -> None:
    found = adult_weight(text, "owner", field="adult weight")
    assert (found.low_kg, found.high_kg) == pytest.approx((low, high), rel=1e-6)


@pytest.mark.parametrize(
    ("text", "by", "named"),
    [
        ("28-22 kg", "owner", ""),
        ("1-2-3 kg", "owner", ""),
        ("soon", "owner", ""),
        ("900 kg", "owner", ""),
        ("25 kg", "stars", ""),
        ("22-28 kg", "breed", " "),
        ("", "vet", ""),
    ],
)
def test_an_adult_weight_that_cannot_be_meant(text: str, by: str, named: str) -> None:
    with pytest.raises(CaseError):
        adult_weight(text, by, named, field="adult weight")


def test_a_wide_range_doubts_more_and_a_narrow_one_never_less_than_its_teller() -> None:
    narrow = AdultWeight(24.0, 25.0, "breed", "a standard")
    wide = AdultWeight(15.0, 35.0, "breed", "a standard")
    assert narrow.log_spread == ADULT_SPREAD["breed"]
    assert wide.log_spread == pytest.approx(log(35 / 15) / 3.92)
    assert wide.kg == pytest.approx(exp((log(15) + log(35)) / 2))


@pytest.mark.parametrize("language", ["en", "de"])
def test_it_is_told_in_either_language(language: str) -> None:
    with speaking(language):
        said = plain_fit(looked(puppy()))
    assert ("Looked ahead" if language == "en" else "Vorausgeschaut") in said
