"""Drafts hold whatever is typed, and every text is either understood or named as a gap."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from functools import partial
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from photocheck.case.file import case_from_dict
from photocheck.case.samples import samples_folder
from photocheck.errors import CaseError
from photocheck.orders.draft import Draft, DraftMarking
from photocheck.orders.filling import (
    Blank,
    new_draft,
    settled,
    typed_at,
    with_marks,
    with_photo,
    with_tags,
    with_tape_at_tags,
    with_typed,
)
from photocheck.orders.gaps import (
    gaps,
    understood_length,
    understood_reading,
    understood_weight,
)
from photocheck.words import FRONT_LANDMARKS, PLACE_TITLES, PLACES_BEHIND, READINGS, UNITS
from tests.support.fuzz.texts import typed_text

LENGTHS = st.builds(
    lambda number, part, unit: f"{number}{part}{unit}",
    st.decimals(0, 200, places=1, allow_nan=False).map(str),
    st.sampled_from(["", " 1/2", " 3/8", ",5", " ½"]),
    st.sampled_from(["", " cm", ' "', " in", " mm", " m", "'", " Zoll", " kg"]),
)
PIECES = st.integers(0, 2**32).map(lambda seed: typed_text(random.Random(seed)))
TYPED = st.one_of(st.text(st.characters(codec="utf-8"), max_size=40), LENGTHS, PIECES)
"""Any text that can come from a field (a browser sends no lone surrogates), and likely ones."""

FLINT = Draft.from_dict(
    json.loads((samples_folder() / "flint" / "case.json").read_text(encoding="utf-8"))
)


def understood(way: Any, *given: Any, **told: Any) -> bool:
    read = True
    try:
        said = way(*given, **told)
    except CaseError as error:
        read, said = False, str(error)
    assert said.isprintable()
    return read


@settings(max_examples=133, deadline=None)
@given(typed=TYPED, name=st.sampled_from(READINGS), unit=st.sampled_from(UNITS))
@example(typed="42,5", name="half_neck", unit="cm")
@example(typed='14 1/2"', name="half_neck", unit="cm")
@example(typed="4o", name="rear_length", unit="in")
def test_a_reading_is_kept_as_typed_and_is_understood_or_a_gap(
    typed: str, name: str, unit: str
) -> None:
    draft = with_typed(new_draft(unit), Blank("readings", name), typed)
    if not typed.strip():
        assert draft == new_draft(unit)
        return
    assert typed_at(draft, Blank("readings", name)) == typed
    assert settled(draft) == draft
    steps = [gap.step for gap in gaps(draft)]
    assert steps.count("photo") == 1
    assert understood(understood_reading, name, typed, unit) == ("readings" not in steps)
    assert all(gap.sentence.isprintable() for gap in gaps(draft))


@settings(max_examples=100, deadline=None)
@given(readings=st.dictionaries(st.sampled_from(READINGS), TYPED, min_size=1))
@example({"half_neck": "39 cm\r"})
def test_a_draft_without_gaps_is_a_case_or_says_what_contradicts(readings: dict[str, str]) -> None:
    draft = FLINT.but("readings", {})
    for name, typed in readings.items():
        draft = with_typed(draft, Blank("readings", name), typed)
    draft = settled(draft)
    kept = {name: typed for name, typed in readings.items() if typed.strip()}
    assert draft.readings == kept
    if gaps(draft):
        return
    case = case_from_dict(draft.to_dict(), check_files=False)
    assert {name: reading.typed for name, reading in case.readings.items()} == {
        name: typed.strip() for name, typed in kept.items()
    }


@settings(max_examples=100, deadline=None)
@given(
    typed=TYPED, field=st.sampled_from(["weight", "girth", "neck_width", "height", "coat_depth"])
)
def test_what_is_said_of_the_dog_is_understood_or_a_gap(typed: str, field: str) -> None:
    draft = with_typed(FLINT.but("dog", None), Blank("dog", field), typed)
    if not typed.strip():
        assert gaps(draft) == ()
        return
    said = {
        "weight": lambda: understood_weight(typed),
        **{
            name: partial(understood_reading, name, typed, "cm")
            for name in ("girth", "neck_width", "height")
        },
        "coat_depth": lambda: understood_length(typed, "cm", field="coat depth"),
    }[field]
    assert understood(said) == (gaps(draft) == ())


@settings(max_examples=100, deadline=None)
@example(typed="- \u2212", place="far_feet")
@given(typed=TYPED, place=st.sampled_from(sorted(PLACE_TITLES)))
def test_a_distance_settles_at_once_and_lies_on_its_places_side(typed: str, place: str) -> None:
    offset = Blank("reference", "offset", FLINT.photos[0].file)
    draft = with_typed(FLINT, replace(offset, name="place"), place)
    draft = settled(with_typed(draft, offset, typed))
    assert settled(draft) == draft
    kept = typed_at(draft, offset)
    if place in ("middle", "unknown"):
        assert kept is None
    elif kept is not None and not gaps(draft):
        told = case_from_dict(draft.to_dict(), check_files=False).photos[0].reference.offset_mm
        assert told is not None
        assert told == 0 or (told < 0) == (place in PLACES_BEHIND)


def test_every_reading_has_an_example_that_is_understood() -> None:
    for unit, text in (("cm", "42.5"), ("in", "16 3/4")):
        assert understood(understood_reading, "half_neck", text, unit)
    with pytest.raises(CaseError):
        understood_reading("half_neck", "4o", "cm")


def test_a_photo_from_the_front_has_words_of_its_own() -> None:
    file = FLINT.photos[0].file
    front = with_typed(FLINT, Blank("photo", "view", file), "front")
    (photo,) = front.photos
    # words and marks of the other view are none of this one
    assert (photo.view, photo.reference.place, photo.markings) == ("front", "", ())
    assert photo.unplaced == FRONT_LANDMARKS
    assert photo.reference.kind == FLINT.photos[0].reference.kind
    assert typed_at(front, Blank("photo", "view", file)) == "front"
    assert any("A photo from the side is needed" in gap.sentence for gap in gaps(front))
    both = with_typed(with_photo(FLINT, "b.jpg"), Blank("photo", "view", "b.jpg"), "front")
    assert not any("from the side is needed" in gap.sentence for gap in gaps(both))
    half = with_marks(both, 1, DraftMarking({"chest_left": (1.0, 1.0)}))
    assert half.photos[1].unplaced == (*FRONT_LANDMARKS, "chest_right")
    # the next photo is told as the last one from the side was
    third = with_photo(both, "c.jpg").photos[2]
    assert third.reference.place == FLINT.photos[0].reference.place
    assert not third.from_front
    side = with_typed(both, Blank("photo", "view", "b.jpg"), None)
    assert side.photos[1].to_dict().get("view") is None


MARKS = {"breastbone": (10.0, 20.0), "last_rib": (90.0, 40.0)}


def test_marks_that_tags_placed_are_known_as_theirs_until_a_hand_moves_one() -> None:
    draft = with_photo(with_photo(new_draft("cm"), "a.jpg"), "b.jpg")
    draft = with_tags(draft, {"a.jpg": MARKS, "b.jpg": {}, "gone.jpg": MARKS})
    first, second = draft.photos
    assert (first.first.by, first.first.marks) == ("tags", MARKS)
    assert second == with_photo(new_draft("cm"), "b.jpg").photos[0]
    assert draft.to_dict()["photos"][0]["markings"][0]["by"] == "tags"
    # Shown and left as they are, or moved.
    same = with_marks(draft, 0, DraftMarking(MARKS))
    assert same == draft
    moved = with_marks(draft, 0, DraftMarking({**MARKS, "last_rib": (91.0, 40.0)}))
    assert moved.photos[0].first.by == "tags and owner"
    # Marks by hand are never overwritten.
    assert with_tags(moved, {"a.jpg": MARKS}) == moved
    by_hand = with_marks(draft, 1, DraftMarking(MARKS))
    assert by_hand.photos[1].first.by == "owner"
    assert with_tags(by_hand, {"b.jpg": {"tail_base": (1.0, 2.0)}}) == by_hand


def test_whether_the_tape_was_held_at_the_tags_is_said_and_unsaid() -> None:
    draft = with_tape_at_tags(new_draft("cm"), held=True)
    assert draft.measured_at_tags
    assert draft.to_dict()["measured_at_tags"] is True
    assert "measured_at_tags" not in with_tape_at_tags(draft, held=False).to_dict()
