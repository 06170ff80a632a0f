from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from photocheck.case.model import Reference
from photocheck.errors import CaseError, ScaleError
from photocheck.scale import discs, find
from photocheck.scale.find import locate_any, see_reference
from tests.support.scale_scenes import (
    card_layer,
    clouds,
    photograph,
    plane_to_photo,
    project,
    sheet_layer,
)

SHAPE = (420, 460)


@pytest.fixture(scope="module")
def scene():
    """The marker sheet on the left, a card on the right, in one picture."""
    back = 0.05 + 0.35 * clouds(SHAPE, 3)
    sheet = plane_to_photo(3000, (150, 210), (0, 0, 3000 / 0.9), yaw=10)
    card = plane_to_photo(3000, (350, 200), (0, 0, 3000 / 1.3), yaw=-12, roll=6)
    layers = [sheet_layer(sheet, 3.0), card_layer(card, 85.6, 53.98, (0.1, 0.2, 0.7), radius_mm=3)]
    return photograph(back, layers, seed=1), sheet, card


def test_each_form_goes_its_way(scene):
    picture, sheet, card = scene
    seen = see_reference(picture, Reference("marker_sheet", bar_mm=150.0))
    assert (seen.kind, seen.how, seen.size_factor) == ("marker_sheet", "markers", 1.0)
    assert np.max(np.abs(seen.points_px - project(sheet, seen.points_mm))) < 0.3
    near = tuple(project(card, [[5.0, 5.0]])[0])
    seen = see_reference(picture, Reference("id_card", near=near))
    assert (seen.kind, seen.how) == ("id_card", "found")
    assert np.max(np.abs(seen.points_px - project(card, seen.points_mm))) < 1.0
    corners = tuple(map(tuple, np.round(seen.points_px + 1)))
    again = see_reference(picture, Reference("id_card", corners=corners, corner_spread_px=2.0))
    assert again.how == "marked"
    assert np.max(np.abs(again.points_px - seen.points_px)) < 0.1
    seen = see_reference(
        picture, Reference("two_points", ends=((10.0, 20.0), (310.0, 420.0 - 0.6)), length_mm=300)
    )
    assert seen.points_mm.tolist() == [[-150.0, 0.0], [150.0, 0.0]]
    assert seen.spread_px == 4.0


def test_locate(scene):
    picture, _, card = scene
    assert [seen.kind for seen in locate_any(picture)] == ["marker_sheet"]
    near = tuple(project(card, [[0.0, 0.0]])[0])
    kinds = [seen.kind for seen in locate_any(picture, near)]
    assert kinds[:2] == ["marker_sheet", "id_card"]
    assert locate_any(np.full((200, 200, 3), 90, np.uint8), (100.0, 100.0)) == ()


@pytest.mark.parametrize(
    ("reference", "error", "words"),
    [
        (Reference("coin"), CaseError, "'coin' is no known reference.*id_card"),
        (Reference("marker_sheet", bar_mm=15.0), ScaleError, "proof bar of 15 mm"),
        (Reference("marker_sheet"), ScaleError, "none of its four squares"),
        (Reference("id_card"), ScaleError, "neither marked nor pointed at"),
        (Reference("id_card", near=(999.0, 9.0)), ScaleError, "outside the picture"),
        (Reference("two_points", ends=((1, 1), (90, 90))), ScaleError, "distance .* missing"),
        (Reference("two_points", length_mm=300.0), ScaleError, "0 ends were marked"),
        (
            Reference("two_points", ends=((1, 1), (9, 9)), length_mm=300.0),
            ScaleError,
            "only 11 px apart",
        ),
        (
            Reference("two_points", ends=((1, 1), (9, 999)), length_mm=300.0),
            ScaleError,
            "second end .* outside",
        ),
        (Reference("disc", near=(50.0, 50.0)), ScaleError, "diameter of the disc is missing"),
        (Reference("ball", near=(50.0, 50.0)), ScaleError, "diameter of the ball is missing"),
        (
            Reference("id_card", near=(50.0, 50.0), corner_spread_px=-1.0),
            ScaleError,
            "spread of -1 px",
        ),
    ],
)
def test_errors_are_sentences(reference, error, words):
    picture = np.full((120, 160, 3), 90, np.uint8)
    with pytest.raises(error, match=words) as caught:
        see_reference(picture, reference)
    assert caught.value.do
    assert str(caught.value).endswith(".")


def test_a_lone_marker_is_named(scene):
    picture, _, _ = scene
    # Only the top left square is left in the picture.
    with pytest.raises(ScaleError, match="only the top left square was seen"):
        see_reference(np.ascontiguousarray(picture[:200, :150]), Reference("marker_sheet"))


@pytest.mark.parametrize(
    ("spread", "good"),
    [(0.5, True), (200.0, True), (None, True), (0.0, False), (-1.0, False), (200.1, False),
     (np.inf, False)],
)  # fmt: skip
def test_a_hands_spread_lies_between_nothing_and_two_hundred_pixels(
    spread: float | None, good: bool
) -> None:
    if good:
        find._check_spread(spread)
    else:
        with pytest.raises(ScaleError, match="cannot be used"):
            find._check_spread(spread)


def test_round_things_are_looked_for_only_with_their_size(monkeypatch: pytest.MonkeyPatch) -> None:
    looked: list[tuple[str, float | None]] = []

    def nothing(_: object, kind: Any, *, near: object) -> None:
        looked.append((kind.kind, None))
        raise ScaleError("nothing", where="reference", do="look")

    def none_round(_: object, diameter: float, kind: str, **__: object) -> None:
        looked.append((kind, diameter))
        raise ScaleError("nothing", where="reference", do="look")

    monkeypatch.setattr(find, "find_rectangle", nothing)
    monkeypatch.setattr(discs, "find_disc", none_round)
    blank = np.full((60, 80, 3), 128, np.uint8)
    assert locate_any(blank, near=(30.0, 30.0)) == ()
    flat = set(looked)
    assert {kind for kind, _ in flat} == {"id_card", "a4", "letter"}
    looked.clear()
    assert locate_any(blank, near=(30.0, 30.0), diameter_mm=0.5) == ()
    assert set(looked) - flat == {("disc", 0.5), ("ball", 0.5)}
