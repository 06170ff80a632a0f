"""Readings taken more than once: the tape's two parts, the odd take, the false-alarm budget."""

from __future__ import annotations

import json

import numpy as np
import pytest
from scipy.stats import chi2, multivariate_normal, norm
from scipy.stats import f as f_distribution

from photocheck.case.file import case_from_dict
from photocheck.case.lengths import parse_length
from photocheck.case.model import Reading, Take
from photocheck.checking import check
from photocheck.judge import typed
from photocheck.judge.certainty import certainty_of
from photocheck.judge.compare import TAKES_APART, compare, expectation
from photocheck.judge.explain import discrepancy_of, rank, told
from photocheck.judge.explanations import KINDS
from photocheck.judge.repeats import MIDDLE, ONCE, needs_third, repeat_unit, tape_noise
from photocheck.judge.tolerances import REPEAT_FREEDOM, TAPE_REPEAT_SHARE, tape_log_spread
from photocheck.report.file import report_from_dict, report_to_dict
from photocheck.special import f_above
from photocheck.words import NECK_RING, READINGS, SPANS
from tests.support.places import SAMPLES
from tests.support.told_once import once

LOG_SPANS = np.log([300.0, 420.0, 330.0, 750.0])


def photo_covariance() -> np.ndarray:
    own = np.diag([0.035, 0.03, 0.045]) ** 2 + 0.03**2
    share = np.array([420.0, 330.0]) / 750.0
    lift = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [0, share[0], share[1]]])
    return lift @ own @ lift.T


def reading(*texts: str, by: tuple[str, ...] = ()) -> Reading:
    takes = []
    for number, text in enumerate(texts):
        mm, unit = parse_length(text, "cm")
        takes.append(Take(mm, text, unit, by=by[number] if by else ""))
    return Reading.of(takes)


def measured(*lengths: float) -> Reading:
    return reading(*(f"{mm:.3f} mm" for mm in lengths))


def drawn(
    rng: np.random.Generator,
    names: tuple[str, ...],
    *,
    takes: int = 2,
    scale: float | None = None,
) -> dict[str, Reading]:
    """A good order by the stated model; how well its tape repeats as the prior has it."""
    if scale is None:  # a scaled inverse chi-square of mean 1 (Gelman et al., BDA 3, 2.6)
        scale = (REPEAT_FREEDOM - 2.0) / rng.chisquare(REPEAT_FREEDOM)
    truth = LOG_SPANS + rng.multivariate_normal(np.zeros(4), photo_covariance())
    expected, _ = expectation(names, truth)
    one = tape_log_spread(np.exp(expected))
    every_part = ONCE.covariance(names, np.exp(expected))
    alike = every_part - np.diag(ONCE.repeat_variance(names, np.exp(expected)))
    led = expected + rng.multivariate_normal(np.zeros(len(names)), alike)
    spread = np.sqrt(TAPE_REPEAT_SHARE * scale) * one
    every = led[:, None] + spread[:, None] * rng.normal(size=(len(names), takes))
    return {name: measured(*np.exp(row)) for name, row in zip(names, every, strict=True)}


# -- what takes say together -----------------------------------------------------------


def test_the_middle_of_takes_scatters_as_drawing_gives() -> None:
    rng = np.random.default_rng(2)
    for count, share in enumerate(MIDDLE, start=1):
        middle = np.median(rng.normal(size=(200_000, count)), axis=1)
        assert np.var(middle) == pytest.approx(share, rel=0.012)


def test_one_take_is_as_exact_as_it_ever_was() -> None:
    lengths = np.array([200.0, 400.0, 800.0])
    names = ("half_neck", "front_length", "full_length")
    for noise in (ONCE, tape_noise({"half_neck": reading("20")})):
        assert noise.variance(names, lengths) == pytest.approx(tape_log_spread(lengths) ** 2)


def test_the_parts_of_the_tapes_noise_are_as_said() -> None:
    # 9 mm that differ and 4.5 mm that these hands repeat make the 10 mm of one take (Pythagoras);
    # how well tapes repeat by the quantiles of chi-square, SciPy
    one = float(tape_log_spread(400.0)) * 400.0
    assert np.sqrt(TAPE_REPEAT_SHARE) * one == pytest.approx(9.0, abs=0.1)
    assert np.sqrt(1.0 - TAPE_REPEAT_SHARE) * one == pytest.approx(4.5, abs=0.1)
    nine_of_ten = (
        np.sqrt(TAPE_REPEAT_SHARE)
        * one
        * np.sqrt((REPEAT_FREEDOM - 2.0) / chi2.ppf([0.95, 0.05], REPEAT_FREEDOM))
    )
    assert nine_of_ten == pytest.approx([4.7, 14.5], abs=0.05)


@pytest.mark.slow
def test_takes_that_differ_have_a_tenth_of_the_false_alarms() -> None:
    rng = np.random.default_rng(12)
    names = ("front_length", "rear_length")
    flagged = [
        any(
            fault.name == TAKES_APART
            for fault in compare(
                LOG_SPANS, photo_covariance(), drawn(rng, names), false_alarms=0.3
            ).faults
        )
        for _ in range(1500)
    ]
    # of those flagged so, some are named by another fault of the same reading
    assert 0.5 * 0.03 < np.mean(flagged) < 1.3 * 0.03


def test_an_f_ratio_has_the_chance_that_scipy_gives() -> None:
    ratios = np.array([0.0, 0.2, 1.0, 4.0, 40.0, 4000.0])
    for above, below in ((1, 5.0), (2, 8.0), (1, 9.0), (8, 5.0)):
        assert f_above(above, below, ratios) == pytest.approx(
            f_distribution.sf(ratios, above, below), rel=1e-10
        )


def test_two_takes_average_the_repeat_part_and_not_where_the_tape_was_led() -> None:
    # the takes differ just as expected, so the scale stays what it is taken to be
    step = np.sqrt(2.0 * repeat_unit(reading("40").takes)) * 400.0
    for by, led in ((("", ""), 1.0), (("Ann", "Ann"), 1.0), (("Ann", "Bo"), 0.5)):
        pair = reading(f"{400 - step / 2:.6f} mm", f"{400 + step / 2:.6f} mm", by=by)
        noise = tape_noise({"front_length": pair})
        assert noise.scale == pytest.approx(1.0, abs=1e-3)
        share = noise.variance(("front_length",), np.array([400.0]))[0] / 0.025**2
        assert share == pytest.approx(
            (1.0 - TAPE_REPEAT_SHARE) * led + TAPE_REPEAT_SHARE / 2.0, abs=1e-3
        )


@pytest.mark.parametrize("spread", [5.0, 25.0])
def test_the_order_tells_how_well_its_tape_repeats(spread: float) -> None:
    # all five readings twice, each pair apart by what that spread gives on average
    step = spread * np.sqrt(2.0)
    lengths = dict(zip(READINGS, np.exp(expectation(READINGS, LOG_SPANS)[0]), strict=True))
    once = {name: measured(mm) for name, mm in lengths.items()}
    twice = {name: measured(mm - step / 2, mm + step / 2) for name, mm in lengths.items()}
    one = compare(LOG_SPANS, photo_covariance(), once)
    two = compare(LOG_SPANS, photo_covariance(), twice)
    assert not tape_noise(twice).apart
    for name in READINGS:
        if spread < 7.0:
            assert two.catches[name] < one.catches[name]
        else:
            assert two.catches[name] > one.catches[name]
    assert not two.faults


# -- takes that differ too much --------------------------------------------------------


@pytest.mark.slow
def test_one_in_a_hundred_good_pairs_is_asked_for_a_third() -> None:
    rng = np.random.default_rng(5)
    pairs = [drawn(rng, ("front_length",))["front_length"].takes for _ in range(6000)]
    asked = np.mean([needs_third(pair) for pair in pairs])
    assert asked == pytest.approx(0.01, abs=4 * np.sqrt(0.01 * 0.99 / 6000))


@pytest.mark.parametrize(
    ("texts", "asked"),
    [
        (("41",), False),
        (("41", "41.5"), False),
        (("41", "14"), True),
        (("41", "46"), True),
        (("41", "14", "41.5"), False),
        (("30", "40", "50"), True),
        (("30", "30.5", "40", "40.5"), True),
    ],
)
def test_a_third_take_is_asked_for_where_none_is_outvoted(
    texts: tuple[str, ...], asked: bool
) -> None:
    assert needs_third(reading(*texts).takes) is asked


def test_the_odd_one_of_three_is_set_aside_and_said() -> None:
    odd = {"half_neck": reading("30", "3", "30.5")}
    noise = tape_noise(odd)
    assert odd["half_neck"].mm == 300.0
    assert noise.aside == {"half_neck": (1,)}
    assert not noise.apart
    assert noise.takes["half_neck"] == 1
    found = compare(LOG_SPANS, photo_covariance(), odd)
    assert not found.faults
    (one,) = certainty_of(LOG_SPANS, photo_covariance(), odd, noise, "cm")
    assert (one.taken, one.aside, one.apart) == (3, ("3",), False)


def test_one_slip_does_not_spoil_the_tape_of_the_others() -> None:
    good = {"front_length": reading("42", "42.4"), "rear_length": reading("33", "32.8")}
    slip = {**good, "half_neck": reading("41", "14")}
    assert tape_noise(slip).scale == pytest.approx(tape_noise(good).scale)
    assert set(tape_noise(slip).apart) == {"half_neck"}


def test_takes_apart_are_flagged_however_well_their_mean_fits() -> None:
    order = {"half_neck": reading("25", "35"), "front_length": reading("42", "42")}
    found = compare(LOG_SPANS, photo_covariance(), order)
    assert [(fault.name, fault.readings) for fault in found.faults] == [
        (TAKES_APART, ("half_neck",))
    ]
    assert not found.agrees


# -- the false-alarm budget ------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("takes", [2, 3])
@pytest.mark.parametrize("budget", [0.02, 0.05])
def test_false_alarms_keep_the_budget_while_the_tape_is_learnt(budget: float, takes: int) -> None:
    rng = np.random.default_rng(8)
    orders = 1200
    names = ("half_neck", "front_length", "rear_length", NECK_RING)
    flagged = np.mean(
        [
            bool(
                compare(
                    LOG_SPANS,
                    photo_covariance(),
                    drawn(rng, names, takes=takes),
                    false_alarms=budget,
                ).faults
            )
            for _ in range(orders)
        ]
    )
    spread = np.sqrt(budget * (1 - budget) / orders)
    assert flagged == pytest.approx(budget, abs=3 * spread + 0.1 * budget)


@pytest.mark.slow
def test_what_catches_promises_is_caught_in_readings_taken_twice() -> None:
    rng = np.random.default_rng(6)
    names = (*SPANS, NECK_RING)
    caught = []
    for _ in range(300):
        order = drawn(rng, names)
        size = compare(LOG_SPANS, photo_covariance(), order).catches["rear_length"]
        off = [take.mm * (1.0 + size) for take in order["rear_length"].takes]
        outcome = compare(LOG_SPANS, photo_covariance(), {**order, "rear_length": measured(*off)})
        caught.append(bool(outcome.faults))
    assert np.mean(caught) > 0.91


# -- why -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("texts", "kind", "fits"),
    [
        (("42", "24"), "swapped_digits", "42 cm"),
        (("24", "42"), "swapped_digits", "42 cm"),
        (("42.5", "425 mm", "4.25"), "", ""),  # outvoted, so nothing is in need of a reason
        (("42", "84"), "", ""),
        (("42", "16.5"), "other_unit_in_one", "16.5 in (41.9 cm)"),
    ],
)
def test_a_slip_in_one_take_is_found_from_the_other(
    texts: tuple[str, ...], kind: str, fits: str
) -> None:
    order = {
        "half_neck": reading("30", "30.4"),
        "front_length": reading(*texts),
        "rear_length": reading("33", "33.2"),
        "full_length": reading("75", "75.5"),
    }
    found = compare(LOG_SPANS, photo_covariance(), order)
    if len(texts) == 3:
        assert not found.faults
        return
    assert found.faults
    best = rank(discrepancy_of(LOG_SPANS, photo_covariance(), order)).ranked[0]
    assert best.readings == ("front_length",)
    if kind:
        assert best.kind.name == kind
        assert best.ways[0][1].candidates[0][1].text == fits


@pytest.mark.parametrize(
    ("kind", "ring"), [("wrong_digit", ("60", "61")), ("ring_halved", ("30", "30.5"))]
)
def test_the_posterior_is_bayes_theorem_over_all_takes(kind: str, ring: tuple[str, str]) -> None:
    """Every take an observation of its own, densities by SciPy, one by one.

    Of lengths whose spread is 2 % whatever is read, so that the model is one of logarithms.
    """
    order = {"full_length": reading("75", "81"), NECK_RING: reading(*ring)}
    seen = discrepancy_of(LOG_SPANS, photo_covariance(), order)
    (found,) = rank(seen, kinds=tuple(k for k in KINDS if k.name == kind)).ranked
    rows = np.repeat(np.eye(4)[[3, 0]], 2, axis=0)
    expected = np.repeat([LOG_SPANS[3], LOG_SPANS[0] + np.log(2.0)], 2)
    cov = rows @ photo_covariance() @ rows.T
    cov += (1.0 - TAPE_REPEAT_SHARE) * 0.02**2 * np.kron(np.eye(2), np.ones((2, 2)))
    cov += TAPE_REPEAT_SHARE * seen.noise.scale * 0.02**2 * np.eye(4)
    takes = [(name, take) for name, one in order.items() for take in one.takes]
    logs = np.log([take.mm for _, take in takes]) - expected
    agree = multivariate_normal.logpdf(logs, cov=cov)

    def odds(steps: np.ndarray) -> float:
        return float(np.exp(multivariate_normal.logpdf(logs + steps, cov=cov) - agree))

    slips = 0.0
    for k, (name, take) in enumerate(takes):
        alone = Reading(take.mm, take.typed, take.unit)
        for one in typed.wrong_digit(name, alone, True):
            slips += one.weight * odds(np.log(one.mm / take.mm) * np.eye(4)[k])
    halved = np.log(2.0) * np.array([[0, 0, 1, 1], [0, 0, 1, 0], [0, 0, 0, 1]])
    by_hand = {"wrong_digit": slips, "ring_halved": sum(odds(step) for step in halved)}
    log_odds = np.log(found.kind.odds * by_hand[kind])
    # the mean of two takes is that of their lengths, not of their logarithms
    assert found.log_odds == pytest.approx(log_odds, abs=0.06 + 1e-3 * abs(log_odds))


def test_a_take_off_by_any_amount_is_told_when_no_slip_makes_it() -> None:
    order = {"half_neck": reading("30", "37.35"), "front_length": reading("42", "42")}
    best = rank(discrepancy_of(LOG_SPANS, photo_covariance(), order))
    assert told(best) is None or best.ranked[0].readings == ("half_neck",)
    assert best.chance < 0.05


# -- whose certainty it is -------------------------------------------------------------


def test_certainty_is_parted_between_tape_photo_and_other_readings() -> None:
    order = {
        "half_neck": reading("30"),
        "front_length": reading("42"),
        "rear_length": reading("33"),
        "full_length": reading("75"),
        NECK_RING: reading("60"),
    }
    found = {
        one.reading: one for one in certainty_of(LOG_SPANS, photo_covariance(), order, ONCE, "cm")
    }
    half, full = found["half_neck"], found["full_length"]
    # 10 mm on 300; the ring's 2 % of 600, halved; by hand
    assert half.tape_spread == pytest.approx(10.0 / 300.0)
    assert half.others_spread == pytest.approx(0.02)
    assert half.photo_spread == pytest.approx(np.hypot(0.035, 0.03))
    assert full.others_spread == pytest.approx(np.hypot(10.0, 10.0) / 750.0, rel=1e-6)
    # full less front, of which 0.2 of each variance was led, three tenths of it alike
    led = 0.3 * 0.2 * 15.0 * 10.0
    rear = np.sqrt(15.0**2 + 10.0**2 - 2.0 * led) / 330.0
    assert found["rear_length"].others_spread == pytest.approx(rear, rel=1e-6)
    assert half.sentence == (
        f"Half neck: ±{norm.ppf(0.975):.1f} cm by the tape, ±2.7 cm by the photo, "
        "±1.2 cm by the neck ring."
    )
    del order[NECK_RING]
    alone = certainty_of(LOG_SPANS, photo_covariance(), order, ONCE, "cm")[0]
    assert alone.others_spread is None


def test_a_report_says_of_takes_apart_that_they_differ_and_asks_for_a_third() -> None:
    told = once(json.loads((SAMPLES / "sorrel" / "case.json").read_text(encoding="utf-8")))
    half = float(str(told["readings"]["half_neck"]).split()[0])
    readings = {**told["readings"], "half_neck": [f"{half - 2} cm", f"{half + 2} cm"]}
    case = case_from_dict({**told, "readings": readings}, SAMPLES / "sorrel")
    report = check(case)
    said = f"Half neck: {half - 2:.1f} cm and {half + 2:.1f} cm differ more than a tape does"
    assert report.spans[0].sentence.startswith(said)
    assert report.redundancy[0].startswith(said)
    assert report.certainty[0].apart
    # their mean is no length, so nothing is held against it
    assert not any("Twice the half neck" in text for text in report.redundancy)
    ring = next(one for one in report.certainty if one.reading == NECK_RING)
    assert ring.others_spread is None
    if not report.explanations:
        assert report.next_step.startswith("Measure the half neck once more")
    readings["half_neck"] = [f"{half} cm", f"{half + 20} cm", f"{half + 0.5} cm"]
    outvoted = check(case_from_dict({**told, "readings": readings}, SAMPLES / "sorrel"))
    assert outvoted.certainty[0].aside == (f"{half + 20} cm",)
    assert "was set aside" in outvoted.redundancy[0]
    assert outvoted.spans[0].reading_mm == pytest.approx(10.0 * (half + 0.5))
    assert report_from_dict(report_to_dict(outvoted)) == outvoted
