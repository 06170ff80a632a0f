"""The next best step: the chance of a miss by simulation, and sensible choices."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from photocheck.case.model import Case, DogFacts, PhotoEntry, Reading, Reference, Take
from photocheck.judge import steps
from photocheck.judge.budget import covariance_after, what_actions_leave
from photocheck.judge.compare import compare
from photocheck.judge.estimate import estimate
from photocheck.judge.joint import Joint
from photocheck.judge.shots import Shot
from photocheck.judge.solve import solve
from photocheck.judge.steps import ERROR_SIZES, LEAST_OFFERED, WORK, missed, next_step, offers
from photocheck.judge.tolerances import COMMON, TAPE_REPEAT_SHARE, Tolerances
from photocheck.judge.untold import askable
from photocheck.judge.wording import ACTIONS
from photocheck.photo.photo import Framing
from photocheck.scale.pose import likely_poses
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
    lengths["neck_ring"] = 2.0 * lengths["half_neck"]
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


@pytest.mark.parametrize("fact", askable(DogFacts()))
@pytest.mark.parametrize("offset", [Offset(0.0, 0.0, 20.0), Offset(0.0, -120.0, 300.0)])
def test_what_a_fact_takes_off_is_what_telling_it_takes_off(fact: str, offset: Offset) -> None:
    """Told as the photo lets expect it, so that nothing but the doubt changes."""
    view = square_view(offset=offset)
    found = estimate([view], [(marking(),)], DogFacts())
    joint = Joint([Shot(view, likely_poses(view)[0], (marking(),))], DogFacts())
    trunk = joint.trunk(solve(joint).theta)
    told = {
        "girth": DogFacts(girth_mm=float(joint.expected_fact(trunk, "girth"))),
        "weight": DogFacts(weight_kg=float(joint.expected_fact(trunk, "weight"))),
        "height": DogFacts(height_mm=float(joint.expected_fact(trunk, "height"))),
        "neck_width": DogFacts(neck_width_mm=float(np.exp(found.widths["neck_width"][0]))),
        "chest_width": DogFacts(chest_width_mm=float(np.exp(found.widths["chest_width"][0]))),
    }[fact]
    after = np.sqrt(np.diag(estimate([view], [(marking(),)], told).covariance))
    action = what_actions_leave(
        Case((PhotoEntry("a.jpg", Reference("a4"), (marking(),)),), {}), [view]
    )
    expected = np.sqrt(np.diag(covariance_after(action[fact], found)))
    before = np.sqrt(np.diag(found.covariance))
    assert after == pytest.approx(expected, rel=1e-3)
    assert (after <= before).all()


def test_a_height_is_asked_for_only_where_it_tells() -> None:
    assert "height" in askable(DogFacts())
    assert "height" not in askable(DogFacts(breed="Dachshund"))  # short legs
    assert "height" not in askable(DogFacts(breed="Labrador"))  # its standard tells
    assert askable(DogFacts("", "", 20.0, 650.0, height_mm=500.0)) == ("neck_width", "chest_width")


def test_size_is_asked_of_a_dog_whose_photo_cannot_tell_it() -> None:
    """Readings that prove each other leave one error to be seen, the one common to them all."""
    readings = (*SPANS, "neck_ring")
    unsure = situation(Offset(0.0, -120.0, 300.0), readings)
    left = {fact: covariance_after(a, unsure[0]) for fact, a in _facts(unsure).items()}
    shared = {fact: float(np.ones(4) @ c @ np.ones(4)) for fact, c in left.items()}
    assert min(shared, key=lambda fact: shared[fact]) == "height"
    sure = situation(Offset(0.0, 0.0, 20.0), readings)
    lost = np.trace(sure[0].covariance) - np.trace(
        covariance_after(_facts(sure)["height"], sure[0])
    )
    assert lost < 0.01 * np.trace(sure[0].covariance)


def _facts(args: tuple) -> dict:
    _, _, case, views = args
    return {name: a for name, a in what_actions_leave(case, views).items() if a.fact}


def test_a_photo_that_was_cut_is_asked_for_whole_before_the_dog_is_measured_again() -> None:
    found, outcome, case, [view] = situation(Offset(0.0, 0.0, 20.0), SPANS)
    cut = replace(view, camera=replace(view.camera, framing=Framing(0.95, "shape")))
    its = estimate([cut], [(marking(),)], DogFacts())
    judged = compare(its.log_spans, its.covariance, case.readings)
    assert next_step(its, judged, case, [cut]).startswith("Upload the whole photo")
    assert not next_step(found, outcome, case, [view]).startswith("Upload the whole photo")


def test_every_action_is_some_work() -> None:
    assert set(WORK) == set(ACTIONS)


def test_what_is_offered_is_what_could_then_hide() -> None:
    spans = ("half_neck", "front_length", "rear_length")
    found, outcome, case, views = situation(Offset(0.0, 0.0, 30.0), spans)
    (full,) = [
        one
        for one in offers(found, outcome, case, views)
        if (one.step, one.measured) == ("as_well", "full_length")
    ]
    photo = dict(zip(SPANS, np.exp(found.log_spans), strict=True))
    assert full.today_mm == pytest.approx(outcome.hides[full.reading] * photo[full.reading])
    _, then, *_ = situation(Offset(0.0, 0.0, 30.0), (*spans, "full_length"))
    # These readings are the photo's own: their scores are 0, and a typical one is reckoned with.
    assert pytest.approx(norm.ppf(0.75), abs=1e-3) == steps.TYPICAL
    sure = 1.96 / np.log1p(then.hides[full.reading])
    left = np.expm1((1.96 + steps.TYPICAL) / sure)
    assert full.then_mm == pytest.approx(left * photo[full.reading], rel=1e-3)
    assert full.then_mm < 0.9 * full.today_mm


def test_a_second_reading_shows_what_differs_and_nothing_of_what_is_led_astray(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    found, outcome, case, views = situation(Offset(0.0, 0.0, 20.0), SPANS)
    now, every = steps._open(found, outcome, what_actions_leave(case, views))
    again = [one for one in every if one.what == steps.ONCE_MORE]
    assert [one.readings for one in again] == [(span,) for span in SPANS]
    for one in again:
        assert (1.0 - TAPE_REPEAT_SHARE) * now.missed < one.missed < now.missed
    # where nothing lowers the chance by enough, nothing is asked for
    monkeypatch.setattr(steps, "LEAST_GAIN", 1.0)
    assert next_step(found, outcome, case, views) == ""


def test_what_hardly_helps_is_not_offered_and_what_brings_most_comes_first() -> None:
    found = doubted("half_neck", "front_length", by=1.04)
    offered = offers(*found)
    assert offered
    assert all(one.then_mm <= (1.0 - LEAST_OFFERED) * one.today_mm for one in offered[1:])
    assert {one.step for one in offered} <= {*ACTIONS, "once_more", "each_once_more"}
    # both are in doubt, so that neither is asked for alone
    alone = {one.measured for one in offered if one.step == "once_more"}
    assert alone.isdisjoint({"half_neck", "front_length"})
    (each,) = [one for one in offered if one.step == "each_once_more"]
    assert (each.each, each.measured) == (("half_neck", "front_length"), "")
    # the sentence beside each has its sizes in the owner's unit
    assert all(f"{one.then_mm / 10:.1f} cm" in one.brings for one in offered)
    nothing = replace(found[1], names=())
    assert offers(found[0], nothing, *found[2:]) == ()


def doubted(*names: str, by: float) -> tuple:
    """All readings, taken once; what could hide in these is beyond tolerance, by that factor.

    They are longer than the photo has them, by 1.2 standard deviations each by itself.
    """
    found, outcome, case, views = situation(Offset(0.0, 0.0, 20.0), (*SPANS, "neck_ring"))
    inverse = np.linalg.inv(outcome.covariance)
    longer = dict(case.readings)
    for name in names:
        place = outcome.names.index(name)
        mm = float(longer[name].mm * np.exp(1.2 / np.sqrt(inverse[place, place])))
        longer[name] = Reading(mm, f"{mm:.0f} mm", "cm")
    case = replace(case, readings=longer)
    outcome = compare(found.log_spans, found.covariance, longer)
    told = dict.fromkeys((*outcome.names, COMMON), 0.9)
    told |= {name: outcome.hides[name] / by for name in names}
    return found, replace(outcome, tolerances=Tolerances(told)), case, views


def test_the_next_step_is_offered_first_however_little_it_brings() -> None:
    for told in (
        doubted("rear_length", "front_length", by=1.5),
        doubted("half_neck", by=1.2),
        doubted("rear_length", by=1.02),
    ):
        first = offers(*told)[0]
        assert first.sentence == next_step(*told)
        assert first.then_mm <= first.today_mm


def test_where_errors_could_hide_in_several_readings_all_of_them_are_asked_for() -> None:
    step = next_step(*doubted("rear_length", "front_length", by=1.5))
    assert step == (
        "Measure these once more, as if for the first time: front length and rear length."
    )


def test_what_settles_an_order_is_asked_for_first_and_by_the_least_work() -> None:
    """What is promised is what the comparison then says, with one more take of the same length."""
    found, outcome, case, views = doubted("rear_length", by=1.04)
    now, every = steps._open(found, outcome, what_actions_leave(case, views))
    assert not now.settles
    settling = [one for one in every if one.settles]
    assert settling
    assert (
        next_step(found, outcome, case, views)
        == min(settling, key=lambda one: (one.work, one.missed)).sentence
    )
    first, *others = offers(found, outcome, case, views)
    assert first.brings.endswith("That is likely to settle it.")
    assert sum("settle" in one.brings for one in others) == len(settling) - 1
    again = {one.readings for one in settling if one.what == steps.ONCE_MORE}
    for (name,) in again:
        reading = case.readings[name]
        twice = {**case.readings, name: Reading.of([Take(reading.mm, "", "cm")] * 2)}
        then = compare(found.log_spans, found.covariance, twice, tolerated=outcome.tolerances)
        assert then.agrees
    assert again


def test_nothing_settles_what_agrees_or_hides_far_more_than_is_tolerated() -> None:
    for told in (doubted(by=1.0), doubted("rear_length", by=4.0)):
        found, outcome, case, views = told
        _, every = steps._open(found, outcome, what_actions_leave(case, views))
        assert not any(one.settles for one in every)


def test_where_only_all_alike_could_be_off_the_offers_say_what_that_leaves() -> None:
    found, outcome, case, views = doubted(by=1.0)
    tolerated = Tolerances({**outcome.tolerances.told, COMMON: outcome.catches_common / 1.05})
    outcome = replace(outcome, tolerances=tolerated)
    assert outcome.common_unsure
    assert not outcome.unsure
    offered = offers(found, outcome, case, views)
    assert offered
    today = f"alike by up to {100 * outcome.catches_common:.0f} % today"
    assert all(today in one.brings for one in offered)
    assert offered[0].brings.endswith("That is likely to settle it.")
    _, every = steps._open(found, outcome, what_actions_leave(case, views))
    for one in offered:
        (step,) = [each for each in every if each.sentence == one.sentence]
        gains = step.alike <= (1.0 - LEAST_OFFERED) * np.log1p(outcome.catches_common)
        assert step.settles or gains
        assert step.settles == (np.expm1(step.alike) <= tolerated.of(COMMON))


def test_an_error_common_to_all_has_to_be_seen_as_well() -> None:
    found, outcome, case, views = doubted("rear_length", by=1.04)
    alike = {**outcome.tolerances.told, COMMON: outcome.catches_common / 4.0}
    outcome = replace(outcome, tolerances=Tolerances(alike))
    _, every = steps._open(found, outcome, what_actions_leave(case, views))
    assert not any(one.settles for one in every)
