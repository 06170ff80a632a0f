"""Rules of the judgement, each alone: which way it goes on either side of its limit."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from photocheck.body.shape import SHIPPED, Learnt, TapeRatios, way_of
from photocheck.body.stance import Stance
from photocheck.case.lengths import parse_length
from photocheck.case.model import DogFacts, Marking, Reading
from photocheck.errors import CaseError
from photocheck.judge import (
    budget,
    causes,
    estimate,
    evidence,
    impossible_marks,
    learning,
    marks_told,
    standing,
    tag_sizes,
    widths,
)
from photocheck.judge.causes import FRACTION_IN_CM, ODD_STYLE, STEP_RATIO
from photocheck.judge.compare import Comparison, Fault
from photocheck.judge.estimate import OWN_SOURCES
from photocheck.judge.expected_marks import ROOM, log_fit
from photocheck.judge.framed import FOCAL_DOUBTED, doubted
from photocheck.judge.front import _pairs
from photocheck.judge.joint import Joint
from photocheck.judge.ratios import GroupRatios, Ratios, Version, WayRatio
from photocheck.judge.tape_habits import TapeHabits
from photocheck.judge.untold import askable
from photocheck.judge.widths import FRONTS, WIDTH_LIMIT, fits_without, outvoted, proved
from photocheck.judge.wording import explanation_sentences, one_more_photo_sentence
from photocheck.report.model import Explanation
from photocheck.words import BUILDS, FRONT_PAIRS
from tests.support.finished_orders import orders_of
from tests.support.judged import square_view
from tests.support.made_report import made_report


def _reading(typed: str, unit: str = "cm", mm: float | None = None) -> Reading:
    return Reading(parse_length(typed, unit)[0] if mm is None else mm, typed, unit)


# --- how a length is typed ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("own", "unit", "others", "factor"),
    [
        # centimetres are written as decimals: a fraction among none was read in inches
        ("40 1/2", "cm", ["41", "42.5"], ODD_STYLE / STEP_RATIO),
        ("40 1/2", "cm", ["41 1/4", "42.5"], 1 / STEP_RATIO),
        ("40.5", "cm", ["41 1/4"], 1 / STEP_RATIO),
        # inches mostly as fractions: a decimal among fractions was read in centimetres
        ("16.5", "in", ["17 1/4", "18"], STEP_RATIO * ODD_STYLE),
        ("16,5", "in", ["17 1/4", "18"], STEP_RATIO * ODD_STYLE),
        ("16.5", "in", ["17 1/4", "18.2"], STEP_RATIO),
        ("16.5", "in", ["17 1/4", "18,2"], STEP_RATIO),
        ("16.5", "in", ["17", "18"], STEP_RATIO),
        ("16", "in", ["17 1/4", "18"], STEP_RATIO),
        ("16 1/2", "in", ["17"], FRACTION_IN_CM * STEP_RATIO),
    ],
)
def test_a_number_written_unlike_the_others_was_read_in_another_unit(
    own: str, unit: str, others: list[str], factor: float
) -> None:
    readings = tuple(_reading(text, unit) for text in (own, *others))
    seen: Any = SimpleNamespace(readings=readings)
    assert causes._odd_style(seen, 0) == pytest.approx(factor)


@pytest.mark.parametrize(
    ("typed", "alone"),
    [("16", True), ("16,5", True), ("16 1/2", True), ("16 in", False), ('16"', False),
     ("16'", False)],
)  # fmt: skip
def test_a_unit_is_told_where_the_number_stands_alone(typed: str, alone: bool) -> None:
    candidate = causes.typed.scaled_reading(_reading("41", "cm"), 1.0)
    told = causes._in_other_unit(_reading(typed, "in"), candidate)
    assert (told.text == f"{typed} cm ({candidate.text})") == alone
    assert (told is candidate) != alone


@pytest.mark.parametrize(
    ("units", "inches"), [("in in cm", True), ("in cm", False), ("in cm cm", False), ("in", True)]
)
def test_an_order_is_in_inches_when_most_readings_are(units: str, inches: bool) -> None:
    seen: Any = SimpleNamespace(readings=[_reading("40", unit) for unit in units.split()])
    assert causes._inches(seen) == inches


@pytest.mark.parametrize(("full", "left"), [(500.5, 0.5), (500.0, None), (499.5, None)])
def test_a_full_length_less_a_part_is_the_other_part(full: float, left: float | None) -> None:
    names = ("front_length", "full_length", "rear_length")
    readings = (_reading("40"), _reading("50", mm=full), _reading("50", mm=500.0))
    seen: Any = SimpleNamespace(
        names=names,
        readings=readings,
        place=lambda name: names.index(name) if name in names else None,
    )
    rest = causes._rest_of_full(seen, 0)
    assert (None if rest is None else rest.mm) == (None if left is None else pytest.approx(left))


# --- widths ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("sds", "fits"), [(WIDTH_LIMIT - 0.05, True), (WIDTH_LIMIT + 0.05, False)])
@pytest.mark.parametrize("sign", [-1.0, 1.0])
@pytest.mark.parametrize(("prior", "own"), [(0.14, 0.05), (0.14, 0.14), (0.02, 0.3)])
def test_a_width_from_the_front_is_held_against_what_was_known_without_it(
    monkeypatch: pytest.MonkeyPatch, sds: float, fits: bool, sign: float, prior: float, own: float
) -> None:
    """By precisions: two normals of `prior` and `own` meet in one, as in any textbook."""
    expected = 4.5
    seen = expected + sign * sds * np.hypot(prior, own)
    precision = prior**-2 + own**-2
    after = ((expected * prior**-2 + seen * own**-2) / precision, precision**-0.5)
    told = {"with": after, "without": (expected, prior)}
    monkeypatch.setattr(
        widths,
        "widths_of",
        lambda joint, _: {"neck_width": told[joint], "chest_width": told["without"]},
    )
    mode: Any = None
    both: Any = ("with", "without")
    assert fits_without(both[0], mode, both[1], mode) == fits


@pytest.mark.parametrize(("share", "fits"), [(0.9e-3, True), (1.2e-3, False)])
def test_a_photo_that_adds_a_thousandth_to_a_width_says_nothing_of_it(
    monkeypatch: pytest.MonkeyPatch, share: float, fits: bool
) -> None:
    prior = 0.14
    spread = prior / np.sqrt(1 + share)
    told = {"with": (4.5 + 0.1, float(spread)), "without": (4.5, prior)}
    monkeypatch.setattr(widths, "widths_of", lambda joint, _: {"neck_width": told[joint]})
    mode: Any = None
    both: Any = ("with", "without")
    assert fits_without(both[0], mode, both[1], mode) == fits


def test_what_is_said_of_a_width_names_it_or_the_photo() -> None:
    assert "photo from the front" in widths.against_readings(FRONTS)
    assert "photo from the front" in widths.measure_width_too(FRONTS)
    for fact in ("neck_width", "chest_width"):
        for said in (widths.against_readings(fact), widths.measure_width_too(fact)):
            assert "photo from the front" not in said
            assert "measure it again" in said


READINGS = {
    "half_neck": _reading("40", mm=400.0), "neck_ring": _reading("80", mm=800.0),
    "front_length": _reading("50", mm=500.0), "rear_length": _reading("36", mm=360.0),
    "full_length": _reading("86", mm=860.0),
}  # fmt: skip


def test_readings_prove_each_other_by_their_double_and_their_sum() -> None:
    assert proved(READINGS) == set(READINGS)
    for wrong, left in (("neck_ring", 3), ("half_neck", 3), ("full_length", 2), ("rear_length", 2)):
        off = READINGS | {wrong: replace(READINGS[wrong], mm=1.3 * READINGS[wrong].mm)}
        assert len(proved(off)) == left
        without = {name: reading for name, reading in READINGS.items() if name != wrong}
        assert len(proved(without)) == left


def _accused(*names: str) -> Any:
    faults = tuple(Fault("x", (name,), np.zeros(4)) for name in names)
    return SimpleNamespace(faults=faults)


def test_a_width_is_outvoted_by_readings_that_all_prove_each_other() -> None:
    lengths = {name: READINGS[name] for name in ("front_length", "rear_length", "full_length")}
    some = lengths | {"half_neck": READINGS["half_neck"]}
    assert outvoted(_accused("front_length"), some)
    assert outvoted(_accused("front_length", "rear_length", "full_length"), some)
    assert not outvoted(_accused("half_neck"), some)
    assert not outvoted(_accused("half_neck", "front_length"), some)


# --- learning -------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def shop_learnt() -> Any:
    """What thirty orders teach, and the orders."""
    orders = orders_of(3, 30)
    return learning.learn(orders), orders


def _numbered(version: Version, number: int, name: str) -> Version:
    return replace(version, number=number, version=name)


def test_versions_are_counted_on_from_the_highest(shop_learnt: Any) -> None:
    """Also after one went back to an earlier one."""
    told, orders = shop_learnt
    version = told.version
    for numbers in ((3, 7), (7, 3), (7,)):
        before = SimpleNamespace(
            versions=[_numbered(version, n, f"{n}-x") for n in numbers], current="shipped"
        )
        n_ways = len(evidence.WAYS)
        spreads = SimpleNamespace(
            between=np.ones_like(learning.NOMINAL), builds=np.ones(n_ways), groups=np.ones(n_ways)
        )
        rows = np.ones((1 + len(BUILDS), n_ways))
        found: Any = SimpleNamespace(spreads=spreads, shift=rows, shift_spread=rows, factor=rows)
        kept: Any = before
        made = learning._version(orders, ["husky"], found, version.check, kept, 0)
        assert made.number == 8
    none: Any = SimpleNamespace(versions=[], current="shipped")
    assert learning._version(orders, ["husky"], found, version.check, none, 0).number == 1


@pytest.mark.parametrize(("given", "said"), [(9, True), (10, False), (20, False)])
def test_learning_needs_half_of_the_orders_before(shop_learnt: Any, given: int, said: bool) -> None:
    told, orders = shop_learnt
    old = replace(told.version, learnt_from=tuple(order.key for order in orders[:20]))
    before: Any = SimpleNamespace(in_use=old)
    assert bool(learning._forgotten(orders[:given] + orders[25:], before)) == said
    nothing: Any = SimpleNamespace(in_use=None)
    assert learning._forgotten([], nothing) == ""


def test_only_the_same_orders_with_the_same_ratios_were_learnt_already(shop_learnt: Any) -> None:
    told, orders = shop_learnt
    version = told.version

    def said(old: Version) -> str:
        before: Any = SimpleNamespace(in_use=old)
        return learning._against(version, before, orders, ["husky"])

    assert "learnt already" in said(version)
    assert said(replace(version, groups={})) == ""
    assert said(replace(version, learnt_from=version.learnt_from[1:])) == ""


@pytest.mark.parametrize("times", [0.9, 1.1])
def test_old_ratios_stay_when_they_clearly_predict_new_orders_better(
    shop_learnt: Any, monkeypatch: pytest.MonkeyPatch, times: float
) -> None:
    """Clearly: by so many standard errors and by so much, whichever is more."""
    told, orders = shop_learnt
    count = len(orders)
    for error in (0.002, 0.2):
        least = max(learning.CLEARLY * error, learning.WORTH)
        spread = np.where(np.arange(count) % 2, 1.0, -1.0)
        spread *= error * np.sqrt(count) / np.std(spread, ddof=1)
        gains = iter(np.split(times * least + spread, 1))
        monkeypatch.setattr(learning, "folds_of", lambda n: np.zeros(n, int))
        monkeypatch.setattr(learning, "fit", lambda *_: None)
        monkeypatch.setattr(learning, "predictive", lambda *_: ())
        monkeypatch.setattr(learning, "expected", lambda *_: (1,))
        monkeypatch.setattr(
            learning, "log_density",
            lambda _, *given, gains=gains: next(gains) if given else np.zeros(count),
        )  # fmt: skip
        lost = learning._lost(orders, orders, ["husky"], told.version)
        assert lost == pytest.approx(times * least if times > 1 else 0.0)


def test_a_version_whose_tape_alone_is_new_keeps_the_ratios_in_use(shop_learnt: Any) -> None:
    told, _ = shop_learnt
    old = told.version
    other = {way: WayRatio(0.3, 0.1, 0.5) for way in old.others}
    new = replace(old, others=other, groups={}, orders=99)
    kept = learning._with_ratios_of(new, old)
    assert (kept.others, kept.groups, kept.orders) == (old.others, old.groups, 99)
    shipped = learning._with_ratios_of(new, None)
    assert shipped.groups == {}
    assert {ratio.shift for ratio in shipped.others.values()} == {0.0}
    assert Ratios().in_use is None


def test_a_groups_ratios_come_before_its_builds(shop_learnt: Any) -> None:
    told, _ = shop_learnt

    def ratio(shift: float) -> GroupRatios:
        return GroupRatios(9, {way: WayRatio(shift, 0.1, 0.5) for way in told.version.others})

    version = replace(told.version, groups={"husky": ratio(0.2)}, builds={"slim": ratio(0.1)})

    def shift(group: str, build: str) -> float:
        return next(iter(version.for_group(group, build).ways.values())).shift

    assert shift("husky", "slim") == 0.2
    assert shift("other", "slim") == 0.1
    assert shift("other", "unknown") == next(iter(version.others.values())).shift


def test_a_group_has_the_build_that_most_owners_say() -> None:
    def build(*told: str) -> str:
        orders: Any = [SimpleNamespace(group="husky", build=one) for one in told]
        orders.append(SimpleNamespace(group="other", build=BUILDS[1]))
        return evidence.build_of(orders, "husky")

    first, second = [one for one in BUILDS if one != "unknown"][:2]
    assert build(first, second, second) == second
    assert build(second, first, first) == first
    assert build(second, first) == first  # as many: the one named first
    assert build("unknown", "unknown", second) == second
    assert build("unknown") == "unknown"
    assert build() == "unknown"


@pytest.mark.parametrize(
    ("views", "width", "seen"),
    [("side", None, False), ("side side", None, False), ("side front", None, True),
     ("front side", None, True), ("front front", None, True), ("side", 120.0, True)],
)  # fmt: skip
def test_a_neck_whose_width_is_known_teaches_no_ratio(
    views: str, width: float | None, seen: bool
) -> None:
    photos = [SimpleNamespace(view=view) for view in views.split()]
    case: Any = SimpleNamespace(photos=photos, dog=DogFacts(neck_width_mm=width))
    assert evidence._neck_seen(case) == seen


def test_orders_of_several_readings_are_padded_to_the_most() -> None:
    orders = orders_of(4, 3)
    short = replace(
        orders[0], readings=orders[0].readings[:2], differences=orders[0].differences[:2],
        design=orders[0].design[:2], noise=orders[0].noise[:2, :2],
    )  # fmt: skip
    told = evidence.evidence_of([short, *orders[1:]], ["husky"])
    assert told.differences.shape == (3, 4)
    assert told.differences[0, 2:].tolist() == [0.0, 0.0]
    assert told.differences[0, :2] == pytest.approx(orders[0].differences[:2])
    assert evidence.evidence_of([], []).differences.shape == (0, 0)


# --- photos, marks and tags -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cut", "both"), [(0.009, False), (0.011, True), (0.5, True), (0.989, True), (0.991, False)]
)
def test_a_photo_that_may_be_cut_is_followed_both_ways(
    monkeypatch: pytest.MonkeyPatch, cut: float, both: bool
) -> None:
    monkeypatch.setattr(estimate, "likely_poses", lambda _: [np.zeros(6)])
    view = square_view()
    framing = replace(view.camera.framing, cut=cut)
    view = replace(view, camera=replace(view.camera, framing=framing))
    shots = estimate._candidates(view, ())
    assert len(shots) == (2 if both else 1)
    if both:
        assert [shot.view.cut for shot in shots] == [cut >= 0.5, cut < 0.5]
        chances = [np.exp(shot.log_odds) for shot in shots]
        assert chances == pytest.approx(sorted((cut, 1 - cut), reverse=True))
    known = estimate._candidates(replace(view, cut=True), ())
    assert len(known) == 1


def test_a_maximum_is_new_when_it_lies_elsewhere_than_each_known() -> None:
    def at(spans: float, log_evidence: float = 0.0) -> Any:
        joint = SimpleNamespace(log_spans=lambda _: np.array([6.0, spans]))
        return joint, SimpleNamespace(theta=None, log_evidence=log_evidence)

    def is_new(spans: float, *known: float) -> bool:
        joint, mode = at(spans)
        return estimate._is_new(mode, joint, [at(one) for one in known])

    assert is_new(6.1, 6.0)
    assert is_new(6.1, 6.0, 6.2)
    assert not is_new(6.1, 6.0, 6.10005)
    assert not is_new(6.1, 6.10005, 6.0)
    assert is_new(6.1, 6.1002)
    joint, faint = at(6.1, -1e3)
    assert not estimate._is_new(faint, joint, [at(6.0)])


def test_a_file_that_is_doubted_tells_less_of_its_lens() -> None:
    view = square_view()
    assert view.camera.focal_spread == 0.01
    assert doubted(view).camera.focal_spread == pytest.approx(np.hypot(0.01, FOCAL_DOUBTED))
    unknown = replace(view, camera=replace(view.camera, focal_spread=None))
    assert doubted(unknown).camera.focal_spread == pytest.approx(FOCAL_DOUBTED)


def test_a_pair_is_both_of_its_marks() -> None:
    pair, (left, right) = next(iter(FRONT_PAIRS.items()))
    whole, half = Marking({left: (9.0, 5.0), right: (4.0, 6.0)}), Marking({left: (9.0, 5.0)})
    shot: Any = SimpleNamespace(markings=[half, whole])
    ((number, name, places),) = _pairs(shot)
    assert (number, name, places.tolist()) == (1, pair, [[4.0, 6.0], [9.0, 5.0]])


def test_expected_marks_on_one_pixel_have_a_pixel_of_room() -> None:
    """A point may be anywhere in so many times the way between those expected."""

    def told(apart: float) -> float:
        expected: Any = {
            name: SimpleNamespace(xy=at, covariance=((1.0, 0.0), (0.0, 1.0)), confidence=0.5)
            for name, at in {"tail_base": (0.0, 0.0), "last_rib": (apart, 0.0)}.items()
        }
        return log_fit({}, expected, 1.0)

    for apart, room in ((0.0, 1.0), (0.9, 1.0), (1.2, 1.2), (50.0, 50.0)):
        assert told(apart) == pytest.approx(-4.0 * np.log(ROOM * room))


def test_tags_that_contradict_are_suspects_only_where_the_others_agree() -> None:
    every = [0, 1, 2, 3]
    spread = 0.01**2 * np.eye(4)
    alike, one, two = (np.array(x) for x in (
        [0.0, 0.0, 0.0, 0.0], [0.3, 0.0, 0.0, 0.0], [0.3, 0.3, 0.0, 0.0]))  # fmt: skip
    assert tag_sizes._go_together(0, every, alike, spread)
    assert tag_sizes._go_together(0, every, one, spread)
    assert not tag_sizes._go_together(1, every, one, spread)
    assert not any(tag_sizes._go_together(k, every, two, spread) for k in every)


@pytest.mark.parametrize("both", [False, True])
def test_marks_of_several_are_as_sure_as_their_mean_or_as_the_worst(
    monkeypatch: pytest.MonkeyPatch, both: bool
) -> None:
    """The mean of n marks of one deviation each has it over the root of n."""
    judged: list[Any] = []
    monkeypatch.setattr(standing, "judge_stance", lambda body, **_: judged.append(body))
    marks = {"breastbone": (100.0, 100.0), "tail_base": (400.0, 90.0)}
    other = dict(marks) if both else {"tail_base": (410.0, 90.0)}
    markings = [Marking(marks, spread_mm=4.0), Marking(other, spread_mm=8.0)]
    standing.standing(
        markings, lambda _: np.eye(3), half_flank_mm=50.0, roll_deg=0.0,
        place="behind", dog=DogFacts(),
    )  # fmt: skip
    (body,) = judged
    assert body.mark_spread_mm == pytest.approx(np.hypot(4.0, 8.0) / 2 if both else 8.0)
    assert body.points["tail_base"][0] == pytest.approx(400.0 if both else 405.0)


def test_a_posture_that_no_figure_shows_speaks_only_against_itself() -> None:
    odds = {name: float(np.log(posture.odds)) for name, posture in standing.POSTURES.items()}
    first, second = list(odds)[:2]

    def stance(by: float, shown: bool) -> Stance:
        moved = {name: log + by for name, log in odds.items()}
        return Stance((), moved, {}, 0.05, frozenset(odds) if shown else frozenset())

    assert standing._factor(stance(0.2, True), first) == pytest.approx(0.2)
    assert standing._factor(stance(0.2, False), first) == 0.0
    assert standing._factor(stance(-0.2, False), first) == pytest.approx(-0.2)
    told = standing.stance_evidence([stance(1.0, True), stance(3.0, True)])
    assert list(told.values()) == pytest.approx([2.0] * len(told))
    # postures that one photo says nothing of are told by the other
    part = replace(stance(5.0, True), log_odds={first: odds[first] + 5.0, second: odds[second]})
    some = standing.stance_evidence([stance(1.0, True), part])
    assert set(some) == set(standing.EXPLAINED)


def test_facts_that_would_tell_something_are_asked_for() -> None:
    assert "height" in askable(DogFacts())
    assert "height" not in askable(DogFacts(height_mm=500.0))
    assert "neck_width" not in askable(DogFacts(neck_width_mm=100.0))


@pytest.mark.parametrize(
    ("ratios", "said"),
    [((0.996, 0.998), "hardly"), ((0.98, 0.999), "0 to 2 %"), ((0.99, 0.99), "1 to 1 %"),
     ((0.7, 0.9), "10 to 30 %")],
)  # fmt: skip
def test_one_more_photo_is_told_in_whole_per_cents(ratios: tuple[float, ...], said: str) -> None:
    assert said in one_more_photo_sentence({str(k): ratio for k, ratio in enumerate(ratios)})


def test_the_likeliest_explanation_is_called_so_and_the_others_follow() -> None:
    some = Explanation("unnamed", "title", 0.5, "Sentence.", "Action.")
    first, *others = explanation_sentences([some, some, some])
    assert first.startswith("Most likely: title, ")
    assert [each.partition(",")[0] for each in others] == ["Or: title"] * 2


def test_what_each_photo_brings_afresh_falls_as_one_over_n() -> None:
    """Variances of 3 a photo's own and 1 of the dog: with 2 photos today, 3 * 2 / 3 + 1 with 3."""
    some: Any = SimpleNamespace(shares={next(iter(OWN_SOURCES)): np.full(4, 3.0), "x": np.ones(4)})
    for count in (1, 2, 5):
        left = 3.0 * count / (count + 1) + 1.0
        assert list(budget.one_more_photo(some, count).values()) == pytest.approx(
            [np.sqrt(left / 4.0)] * 4
        )


def test_a_comparison_tells_nothing_from_half_a_length_on() -> None:
    def told(common: float, **catches: float) -> bool:
        names = tuple(catches)
        return Comparison(names, np.zeros(len(names)), np.eye(len(names)), {}, catches, common,
                          {}, 3.0, {}, 0.0, ()).tells_nothing  # fmt: skip

    assert not told(0.4, half_neck=0.3)
    assert told(0.51, half_neck=0.3)
    assert told(0.0, half_neck=0.51, front_length=0.1)
    assert not told(0.0)


def test_as_many_orders_as_are_needed_teach() -> None:
    """One fewer changes nothing, whatever they say."""
    for count, told in ((learning.LEAST_ORDERS, False), (learning.LEAST_ORDERS - 1, True)):
        found = learning.learn(orders_of(5, count, more={"dogs": 0.1}))
        assert ("orders can teach, at least" in found.reason) == told
        assert (found.version is None) == told


def test_as_many_tapes_as_are_needed_tell_how_owners_measure(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    habits = TapeHabits(25.0, 6.0, 9.0)
    check = SimpleNamespace(improves=True)
    monkeypatch.setattr(learning, "held_out_tape", lambda _: check)
    monkeypatch.setattr(learning, "learnt_habits", lambda _: habits)
    telling: Any = SimpleNamespace(tape=SimpleNamespace(tells=True))
    silent: Any = SimpleNamespace(tape=SimpleNamespace(tells=False))
    least = learning.LEAST_ORDERS
    found, gain, _ = learning._tape([telling] * least + [silent] * 3, None, "")
    assert (found, gain) == (habits, check)
    assert learning._tape([telling] * (least - 1) + [silent] * 3, None, "") == (None, None, "")
    assert learning._tape([telling] * least, None, "forgotten") == (None, check, "forgotten")
    assert learning._tape([telling] * least, habits, "")[2].endswith("was learnt already")
    check.improves, check.orders, check.gain, check.gain_spread = False, 20, 0.1, 0.2
    assert learning._tape([telling] * least, None, "")[:2] == (None, check)


def test_the_first_photo_from_the_front_is_counted_after_the_others() -> None:
    asked: list[tuple[str, int]] = []
    fronts = SimpleNamespace(to_pixels=lambda _, k, *__: asked.append(("front", k)))
    joint: Any = SimpleNamespace(
        trunk=lambda _: None, shots=[1, 2], fronts=fronts,
        _from_dog_plane=lambda _, k, *__: asked.append(("side", k)), _camera=lambda *_: None,
    )  # fmt: skip
    for k in range(4):
        with suppress(AttributeError, TypeError):
            Joint.to_pixels(joint, np.zeros(3), k, 0.0)
    assert asked == [("side", 0), ("side", 1), ("front", 2), ("front", 3)]


@pytest.mark.parametrize(("count", "named"), [(3, False), (4, True)])
def test_of_three_marks_none_is_the_furthest_off(
    monkeypatch: pytest.MonkeyPatch, count: int, named: bool
) -> None:
    """Any two of three are as likely to be right as any other two."""
    names = ("breastbone", "shoulder_top", "last_rib", "tail_base")[:count]
    judged = SimpleNamespace(told=True)
    monkeypatch.setattr(marks_told, "judge_marks", lambda *_, **__: judged)
    monkeypatch.setattr(
        marks_told, "_likeliest", lambda _: SimpleNamespace(exchanged=None, spot=None)
    )
    monkeypatch.setattr(marks_told, "righted", lambda _: None)
    monkeypatch.setattr(marks_told, "furthest_off", lambda _: "tail_base")
    marks = {name: (100.0 * k, 50.0 * k) for k, name in enumerate(names)}
    told = marks_told.told_at_once(marks, 4000)
    assert told is not None
    assert ("furthest off" in told.text) == named
    assert told.again == (("tail_base",) if named else names)


def test_one_expected_mark_says_nothing_of_the_others() -> None:
    """Where one point is expected tells neither how large the dog is nor which way it looks."""
    marks = {
        "breastbone": (300.0, 400.0), "shoulder_top": (540.0, 300.0),
        "last_rib": (420.0, 380.0), "tail_base": (600.0, 320.0),
    }  # fmt: skip
    expected: Any = {
        name: SimpleNamespace(xy=marks[name], covariance=((9.0, 0.0), (0.0, 9.0)), confidence=0.9)
        for name in ("last_rib", "tail_base")
    }
    alone = impossible_marks.judge_marks(marks)
    one = impossible_marks.judge_marks(marks, expected={"tail_base": expected["tail_base"]})
    two = impossible_marks.judge_marks(marks, expected=expected)
    assert one.fine == alone.fine
    assert two.fine != alone.fine


def test_a_report_whose_numbers_are_none_of_a_check_is_no_order() -> None:
    report = made_report()
    whole = np.array(report.covariance)
    order = evidence.order_from_report(report, "fitted", SHIPPED)
    assert order.name == "Order 1042"
    holed = whole.copy()
    holed[1, 2] = holed[2, 1] = np.nan
    for broken in (whole[:3], whole[:3, :3], holed, np.full((4, 4), np.inf)):
        rows = tuple(map(tuple, broken.tolist()))
        with pytest.raises(CaseError, match="lacks a span or its covariance"):
            evidence.order_from_report(replace(report, covariance=rows), "fitted", SHIPPED)
    with pytest.raises(CaseError, match="lacks a span"):
        evidence.order_from_report(replace(report, spans=report.spans[::-1]), "fitted", SHIPPED)
    unnamed = replace(report, case=replace(report.case, name=""))
    assert evidence.order_from_report(unnamed, "fitted", SHIPPED).name == "Juno"
    assert evidence.order_from_report(unnamed, "fitted", SHIPPED, name="given").name == "given"


def test_taking_a_learnt_ratio_out_moves_what_follows_from_it() -> None:
    """The full length follows front and rear, whichever of the three was learnt of."""
    report = made_report()

    def taught(**shifts: float) -> Any:
        # the way of the front was marked on it
        ways = {
            way_of(name, marked=name == "front_length", tagged=False): Learnt(shift, 1.0)
            for name, shift in shifts.items()
        }
        return evidence.order_from_report(report, "fitted", TapeRatios("1", ways))

    least = taught(half_neck=1e-9, front_length=1e-9, rear_length=1e-9)
    for name in ("half_neck", "front_length", "rear_length"):
        one = taught(**{name: 1e-9})
        assert one.noise == pytest.approx(least.noise, rel=1e-6)
        assert one.differences == pytest.approx(least.differences, abs=1e-6)
    shifted = taught(front_length=0.1)
    places = {reading: k for k, reading in enumerate(shifted.readings)}
    moved = shifted.differences - least.differences
    assert moved[places["front_length"]] == pytest.approx(0.1)
    front, rear = 528.0, 338.0  # mm as the photo shows them
    full = np.log((front + rear) / (front * np.exp(-0.1) + rear))
    assert moved[places["full_length"]] == pytest.approx(full)
