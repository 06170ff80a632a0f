"""How a shop's owners measure, learnt from tape against tape."""

import json
from dataclasses import replace

import numpy as np
import pytest
from jsonschema import Draft202012Validator
from scipy import stats

import photocheck
from photocheck.case.model import Reading, Take
from photocheck.fit.cut_lengths import measured
from photocheck.judge import learning as learning_module
from photocheck.judge.compare import compare
from photocheck.judge.learning import learn
from photocheck.judge.ratios import Ratios, ratios_from_dict, ratios_to_dict
from photocheck.judge.repeats import ONCE, USUAL, TapeHabits, tape_noise
from photocheck.judge.tape_habits import (
    CLOSURE_SPREAD,
    TapeSeen,
    _Orders,
    held_out_tape,
    learnt_habits,
    tape_seen,
)
from photocheck.judge.tolerances import TAPE_REPEAT_SHARE, tape_log_spread
from photocheck.report.file import report_from_dict, report_to_dict
from photocheck.schemas.published import schema_text
from photocheck.shown.plain_learning import plain_learning
from photocheck.words import READINGS
from tests.support.finished_orders import orders_of
from tests.support.places import SAMPLES

LENGTHS = np.array([290.0, 420.0, 330.0, 750.0, 580.0])


def taken(rng, repeat=1.0, led=1.0, takes=2, freedom=0.0) -> dict[str, Reading]:
    """An order's readings by hands whose variances are so many times the shipped ones."""
    usual = ONCE.repeat_variance(READINGS, LENGTHS)
    of_led = led * (ONCE.covariance(READINGS, LENGTHS) - np.diag(usual))
    if freedom:
        repeat = repeat * (freedom - 2.0) / rng.chisquare(freedom)
    lead = np.linalg.cholesky(of_led) @ rng.normal(size=5)
    lengths = LENGTHS * np.exp(lead + np.sqrt(repeat * usual) * rng.normal(size=(takes, 5)))
    return {
        name: Reading.of([Take(float(mm), f"{mm:.0f} mm", "mm") for mm in lengths[:, i]])
        for i, name in enumerate(READINGS)
    }


def test_the_density_is_that_of_scipys_f_and_normal() -> None:
    """Differences over 9 mm squared follow scipy.stats.f, what is left of the sums a normal."""
    order = TapeSeen(3.1, 4, (0.03, float("nan")), (0.0011, 1.0), (0.0002, 1.0))
    habits, bias = TapeHabits(0.6, 7.0, 1.7), np.array([0.01, 0.5])
    typical = 0.6 * 5.0 / 7.0  # mean of the scaled inverse chi-square is 0.6
    own = (5.0 * 0.6 + 3.1) / (5.0 + 4.0)
    spread = np.sqrt(own * 0.0011 + 1.7 * 0.0002)
    expected = stats.f.logpdf(3.1 / 4.0 / typical, 4, 7) - np.log(typical)
    expected += stats.norm.logpdf(0.02, 0.0, spread) + 0.5 * np.log(2.0 * np.pi)
    assert _Orders.of([order]).by(habits, bias)[0] == pytest.approx(expected, abs=1e-9)


def test_one_repeat_or_one_sum_says_something_of_the_tape_and_nothing_says_nothing() -> None:
    assert TapeSeen(0.4, 1).tells
    assert TapeSeen(0.0, 0, (float("nan"), 0.01)).tells
    assert not TapeSeen().tells


@pytest.mark.parametrize("repeats", [1, 4])
def test_takes_that_are_all_the_same_differ_by_what_a_tape_is_read_to(repeats: int) -> None:
    """A fiftieth of the shipped variance for each difference, as when they had differed by it."""
    habits = TapeHabits(0.6, 7.0, 1.7)
    same, by_it, by_more = (
        _Orders.of([TapeSeen(squares * repeats, repeats)]).by(habits, np.zeros(2))[0]
        for squares in (0.0, 0.02, 0.04)
    )
    assert same == by_it != by_more


def test_what_an_order_says_of_the_tape() -> None:
    twice = {
        "half_neck": Reading.of([Take(200.0, "20", "cm"), Take(210.0, "21", "cm")]),
        "neck_ring": Reading.of([Take(420.0, "42", "cm")]),
        "front_length": Reading.of([Take(400.0, "40", "cm")]),
    }
    seen = tape_seen(twice)
    unit = TAPE_REPEAT_SHARE * float(tape_log_spread(np.sqrt(200.0 * 210.0))) ** 2
    assert seen.squares == pytest.approx(0.5 * np.log(210.0 / 200.0) ** 2 / unit)
    assert seen.repeats == 1
    assert seen.closures[0] == pytest.approx(np.log(420.0 / (2.0 * twice["half_neck"].mm)))
    assert np.isnan(seen.closures[1])
    # one take of the ring, the mean of two of the half neck
    each = [float(tape_log_spread(mm)) ** 2 for mm in (twice["half_neck"].mm, 420.0)]
    assert seen.repeat[0] == pytest.approx(TAPE_REPEAT_SHARE * (each[0] / 2.0 + each[1]))
    assert tape_seen({}).tells is False


@pytest.mark.parametrize(("repeat", "led"), [(0.25, 0.25), (1.0, 1.0), (2.0, 2.0)])
def test_the_habits_are_found_again(repeat: float, led: float) -> None:
    rng = np.random.default_rng(3)
    seen = [tape_seen(taken(rng, repeat, led)) for _ in range(120)]
    found = learnt_habits(seen)
    assert found.repeat == pytest.approx(repeat, rel=0.25)
    assert found.led == pytest.approx(led, rel=0.6)
    assert found.freedom > 10.0  # every owner alike
    alone = learnt_habits([tape_seen(taken(rng, repeat, led, freedom=4.0)) for _ in range(120)])
    assert alone.freedom < 9.0  # owners differ


def test_few_orders_move_little_and_none_nothing() -> None:
    rng = np.random.default_rng(4)
    assert learnt_habits([]) == USUAL
    one = learnt_habits([tape_seen(taken(rng, 0.1, 0.1))])
    assert 0.5 < one.repeat < 1.1


@pytest.mark.slow
def test_habits_as_shipped_are_not_taken_for_learnt() -> None:
    """A shop whose owners measure as taken to be: rarely anything clear to gain."""
    gains = []
    for seed in range(20):
        rng = np.random.default_rng([5, seed])
        seen = [tape_seen(taken(rng, freedom=5.0)) for _ in range(15)]
        gains.append(held_out_tape(seen).improves)
    assert np.mean(gains) <= 0.2
    exact = [tape_seen(taken(rng, 0.25, 0.25)) for _ in range(15)]
    assert held_out_tape(exact).improves


def test_a_whole_that_is_always_led_longer_is_no_noise_of_the_tape() -> None:
    rng = np.random.default_rng(6)
    seen = [tape_seen(taken(rng, 0.25, 0.25)) for _ in range(60)]
    moved = [replace(s, closures=(s.closures[0] + CLOSURE_SPREAD, s.closures[1])) for s in seen]
    assert learnt_habits(moved).led == pytest.approx(learnt_habits(seen).led, rel=0.3)


@pytest.mark.slow
def test_a_known_tape_promises_more_and_keeps_its_false_alarms() -> None:
    rng = np.random.default_rng(7)
    photo, covariance = np.log(LENGTHS[:4]), 0.04**2 * np.eye(4)
    habits = TapeHabits(0.25, 30.0, 0.25)
    flags, usual, known = [], [], []
    for _ in range(300):
        seen = np.log(LENGTHS[:4]) + 0.04 * rng.normal(size=4)
        readings = taken(rng, 0.25, 0.25)
        found = compare(seen, covariance, readings, habits=habits)
        flags.append(bool(found.faults))
        known.append(found.catches["half_neck"])
        usual.append(compare(photo, covariance, readings).catches["half_neck"])
    assert np.median(known) < 0.8 * np.median(usual)
    assert 0.0 < np.mean(flags) < 0.05  # 2 % stated, 300 orders


def test_where_nothing_is_repeated_the_habits_hold_as_they_are() -> None:
    habits = TapeHabits(0.5, 20.0, 2.0)
    once = tape_noise({"half_neck": Reading(300.0, "30", "cm")}, habits)
    assert once.scale == 0.5
    whole = float(tape_log_spread(300.0)) ** 2
    variance = once.variance(["half_neck"], np.array([300.0]))[0]
    assert variance == pytest.approx((0.8 * 0.5 + 0.2 * 2.0) * whole)


def exact_orders(seed: int, count: int = 25):
    """Orders with nothing to learn of dogs, whose tapes repeat to half the usual."""
    rng = np.random.default_rng(seed)
    orders = orders_of(seed, count, shift=(0.0, 0.0, 0.0), more={"dogs": 1.0})
    return [replace(order, tape=tape_seen(taken(rng, 0.25, 0.25))) for order in orders]


@pytest.mark.slow
def test_the_tape_is_learnt_though_the_ratios_are_not() -> None:
    learning = learn(exact_orders(11))
    assert learning.adopted
    assert "stay" in learning.reason
    version = learning.ratios.in_use
    assert version is not None
    assert version.tape is not None
    assert version.tape.repeat < 0.5
    assert version.groups == {}
    for ways in version.for_group("husky").ways.values():
        assert (ways.shift, ways.spread_factor) == (0.0, 1.0)
    said = plain_learning(learning)
    assert "repeats to" in said
    assert "(shipped 8.9)" in said
    again = learn(exact_orders(11), learning.ratios)
    assert not again.adopted
    data = ratios_to_dict(learning.ratios)
    Draft202012Validator(json.loads(schema_text("ratios"))).validate(data)
    assert ratios_from_dict(json.loads(json.dumps(data))) == learning.ratios


def test_ratios_are_learnt_though_the_tape_is_as_shipped() -> None:
    learning = learn(orders_of(12))
    assert learning.adopted
    assert learning.tape_reason == ""
    assert learning.ratios.habits is USUAL
    assert "tape" not in ratios_to_dict(learning.ratios)["versions"][0]


@pytest.mark.slow
def test_forgotten_orders_keep_the_tape_too() -> None:
    first = learn(exact_orders(11)).ratios
    assert learn(exact_orders(13), first).ratios == first


@pytest.mark.slow
def test_a_check_uses_and_tells_the_habits() -> None:
    ratios = learn(exact_orders(11)).ratios
    case = photocheck.read_case(SAMPLES / "heron" / "case.json")
    usual, known = photocheck.check(case), photocheck.check(case, ratios=ratios)
    assert usual.tape == {}
    assert TapeHabits(**known.tape) == ratios.habits
    assert [s.photo_mm for s in known.spans] == [s.photo_mm for s in usual.spans]
    catches = [
        (one.catches, other.catches) for one, other in zip(known.spans, usual.spans, strict=True)
    ]
    assert all(one < other for one, other in catches if other)
    assert report_from_dict(json.loads(json.dumps(report_to_dict(known)))) == known
    # the shorter doubt of the tape draws the lengths cut nearer to the tape
    told = [np.log(case.readings[name].mm) for name in ("front_length", "rear_length")]
    near = [np.abs(measured(report).logs[1:] - told).sum() for report in (known, usual)]
    assert near[0] < near[1]


def test_accepted_orders_teach_half_and_alone_as_well() -> None:
    accepted = [replace(order, outcome="accepted") for order in orders_of(14, 40)]
    learning = learn(accepted)
    assert learning.adopted
    fitted = learn([replace(order, outcome="fitted") for order in accepted])
    shifts = []
    for found in (learning, fitted):
        version = found.ratios.in_use
        assert version is not None
        shifts.append(version.groups["husky"].ways["half_neck"])
    assert 0.0 < shifts[0].shift < shifts[1].shift
    assert shifts[0].shift_spread > 1.15 * shifts[1].shift_spread
    assert learning_module.LEAST_ORDERS <= 40
    assert Ratios().habits is USUAL


@pytest.mark.slow
def test_a_breed_never_seen_borrows_from_its_build() -> None:
    slim = [
        replace(order, build="slim")
        for seed, name in enumerate(("lurcher", "pointer", "setter"))
        for order in orders_of(20 + seed, 20, shift=(-0.1, 0.0, 0.0), more={"group": name})
    ]
    broad = [
        replace(order, build="broad")
        for seed, name in enumerate(("mastiff", "molosser"))
        for order in orders_of(40 + seed, 20, shift=(0.1, 0.0, 0.0), more={"group": name})
    ]
    version = learn([*slim, *broad]).ratios.in_use
    assert version is not None
    shifts = {
        build: version.for_group("never seen", build).ways["half_neck"].shift
        for build in ("slim", "broad", "medium", "unknown")
    }
    assert shifts["slim"] < -0.02
    assert shifts["broad"] > 0.02
    assert abs(shifts["medium"]) < 0.02
    assert shifts["medium"] == shifts["unknown"]
    assert set(version.builds) == {"slim", "broad"}
    assert "any other of build slim (60 orders)" in plain_learning(learn([*slim, *broad]))
