"""A stored draft comes back to the byte, whatever it holds, and an edit leaves all else alone."""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import suppress
from copy import deepcopy
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from photocheck.case.file import case_from_dict
from photocheck.errors import CaseError
from photocheck.orders.corrections import changes, reference_points, with_readings
from photocheck.orders.draft import (
    DogTold,
    Draft,
    DraftMarking,
    DraftPhoto,
    DraftTake,
    ReferenceTold,
    takes_of,
)
from photocheck.orders.filling import (
    Blank,
    settled,
    typed_at,
    with_marks,
    with_photo,
    with_typed,
    without_photo,
)
from photocheck.orders.gaps import gaps
from photocheck.words import ALL_LANDMARKS, PLACE_TITLES, READINGS

ANY = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3)
    ),
    max_leaves=6,
)
"""Any JSON."""

WRONG: st.SearchStrategy[Any] = st.sampled_from(
    [
        *(None, True, False, 0, -1, 10**40, -0.0, 0.1, 1e-300, 1.8e308, "", " ", "0", "null"),
        *("Ä\u0308", "\x00", "\ud800", "🐕", "\u202e", "a" * 300, [], {}, [[]], [{}], {"": {}}),
        *([None, None], ["wall"], [0.5, "1"], [[1, 2], [3]], [True] * 9, [{"file": 3}]),
        *({"file": None}, {"marks": []}, {"half_neck": {"half_neck": "36"}}, {"0": [1, {}]}),
    ]
).map(deepcopy)
"""What may stand in a part's place and is none; chosen, for `ANY` takes most of a test's time."""

TEXT = st.sampled_from(
    ["", " ", "36,8", "14 1/2", "-95 cm", "4o", "unknown", "wall", "a4", "photo-1.jpg"]
)
POINT = st.lists(st.integers(-5, 5) | st.floats(-1e4, 1e4), min_size=2, max_size=2)


def group(**parts: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    """An object with any of these parts, each perhaps `WRONG`, in any order, and strange ones."""
    known = [st.tuples(st.just(name), part | WRONG) for name, part in parts.items()]
    strange = st.tuples(st.text(max_size=5) | st.sampled_from(["extra", "written"]), ANY)
    return st.lists(st.one_of(*known, *known, strange), max_size=9).map(dict)


REFERENCES = group(
    kind=st.sampled_from(["marker_sheet", "a4", "ball", "two_points", "letter_box"]),
    place=st.sampled_from([*PLACE_TITLES, "moon"]),
    **dict.fromkeys(("offset", "offset_spread", "length", "diameter", "bar"), TEXT),
    **dict.fromkeys(("corners", "ends", "outline"), st.lists(POINT, max_size=5)),
    near=POINT,
    corner_spread_px=st.floats(0, 9),
)
MARKINGS = group(
    by=st.sampled_from(["owner", "Robin"]),
    marks=st.dictionaries(st.sampled_from(ALL_LANDMARKS), POINT, max_size=5),
    bends=st.dictionaries(st.sampled_from(["half_neck", "elbow"]), st.lists(POINT, max_size=2)),
    spread_mm=st.floats(0, 9),
)
PHOTOS = group(
    file=st.sampled_from(["photo-1.jpg", "photo-2.jpg"]),
    reference=REFERENCES,
    markings=st.lists(MARKINGS, max_size=2),
    focal_35mm=st.integers(8, 100),
    distortion=st.lists(st.floats(-1, 1), max_size=5),
)
TAKES = st.lists(
    TEXT | group(typed=TEXT, at=st.just("2026-03-01T09:00:00Z"), by=st.just("owner")), max_size=3
).filter(lambda takes: not takes or takes[-1] != "")  # an empty take is kept only between others
STORED = group(
    format=st.just("photocheck-case/1"),
    name=TEXT,
    unit=st.sampled_from(["cm", "in", "ell"]),
    readings=st.dictionaries(st.sampled_from([*READINGS, "tail"]), TEXT | TAKES | ANY, max_size=4),
    dog=group(
        **dict.fromkeys(("name", "breed", "weight", "girth", "coat", "coat_depth", "build"), TEXT),
        age_months=st.integers(0, 400),
    ),
    photos=st.lists(PHOTOS, max_size=2),
)
"""Whatever a store may hold as a draft: from any version, or any other program."""


@pytest.mark.slow
@settings(max_examples=100, deadline=None)
@given(stored=STORED | st.dictionaries(st.text(max_size=8), ANY, max_size=4))
def test_what_is_stored_is_written_back_to_the_byte(stored: dict[str, Any]) -> None:
    draft = Draft.from_dict(stored)
    assert draft.to_dict() == stored
    assert json.dumps(draft.to_dict()) == json.dumps(stored)
    assert Draft.from_dict(draft.to_dict()) == draft


@pytest.mark.parametrize(
    "kind", [Draft, DraftPhoto, DraftMarking, ReferenceTold, DraftTake, DogTold]
)
def test_each_part_is_empty_when_nothing_was_told(kind: type[Draft]) -> None:
    assert kind.from_dict({}) == kind()
    assert kind().to_dict() == {}


@pytest.mark.slow
@settings(max_examples=66, deadline=None)
@given(stored=STORED)
def test_nothing_that_is_stored_ends_in_a_traceback(stored: dict[str, Any]) -> None:
    draft = Draft.from_dict(stored)
    for gap in gaps(settled(draft)):
        assert gap.sentence
    assert changes(draft, with_photo(draft, "another.jpg"))
    for photo in draft.photos:
        assert isinstance(reference_points(photo.reference), tuple)
    with suppress(CaseError):  # says in words what is wrong; anything else is a traceback
        case_from_dict(settled(draft).to_dict(), check_files=False)


BLANKS = st.one_of(
    st.builds(Blank, st.just("readings"), st.sampled_from(READINGS)),
    st.builds(Blank, st.just("dog"), st.sampled_from(["name", "weight", "coat", "age_months"])),
    st.builds(Blank, st.just("order"), st.sampled_from(["name", "unit"])),
    st.builds(
        Blank,
        st.just("reference"),
        st.sampled_from(["kind", "place", "offset", "bar"]),
        st.sampled_from(["photo-1.jpg", "photo-2.jpg"]),
    ),
)


def steps_to(blank: Blank, draft: Draft) -> tuple[str | int, ...]:
    """Where a blank stands in JSON; nowhere when its photo is not there."""
    told = draft.readings.get(blank.name)
    if blank.part == "readings" and isinstance(told, tuple) and (len(told) > 1 or rich(told[0])):
        typed = ("typed",) if rich(told[0]) else ()
        return (blank.part, blank.name, 0, *typed)
    if blank.part == "order":
        return (blank.name,)
    if blank.part != "reference":
        return (blank.part, blank.name)
    number = draft.number_of(blank.photo)
    return () if number is None else ("photos", number, "reference", blank.name)


def rich(take: object) -> bool:
    """Whether more is told of a take than what was typed."""
    return isinstance(take, DraftTake) and take != DraftTake(take.typed)


def leaves(value: Any, path: tuple[str | int, ...] = ()) -> dict[tuple[str | int, ...], str]:
    """All values in JSON that hold no others, by where they stand; what is empty says nothing."""
    if isinstance(value, dict):
        parts: list[tuple[str | int, Any]] = list(value.items())
    elif isinstance(value, list):
        parts = list(enumerate(value))
    else:
        return {path: repr(value)} if value != "" else {}
    return {k: v for name, part in parts for k, v in leaves(part, (*path, name)).items()}


@pytest.mark.slow
@settings(max_examples=100, deadline=None)
@given(stored=STORED, blank=BLANKS, text=TEXT.filter(str.strip))
def test_typing_one_thing_leaves_all_else(stored: dict[str, Any], blank: Blank, text: str) -> None:
    if blank.part in ("dog", "readings") and not isinstance(stored.get(blank.part, {}), dict):
        return  # what stands in its place is no group, so it gives way
    before = Draft.from_dict(stored)
    after = with_typed(before, blank, text)
    at = steps_to(blank, before)
    if not at:
        assert after == before
        return
    if at[0] == "photos" and not isinstance(stored["photos"][at[1]].get("reference", {}), dict):
        return
    left = leaves(after.to_dict())
    emptied = leaves(with_typed(after, blank, None).to_dict())
    told = before.readings.get(blank.name) if blank.part == "readings" else None
    if isinstance(told, tuple) and (rich(told[0]) or not all(t.text for t in takes_of(told)[1:])):
        # what is told of a take goes with it, and takes of which nothing was typed fall away
        at = at[:2]
        assert emptied.items() >= {k: v for k, v in left.items() if k[:2] != at}.items()
        assert typed_at(after, blank) == text
    else:
        assert left[at] == repr(text)
        assert emptied == {k: v for k, v in left.items() if k != at}
    assert {k: v for k, v in left.items() if k[: len(at)] != at} == {
        k: v for k, v in leaves(stored).items() if k[: len(at)] != at
    }
    assert typed_at(with_typed(after, blank, None), blank) is None


@pytest.mark.slow
@settings(max_examples=66, deadline=None)
@given(stored=STORED, name=st.sampled_from(READINGS))
def test_staff_correct_a_reading_and_nothing_else(stored: dict[str, Any], name: str) -> None:
    if not isinstance(stored.get("readings", {}), dict):
        return
    after = with_readings(Draft.from_dict(stored), {name: "41 cm"}).to_dict()
    kept = {**stored, "readings": {**stored.get("readings", {}), name: "41 cm"}}
    assert after == kept


PHOTO_EDITS: dict[str, Callable[[Draft], Draft]] = {
    "marks": lambda draft: with_marks(draft, 0, DraftMarking({"tail_base": (1.0, 2.0)})),
    "photo": lambda draft: with_photo(draft, "another.jpg"),
    "out": lambda draft: without_photo(draft, draft.photos[0].file),
}


@pytest.mark.slow
@settings(max_examples=66, deadline=None)
@given(stored=STORED, edit=st.sampled_from(sorted(PHOTO_EDITS)))
def test_an_edit_of_one_photo_leaves_the_others_and_all_else(
    stored: dict[str, Any], edit: str
) -> None:
    before = Draft.from_dict(stored)
    if not before.photos or (edit == "out" and not before.photos[0].file):
        return
    after = PHOTO_EDITS[edit](before).to_dict()
    rest = {name: value for name, value in stored.items() if name != "photos"}
    assert {name: value for name, value in after.items() if name != "photos"} == rest
    photos = stored["photos"]
    if edit == "photo":
        assert after["photos"][:-1] == photos
    elif edit == "out":
        gone = photos[0]["file"]
        assert after.get("photos", []) == [one for one in photos if one.get("file") != gone]
    else:
        assert after["photos"][1:] == photos[1:]
        mine, was = after["photos"][0], photos[0]
        assert {k: v for k, v in mine.items() if k != "markings"} == {
            k: v for k, v in was.items() if k != "markings"
        }
        if before.photos[0].markings:
            first, *others = was["markings"]
            assert mine["markings"][1:] == others
            points = ("marks", "bends")
            assert {k: v for k, v in mine["markings"][0].items() if k not in points} == {
                k: v for k, v in first.items() if k not in points
            }


def test_an_import_is_known_by_what_earlier_versions_knew_it_by(tmp_path: Any) -> None:
    from photocheck.orders.intake.entries import entries_of_table

    path = tmp_path / "orders.csv"
    path.write_text(
        "Order;Name;Dog;Half neck (in);Girth;Weight (kg);Age (years);Coat;Place;Breed;breastbone\n"
        "17;Ana;Rex;14 1/2;69 cm;32,5;3;short;wall;mix;812 340\n18;Bo;;15;;;;;;;\n",
        encoding="utf-8",
    )
    found = entries_of_table(path, None, told={}, remembered={}, unit="").entries
    # as version 0.1.0 wrote them into stores, before drafts had types
    assert [entry.content for entry in found] == [
        "6169a3b6b79e04b899b0d4aa0a7cf2615c927a1c21d19e7c4fe7964b4a3537d3",
        "66c4a2c5cf0eea35e423dfd6dc0b315180cb158cab5adf39f99191df19c16f57",
    ]
