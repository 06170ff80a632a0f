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
from photocheck.judge import tolerances
from photocheck.judge.compare import Comparison, compare
from photocheck.report.model import Report
from photocheck.words import SPANS
from tests.golden import cases
from tests.support.places import ROOT

PHOTO = np.log([300.0, 420.0, 330.0, 750.0])


def read(lengths: np.ndarray, names: tuple[str, ...] = SPANS) -> dict[str, Reading]:
    return {
        n: Reading(float(mm), f"{mm:.0f} mm", "cm") for n, mm in zip(names, lengths, strict=True)
    }


def common_covariance(common: float, own: float) -> np.ndarray:
    return common**2 * np.ones((4, 4)) + own**2 * np.eye(4)


def checked(sample: str, told: dict[str, Any]) -> Report:
    return check(case_from_dict(told, cases.SAMPLES / sample, where=sample))


def answered(sample: str, *, factor: float = 1.0, place: str | None = None) -> Report:
    """A sample with every reading `factor` times as long, the place told otherwise."""
    told = copy.deepcopy(cases.samples()[sample])
    for name, text in told["readings"].items():
        told["readings"][name] = f"{float(str(text).split()[0]) * factor:.2f} cm"
    if place is not None:
        told["photos"][0]["reference"]["place"] = place
    return checked(sample, told)


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
    # S = c^2 11' + D with equal D = d^2: 1'S^-1 1 = 1 / (c^2 + d^2 / n), Sherman and Morrison 1950
    readings = read(np.exp(PHOTO))
    tape = tolerances.tape_log_spread(np.exp(PHOTO)) ** 2
    level = float(tape.max())
    found: Comparison = compare(
        PHOTO, common_covariance(0.06, 0.0) + np.diag(level - tape), readings
    )
    needed = found.limit + 1.6449
    by_hand = np.expm1(needed * np.sqrt(0.06**2 + level / 4.0))
    assert found.catches_common == pytest.approx(by_hand, rel=1e-4)


def test_one_measure_alone_has_no_common_error() -> None:
    both = read(np.array([300.0, 600.0]), ("half_neck", "neck_ring"))
    found = compare(PHOTO, common_covariance(0.2, 0.03), both)
    assert found.catches_common == 0.0
    assert not found.common_unsure


@pytest.mark.parametrize("factor", [1.4, 1.0, 0.75])
def test_readings_never_agree_where_all_could_be_off_alike(factor: float) -> None:
    # nothing tells how far behind or before the dog the sheet stood
    report = answered("sorrel", factor=factor, place="unknown")
    assert report.verdict != "agrees"
    if factor == 1.0:
        assert report.verdict == "cannot_tell"
        assert "off alike" in report.headline
        assert "how far the reference stood" in report.next_step


@pytest.mark.parametrize("factor", [1.25, 1.4, 0.75])
def test_a_place_that_was_said_shows_readings_all_off_alike(factor: float) -> None:
    assert answered("sorrel").verdict == "agrees"
    assert answered("sorrel", factor=factor).verdict not in ("agrees", "cannot_tell")


def test_every_reading_that_agrees_names_what_would_have_been_seen() -> None:
    report = answered("sorrel")
    for span in report.spans:
        assert span.reading_mm is not None
        size = format_length(span.catches * span.reading_mm, "cm")
        assert f"an error of {size} or more would have been seen" in span.sentence


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
        f"an error of {100 * tolerances.MUST_CATCH:.0f} % in any reading, and one of "
        f"{100 * tolerances.COMMON_MUST_CATCH:.0f} % common to all"
    )
    assert promised in text
    assert f"seen in {100 * tolerances.POWER:.0f} of 100" in text
    assert f"flags at most {100 * tolerances.FALSE_ALARMS:.0f} % of good orders" in text
