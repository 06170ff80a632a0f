"""The shelf and the answer: which size fits how surely, and when none may be named."""

from __future__ import annotations

from dataclasses import replace
from math import log
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from photocheck.case.model import Reading
from photocheck.errors import CaseError
from photocheck.fit.answer import Wish, fit
from photocheck.fit.cut_lengths import Lengths
from photocheck.fit.match import chance_inside, match
from photocheck.fit.shelf import ShelfError, Size, demo_table, read_shelf, sizes_of
from photocheck.shown.plain_fit import plain_fit
from photocheck.words import VERDICTS
from tests.support.agreed import agreed

DOG = Lengths(np.log([400.0, 450.0, 280.0]), np.diag([0.02, 0.025, 0.03]) ** 2)


def around(low: float = 0.9, high: float = 1.1) -> Size:
    """A size about the dog of `agreed`."""
    mm = {"neck_opening": 722.0, "front_length": 528.0, "rear_length": 338.0}
    return Size("middle", {name: (low * one, high * one) for name, one in mm.items()})


# --- the chance ---------------------------------------------------------------


def test_one_measure_by_the_normal_table() -> None:
    """One standard deviation to each side holds 68.27 %, two to one side alone 97.72 %."""
    one = np.array([[0.02**2]])
    at = np.zeros(1)
    assert chance_inside(at, one, at - 0.02, at + 0.02) == pytest.approx(0.682689, abs=1e-5)
    assert chance_inside(at, one, at - 1.0, at + 0.04) == pytest.approx(0.977250, abs=1e-5)


def test_independent_measures_multiply() -> None:
    size = Size(
        "middle",
        {
            "neck_opening": (780.0, 830.0),
            "front_length": (440.0, 480.0),
            "rear_length": (270.0, 285.0),
        },
    )
    found = match(DOG, [size])[0]
    by_hand = 1.0
    for span, spread in zip(found.spans, (0.02, 0.025, 0.03), strict=True):
        one = norm.cdf(log(span.to_mm / span.mm) / spread) - norm.cdf(
            log(span.from_mm / span.mm) / spread
        )
        assert span.chance == pytest.approx(one, abs=1e-5)
        by_hand *= one
    assert found.chance == pytest.approx(by_hand, abs=3e-4)
    assert found.worst == "rear_length"


@pytest.mark.slow
def test_correlated_measures_and_the_full_length_against_monte_carlo() -> None:
    """The full length follows from front and rear, so the covariance has no inverse."""
    covariance = np.array([[4.0, 2.5, 1.0], [2.5, 6.0, -2.0], [1.0, -2.0, 9.0]]) * 1e-4
    dog = Lengths(DOG.logs, covariance)
    limits = {
        "neck_opening": (770.0, 840.0),
        "front_length": (435.0, 475.0),
        "rear_length": (265.0, 300.0),
        "full_length": (715.0, 750.0),
    }
    draws = np.exp(np.random.default_rng(3).multivariate_normal(dog.logs, covariance, 1_000_000))
    cut = np.stack([2 * draws[:, 0], draws[:, 1], draws[:, 2], draws[:, 1] + draws[:, 2]], 1)
    ends = np.array(list(limits.values()))
    inside = ((cut > ends[:, 0]) & (cut < ends[:, 1])).all(1).mean()
    # The sum is linearised: worth up to 0.3 % here.
    assert match(dog, [Size("middle", limits)])[0].chance == pytest.approx(inside, abs=4e-3)
    three = {name: limits[name] for name in list(limits)[:3]}
    inside = ((cut > ends[:, 0]) & (cut < ends[:, 1]))[:, :3].all(1).mean()
    assert match(dog, [Size("middle", three)])[0].chance == pytest.approx(inside, abs=2e-3)


def test_sizes_are_ranked_and_say_how_they_miss() -> None:
    small = Size("small", {"neck_opening": (600.0, 700.0)})
    near = Size("near", {"neck_opening": (815.0, 900.0)})
    huge = Size("huge", {"neck_opening": (1200.0, 1300.0)})
    ranked = match(DOG, [huge, small, near])
    assert [one.name for one in ranked] == ["near", "small", "huge"]  # huge is farthest off
    assert [round(one.spans[0].off_mm, 6) for one in ranked] == [-15.0, 100.0, -400.0]


# --- the answer ---------------------------------------------------------------


def test_a_size_in_its_middle_is_recommended() -> None:
    answer = fit(agreed(), [Size("tiny", {"neck_opening": (300.0, 400.0)}), around()])
    assert answer.outcome == "size"
    assert answer.sizes[0].name == "middle"
    assert answer.sizes[0].chance > 0.95
    assert "middle" in answer.headline
    cut = {one.name: one for one in answer.measures}
    assert cut["neck_opening"].body_mm == pytest.approx(722.0, rel=2e-3)
    assert cut["full_length"].mm == pytest.approx(cut["front_length"].mm + cut["rear_length"].mm)
    for one in answer.measures:
        assert one.low_mm < one.mm < one.high_mm
        assert one.mm == pytest.approx(one.body_mm + one.weight_mm + one.coat_mm)


def test_a_size_whose_limit_runs_through_the_dog_is_not() -> None:
    answer = fit(agreed(), [around(low=1.0)])
    assert answer.outcome == "to_measure"
    assert answer.sizes[0].chance < 0.5
    assert "Make to measure" in answer.headline


def test_without_a_shelf_it_is_made_to_measure() -> None:
    assert fit(agreed()).outcome == "to_measure"


@pytest.mark.parametrize("verdict", [v for v in VERDICTS if v != "agrees"])
def test_readings_that_are_not_confirmed_give_no_size_and_no_length(verdict: str) -> None:
    answer = fit(replace(agreed(), verdict=verdict, headline="Look again."), [around()])
    assert answer.outcome == "measure_first"
    assert answer.sizes == ()
    assert answer.measures == ()
    assert "Look again." in answer.reasons[0]
    assert "cm" not in plain_fit(answer)


@pytest.mark.parametrize(
    ("given", "enough"),
    [
        ({"half_neck", "front_length", "rear_length"}, True),
        ({"neck_ring", "front_length", "full_length"}, True),
        ({"half_neck", "rear_length", "full_length"}, True),
        ({"front_length", "rear_length", "full_length"}, False),
        ({"half_neck", "full_length"}, False),
        ({"half_neck", "neck_ring", "rear_length"}, False),
        (set(), False),
    ],
)
def test_what_no_tape_ever_measured_is_not_cut(given: set[str], enough: bool) -> None:
    report = agreed()
    mm = {
        "half_neck": 361.0,
        "neck_ring": 722.0,
        "front_length": 528.0,
        "rear_length": 338.0,
        "full_length": 866.0,
    }
    readings = {name: Reading(mm[name], "", "cm") for name in mm if name in given}
    answer = fit(replace(report, case=replace(report.case, readings=readings)), [around()])
    assert (answer.outcome == "size") is enough
    assert (answer.measures != ()) is enough


def test_a_puppys_growth_is_not_foreseen_without_its_adult_weight() -> None:
    puppy = agreed(age_months=5.0)
    answer = fit(puppy, [around()], Wish(growth="for_growth"))
    assert answer.outcome == "not_foreseen"
    assert answer.measures == ()
    assert any("vet" in reason for reason in answer.reasons)
    as_is = fit(puppy, [around()])
    assert as_is.outcome == "size"
    assert any("vet" in caution and "puppy" in caution for caution in as_is.cautions)
    assert any("still grows" in remark for remark in as_is.remarks)
    assert fit(agreed(age_months=40.0), wish=Wish(growth="for_growth")).outcome == "to_measure"
    unknown = fit(agreed(age_months=None), wish=Wish(growth="for_growth"))
    assert unknown.outcome == "not_foreseen"


@pytest.mark.parametrize(
    ("dog", "later_kg", "outcome"),
    [
        ({"weight_kg": 30.0}, 27.0, "to_measure"),
        ({"weight_kg": 30.0}, 24.0, "to_measure"),
        ({"weight_kg": 30.0}, 23.9, "not_foreseen"),
        ({"weight_kg": 30.0}, 36.5, "not_foreseen"),
        ({"weight_kg": None}, 27.0, "not_foreseen"),
        ({"weight_kg": 12.0, "age_months": 5.0}, 13.0, "not_foreseen"),
    ],
)
def test_a_change_of_weight(dog: dict[str, float | None], later_kg: float, outcome: str) -> None:
    answer = fit(agreed(**dog), wish=Wish(weight_later_kg=later_kg))
    assert answer.outcome == outcome
    if outcome == "to_measure":
        assert answer.measures[0].weight_mm < 0
        assert any("adjusters" in remark for remark in answer.remarks)


def test_a_size_for_a_later_weight_also_says_its_chance_today() -> None:
    answer = fit(agreed(weight_kg=30.0), [around(0.8, 0.99)], Wish(weight_later_kg=25.0))
    now = answer.sizes[0].chance_now
    assert now is not None
    assert now < 0.3 < answer.sizes[0].chance


@pytest.mark.parametrize("wish", [Wish(growth="soon"), Wish(weight_later_kg=900.0)])
def test_a_wish_that_cannot_be_meant(wish: Wish) -> None:
    with pytest.raises(CaseError):
        fit(agreed(), wish=wish)


# --- the table ----------------------------------------------------------------


def test_the_demo_table_says_it_is_invented_and_covers_a_range_without_gaps() -> None:
    assert "invented" in demo_table().splitlines()[0]
    sizes = sizes_of(demo_table())
    for measure in ("neck_opening", "front_length", "rear_length"):
        limits = sorted({one.limits[measure] for one in sizes})
        reach = limits[0][1]
        for low, high in limits[1:]:
            assert low <= reach
            reach = max(reach, high)


def test_semicolons_decimal_commas_inches_and_a_byte_order_mark(tmp_path: Path) -> None:
    file = tmp_path / "shelf.csv"
    file.write_bytes(
        "\ufeff# ours\r\nSize;unit;Neck opening from;neck_opening_to\r\n"
        "klein;cm;54,5;63\r\n;;;\r\nbroad;in;24 1/2;28\r\nmixed;;60 cm;26 in\r\n".encode()
    )
    sizes = read_shelf(file)
    assert [one.name for one in sizes] == ["klein", "broad", "mixed"]
    assert sizes[0].limits == {"neck_opening": (545.0, 630.0)}
    assert sizes[1].limits["neck_opening"] == pytest.approx((622.3, 711.2))  # 25.4 mm an inch
    assert sizes[2].limits["neck_opening"] == pytest.approx((600.0, 660.4))


HEAD = "size,neck_opening_from,neck_opening_to\n"


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("", "", "empty"),
        (HEAD, "", "no size"),
        ("size,neck_from,neck_to\nsmall,1,2\n", "line 1", "neck_from"),
        ("size\nsmall\n", "line 1", "no limits"),
        ("size,neck_opening_from\nsmall,54\n", "line 1", "only one"),
        ("neck_opening_from,neck_opening_to\n54,63\n", "line 1", "size"),
        ("size,size,neck_opening_from,neck_opening_to\n", "line 1", "twice"),
        (HEAD + "small,54,63\nlarge,63\n", "line 3", "cells"),
        (HEAD + "small,54,5,63\n", "line 2", "semicolons"),
        ("# x\n" + HEAD + "\nsmall,fifty,63\n", "line 4, neck_opening_from", "fifty"),
        (HEAD + "small,54,\n", "line 2, neck_opening_to", "nothing"),
        (HEAD + "small,63,54\n", "line 2", "not a range"),
        (HEAD + "small,,\n", "line 2", "no limits"),
        (HEAD + "12-34-56,54,63\n", "line 2", "plain name"),
        (HEAD + ",54,63\n", "line 2", "plain name"),
        (HEAD + "small,54,63\nSmall,60,70\n", "line 3", "twice"),
        ("size,unit,neck_opening_from,neck_opening_to\nsmall,ell,1,2\n", "line 2", "ell"),
    ],
)
def test_a_table_that_cannot_be_used_says_where_and_what(text: str, line: str, said: str) -> None:
    with pytest.raises(ShelfError) as caught:
        sizes_of(text, where="shelf.csv")
    assert caught.value.where.startswith("shelf.csv")
    assert line in caught.value.where
    assert said in str(caught.value)


@pytest.mark.parametrize("content", [b"\xff\xfe\x00size", b"x" * 1_000_001])
def test_a_file_that_is_no_table(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "shelf.csv"
    file.write_bytes(content)
    with pytest.raises(ShelfError):
        read_shelf(file)
    with pytest.raises(ShelfError):
        read_shelf(tmp_path / "missing.csv")
