"""What is found without a mark: where it was drawn, as what it is, and nothing in its stead."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from photocheck.case.samples import samples_folder
from photocheck.locating import beside_dog
from photocheck.photo.load import load_photo
from photocheck.scale.catalogue import REFERENCES, paper_of
from photocheck.scale.kinds import BesideDog
from photocheck.scale.unaided import places, sightings
from photocheck.scale.unaided_rounds import round_sightings

BESIDE = BesideDog(1600.0)


def _ground(seed: int = 1) -> np.ndarray:
    """Soft blotches: nothing with four sides."""
    noise = np.random.default_rng(seed).normal(0, 60, (700, 1000, 3))
    soft = 110 + 6 * cv2.GaussianBlur(noise, (0, 0), 12)
    return np.clip(soft, 0, 255).astype(np.uint8)


def _with_sheet(kind: str, px_per_mm: float, at: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    picture = _ground()
    long, short = (round(side * px_per_mm) for side in REFERENCES[kind].size_mm)
    x, y = at
    picture[y : y + short, x : x + long] = (238, 236, 230)
    around = np.array([[0, 0], [long, 0], [long, short], [0, short]])
    corners = around + np.array([x - 0.5, y - 0.5])
    return picture, corners


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["a4", "letter"])
def test_a_sheet_is_found_where_it_lies(kind):
    """ISO 216 and ANSI/ASME Y14.1: 297 x 210 and 279.4 x 215.9 mm."""
    picture, corners = _with_sheet(kind, 0.7, (520, 260))
    (found,) = sightings(picture, BESIDE)
    assert found.seen[0].kind == kind
    assert np.max(np.abs(found.corners - corners)) < 0.5
    assert found.sure > 0.8


@pytest.mark.slow
def test_nothing_is_found_where_nothing_is():
    assert sightings(_ground(2), BESIDE) == ()


def test_in_a_blank_picture_is_no_place_at_all() -> None:
    """One tone, as of a wall that fills the photo: no shape of any kind to look at."""
    blank = np.full((300, 400, 3), 128, np.uint8)
    assert places(blank, 5) == []
    assert sightings(blank, BESIDE) == ()
    assert round_sightings(blank) == ()


@pytest.mark.slow
def test_what_would_stand_far_from_any_dog_is_not_shown():
    """The same sheet through a lens by which it would stand 57 m off."""
    picture, _ = _with_sheet("a4", 0.7, (520, 260))
    assert sightings(picture, BesideDog(40_000.0)) == ()


@pytest.mark.slow
def test_a_frame_printed_on_a_sheet_is_not_shown_in_its_stead():
    picture, corners = _with_sheet("a4", 0.9, (400, 200))
    picture[240:340, 440:600] = (90, 60, 50)
    found = sightings(picture, BESIDE)
    assert all(np.max(np.abs(one.corners - corners)) < 0.5 for one in found)


@pytest.mark.slow
def test_the_samples_card_is_found_and_called_a_card():
    """Its corners were marked by hand for the sample's case: 4 px apart counts as there."""
    photo = load_photo(samples_folder() / "nettle" / "side.jpg")
    (found,) = sightings(photo.rgb, beside_dog(photo, "DE"))
    assert found.seen[0].kind == "id_card"
    marked = np.array([[982.4, 791.9], [1058.2, 789.7], [1059.7, 837.2], [984.9, 838.8]])
    assert np.max(np.abs(found.corners - marked)) < 4.0


def test_the_paper_in_use_parts_what_shape_leaves_open():
    """CLDR, as Unicode Technical Standard 35 has it: letter in fourteen countries, A4 elsewhere."""
    assert [paper_of(land) for land in ("US", "MX", "PH", "DE", "GB", "AU")] == [
        *("letter", "letter", "letter"),
        *("a4", "a4", "a4"),
    ]
    corners = np.array([[0.0, 0.0], [272.0, 0.0], [272.0, 200.0], [0.0, 200.0]])
    a4, letter = (REFERENCES[kind] for kind in ("a4", "letter"))
    here, there = BesideDog(2000.0, "a4"), BesideDog(2000.0, "letter")
    assert here.cost(a4, corners) < here.cost(letter, corners)
    assert there.cost(letter, corners) < there.cost(a4, corners)
