"""Tags on the dog in the estimate; the camera's truth by OpenCV's projection, an outside judge."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

import photocheck
from photocheck import looking
from photocheck.body.shape import SHIPPED
from photocheck.case.model import Case, DogFacts, Marking, PhotoEntry, Reference
from photocheck.case.validity import require_marks
from photocheck.errors import CaseError, ScaleError
from photocheck.judge import evidence, tag_sizes
from photocheck.judge.budget import Action, what_actions_leave
from photocheck.judge.estimate import Estimate, estimate
from photocheck.judge.evidence import order_from_report
from photocheck.judge.joint import Joint
from photocheck.judge.shots import Shot
from photocheck.scale.catalogue import DOG_TAGS
from photocheck.scale.pose import View, likely_poses
from photocheck.scale.priors import Offset, offset_prior
from photocheck.scale.tag_layout import square_mm, tip_mm
from photocheck.scale.tag_reference import tags_as_reference
from photocheck.scale.tags_seen import NO_TAGS, TagSeen, TagsSeen
from photocheck.scale.tips import tips, with_tips
from photocheck.words import FRONT_LANDMARKS, LANDMARKS, TAGS
from tests.support.judged import CENTRE, DOG, FOCAL_PX, square_view
from tests.support.tagged_case import finder, marked_by_hand, without_marks

FROM = 2500.0
"""The reference before the camera, mm."""
CAMERA = np.array([[FOCAL_PX, 0.0, CENTRE[0]], [0.0, FOCAL_PX, CENTRE[1]], [0.0, 0.0, 1.0]])


def projected(points: np.ndarray) -> np.ndarray:
    seen, _ = cv2.projectPoints(points, np.zeros(3), np.zeros(3), CAMERA, np.zeros(4))
    return seen[:, 0]


def tag(
    name: str, depth: float, *, spread: float = 0.003, grown: float = 1.0, turned: float = 0.0
) -> TagSeen:
    """A tag that stands up at its point of `DOG`, the dog's middle so far from the camera.

    Turned about its own upright by so many degrees; its size is told as it is all the same.
    """
    at = np.array([*DOG[name], depth])
    flat = np.column_stack([square_mm(40.0) - tip_mm(40.0), np.zeros(4)])
    about, _ = cv2.Rodrigues(np.array([0.0, np.radians(turned), 0.0]))
    corners = projected(flat @ about.T + at)
    if turned:
        size = tag(name, depth, spread=spread, grown=grown).px_per_mm
        tip = projected(at[None])[0]
        return TagSeen(name, 40.0, corners, 0.15, tip, np.eye(2), size, spread)
    side = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).mean()
    size = float(side / 40.0) * grown
    return TagSeen(name, 40.0, corners, 0.15, projected(at[None])[0], np.eye(2), size, spread)


def tagged(depth: float, *, spread: float = 0.003, turned: float = 0.0) -> TagsSeen:
    return TagsSeen(tuple(tag(name, depth, spread=spread, turned=turned) for name in LANDMARKS))


def seen(tags: TagsSeen, view: View | None = None) -> Estimate:
    """What one photo with these tags, and no mark by hand, tells."""
    view = replace(view or square_view(offset=Offset(0.0, 0.0, 22.0)), tags=tags)
    marks = Marking(tips(tags, "side"), by=TAGS)
    return estimate([view], [[marks]], DogFacts(coat_depth_mm=0))


@pytest.mark.parametrize("behind", [-150.0, 0.0, 150.0])
def test_tags_tell_where_the_dog_stood_whatever_was_said(behind: float) -> None:
    """The reference is said to stand level with the dog's middle, to 200 mm."""
    said = square_view(offset=Offset(0.0, 0.0, 200.0))
    found = seen(tagged(FROM + behind), said)
    assert found.cameras[0].offset_mm == pytest.approx(behind, abs=15.0)
    true = np.linalg.norm(np.subtract(DOG["shoulder_top"], DOG["breastbone"]))
    assert found.straight_mm[0] == pytest.approx(true, rel=0.01)


def test_sharper_sizes_leave_less_doubt() -> None:
    said = square_view(offset=Offset(0.0, 0.0, 200.0))
    sharp, dim = (seen(tagged(FROM, spread=s), said) for s in (0.003, 0.1))
    assert np.all(np.diag(sharp.covariance) < np.diag(dim.covariance))
    assert sharp.shares["offset"][3] < 0.2 * dim.shares["offset"][3]
    assert sharp.shares["tags"][0] > 0
    for found in (sharp, dim):
        total = sum(found.parts.values())
        np.testing.assert_allclose(total, found.covariance, rtol=1e-9, atol=1e-15)


def test_tags_leave_less_doubt_than_marks_by_hand() -> None:
    said = square_view(offset=Offset(0.0, 0.0, 40.0))
    tags = tagged(FROM)
    by_hand = estimate([said], [[Marking(tips(tags, "side"))]], DogFacts(coat_depth_mm=0))
    found = seen(tags, said)
    assert np.all(np.diag(found.covariance) < np.diag(by_hand.covariance))


def test_the_printed_size_alone_gives_the_scale() -> None:
    """The same dog with and without a sheet: within the doubt of what a printer does, 1 %."""
    tags = tagged(FROM)
    view = replace(
        square_view(offset=Offset(0.0, 0.0, 8.0)), seen=tags_as_reference(tags), tags=tags
    )
    found, with_sheet = seen(tags, view), seen(tags)
    np.testing.assert_allclose(found.log_spans, with_sheet.log_spans, atol=0.02)
    # the printer's 1 %: it cannot be told better than that
    assert np.all(np.diag(found.covariance) > 0.009**2)
    half = replace(
        tags, tags=tuple(replace(t, side_mm=30.0, px_per_mm=t.px_per_mm * 4 / 3) for t in tags.tags)
    )
    small = replace(view, seen=tags_as_reference(half), tags=half)
    ratio = seen(half, small).straight_mm[3] / found.straight_mm[3]
    assert ratio == pytest.approx(0.75, rel=0.02)


@pytest.mark.parametrize("turned", [-20.0, 12.0, 20.0])
def test_how_a_tag_is_turned_on_the_dog_tells_nothing_of_the_dog(turned: float) -> None:
    """A square seen 6 % narrower for its own turn; the camera is square to the dog all the same.

    Were its corners those of the dog's plane, the dog would be as much turned away.
    """

    def lengths(by: float) -> Estimate:
        tags = tagged(FROM, turned=by, spread=0.01)
        view = square_view(offset=Offset(0.0, 0.0, 8.0))
        return seen(tags, replace(view, seen=tags_as_reference(tags), tags=tags))

    found, straight = lengths(turned), lengths(0.0)
    np.testing.assert_allclose(found.straight_mm, straight.straight_mm, rtol=0.004)
    assert found.cameras[0].yaw_deg == pytest.approx(straight.cameras[0].yaw_deg, abs=1.5)


def test_what_is_felt_for_twice_is_doubted_more_than_what_the_tape_is_held_at() -> None:
    tags = tagged(FROM)
    said = square_view(offset=Offset(0.0, 0.0, 40.0))
    held, felt = (seen(tags, replace(said, at_tags=at)) for at in (True, False))
    assert np.all(np.diag(held.covariance) < np.diag(felt.covariance))
    by_hand = estimate([said], [[Marking(tips(tags, "side"))]], DogFacts(coat_depth_mm=0))
    assert np.all(np.diag(felt.covariance) < np.diag(by_hand.covariance))


@pytest.mark.parametrize(("grown", "word"), [(4 / 3, "larger"), (3 / 4, "smaller")])
def test_the_other_set_of_tags_spoils_no_length(grown: float, word: str) -> None:
    """All tags as one set looks where the other was named, beside a sheet that is right."""
    tags = TagsSeen(tuple(tag(name, FROM, grown=grown) for name in LANDMARKS))
    said = square_view(offset=Offset(0.0, 0.0, 40.0))
    # without any word of their sizes
    found, right = seen(tags, said), seen(tagged(FROM, spread=10.0), said)
    (sentence,) = found.outliers
    assert f"{word} than the set that was named" in sentence
    assert right.outliers == ()
    np.testing.assert_allclose(found.log_spans, right.log_spans, atol=1e-4)
    np.testing.assert_allclose(found.covariance, right.covariance, rtol=1e-3)


@pytest.mark.parametrize(
    ("grown", "said", "alone"), [(3 / 4, "-2", False), (1.12, "+1", False), (3 / 4, "-2", True)]
)
def test_one_tag_that_does_not_go_with_the_others_is_said(
    grown: float, said: str, alone: bool
) -> None:
    """A spare of the other set, or a crumpled one, with a sheet and without; its tip counts."""
    tags = tagged(FROM)
    odd = tag("tail_base", FROM, grown=grown)
    mixed = TagsSeen(tuple(odd if t.landmark == "tail_base" else t for t in tags.tags))
    dim = TagsSeen(
        tuple(replace(odd, px_per_mm_spread=10.0) if t is odd else t for t in mixed.tags)
    )
    view = square_view(offset=Offset(0.0, 0.0, 40.0))
    if alone:
        view = replace(view, seen=tags_as_reference(tags))
    found, right = seen(mixed, view), seen(dim, view)
    (sentence,) = found.outliers
    assert "tail base" in sentence
    assert said in sentence
    assert right.outliers == ()
    np.testing.assert_allclose(found.log_spans, right.log_spans, atol=1e-4)
    assert seen(tags, view).outliers == ()


@pytest.mark.parametrize("name", LANDMARKS)
@pytest.mark.parametrize("grown", [1.12, 1 / 1.12])
def test_without_a_sheet_a_tag_an_eighth_off_is_said(name: str, grown: float) -> None:
    """Also where it would have been the reference, or where a dog askew might look like that."""
    tags = tagged(FROM, spread=0.006)
    odd = replace(tag(name, FROM, grown=grown, spread=0.006), corner_spread_px=0.1)
    mixed = TagsSeen(tuple(odd if t.landmark == name else t for t in tags.tags))
    view = square_view(offset=offset_prior(Reference(DOG_TAGS), "side"))
    found = seen(mixed, replace(view, seen=tags_as_reference(mixed)))
    right = seen(tags, replace(view, seen=tags_as_reference(tags)))
    (sentence,) = found.outliers
    assert name.replace("_", " ") in sentence
    assert right.outliers == ()
    off = found.log_spans - right.log_spans
    assert np.all(np.abs(off) < 2 * np.sqrt(np.diag(found.covariance)))


def test_where_either_of_two_tags_may_be_odd_neither_size_is_used(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """One is as much too small as another too large; either goes with the rest, to 3.3 of 4 sds."""
    tags = tagged(FROM)
    view = replace(square_view(), tags=tags)
    marks = Marking(tips(tags, "side"), by=TAGS)
    alone = Joint([Shot(view, likely_poses(view)[0], (marks,))], DogFacts())
    told = np.array([-0.06, 0.0, 0.0, 0.06]), 0.015**2 * np.eye(4), list(tags.tags)
    monkeypatch.setattr(tag_sizes, "_misfits", lambda _: told)
    look = tag_sizes.odd_tags(alone, 1)
    assert look is not None
    assert "“breastbone”, “tail base”" in look.sentence
    used = [t.landmark for t in look.view.tags.tags if t.px_per_mm_spread < 1]
    assert used == ["shoulder_top", "last_rib"]


def test_a_place_that_the_tags_contradict_is_said_and_the_tags_are_believed() -> None:
    found = seen(tagged(FROM + 400.0), square_view(offset=Offset(0.0, 0.0, 40.0)))
    (sentence,) = found.outliers
    assert "farther from the camera than was said" in sentence
    assert found.cameras[0].offset_mm == pytest.approx(400.0, abs=25.0)


def test_no_tag_that_faces_the_camera_gives_no_scale() -> None:
    with pytest.raises(ScaleError, match="No tag that faces the camera"):
        tags_as_reference(TagsSeen((tag("last_rib", FROM),)))


# --- marks by hand beside tags -----------------------------------------------------


def entry(*markings: Marking) -> PhotoEntry:
    return PhotoEntry("a.jpg", Reference("a4"), markings)


def test_tags_replace_marks_of_the_same_landmarks_and_say_which_lie_elsewhere() -> None:
    tags = TagsSeen((tag("breastbone", FROM), tag("tail_base", FROM)))
    at = {name: tuple(tag(name, FROM).tip_px) for name in LANDMARKS}
    marks = at | {"tail_base": (at["tail_base"][0] + 60.0, at["tail_base"][1])}
    changed, said = with_tips(entry(Marking(marks)), tags, 5.0)
    assert [set(m.marks) for m in changed.markings] == [
        {"shoulder_top", "last_rib"},
        {"breastbone", "tail_base"},
    ]
    assert changed.markings[1].by == TAGS
    assert len(said) == 1
    assert "tail base" in said[0]


def test_without_tags_nothing_changes() -> None:
    photo = entry(Marking({"breastbone": (1.0, 2.0)}))
    assert with_tips(photo, NO_TAGS, 5.0) == (photo, ())


def test_what_has_neither_mark_nor_tag_is_named() -> None:
    require_marks(entry(), LANDMARKS)
    with pytest.raises(CaseError, match="neither marked nor with a tag that was found: last rib"):
        require_marks(entry(), [name for name in LANDMARKS if name != "last_rib"])
    with pytest.raises(CaseError, match="nobody has marked this photo, and no tag"):
        require_marks(entry())
    with pytest.raises(CaseError, match="nobody has marked"):
        require_marks(replace(entry(), view="front"))


def test_a_case_without_marks_is_checked_by_its_tags(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tags put where a sample's marks are; the size that a mm has is told only to 10 %."""
    case = marked_by_hand()
    by_hand = photocheck.check(case)
    monkeypatch.setattr(looking, "find_tags", finder(case, by_hand.photos[0].px_per_mm))
    with pytest.raises(AssertionError):
        photocheck.check(replace(case, photos=(replace(case.photos[0], tags="small"),)))
    by_tags = photocheck.check(without_marks(case))
    assert [m.by for m in by_tags.case.photos[0].markings] == [TAGS]
    for one, other in zip(by_tags.spans, by_hand.spans, strict=True):
        assert one.photo_mm == pytest.approx(other.photo_mm, rel=0.03)
    assert any(line.source == "tags" for line in by_tags.budget)


# --- what reads markings, of which tags are one ---------------------------------------


def actions(*markings: Marking) -> dict[str, Action]:
    case = Case((PhotoEntry("a.jpg", Reference("a4"), markings),), {})
    return what_actions_leave(case, [square_view()])


def test_marks_of_one_dog_may_be_parted_between_tags_and_a_hand() -> None:
    at = {
        name: (100.0 * k, 50.0) for k, name in enumerate((*LANDMARKS, "back_top", "chest_bottom"))
    }
    chest = at.pop("chest_bottom")
    by_hand, both = Marking({"chest_bottom": chest}), Marking(at, by=TAGS)
    open_ones = actions(by_hand, both)
    assert not {"chest", "front"} & set(open_ones)  # both of its marks are there
    assert "chest" in actions(both)
    # one hand marked, whatever the tags are
    assert open_ones["marks"].leaves == pytest.approx(0.5)
    assert actions(Marking(at), Marking(at))["marks"].leaves == pytest.approx(2.0 / 3.0)


def test_where_tags_placed_all_marks_nobody_is_asked_to_mark_again() -> None:
    assert "marks" not in actions(Marking(dict.fromkeys(LANDMARKS, (1.0, 2.0)), by=TAGS))


def test_a_report_by_tags_alone_has_no_doubt_of_marks_by_hand(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    case = marked_by_hand()
    monkeypatch.setattr(looking, "find_tags", finder(case, 1.0))
    report = photocheck.check(without_marks(case))
    assert "marks" not in {line.source for line in report.budget}
    order = order_from_report(report, "fitted", SHIPPED)
    assert order.design.any()


def test_what_tags_share_with_a_hand_is_learnt_from_as_one_marked_way() -> None:
    """The front's way is marked where the chest's bottom is, whoever or whatever placed it."""
    at = dict.fromkeys(LANDMARKS, (1.0, 2.0))
    parts = (Marking({"chest_bottom": (3.0, 4.0)}, by=TAGS), Marking(at))
    case = Case((PhotoEntry("a.jpg", Reference("a4"), parts),), {})
    assert evidence._marked(case) == (False, True, False)
    bent = Marking({}, {"half_neck": ((1.0, 1.0),)})
    case = Case((PhotoEntry("a.jpg", Reference("a4"), (bent, Marking(at, by=TAGS))),), {})
    assert evidence._marked(case) == (True, False, False)


@pytest.mark.parametrize("seen", ["neck_left", "both"])
def test_from_the_front_one_tag_fills_a_gap_and_two_are_a_marking(seen: str) -> None:
    """Left and right come from one marking, for what they share is which ring was thought of."""
    left, right = FRONT_LANDMARKS
    names = FRONT_LANDMARKS if seen == "both" else (left,)
    square = np.array([[0.0, 0.0], [40.0, 0.0], [40.0, 40.0], [0.0, 40.0]])
    placed = [np.array([100.0 + 50.0 * k, 200.0]) for k in range(len(names))]
    tags = TagsSeen(tuple(
        TagSeen(name, 40.0, square, 0.15, at, np.eye(2), 1.0, 0.003)
        for name, at in zip(names, placed, strict=True)
    ))  # fmt: skip
    by_hand = Marking({left: (103.0, 203.0), right: (149.0, 198.0)})
    photo = replace(entry(by_hand), view="front")
    changed, _ = with_tips(photo, tags, 5.0)
    if seen == "both":
        (marking,) = changed.markings
        assert marking.by == TAGS
        assert marking.marks == {left: (100.0, 200.0), right: (150.0, 200.0)}
    else:
        (marking,) = changed.markings
        assert marking.by == by_hand.by
        assert marking.marks == by_hand.marks  # the hand's own pair stays as it is
        gap = replace(photo, markings=(Marking({right: (149.0, 198.0)}),))
        (filled,) = with_tips(gap, tags, 5.0)[0].markings
        assert filled.marks == {left: (100.0, 200.0), right: (149.0, 198.0)}


def test_bends_stay_where_tags_replace_every_mark() -> None:
    tags = TagsSeen((tag("tail_base", FROM),))
    way = ((10.0, 10.0), (20.0, 20.0))
    kept = Marking({"tail_base": (1.0, 1.0)}, bends={"rear_length": way, "half_neck": ()})
    gone = Marking({"tail_base": (1.0, 1.0)}, bends={"half_neck": ()})
    changed, _ = with_tips(entry(kept, gone), tags, 5.0)
    assert [marking.by for marking in changed.markings] == [kept.by, TAGS]
    assert changed.markings[0].bends == kept.bends
    assert changed.markings[0].marks == {}
