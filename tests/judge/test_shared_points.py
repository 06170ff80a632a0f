"""Tape and photo at the same tags: when that is believed, and what it does to the tape's noise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import photocheck
from photocheck import looking
from photocheck.body.shape import SHIPPED
from photocheck.case.file import case_from_dict, case_to_dict
from photocheck.case.model import Case, Reading, Take
from photocheck.fit.cut_lengths import measured
from photocheck.judge.evidence import order_from_report
from photocheck.judge.repeats import ONCE, TapeNoise, squares_of, tape_noise
from photocheck.judge.shared_points import readings_at_tags
from photocheck.judge.tape_habits import NO_TAPE, tape_seen
from photocheck.judge.tolerances import AT_TAGS_SHARE
from photocheck.orders.draft import Draft
from photocheck.report.file import report_from_dict, report_to_dict
from photocheck.report.model import Report
from photocheck.scale.tags_seen import TagSeen, TagsSeen
from photocheck.words import LANDMARKS, READINGS
from tests.support.judged import square_view
from tests.support.tagged_case import finder, marked_by_hand, without_marks


def seen(*names: str, at_tags: bool = True, front: bool = False):
    flat = np.zeros((4, 2))
    tags = [TagSeen(n, 40.0, flat, 0.1, flat[0], np.eye(2), 1.0, 0.01) for n in names]
    view = square_view()
    if front:
        from photocheck.scale.priors import TAG_FRONT_OFFSET

        view = square_view(offset=TAG_FRONT_OFFSET)
    return replace(view, tags=TagsSeen(tuple(tags)), at_tags=at_tags)


def test_a_reading_goes_from_tag_to_tag_only_where_all_its_points_have_one() -> None:
    def shared(*views) -> tuple[str, ...]:
        return readings_at_tags(READINGS, views)

    assert shared(seen(*LANDMARKS)) == READINGS
    assert shared(seen("breastbone", "shoulder_top")) == ("half_neck", "neck_ring")
    # the full length passes the last rib
    assert shared(seen("breastbone", "tail_base")) == ()
    assert shared(seen("last_rib"), seen("tail_base")) == ("rear_length",)
    assert readings_at_tags(("rear_length",), [seen(*LANDMARKS)]) == ("rear_length",)


def test_tags_in_a_photo_alone_do_not_tell_how_the_tape_was_held() -> None:
    assert readings_at_tags(READINGS, [seen(*LANDMARKS, at_tags=False)]) == ()
    # from the front no point is shown at which a reading ends
    assert readings_at_tags(READINGS, [seen(*LANDMARKS, front=True)]) == ()


def test_both_parts_of_the_noise_are_smaller_by_the_stated_share() -> None:
    """By hand: 10 mm of 400 usually; half of the variance is 7.07 mm."""
    noise = TapeNoise(at_tags=frozenset({"front_length"}))
    names, lengths = ("front_length", "rear_length"), np.array([400.0, 400.0])
    mm = np.sqrt(noise.variance(names, lengths)) * 400.0
    np.testing.assert_allclose(mm, [10.0 * np.sqrt(AT_TAGS_SHARE), 10.0])
    whole = noise.covariance(READINGS, np.array([380.0, 400.0, 300.0, 700.0, 760.0]))
    usual = ONCE.covariance(READINGS, np.array([380.0, 400.0, 300.0, 700.0, 760.0]))
    assert whole[1, 3] == pytest.approx(np.sqrt(AT_TAGS_SHARE) * usual[1, 3])  # one of the pair
    assert np.linalg.eigvalsh(whole)[0] > 0


def test_takes_at_tags_that_differ_as_takes_at_tags_do_teach_nothing_new() -> None:
    """The same order with every difference smaller by the root of the share has the same scale."""
    root = np.sqrt(AT_TAGS_SHARE)

    def order(spread: float) -> dict[str, Reading]:
        return {
            name: Reading.of([Take(mm * np.exp(s * spread), "", "cm") for s in (-1.0, 1.0)])
            for name, mm in (("half_neck", 400.0), ("front_length", 500.0))
        }

    usual = tape_noise(order(0.01))
    near = tape_noise(order(0.01 * root), at_tags=["half_neck", "front_length"])
    assert near.scale == pytest.approx(usual.scale, rel=1e-6)
    assert near.scores == pytest.approx(usual.scores, rel=1e-6)
    takes = order(0.01)["half_neck"].takes
    assert squares_of(takes, at_tags=True) == pytest.approx(squares_of(takes) / AT_TAGS_SHARE)
    # and the shop learns the same of these hands
    whole = tape_seen(order(0.01 * root), ["half_neck", "front_length"])
    assert whole.squares == pytest.approx(tape_seen(order(0.01)).squares, rel=1e-6)


# --- a whole check ------------------------------------------------------------------


@pytest.fixture(scope="module")
def checked() -> tuple[Case, float]:
    case = marked_by_hand()
    return case, photocheck.check(case).photos[0].px_per_mm


def by_tags(
    checked: tuple[Case, float], monkeypatch: pytest.MonkeyPatch, *, said: bool, names=LANDMARKS
) -> Report:
    case, size = checked
    monkeypatch.setattr(looking, "find_tags", finder(case, size, names))
    bare = case if names != LANDMARKS else without_marks(case)
    return photocheck.check(replace(bare, measured_at_tags=said))


@pytest.mark.slow
def test_a_check_believes_it_where_it_was_said_and_says_so(checked, monkeypatch) -> None:
    report = by_tags(checked, monkeypatch, said=True)
    silent = by_tags(checked, monkeypatch, said=False)
    assert report.at_tags == tuple(n for n in READINGS if n in report.case.readings)
    assert silent.at_tags == ()
    assert any("taken to be 71 % of the usual one" in said for said in report.redundancy)
    assert any("nobody said that the tape was held at them" in said for said in silent.redundancy)
    usual = tape_noise(silent.case.readings)
    names = tuple(report.case.readings)
    for one, other in zip(report.certainty, silent.certainty, strict=True):
        assert one.tape_spread < 0.8 * other.tape_spread
    assert len(names) == len(report.certainty)
    assert usual.at_tags == frozenset()
    # the tips are then the very points of the tape: less doubt of the photo, too
    assert np.all(np.diag(report.covariance) < np.diag(silent.covariance))
    assert report_from_dict(report_to_dict(report)) == report


@pytest.mark.slow
def test_a_point_without_its_tag_leaves_its_readings_as_usual(checked, monkeypatch) -> None:
    some = tuple(name for name in LANDMARKS if name != "tail_base")
    report = by_tags(checked, monkeypatch, said=True, names=some)
    assert not {"rear_length", "full_length"} & set(report.at_tags)
    assert "front_length" in report.at_tags
    assert any("A tag is missing" in said for said in report.redundancy)


def test_a_stored_order_says_the_same_of_its_tape(checked, monkeypatch) -> None:
    report = by_tags(checked, monkeypatch, said=True)
    order = order_from_report(report, "fitted", SHIPPED)
    assert order.at_tags
    usual = order_from_report(replace(report, at_tags=()), "fitted", SHIPPED)
    assert not usual.at_tags
    names = order.readings
    expected = np.exp(np.log([report.case.readings[n].mm for n in names]) - order.differences)
    tape = tape_noise(report.case.readings, at_tags=report.at_tags).covariance(names, expected)
    more = tape_noise(report.case.readings).covariance(names, expected)
    np.testing.assert_allclose(usual.noise - order.noise, more - tape, atol=1e-12)
    # what is cut goes by the smaller noise as well
    sure, unsure = measured(report).covariance, measured(replace(report, at_tags=())).covariance
    assert np.all(np.diag(sure) < np.diag(unsure))


def test_readings_of_both_kinds_teach_nothing_of_the_tape(checked, monkeypatch) -> None:
    report = by_tags(checked, monkeypatch, said=True)
    mixed = order_from_report(replace(report, at_tags=report.at_tags[:1]), "fitted", SHIPPED)
    assert mixed.tape == NO_TAPE
    assert not mixed.at_tags


def test_a_case_file_and_a_draft_say_it() -> None:
    case = replace(marked_by_hand(), measured_at_tags=True)
    data = case_to_dict(case)
    assert data["measured_at_tags"] is True
    assert case_from_dict(data, check_files=False).measured_at_tags
    assert "measured_at_tags" not in case_to_dict(replace(case, measured_at_tags=False))
    for said in (True, False):
        draft = Draft.from_dict({"measured_at_tags": said})
        assert draft.measured_at_tags is said
        assert draft.to_dict() == {"measured_at_tags": said}
    odd = Draft.from_dict({"measured_at_tags": "yes"})
    assert odd.measured_at_tags is False
    assert odd.to_dict() == {"measured_at_tags": "yes"}
