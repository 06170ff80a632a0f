"""What "agrees" promises: an error in one reading, or one common to all, would have been seen."""

from __future__ import annotations

import copy
from typing import Any

import numpy as np
import pytest

from photocheck.case.file import case_from_dict
from photocheck.case.lengths import format_length
from photocheck.case.model import Reading
from photocheck.checking import check
from photocheck.errors import CaseError
from photocheck.judge import tolerances
from photocheck.judge.compare import Comparison, all_alike_score, compare
from photocheck.judge.tolerances import read_tolerances
from photocheck.report.model import Report
from photocheck.words import EXIT_CODES, READING_TITLES, SPANS
from tests.golden import cases
from tests.support.places import ROOT
from tests.support.told_once import once

PHOTO = np.log([300.0, 420.0, 330.0, 750.0])


def read(lengths: np.ndarray, names: tuple[str, ...] = SPANS) -> dict[str, Reading]:
    return {
        n: Reading(float(mm), f"{mm:.0f} mm", "cm") for n, mm in zip(names, lengths, strict=True)
    }


def common_covariance(common: float, own: float) -> np.ndarray:
    return common**2 * np.ones((4, 4)) + own**2 * np.eye(4)


def checked(sample: str, told: dict[str, Any]) -> Report:
    return check(case_from_dict(told, cases.SAMPLES / sample, where=sample))


def answered(
    sample: str, *, factor: float = 1.0, place: str | None = None, untold: tuple[str, ...] = ()
) -> Report:
    """A sample with every reading `factor` times as long, the place told otherwise."""
    told = copy.deepcopy(cases.samples()[sample])
    for fact in untold:
        told["dog"].pop(fact, None)
    for name, every in told["readings"].items():
        takes = every if isinstance(every, list) else [every]
        told["readings"][name] = [f"{float(str(one).split()[0]) * factor:.2f} cm" for one in takes]
    if place is not None:
        told["photos"][0]["reference"]["place"] = place
    return checked(sample, told)


@pytest.mark.slow
def test_the_common_error_caught_is_that_of_drawing() -> None:
    # shifted by what is said to be caught, 95 of 100 orders must be flagged (JCGM 101, 5.9)
    covariance = common_covariance(0.05, 0.03)
    size = compare(PHOTO, covariance, read(np.exp(PHOTO))).catches_common
    rng = np.random.default_rng(11)
    spread = tolerances.tape_log_spread(np.exp(PHOTO))
    lower = np.linalg.cholesky(covariance)
    flagged = []
    for _ in range(200):
        tape = PHOTO + np.log1p(size) + lower @ rng.normal(size=4) + spread * rng.normal(size=4)
        flagged.append(bool(compare(PHOTO, covariance, read(np.exp(tape))).faults))
    # the overall test and the single readings may flag a few more
    assert 0.93 <= np.mean(flagged) <= 0.995


def test_the_common_error_caught_by_hand() -> None:
    # S = c^2 11' + D with equal D = d^2: 1'S^-1 1 = 1 / (c^2 + d^2 / n), Sherman and Morrison 1950;
    # three readings none of whose tapes follows another's line
    names = ("half_neck", "front_length", "rear_length")
    readings = read(np.exp(PHOTO[:3]), names)
    tape = tolerances.tape_log_spread(np.exp(PHOTO)) ** 2
    level = float(tape.max())
    found: Comparison = compare(
        PHOTO, common_covariance(0.06, 0.0) + np.diag(level - tape), readings
    )
    doubt = np.sqrt(0.06**2 + level / 3.0)
    inverse = np.asarray(np.linalg.inv(found.covariance), float)
    assert all_alike_score(inverse) == pytest.approx(1.0 / doubt, rel=1e-9)
    alone = np.expm1((found.limit + 1.6449) * doubt)
    # by its own score alone; the single readings' and the overall test see a little of it too
    assert 0.98 * alone < found.catches_common < alone


def test_tapes_led_along_one_line_tell_less_of_a_common_error() -> None:
    # hands that lead the neck's tape high lead the ring high: fewer independent witnesses
    readings = read(np.exp(PHOTO))
    alone = {name: readings[name] for name in ("half_neck", "front_length", "rear_length")}
    covariance = common_covariance(0.01, 0.0)
    four = compare(PHOTO, covariance, readings).catches_common
    three = compare(PHOTO, covariance, alone).catches_common
    assert four > 0.8 * three


def test_one_measure_alone_has_no_common_error() -> None:
    both = read(np.array([300.0, 600.0]), ("half_neck", "neck_ring"))
    found = compare(PHOTO, common_covariance(0.2, 0.03), both)
    assert found.catches_common == 0.0
    assert not found.common_unsure


NOTHING_ELSE = ("weight", "girth", "neck_width", "chest_width")


@pytest.mark.parametrize("factor", [1.4, 1.0, 0.75])
def test_readings_never_agree_where_all_could_be_off_alike(factor: float) -> None:
    # nothing tells how far behind or before the dog the sheet stood, nor how large the dog is
    report = answered("sorrel", factor=factor, place="unknown", untold=NOTHING_ELSE)
    assert report.verdict != "agrees"
    if factor == 1.0:
        assert report.verdict == "cannot_tell"
        assert "off alike" in report.headline
        assert "how far the reference stood" in report.next_step
        assert {span.verdict for span in report.spans} == {"cannot_tell"}
        assert all("unless all readings are off alike" in s.sentence for s in report.spans[1:])


@pytest.mark.slow
@pytest.mark.parametrize("factor", [1.25, 1.4, 0.75, 0.6])
@pytest.mark.parametrize("told", ["the place", "weight and girth"])
def test_the_place_or_the_dogs_size_shows_readings_all_off_alike(factor: float, told: str) -> None:
    place, untold = (None, NOTHING_ELSE) if told == "the place" else ("unknown", ())
    good = answered("sorrel", place=place, untold=untold)
    assert good.verdict in ("agrees", "could_hide")
    wrong = answered("sorrel", factor=factor, place=place, untold=untold)
    if told == "the place" or good.catches_common < abs(factor - 1.0):
        assert wrong.verdict not in ("agrees", "could_hide", "cannot_tell")
    assert wrong.verdict != "agrees"


def test_readings_taken_with_care_agree_and_say_what_would_have_been_seen() -> None:
    report = answered("sorrel")
    assert report.verdict == "agrees"
    largest = 0.0
    for span in report.spans:
        assert span.reading_mm is not None
        size = format_length(span.catches * span.reading_mm, "cm")
        assert f"an error of {size} or more would have been seen" in span.sentence
        assert f"{READING_TITLES[span.span]} {size}" in report.promise
        largest = max(largest, span.catches * span.reading_mm)
        assert span.catches <= report.tolerances[span.span]
    assert report.catches_common <= report.tolerances["common"]
    assert f"{100 * report.catches_common:.0f} %" in report.promise
    assert format_length(largest, "cm") in report.headline


def test_one_reading_each_says_what_could_hide_and_no_more() -> None:
    told = once(cases.samples()["sorrel"])
    for fact in NOTHING_ELSE:
        told["dog"].pop(fact, None)
    del told["readings"]["neck_ring"]
    report = checked("sorrel", told)
    assert report.verdict == "could_hide"
    assert EXIT_CODES[report.verdict] == 14
    assert "Nothing stands out, but an error in the half neck of up to" in report.headline
    beyond = [s for s in report.spans if (s.hides or 0.0) > report.tolerances[s.span]]
    assert beyond
    for span in beyond:
        assert span.reading_mm is not None
        assert span.hides is not None
        assert span.hides <= span.catches
        size = format_length(span.hides * span.reading_mm, "cm")
        assert span.verdict == "could_hide"
        assert f"an error of up to {size} could hide" in span.sentence
    assert report.next_step


def test_a_shop_may_let_more_pass_or_less() -> None:
    told = once(cases.samples()["sorrel"])
    case = case_from_dict(told, cases.SAMPLES / "sorrel", where="sorrel")
    lenient = (
        "half_neck=50; front_length=50; rear_length=50; full_length=50; neck_ring=50; common=50"
    )
    assert check(case, tolerated=read_tolerances(lenient)).verdict == "agrees"
    careful = case_from_dict(cases.samples()["sorrel"], cases.SAMPLES / "sorrel", where="sorrel")
    strict = check(careful, tolerated=read_tolerances("half_neck=4"))
    assert strict.verdict == "could_hide"
    assert "half neck" in strict.headline
    assert strict.tolerances == {**tolerances.SHIPPED, "half_neck": 0.04}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", {}),
        ("half neck: 8 %", {"half_neck": 0.08}),
        ("neck_ring=7,5; common=10", {"neck_ring": 0.075, "common": 0.1}),
        ("FRONT_LENGTH=15,rear_length=20", {"front_length": 0.15, "rear_length": 0.2}),
    ],
)
def test_tolerances_as_shops_type_them(text: str, told: dict[str, float]) -> None:
    assert read_tolerances(text).told == pytest.approx(told)


@pytest.mark.parametrize(
    "text", ["half_neck", "tail=5", "half_neck=0", "half_neck=60", "half_neck=ten", "common=-5"]
)
def test_tolerances_that_cannot_be_meant(text: str) -> None:
    with pytest.raises(CaseError, match="tolerance"):
        read_tolerances(text)


def test_chest_marks_are_asked_for_where_they_are_missing() -> None:
    # the doubt about the chest's depth names its marks, the doubt about its width the girth
    told = copy.deepcopy(cases.samples()["sorrel"])
    marks = told["photos"][0]["markings"][0]["marks"]
    given = checked("sorrel", told)
    assert not any("chest's bottom" in line.action for line in given.budget)
    del marks["back_top"], marks["chest_bottom"], told["dog"]["girth"]
    bare = checked("sorrel", told)
    actions = {line.source: line.action for line in bare.budget}
    assert "chest's bottom" in actions["trunk_depth"]
    assert "chest's bottom" in actions["front_turn"]
    assert "girth" in actions["trunk_width"]


def test_the_readme_tells_what_is_promised() -> None:
    text = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    promised = (
        "half neck and ring {half_neck:.0f} %, front {front_length:.0f}, rear {rear_length:.0f}, "
        "full length {full_length:.0f}, and {common:.0f} % common to all"
    )
    shares = {name: 100 * share for name, share in tolerances.SHIPPED.items()}
    assert promised.format(**shares) in text
    assert shares["neck_ring"] == shares["half_neck"]
    assert f"seen in {100 * tolerances.POWER:.0f} of 100" in text
    assert f"flags at most {100 * tolerances.FALSE_ALARMS:.0f} % of good orders" in text
