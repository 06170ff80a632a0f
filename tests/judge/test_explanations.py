"""Rival explanations: generators by hand, the posterior by brute force, words and samples."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations
from unittest.mock import Mock

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from photocheck.case.lengths import parse_length
from photocheck.case.model import Reading, Reference
from photocheck.judge import causes, typed, wording
from photocheck.judge.causes import Cause, Discrepancy
from photocheck.judge.explain import CHANCE, discrepancy_of, explanations_of, rank, told
from photocheck.judge.explanations import KINDS, UNNAMED, Kind, words
from photocheck.report.file import report_from_dict, report_to_dict
from photocheck.words import NECK_RING, READINGS
from tests.support.checked_samples import checked
from tests.support.places import SAMPLES

LOG_SPANS = np.log([300.0, 420.0, 330.0, 750.0])


def photo_covariance() -> np.ndarray:
    own = np.diag([0.035, 0.03, 0.045]) ** 2 + 0.03**2
    share = np.array([420.0, 330.0]) / 750.0
    lift = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [0, share[0], share[1]]])
    return lift @ own @ lift.T


def reading(text: str, unit: str = "cm") -> Reading:
    mm, own = parse_length(text, unit)
    return Reading(mm, text, own)


def order(unit: str = "cm", **texts: str) -> Discrepancy:
    return discrepancy_of(LOG_SPANS, photo_covariance(), readings_given(texts, unit))


def readings_given(texts: dict[str, str], unit: str = "cm") -> dict[str, Reading]:
    return {name: reading(text, unit) for name, text in texts.items()}


GOOD = {"half_neck": "30", "front_length": "42", "rear_length": "33", "full_length": "75"}
GOOD_INCHES = {
    "half_neck": "11 3/4",
    "front_length": "16 1/2",
    "rear_length": "13",
    "full_length": "29 1/2",
}


def kind(name: str) -> Kind:
    return next(k for k in KINDS if k.name == name)


def texts(candidates: tuple[typed.Candidate, ...]) -> set[str]:
    return {c.text for c in candidates}


# -- the generators against lists made by hand -----------------------------------------


@pytest.mark.parametrize(
    ("given", "meant"),
    [
        # the part that was taken for it: the full length, told or read as a part, less the other
        ({"front_length": "75", "rear_length": "33"}, {"front_length": "42.0 cm"}),
        (
            {"front_length": "75", "rear_length": "33", "full_length": "76"},
            {"front_length": "43.0 cm", "rear_length": "1.0 cm"},
        ),
        (
            {"rear_length": "74,5", "front_length": "42", "full_length": "74"},
            {"rear_length": "32.0 cm"},
        ),
        # without the other part, or where it is the longer, none can be named
        ({"front_length": "75", "full_length": "75"}, {}),
        ({"front_length": "42", "rear_length": "50", "half_neck": "30"}, {"rear_length": "8.0 cm"}),
    ],
)
def test_a_full_length_taken_for_a_part_leaves_the_rest(
    given: dict[str, str], meant: dict[str, str]
) -> None:
    told: dict[str, str] = {}
    for cause in causes.full_as_part(order(**given)):
        told |= {name: candidate.text for name, candidate in cause.candidates}
    assert told == meant


@pytest.mark.parametrize(
    ("text", "unit", "meant"),
    [
        ("72", "cm", {"27 cm"}),
        ("42.5", "cm", {"24.5 cm", "45.2 cm"}),
        ("42,5 cm", "cm", {"24,5 cm", "45,2 cm"}),
        ("44", "cm", set()),
        ("30", "cm", set()),  # 03 is not a number anyone writes
        ("31 1/4", "in", {"13 1/4 in"}),
        ("31¼", "in", {"13 1/4 in"}),
        ("1 ft 2 1/2 in", "in", {"2 ft 1 1/2 in"}),
    ],
)
def test_swapped_digits(text: str, unit: str, meant: set[str]) -> None:
    assert texts(typed.swapped_digits("front_length", reading(text, unit))) == meant


def test_wrong_digit_gives_every_other_digit_and_prefers_neighbouring_keys() -> None:
    found = typed.wrong_digit("front_length", reading("46"))
    assert texts(found) == {f"{n} cm" for n in (*range(16, 97, 10), *range(40, 50)) if n != 46}
    # a number pad: 6 touches 3, 5 and 9; 5 touches 2, 4, 6 and 8
    share = {c.text: c.weight * c.mm / 460.0 for c in found}
    assert share["45 cm"] == pytest.approx(0.6 / 4 / 2)
    assert share["47 cm"] == pytest.approx(0.4 / 7 / 2)


def test_a_wrong_digit_leaves_the_fraction_alone() -> None:
    found = typed.wrong_digit("half_neck", reading("9 1/2", "in"))
    assert texts(found) == {f"{n} 1/2 in" for n in range(1, 9)}


@pytest.mark.parametrize(
    ("name", "text", "unit", "among", "not_among"),
    [
        ("front_length", "422", "cm", {"42 cm"}, {"22 cm"}),
        ("rear_length", "4", "cm", {"42 cm", "34 cm", "40 cm", "4 cm"}, set()),
        ("half_neck", "1 1/2", "in", {"11 1/2 in", "18 1/2 in", "21 1/2 in"}, {"1 1/2 in"}),
    ],
)
def test_lost_or_doubled_digit(
    name: str, text: str, unit: str, among: set[str], not_among: set[str]
) -> None:
    found = texts(typed.lost_or_doubled_digit(name, reading(text, unit)))
    assert among - {f"{text} {unit}"} <= found
    assert not not_among & found


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("425", {"42.5 cm"}),
        ("4.25", {"42.5 cm"}),
        ("4,2", {"42 cm"}),
        ("42.5", {"4.25 cm"}),
        ("0.9", {"9 cm"}),
        ("14 1/2", set()),
    ],
)
def test_shifted_decimal(text: str, meant: set[str]) -> None:
    assert texts(typed.shifted_decimal("rear_length", reading(text))) == meant


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("14 1/4", {"14 in", "14 1/2 in", "14 3/4 in"}),
        ("14½", {"14 in", "14 1/4 in", "14 3/4 in"}),
        ("14", {"14 1/4 in", "14 1/2 in", "14 3/4 in"}),
        ("14 3/8 in", {f"14{p} in" for p in ("", " 1/8", " 1/4", " 1/2", " 5/8", " 3/4", " 7/8")}),
        ("14.5", set()),
        ("36.8 cm", set()),
    ],
)
def test_misread_fraction(text: str, meant: set[str]) -> None:
    assert texts(typed.misread_fraction("half_neck", reading(text, "in"))) == meant


def test_every_candidate_reads_as_it_says_and_is_possible() -> None:
    makers = (
        typed.swapped_digits,
        typed.wrong_digit,
        typed.lost_or_doubled_digit,
        typed.shifted_decimal,
        typed.misread_fraction,
    )
    for text, unit in (("42.5", "cm"), ("14 1/2", "in"), ("425 mm", "cm"), ("1' 2\"", "in")):
        for make in makers:
            for candidate in make("front_length", reading(text, unit)):
                assert parse_length(candidate.text, unit)[0] == pytest.approx(candidate.mm)
                assert 30.0 <= candidate.mm <= 1200.0
                assert candidate.weight > 0.0


def test_a_text_that_is_not_the_reading_gives_no_text_slips() -> None:
    other = replace(reading("42"), mm=500.0)
    assert typed.own_text(other) is None
    assert typed.wrong_digit("front_length", other) == ()


def test_slips_of_a_digit_share_out_their_probability() -> None:
    """What is meant is one text; the slips from it to all typed texts sum to one at most."""
    meant = reading("42")
    reached = 0.0
    for number in range(10, 100):
        back = typed.wrong_digit("front_length", reading(str(number)))
        reached += sum(c.weight * c.mm / (10.0 * number) for c in back if c.text == "42 cm")
    # both digits may become any of nine others, but 02 is never a reading
    assert reached == pytest.approx(1.0 - 0.4 / 8 / 2, abs=0.02)
    assert meant.mm == 420.0


# -- the posterior against Bayes by brute force -----------------------------------------


def test_the_posterior_is_bayes_theorem() -> None:
    """Densities by SciPy, one by one, with errors of unknown size integrated on a grid."""
    faulty = order(**{**GOOD, "rear_length": "53"})
    chosen = tuple(kind(n) for n in ("wrong_digit", "neck_doubled", "full_on_another_line"))
    standing = rank(faulty, kinds=chosen)
    cov = faulty.covariance
    agree = multivariate_normal.pdf(faulty.differences, cov=cov)

    slips = 0.0
    for i, name in enumerate(faulty.names):
        others = [r for r in faulty.readings if r is not faulty.readings[i]]
        even = all(typed.is_even(r.mm, r.unit) for r in others)
        for candidate in typed.wrong_digit(name, faulty.readings[i], even):
            lengths = [r.mm for r in faulty.readings]
            lengths[i] = candidate.mm
            left = np.log(lengths) - faulty.expected
            slips += candidate.weight * multivariate_normal.pdf(left, cov=cov)
    halved = faulty.differences - np.array([math.log(2.0), 0, 0, 0])
    doubled = multivariate_normal.pdf(halved, cov=cov)
    grid = np.linspace(-1.0, 1.0, 20001)
    moved = faulty.differences - grid[:, None] * np.array([0, 0, 0, 1.0])
    prior = np.exp(-0.5 * (grid / 0.10) ** 2) / (0.10 * math.sqrt(2 * math.pi))
    line = np.trapezoid(prior * multivariate_normal.pdf(moved, cov=cov), grid)

    odds = {
        "wrong_digit": kind("wrong_digit").odds * slips / agree,
        "neck_doubled": kind("neck_doubled").odds * doubled / agree,
        "full_on_another_line": kind("full_on_another_line").odds * line / agree,
    }
    whole = 1.0 + sum(odds.values())
    assert standing.chance == pytest.approx(1.0 / whole, rel=1e-6)
    assert len(standing.ranked) == 3
    for one in standing.ranked:
        assert one.probability == pytest.approx(odds[one.kind.name] / whole, rel=1e-6)


def test_probabilities_sum_to_one_and_are_ranked() -> None:
    standing = rank(order(**{**GOOD, "front_length": "24"}))
    parts = [one.probability for one in standing.ranked]
    assert sum(parts) + standing.chance == pytest.approx(1.0)
    assert parts == sorted(parts, reverse=True)


def test_evidence_of_the_stance_multiplies_the_odds() -> None:
    plain, told_so = (
        rank(order(**GOOD), stance=stance) for stance in ({}, {"dog_crouching": math.log(50.0)})
    )
    odds = [
        next(one.log_odds for one in s.ranked if one.kind.name == "dog_crouching")
        for s in (plain, told_so)
    ]
    assert odds[1] - odds[0] == pytest.approx(math.log(50.0))


@pytest.mark.parametrize(
    "name", ["last_rib_elsewhere", "full_on_another_line", "dog_arched", "reference_off", UNNAMED]
)
def test_each_explanation_is_a_whole_density(name: str) -> None:
    """Over orders drawn from an explanation, agree / explanation averages one: both are
    densities of one set of readings, and none of either is lost."""
    rng = np.random.default_rng(5)
    base = order(**GOOD)
    one = kind(name)
    ways = list(one.ways(replace(base, differences=np.zeros(4))))
    assert sum(way.weight for way in ways) == pytest.approx(1.0)
    ratios = []
    for k in rng.choice(len(ways), 1500, p=[way.weight for way in ways]):
        r = rng.multivariate_normal(-ways[k].left, ways[k].covariance)
        standing = rank(replace(base, differences=r), kinds=(one,))
        ratios.append(one.odds * math.exp(-standing.log_odds))
    spread = np.std(ratios) / math.sqrt(len(ratios))
    assert np.mean(ratios) == pytest.approx(1.0, abs=float(4.5 * spread))


# -- the right explanation first -----------------------------------------------------------

CASES = {
    "swapped_digits": ("cm", {**GOOD, "front_length": "24"}),
    "lost_or_doubled_digit": ("cm", {**GOOD, "rear_length": "3"}),
    "shifted_decimal": ("cm", {**GOOD, "half_neck": "3.05"}),
    "wrong_digit": ("cm", {**GOOD, "front_length": "72"}),
    "other_unit_in_one": ("in", {**GOOD_INCHES, "rear_length": "33.5"}),
    "other_unit_in_all": ("in", GOOD),
    "neck_doubled": ("in", {**GOOD_INCHES, "half_neck": "23 3/4"}),
    "ring_halved": ("cm", {**GOOD, NECK_RING: "30.5"}),
    "swapped_readings": ("cm", {**GOOD, "half_neck": "75", "full_length": "30"}),
    "full_given_as_part": ("in", {**GOOD_INCHES, "front_length": "29 1/2"}),
    "begun_at_second_unit": (
        "cm",
        {n: str(int(t) + 10) for n, t in GOOD.items()},
    ),
    "last_rib_elsewhere": ("cm", {**GOOD, "front_length": "49.5", "rear_length": "25.5"}),
    "full_on_another_line": ("cm", {**GOOD, "full_length": "64.5"}),
    "reference_off": ("cm", {n: f"{1.3 * int(t):.1f}" for n, t in GOOD.items()}),
    UNNAMED: ("in", {**GOOD_INCHES, "half_neck": "15 1/4", "rear_length": "18 1/4"}),
}


@pytest.mark.parametrize("name", CASES)
def test_the_right_explanation_comes_first(name: str) -> None:
    unit, given = CASES[name]
    standing = rank(order(unit, **given))
    assert standing.ranked[0].kind.name == name
    assert standing.ranked[0].probability > standing.chance


def test_candidates_are_in_the_owners_unit_and_fit() -> None:
    unit, given = CASES["other_unit_in_one"]
    best = explanations_of(rank(order(unit, **given)))[0]
    assert best.candidates == (("rear_length", "33.5 cm (13 1/4 in)", pytest.approx(335.0)),)
    best = explanations_of(rank(order(**CASES["swapped_digits"][1])))[0]
    assert best.candidates[0] == ("front_length", "42 cm", 420.0)
    front, rear = explanations_of(rank(order(**CASES["last_rib_elsewhere"][1])))[0].candidates
    assert front[2] + rear[2] == pytest.approx(750.0)


def test_the_sum_is_evidence() -> None:
    """One slipped digit that makes the sum right beats one that only fits the photo."""
    faulty = order(**{**GOOD, "front_length": "24"})
    wide = replace(faulty, covariance=faulty.covariance + 0.05)  # scale hardly known
    assert rank(wide).ranked[0].kind.name == "swapped_digits"


def test_any_subset_works_and_says_what_it_could_not_check() -> None:
    every = {**GOOD, NECK_RING: "60"}
    for count in range(1, 6):
        for names in combinations(READINGS, count):
            standing = rank(order(**{n: every[n] for n in names}))
            shown = explanations_of(standing)
            assert standing.chance > 0.8
            assert shown[0].name == CHANCE
            said = " ".join(wording.unchecked(names))
            for name in ("front_length", "rear_length", "full_length"):
                assert (SPANS_SAID[name] in said) == (name not in names)


SPANS_SAID = {
    "front_length": "without the front length",
    "rear_length": "rear length",
    "full_length": "full length.",
}


def test_a_single_reading_cannot_be_swapped_or_be_the_full_length() -> None:
    alone = rank(order(front_length="75"))
    assert not {"swapped_readings", "full_given_as_part", "other_unit_in_one"} & {
        one.kind.name for one in alone.ranked
    }


# -- words ------------------------------------------------------------------------------


@pytest.mark.parametrize("one", KINDS, ids=[k.name for k in KINDS])
def test_words_are_plain_and_kind(one: Kind) -> None:
    title, sentence, action = words(one, ("front_length", "rear_length"))
    for text in (title, sentence, action):
        assert "{" not in text
        assert "_" not in text
        lowered = text.casefold()
        assert not any(w in lowered for w in ("you forgot", "mistake", "wrongly", "fault", "error"))
    assert sentence.endswith(".")
    assert action.endswith(".")
    assert not title.endswith(".")
    assert one.reason
    assert 0.0 < one.odds < 0.1


def test_names_are_one_each() -> None:
    assert len({k.name for k in KINDS}) == len(KINDS)


def test_an_added_explanation_needs_only_its_entry() -> None:
    def tripled(one: Discrepancy):
        left = one.differences.copy()
        left[0] -= math.log(3.0)
        yield Cause(1.0, (one.names[0],), left)

    added = Kind("tripled", "{readings} thrice", 0.01, "a test", tripled, "{Readings}.", "Again")
    standing = rank(order(**{**GOOD, "half_neck": "90"}), kinds=(*KINDS, added))
    assert standing.ranked[0].kind is added
    assert explanations_of(standing)[0].title == "half neck thrice"


# -- samples and the whole check --------------------------------------------------------------

EXPECTED = {
    "flint": ("swapped_digits", "rear_length", "27 cm"),
    "juniper": ("neck_doubled", "half_neck", "13 3/4 in"),
    "moss": ("other_unit_in_one", "rear_length", "34 cm (13 3/8 in)"),
    "teasel": ("last_rib_elsewhere", "front_length", None),
}


@pytest.mark.parametrize("name", EXPECTED)
def test_samples_name_the_right_explanation_first(name: str) -> None:
    right, doubted, text = EXPECTED[name]
    report = checked(name)
    best = report.explanations[0]
    assert best.name == right
    assert best.probability > 0.5
    assert best.candidates[0][0] == doubted
    assert text is None or best.candidates[0][1] == text
    truth = json.loads((SAMPLES / name / "truth.json").read_text())["spans_mm"]
    for span, _, mm in best.candidates:
        assert mm == pytest.approx(truth[span], rel=0.03)
    assert report_from_dict(report_to_dict(report)) == report
    said = wording.explanation_sentences(report.explanations)
    assert said[0].startswith("Most likely: ")


@pytest.mark.parametrize("name", ["bramble", "sorrel", "rowan", "nettle", "heron"])
def test_a_good_order_needs_no_explanation(name: str) -> None:
    report = checked(name)
    assert report.explanations == ()


def test_the_verdict_follows_a_clear_explanation() -> None:
    standing = rank(order(**{**GOOD, "half_neck": "75", "full_length": "30"}))
    best = told(standing)
    assert best is not None
    assert best.readings == ("half_neck", "full_length")
    assert told(rank(order(**GOOD))) is None


def test_every_kind_is_asked_once_and_no_order_has_many_ways(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What bounds the time: a blunder would ask again and again, or list every slip of every digit.

    The time itself is part of the benchmark `speed`.
    """
    asked: dict[str, int] = {}

    def counted(kind: Kind) -> Kind:
        def ways(seen: Discrepancy) -> Iterator[Cause]:
            assert kind.name not in asked
            found = list(kind.ways(seen))
            asked[kind.name] = len(found)
            return iter(found)

        return replace(kind, ways=ways)

    inverse = Mock(wraps=np.linalg.inv)
    monkeypatch.setattr(np.linalg, "inv", inverse)
    kinds = tuple(counted(kind) for kind in KINDS)
    for faulty in (order(**{**GOOD, "rear_length": "53"}), order("in", **GOOD_INCHES)):
        asked.clear()
        inverse.reset_mock()
        rank(faulty, kinds=kinds)
        assert set(asked) == {kind.name for kind in KINDS}
        assert 50 < sum(asked.values()) < 200
        inverse.assert_called_once()


# -- a reference that was another one ---------------------------------------------------------


@pytest.mark.parametrize(
    ("reference", "factor", "said"),
    [
        # ISO/IEC 7810 and ISO 216: areas 85.60 x 53.98 and 297 x 210 mm
        (Reference("a4"), math.sqrt(85.60 * 53.98 / (297.0 * 210.0)), "bank or identity card"),
        (Reference("id_card"), math.sqrt(297.0 * 210.0 / (85.60 * 53.98)), "A4 sheet"),
        (Reference("ball", diameter_mm=60.0), 2.0, "radius"),
        (Reference("two_points", length_mm=300.0), 2.54, "inches"),
        (Reference("marker_sheet"), 0.955, "fit the page"),
    ],
)
def test_a_known_other_reference_is_named(reference: Reference, factor: float, said: str) -> None:
    base = order(**GOOD)
    sure = discrepancy_of(LOG_SPANS, photo_covariance() / 9.0, readings_given(GOOD), [reference])
    off = replace(sure, differences=base.differences + math.log(factor))
    shown = {e.name: e for e in explanations_of(rank(off))}
    assert said in shown["reference_off"].sentence
    plain = {e.name: e for e in explanations_of(rank(replace(off, references=())))}
    assert said not in plain["reference_off"].sentence


def test_a_measured_print_or_mixed_references_suggest_nothing() -> None:
    for references in (
        (Reference("marker_sheet", bar_mm=149.0),),
        (Reference("a4"), Reference("id_card")),
    ):
        given = replace(order(**GOOD), references=references)
        ways = list(kind("reference_off").ways(given))
        assert not any(way.remark for way in ways)
        assert sum(way.weight for way in ways) == pytest.approx(1.0)
