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
from photocheck.scale.unaided import FourSides, _apart, _could_be, places, sightings
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


def _facing(kind: str, tilt: float) -> np.ndarray:
    """A kind's corners (1, 4, 2), px, turned about its long side, by a pinhole."""
    long, short = REFERENCES[kind].size_mm
    across = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * (long / 2, short / 2)
    far = 8.0 * long
    deep = far + across[:, 1] * np.sin(tilt)
    seen = np.stack([across[:, 0], across[:, 1] * np.cos(tilt)], axis=1) * (1600.0 / deep)[:, None]
    return seen[None] + (499.5, 374.5)


@pytest.mark.parametrize(("tilt", "could"), [(0.0, True), (0.6, True), (0.8, True), (1.2, False)])
def test_a_card_turned_far_from_the_camera_is_none(tilt: float, could: bool) -> None:
    """A pinhole's picture of it; more than 50 degrees is no photo of something shown."""
    assert _could_be(_facing("id_card", tilt), (750, 1000)).tolist() == [could]


def test_what_has_the_shape_of_nothing_known_is_none() -> None:
    """Face on: a square, and three to one; cards are 1.59 to one, sheets 1.29 and 1.41."""
    shapes = [np.array([[0.0, 0], [300, 0], [300, high], [0, high]]) for high in (300, 100)]
    assert not _could_be(np.array(shapes) + 225, (750, 1000)).any()
    assert _could_be(np.zeros((0, 4, 2)), (750, 1000)).tolist() == []


def test_the_likelier_of_two_in_one_place_is_kept_and_no_more_than_are_asked_for() -> None:
    """One place where no corner is farther off than a fifth of the longest side."""
    box = np.array([[0.0, 0.0], [100, 0], [100, 60], [0, 60]])
    near, apart = (box + np.array([to, 0.0]) for to in (19.0, 21.0))
    found = [FourSides(each, edge) for each, edge in ((box, 0.9), (near, 0.8), (apart, 0.7))]
    assert [place.edge for place in _apart(found, 5)] == [0.9, 0.7]
    assert [place.edge for place in _apart(found, 1)] == [0.9]
    wider = FourSides(box + np.array([[0.0, 0.0], [21, 0], [0, 0], [0, 0]]), 0.6)
    assert [place.edge for place in _apart([found[0], wider], 5)] == [0.9]
    assert [place.edge for place in _apart([wider, found[0]], 5)] == [0.6, 0.9]  # of its own side
