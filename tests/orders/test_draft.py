"""Drafts: what is typed stays, what is missing is named, and no photo is taken that is none."""

from __future__ import annotations

import json
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

from photocheck.case.file import case_from_dict
from photocheck.case.samples import sample_case, sample_names, sample_story, samples_folder
from photocheck.errors import CaseError, PhotoError
from photocheck.orders import taking
from photocheck.orders.draft import Draft, DraftMarking, ReferenceTold
from photocheck.orders.filling import (
    Blank,
    new_draft,
    settled,
    typed_at,
    with_marks,
    with_photo,
    with_typed,
)
from photocheck.orders.gaps import gaps, understood_reading, understood_weight
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.orders.taking import first_look, quality_remarks, take_photo
from photocheck.photo.load import load_photo
from photocheck.photo.photo import CameraFacts, Photo
from photocheck.words import LANDMARKS


@pytest.fixture
def store(tmp_path: Path) -> DatabaseStore:
    return open_store(str(tmp_path / "orders.sqlite3"))


def flint() -> dict:
    return json.loads((samples_folder() / "flint" / "case.json").read_text(encoding="utf-8"))


def test_a_complete_case_has_no_gaps_and_stays_as_it_is() -> None:
    for name in sample_names():
        path = samples_folder() / name / "case.json"
        draft = Draft.from_dict(json.loads(path.read_text(encoding="utf-8")))
        # where nobody marked anything, tags on the dog have to tell: seen once a photo is looked at
        bare = [photo for photo in draft.photos if not photo.markings]
        assert [gap.step for gap in gaps(draft)] == ["marks"] * len(bare)
        assert bool(bare) == draft.measured_at_tags
        case = case_from_dict(settled(draft).to_dict(), path.parent, where=name)
        assert case == sample_case(name)
        assert sample_story(name)


def test_every_gap_is_named_where_it_is_filled() -> None:
    assert [gap.step for gap in gaps(new_draft("cm"))] == ["readings", "photo"]
    data = flint()
    data["readings"]["half_neck"] = "4o"
    data["dog"]["weight"] = "900 kg"
    data["photos"][0]["reference"]["bar"] = "long"
    del data["photos"][0]["markings"][0]["marks"]["last_rib"]
    found = gaps(Draft.from_dict(data))
    assert [gap.step for gap in found] == ["readings", "dog", "photo", "marks"]
    assert all(
        word in gap.sentence
        for word, gap in zip(("4o", "900", "long", "last rib"), found, strict=True)
    )
    draft = Draft.from_dict(flint())
    card = with_typed(draft, Blank("reference", "kind", draft.photos[0].file), "id_card")
    assert [gap.step for gap in gaps(settled(card))] == ["marks"]


def test_emptying_a_field_takes_it_out() -> None:
    field = Blank("readings", "half_neck")
    draft = with_typed(new_draft("cm"), field, "36,8 ")
    assert typed_at(draft, field) == "36,8 "
    emptied = with_typed(draft, field, "  ")
    assert emptied == new_draft("cm")
    assert emptied.to_dict() == new_draft("cm").to_dict()
    nowhere = Blank("reference", "kind", "photo-1.jpg")
    assert typed_at(draft, nowhere) is None
    assert with_typed(draft, nowhere, "a4") == draft


@pytest.mark.parametrize(
    ("place", "kept"),
    [("wall", "-95 cm"), ("far_feet", "-95 cm"), ("near_feet", "95 cm"), ("middle", None)],
)
def test_a_distance_gets_its_sign_from_the_place(place: str, kept: str | None) -> None:
    draft = with_photo(new_draft("cm"), "a", kind="marker_sheet")
    offset, where = (Blank("reference", name, "a") for name in ("offset", "place"))
    draft = settled(with_typed(draft, offset, "95 cm"))
    draft = with_typed(draft, offset, "95 cm")  # no place is told yet that it could belong to
    draft = settled(with_typed(draft, where, place))
    assert typed_at(settled(draft), offset) == kept


@pytest.mark.parametrize("sign", ["", "-", "\u2212", "\u2013", "\u2012", "\uff0d", "\ufe63"])
@pytest.mark.parametrize(("place", "kept"), [("near_feet", "1"), ("far_feet", "-1")])
def test_a_sign_that_was_typed_does_not_tell_the_side(sign: str, place: str, kept: str) -> None:
    # "-1" beside the near feet was 1 cm before the dog, and with the minus of print 1 cm behind it
    draft = with_photo(new_draft("cm"), "a", kind="marker_sheet")
    offset, where = (Blank("reference", name, "a") for name in ("offset", "place"))
    draft = with_typed(with_typed(draft, where, place), offset, f"{sign}1")
    draft = settled(with_typed(draft, Blank("reference", "kind", "a"), "a4"))
    assert typed_at(draft, offset) == kept


def test_the_next_photo_is_told_like_the_last_but_not_marked_like_it() -> None:
    draft = with_photo(Draft.from_dict(flint()), "second")
    one, other = draft.photos
    assert other.reference == one.reference
    assert other.to_dict()["markings"] == []
    assert with_photo(draft, "second") == draft


def test_marks_keep_what_others_marked() -> None:
    data = flint()
    data["photos"][0]["markings"].append({"by": "Robin", "marks": {}})
    marks = {name: (float(k), 1.0) for k, name in enumerate(LANDMARKS)}
    placed = DraftMarking(marks, {"front_length": ((5.0, 6.0),), "rear_length": ()})
    changed = with_marks(Draft.from_dict(data), 0, placed)
    mine, robins = changed.to_dict()["photos"][0]["markings"]
    assert robins["by"] == "Robin"
    assert mine["spread_mm"] == 6
    assert mine["bends"] == {"front_length": [[5.0, 6.0]]}
    assert mine["marks"]["tail_base"] == [3.0, 1.0]


def test_lengths_and_weights_are_said_back_in_both_units() -> None:
    # 14.5 in x 2.54 = 36.83 cm; 62 lb x 0.45359237 = 28.12 kg (1959 agreement)
    assert understood_reading("half_neck", '14 1/2"', "cm") == "14 1/2 in = 36.8 cm"
    assert understood_reading("half_neck", "36,8", "cm") == "36.8 cm = 14 1/2 in"
    assert understood_weight("62 lb") == "28.1 kg = 62.0 lb"
    with pytest.raises(CaseError):
        understood_reading("half_neck", "36,8", "in")  # 93 cm of half a neck is no dog's


@pytest.mark.slow
def test_only_photos_are_taken_in(store: DatabaseStore) -> None:
    key = store.open()
    content = (samples_folder() / "flint" / "side.jpg").read_bytes()
    name = take_photo(store, key, content, name="side.jpg")
    assert load_photo(store.photo(key, name)).size == (2000, 1500)
    with pytest.raises(PhotoError, match=r"words\.jpg"):
        take_photo(store, key, b"words", name="words.jpg")


@pytest.mark.slow
def test_a_first_look_finds_what_can_be_found() -> None:
    photo = load_photo(samples_folder() / "flint" / "side.jpg")
    look = first_look(photo, ReferenceTold("marker_sheet", "middle"), "cm")
    assert look.found
    assert len(look.outline) == 16
    told = json.loads((samples_folder() / "nettle" / "case.json").read_text())["photos"][0]
    card = load_photo(samples_folder() / "nettle" / "side.jpg")
    before = first_look(card, ReferenceTold("id_card"), "cm")
    assert (before.found, before.problem) == (False, "")
    corners = np.array(told["reference"]["corners"])
    inside = tuple(corners.mean(axis=0).tolist())
    after = first_look(card, ReferenceTold("id_card", near=inside), "cm")
    assert after.found
    # against the sample's own corners, in any order, px
    apart = np.linalg.norm(corners[:, None] - np.array(after.outline)[None], axis=2)
    assert apart.min(axis=1).max() < 6
    nowhere = first_look(card, ReferenceTold("marker_sheet"), "cm")
    assert not nowhere.found
    assert nowhere.problem.startswith("The marker sheet was not found")


@pytest.mark.slow
def test_a_cropped_photo_is_told_as_soon_as_it_is_taken(store: DatabaseStore) -> None:
    """Cut off-centre, its camera data kept, as phones' own editors do; and once, not twice."""
    content = (samples_folder() / "flint" / "side.jpg").read_bytes()
    key = store.open()
    with Image.open(BytesIO(content)) as whole:
        exif = whole.getexif()
        out = BytesIO()
        whole.crop((130, 90, 1903, 1401)).save(out, "JPEG", quality=92, exif=exif)
    for data, told in ((content, False), (out.getvalue(), True)):
        photo = load_photo(store.photo(key, take_photo(store, key, data)))
        look = first_look(photo, ReferenceTold("marker_sheet", "middle"), "cm")
        assert look.found
        assert ["Send the whole photo" in said for said in look.cut] == [True] * told
        assert not any("Send the whole photo" in said for said in look.remarks)


def test_the_blur_of_a_photo_is_looked_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    looked: list[int] = []

    def sharpest(rgb: np.ndarray) -> float:
        looked.append(rgb.shape[0])
        return 0.0

    monkeypatch.setattr(taking, "_sharpest", sharpest)
    facts = CameraFacts(26.0, "given")
    photos = [
        Photo(np.zeros((size, size, 3), np.uint8), facts, sha256, "JPEG")
        for sha256, size in (("once", 300), ("once", 300), ("another", 300), ("once", 400))
    ]
    for photo in photos:
        quality_remarks(photo)
    assert looked == [300, 300, 400]
    assert taking.MOST_KNOWN == 96


@pytest.mark.slow
def test_poor_photos_are_remarked_on_and_the_samples_are_not(tmp_path: Path) -> None:
    def remarks(rgb: np.ndarray) -> str:
        path = tmp_path / "made.png"
        cv2.imwrite(str(path), rgb[:, :, ::-1])
        return " ".join(quality_remarks(load_photo(path, focal_35mm=26)))

    for name in sample_names():
        for path in (samples_folder() / name).glob("*.jpg"):
            said = " ".join(quality_remarks(load_photo(path)))
            assert not any(word in said for word in ("dark", "blurred", "small")), (path, said)
    rgb = load_photo(samples_folder() / "flint" / "side.jpg").rgb
    assert remarks(rgb) == ""
    assert "blurred" in remarks(cv2.GaussianBlur(rgb, (0, 0), 9))
    assert "dark" in remarks(rgb // 6)
    assert "800 x 600" in remarks(cv2.resize(rgb, (800, 600), interpolation=cv2.INTER_AREA))
    assert "sideways" in remarks(np.ascontiguousarray(rgb[:, 500:1500]))
