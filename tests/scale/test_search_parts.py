"""Parts of the searches without a tap, of tags and of the sheet, fed with what they decide on."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from photocheck.errors import ScaleError
from photocheck.scale import (
    beside,
    beyond,
    kinds,
    marker_detection,
    marker_plane,
    markers,
    planes,
    refining,
    rivals,
    rough_ellipses,
    subpixel,
    tag_detection,
    tag_fit,
    tags,
    unaided,
    unaided_rounds,
)
from photocheck.scale.candidates import BORDER_PX
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.discs import OutlineFound
from photocheck.scale.edges import seen_as
from photocheck.scale.ellipses import Ellipse
from photocheck.scale.kinds import BesideDog, likeliest_first
from photocheck.scale.marker_detection import MarkerSeen
from photocheck.scale.marker_plane import places_mm
from photocheck.scale.outline_fits import OutlineFit
from photocheck.scale.seen import ReferenceSeen
from photocheck.scale.sheet import LAYOUT, marker_cells, sheet_bitmap
from photocheck.scale.subpixel import EdgeLine
from photocheck.scale.unaided import FourSides, Sighting, sightings
from photocheck.scale.unaided_rounds import RoundSighting, round_places, round_sightings

Array = NDArray[np.float64]
CARD, A4, LETTER = (REFERENCES[kind] for kind in ("id_card", "a4", "letter"))
BLANK = np.full((600, 800, 3), 128, np.uint8)
SQUARE = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
NEAR = BesideDog(2300.0)


def _box(wide: float, high: float, x: float = 400.0, y: float = 300.0) -> Array:
    return SQUARE * np.array([wide, high]) / 2 + np.array([x, y])


def _line(start: Any, end: Any, support: float = 0.9, spread: float = 0.05) -> EdgeLine:
    ends = np.array(start, float), np.array(end, float)
    return EdgeLine(*ends, support, 0.5, 0.1, 0.1, spread, spread)


# --- cards and sheets that nobody pointed at ------------------------------------------------------


@pytest.fixture
def shown(monkeypatch: pytest.MonkeyPatch) -> Any:
    """Places as a test has them: each with the shape that is found there, and how surely."""
    told = SimpleNamespace(places=[], looked=[])

    def weighed_at(_: Any, kind: Any, near: Array, across_px: Any) -> Any:
        told.looked.append((near.tolist(), across_px))
        place = next(p for p in told.places if np.allclose(p.corners.mean(axis=0), near))
        seen = replace(seen_as(kind, "found", place.found, place.spread, []))
        rivals = tuple((share, place.found) for share in place.rivals)
        return seen, SimpleNamespace(sure=place.sure, rivals=rivals)

    monkeypatch.setattr(unaided, "places", lambda *_: [])
    monkeypatch.setattr(
        unaided, "_closer", lambda *_: [(FourSides(p.corners, 1.0), A4) for p in told.places]
    )
    monkeypatch.setattr(unaided, "weighed_at", weighed_at)
    monkeypatch.setattr(unaided, "_as_kinds", lambda _, seen, __: (seen,))
    return told


def _place(corners: Array, **told: Any) -> Any:
    facts = {"corners": corners, "found": corners, "sure": 0.9, "spread": 1.0, "rivals": ()}
    return SimpleNamespace(**(facts | told))


SHEET = _box(297.0, 210.0)


@pytest.mark.parametrize(
    ("told", "found"),
    [
        ({"sure": 0.81}, 1), ({"sure": 0.79}, 0),
        ({"rivals": (0.07, 0.07)}, 1), ({"rivals": (0.08, 0.08)}, 0),
        ({"spread": 0.029 * 297}, 1), ({"spread": 0.031 * 297}, 0),
    ],
)  # fmt: skip
def test_what_nobody_pointed_at_is_shown_when_it_is_sure(
    shown: Any, told: dict[str, Any], found: int
) -> None:
    """What is shown wrongly is worse than nothing: sure, without rivals, known to 3 %."""
    shown.places = [_place(SHEET, **told)]
    assert len(sightings(BLANK, NEAR)) == found
    ((near, across),) = shown.looked
    assert near == pytest.approx([400.0, 300.0])
    assert across == pytest.approx((1.3 * 297, 4.5 * 297))  # windows about the thing's own size


def test_what_is_printed_on_a_sheet_is_neither_looked_at_nor_shown(shown: Any) -> None:
    inner = _box(120.0, 85.0, 330.0, 300.0)
    shown.places = [_place(inner), _place(SHEET), _place(_box(90.0, 64.0, 700.0, 60.0))]
    assert len(sightings(BLANK, NEAR)) == 2
    assert [700.0, 60.0] in [near for near, _ in shown.looked]
    assert [330.0, 300.0] not in [near for near, _ in shown.looked]
    # a place aside at which the inner one is found all the same
    aside = _box(120.0, 85.0, 100.0, 500.0)
    shown.places = [_place(aside, found=inner, sure=0.99), _place(SHEET)]
    (one,) = sightings(BLANK, NEAR)
    assert one.corners == pytest.approx(SHEET)
    # as large as the sheet by a quarter less it is no print
    large = _box(240.0, 170.0, 380.0, 300.0)
    assert not unaided._lies_in(large, SHEET)
    assert unaided._lies_in(_box(235.0, 165.0, 380.0, 300.0), SHEET)
    assert not unaided._lies_in(inner + np.array([500.0, 0.0]), SHEET)


@pytest.mark.parametrize(("apart", "kept"), [(0.49, 1), (0.51, 2)])
def test_two_that_overlap_by_half_are_one_thing_and_the_surer_is_shown(
    shown: Any, apart: float, kept: int
) -> None:
    """Half of the longer side; half of the shorter one would be another sheet beside it."""
    beside_it = SHEET + np.array([apart * 297.0, 0.0])
    shown.places = [_place(SHEET, sure=0.85), _place(beside_it, sure=0.95)]
    found = sightings(BLANK, NEAR)
    assert len(found) == kept
    assert found[0].corners == pytest.approx(beside_it)
    assert [one.sure for one in found] == [0.95, 0.85][:kept]
    turned = _box(210.0, 297.0)
    seen = (seen_as(A4, "found", turned, 1.0, []),)
    moved = (seen_as(A4, "found", turned + np.array([0.0, apart * 297.0]), 1.0, []),)
    assert unaided._same(Sighting(seen, 0.9), Sighting(moved, 0.9)) == (kept == 1)


def test_only_the_three_plainest_places_are_looked_at_closely(shown: Any) -> None:
    shown.places = [_place(_box(90.0, 64.0, 100.0 + 150 * k, 80.0)) for k in range(5)]
    assert len(sightings(BLANK, NEAR)) == 3


def test_a_place_is_the_kind_that_it_is_surest_of(monkeypatch: pytest.MonkeyPatch) -> None:
    sure = {"a4": 0.28, "letter": 0.24, "id_card": 0.2}
    window = SimpleNamespace(origin=np.zeros(2), scale=1.0)
    monkeypatch.setattr(unaided, "windows", lambda *_: iter([window]))
    monkeypatch.setattr(unaided, "fitted_in", lambda _, kind, __: kind.kind)
    monkeypatch.setattr(
        unaided, "weigh",
        lambda kind, *_, **__: SimpleNamespace(sure=sure[kind]) if sure[kind] else None,
    )  # fmt: skip
    place = FourSides(SHEET, 1.0)

    def told() -> list[str]:
        return [kind.kind for _, kind in unaided._closer(BLANK, [place], NEAR)]

    assert told() == ["a4"]
    sure["letter"] = 0.29
    assert told() == ["letter"]
    sure.update(a4=0.0, letter=0.24)
    assert told() == []
    assert unaided._closer(BLANK, [place], BesideDog(1e5)) == []


@pytest.mark.parametrize(
    ("corners", "focal_px", "kinds_told"),
    [
        # square-on an A4 sheet; as a card it would be turned by 27 degrees, letter by 24
        (SHEET, 2300.0, {"a4", "letter", "id_card"}),
        (SHEET, 1500.0, {"a4", "letter"}),  # a card would be 0.4 m away: 2.9 deviations
        (_box(297.0, 297.0 / 1.9), 2300.0, {"id_card"}),  # a sheet would be turned by 42 and 47
        (_box(297.0, 297.0 / 2.5), 2300.0, set()),
    ],
)
def test_a_shape_may_be_each_kind_that_stands_and_lies_as_usual(
    monkeypatch: pytest.MonkeyPatch, corners: Array, focal_px: float, kinds_told: set[str]
) -> None:
    monkeypatch.setattr(unaided, "costs", lambda _, ways, __: np.zeros(len(ways)))
    seen = seen_as(CARD if "id_card" in kinds_told else A4, "found", corners, 1.0, []) if (
        kinds_told
    ) else ReferenceSeen("a4", "found", corners, corners, 1.0, 0.0)  # fmt: skip
    ways = unaided._as_kinds(BLANK, seen, BesideDog(focal_px))
    assert {way.kind for way in ways} == kinds_told


def test_kinds_far_less_likely_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """Minus twice the log likelihood: 6 is one in twenty."""
    own = {"a4": 5.9, "letter": 6.1, "id_card": 0.0}
    monkeypatch.setattr(
        unaided, "costs", lambda _, ways, __: np.array([own[way.kind] for way in ways])
    )
    seen = seen_as(A4, "found", SHEET, 1.0, [])
    assert [way.kind for way in unaided._as_kinds(BLANK, seen, NEAR)] == ["id_card", "a4"]


def test_an_outline_beyond_the_border_has_the_borders_edges() -> None:
    """As if the picture went on as it ends."""
    slope = np.random.default_rng(3).normal(0, 40, (60, 80, 2)).astype(np.float32)
    quads = np.array([_box(60, 40, 5, 5), _box(60, 40, 78, 58), _box(30, 20, 40, 30)])
    inner: Any = SimpleNamespace(slope=slope, rgb=np.zeros((60, 80, 3)))
    wider = np.pad(slope, ((60, 60), (60, 60), (0, 0)), "edge")
    outer: Any = SimpleNamespace(slope=wider, rgb=np.zeros((180, 200, 3)))
    assert unaided._edge_of(inner, quads) == pytest.approx(unaided._edge_of(outer, quads + 60.0))


def test_the_plainest_places_are_kept_apart_by_a_fifth() -> None:
    found = [FourSides(SHEET + np.array([off, 0.0]), 1.0) for off in (0.0, 59.0, 60.0, 119.0)]
    assert [one.corners[0, 0] - SHEET[0, 0] for one in unaided._apart(found, 9)] == [0.0, 60.0]
    assert len(unaided._apart(found, 1)) == 1


# --- round things that nobody pointed at ----------------------------------------------------------


def _round(half: Any, at: Any = (400.0, 300.0), **told: float) -> OutlineFit:
    ellipse = Ellipse(np.array(at, float), np.broadcast_to(half, 2).astype(float), 0.0)
    facts = {"support": 0.9, "scatter_px": 0.1, "steepness": 0.1, "contrast": 0.5, "score": 1.0}
    return OutlineFit(ellipse, ellipse.points(24)[0], **(facts | told))


def _found(fit: OutlineFit, rivalled: bool = False) -> OutlineFound:
    return OutlineFound(fit, [], 0.2, 0.01, rivalled)


@pytest.mark.parametrize(
    ("half", "told", "plain"),
    [
        (50.0, {}, True), (16.5, {"scatter_px": 0.05}, True), (15.5, {"scatter_px": 0.05}, False),
        (50.0, {"support": 0.81}, True), (50.0, {"support": 0.79}, False),
        (50.0, {"contrast": 0.16}, True), (50.0, {"contrast": 0.14}, False),
        (50.0, {"scatter_px": 0.24}, True), (50.0, {"scatter_px": 0.26}, False),
    ],
)  # fmt: skip
def test_a_round_thing_is_plain_by_all_that_speaks_for_it(
    half: float, told: dict[str, float], plain: bool
) -> None:
    assert unaided_rounds._is_plain(_found(_round(half, **told))) == plain
    assert not unaided_rounds._is_plain(_found(_round(half, **told), rivalled=True))


def _seen_at(monkeypatch: pytest.MonkeyPatch, ball: Any, disc: Any) -> Any:
    """What is told of a place of 40 by 30 px where a search finds these as ball and as disc."""
    looked: list[Any] = []

    def outline_at(_: Any, kind: str, near: Array, across: Any) -> OutlineFound:
        looked.append((near.tolist(), across))
        found = {"ball": ball, "disc": disc}[kind]
        if found is None:
            raise ScaleError("nothing", where="reference", do="look")
        return _found(found)

    monkeypatch.setattr(unaided_rounds, "outline_at", outline_at)
    one = unaided_rounds._seen_at(BLANK, _round((30.0, 40.0)).ellipse)
    assert all(near == [400.0, 300.0] for near, _ in looked)
    assert all(across == pytest.approx((2.6 * 40, 8.0 * 40)) for _, across in looked)
    return one


def test_a_round_thing_is_a_ball_before_it_is_a_disc(monkeypatch: pytest.MonkeyPatch) -> None:
    ball, flat, faint = _round(50.0), _round((50.0, 46.0)), _round(50.0, support=0.5)
    for as_ball, as_disc, told in (
        (ball, None, ("ball", "disc")),
        (_round((47.0, 50.0)), None, ("ball", "disc")),
        (flat, flat, ("disc",)),  # 0.92: less round than any ball near the middle is seen
        (_round((46.0, 50.0)), flat, ("disc",)),
        (None, flat, ("disc",)), (faint, ball, ("disc",)), (faint, faint, None), (None, None, None),
        (faint, _round(39.0), None),  # a patch on it, perhaps: less than 0.8 of what is around
        (faint, _round(41.0), ("disc",)),
    ):  # fmt: skip
        one = _seen_at(monkeypatch, as_ball, as_disc)
        assert (one.kinds if one else None) == told


def test_round_things_are_shown_once_and_not_beside_their_like(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    closer: list[Ellipse] = []
    found: dict[float, RoundSighting | None] = {}
    looked: list[float] = []

    def seen_at(_: Any, place: Ellipse) -> RoundSighting | None:
        looked.append(float(place.centre[0]))
        return found[looked[-1]]

    monkeypatch.setattr(unaided_rounds, "round_places", lambda *_: [])
    monkeypatch.setattr(unaided_rounds, "_closer", lambda *_: closer)
    monkeypatch.setattr(unaided_rounds, "_seen_at", seen_at)

    def told(*rounds: tuple[float, float, float], none_at: float = -1.0) -> list[float]:
        """Where things are shown, of (x, half, score) each."""
        closer[:] = [_round(half, (x, 300.0)).ellipse for x, half, _ in rounds]
        looked.clear()
        found.clear()
        found.update({
            x: None if x == none_at
            else RoundSighting(("disc",), _found(_round(half, (x, 300.0), score=score)))
            for x, half, score in rounds
        })  # fmt: skip
        return [float(one.ellipse.centre[0]) for one in round_sightings(BLANK)]

    assert told((100.0, 20.0, 1.0), (700.0, 20.0, 2.0)) == [700.0, 100.0]
    assert told((100.0, 20.0, 1.0), (700.0, 20.0, 2.0), none_at=700.0) == [100.0]
    assert told((100.0, 20.0, 1.0), (110.0, 6.0, 1.0)) == [100.0]
    assert looked == [100.0]  # what lies within it is not looked at
    assert told((100.0, 20.0, 1.0), (700.0, 20.0, 1.0), (710.0, 6.0, 1.0)) == [100.0, 700.0]
    assert looked == [100.0, 700.0]
    assert told((100.0, 20.0, 1.0), (190.0, 20.0, 1.0)) == []  # eyes
    assert told((100.0, 20.0, 1.0), (190.0, 20.0, 1.0), (700.0, 20.0, 1.0)) == [700.0]
    # three at once are spots; and of many no more than three are looked at
    assert told((100.0, 20.0, 1.0), (400.0, 20.0, 1.0), (700.0, 20.0, 1.0)) == []
    assert told((100.0, 9.0, 1.0), (300.0, 9.0, 1.0), (500.0, 9.0, 1.0), (700.0, 9.0, 1.0),
                none_at=300.0) == [100.0, 500.0]  # fmt: skip
    assert looked == [100.0, 300.0, 500.0]


@pytest.mark.parametrize(
    ("at", "half", "near"),
    # within six times its size, and within two and a half times as large or small
    [(119.0, 20.0, True), (121.0, 20.0, False), (119.0, 49.0, True), (119.0, 51.0, False),
     (119.0, 8.2, True), (119.0, 7.8, False), (19.0, 8.2, False), (21.0, 8.2, True)],
)  # fmt: skip
def test_spots_are_alike_and_near(at: float, half: float, near: bool) -> None:
    one, other = _round(20.0, (0.0, 0.0)).ellipse, _round(half, (at, 0.0)).ellipse
    assert unaided_rounds._beside(one, other) == near


@pytest.mark.parametrize(
    ("width", "half", "reach"),
    [(800, 20.0, 2.5), (800, 50.0, 4.0), (2400, 20.0, 4.5), (2400, 100.0, 8.0)],
)
def test_rough_rounds_are_fitted_within_what_they_may_miss_by(
    monkeypatch: pytest.MonkeyPatch, width: int, half: float, reach: float
) -> None:
    """Three px of the shrunken look, a twelfth of the half axis, an edge's own width."""
    given = [_round(half, support=0.71), _round(half, support=0.69),
             _round(half, contrast=0.16, score=2.0), _round(half, contrast=0.14)]  # fmt: skip
    looked: list[float] = []

    def fitted(_: Any, place: Ellipse, reach_px: float, kind: str) -> OutlineFit:
        looked.append(reach_px)
        assert kind == "disc"
        return next(fit for fit in given if fit.ellipse is place)

    monkeypatch.setattr(unaided_rounds, "fitted_outline", fitted)
    picture = np.zeros((width // 4, width, 3), np.uint8)
    kept = unaided_rounds._closer(picture, [fit.ellipse for fit in given])
    assert looked == pytest.approx([reach] * 4)
    assert [one is given[k].ellipse for one, k in zip(kept, (2, 0), strict=True)] == [True, True]


def test_rounds_are_the_same_that_lie_as_near_and_are_as_large(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A quarter of the half axis; rings around each other are several."""
    rough = [
        *((0.9, _round(40.0)), (0.8, _round(40.0, (409.0, 300.0)))),
        *((0.7, _round(31.0)), (0.6, _round(29.0)), (0.5, _round(40.0, (411.0, 300.0)))),
    ]
    monkeypatch.setattr(
        unaided_rounds, "_rough", lambda _: [(edge, fit.ellipse) for edge, fit in rough]
    )

    def kept(most: int) -> list[tuple[float, float]]:
        found = round_places(BLANK, most)
        return [(float(one.half[0]), round(float(one.centre[0] - found[0].centre[0]), 6))
                for one in found]  # fmt: skip

    # the third is 9 smaller than the first, which is less than a quarter of 40 but not of 31
    assert [half for half, _ in kept(9)] == [40.0, 31.0, 40.0]
    assert len(kept(2)) == 2


# --- which kind -----------------------------------------------------------------------------------


def test_the_outer_of_two_shapes_is_likelier_and_two_are_sorted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(kinds, "_cost", lambda *_: 0.0)
    small, large, none = (
        seen_as(A4, "found", SHEET[0] + by * (SHEET - SHEET[0]), 1.0, []) for by in (0.5, 1.0, 1e-3)
    )
    three = kinds.costs(BLANK, [small, large, none])
    # 3 for each unit of ln(area over area); of less than a pixel as of one
    assert three == pytest.approx([3 * np.log(4.0), 0.0, 3 * np.log(297.0 * 210.0)])
    assert likeliest_first(BLANK, [small, large]) == [large, small]
    assert likeliest_first(BLANK, [small]) == [small]


@pytest.mark.parametrize(
    ("beyond_it", "gap", "around"),
    [(2.9, 8.0, True), (3.1, 8.0, False), (-1.0, 5.1, True), (-1.0, 4.9, False)],
)
def test_a_shape_lies_around_another_to_within_what_their_lines_are_known_to(
    beyond_it: float, gap: float, around: bool
) -> None:
    """Boxes side by side with the picture, so that distances are differences: lines known to 2 px,
    one corner beyond by 1.5 of that at most, one side within by more than 2.5 of it."""
    outer = np.array([[0.0, 0.0], [100.0, 0.0], [100.0, 60.0], [0.0, 60.0]])
    inner = np.array([[gap, 1.0], [100.0 + beyond_it, 1.0], [100.0 + beyond_it, 59.0], [gap, 59.0]])
    for known in ([2.0, 0.5], [0.5, 2.0]):  # the worse known of the two counts
        for size in (1.0, 3.0):  # a shape's own size does not
            places, lines = np.array([outer, inner]) * size, np.array(known) * size
            assert rivals._around(places, lines).tolist() == [[False, around], [False, False]]


@pytest.mark.parametrize(
    ("length", "reach"), [(10.0, 5), (31.0, 5), (50.0, 8), (100.0, 16), (190.0, 30), (900.0, 30)]
)
def test_a_side_is_followed_beyond_its_corner_for_a_sixth_of_its_length(
    length: float, reach: int
) -> None:
    """0.16 of it, of 5 to 30 px; a line drawn to there is seen whole, one a px shorter to 7/8."""
    start, along = np.array([[20.0, 50.0]]), np.array([[1.0, 0.0]])
    for drawn, share in ((reach, 1.0), (reach - 1, 7 / 8)):
        slope = np.zeros((100, 100, 2))
        slope[50, 20 : 20 + drawn + 1, 1] = 10.0  # codes a px: plain
        window: Any = SimpleNamespace(slope=slope)
        found = rivals._beyond(window, start, along, np.array([length]))
        assert found == pytest.approx(share), drawn


@pytest.mark.parametrize("contrast", [30, 120])
@pytest.mark.parametrize("radius", [0.0, 6.36, 12.0])
def test_round_corners_begin_inside_of_where_sides_meet(radius: float, contrast: int) -> None:
    """By radius (sqrt 2 - 1): ISO/IEC 7810's 3.18 mm at 2 px per mm are 2.63 px."""
    fine = 4
    wide, high = 240, 152
    drawn = np.zeros((300 * fine, 400 * fine), np.uint8)
    box = [(80 * fine, 70 * fine), ((80 + wide) * fine, (70 + high) * fine)]
    r = round(radius * fine)
    (left, top), (right, bottom) = box
    cv2.rectangle(drawn, (left + r, top), (right - r - 1, bottom - 1), 255, -1)
    cv2.rectangle(drawn, (left, top + r), (right - 1, bottom - r - 1), 255, -1)
    for x in (left + r, right - r - 1):
        for y in (top + r, bottom - r - 1):
            cv2.circle(drawn, (x, y), r, 255, -1)
    share = cv2.resize(drawn, (400, 300), interpolation=cv2.INTER_AREA) / 255.0
    picture = np.asarray(np.rint(100 + contrast * share), np.uint8)
    corners = np.array([[79.5, 69.5], [319.5, 69.5], [319.5, 221.5], [79.5, 221.5]])
    inside = kinds._corners_inside(picture, corners, 2.0)
    assert inside == pytest.approx(radius * (np.sqrt(2) - 1), abs=0.5)
    faint = np.asarray(np.rint(100 + 10 * share), np.uint8)  # 0.015 of white
    assert np.isnan(kinds._corners_inside(faint, corners, 2.0))


# --- edges beside a side --------------------------------------------------------------------------

ACROSS: Array = np.arange(-60, 61, dtype=np.float64) * 0.5


def _rows(far: float, inner: Any, strip: Any, ground: Any, count: int = 12) -> Any:
    """Light from inside to outside of a side at 0 with another edge at `far`, blurred."""
    low, high = min(far, 0.0), max(far, 0.0)
    fine = np.arange(-3000, 3001) * 0.01
    tones = np.where(
        (fine < low)[:, None], inner, np.where((fine < high)[:, None], strip, ground)
    ).astype(float)
    smooth = np.column_stack([np.convolve(np.pad(tone, 100, "edge"), np.ones(201) / 201, "valid")
                              for tone in tones.T])  # fmt: skip
    profile = smooth[::50][: len(ACROSS)]
    return np.repeat(profile[None], count, axis=0).astype(np.float32)


@pytest.mark.parametrize(
    ("left", "shadow"),
    [
        ((0.5, 0.5, 0.5), True), ((0.9, 0.9, 0.9), True), ((0.94, 0.94, 0.94), False),
        ((0.12, 0.12, 0.12), True), ((0.02, 0.02, 0.02), False),
        # a blue border: most over least beyond 1.25 + 2 / 6 for 6 px of width
        ((0.4, 0.4, 0.62), True), ((0.4, 0.4, 0.66), False), ((0.85, 0.3, 0.3), False),
    ],
)  # fmt: skip
def test_a_shadow_has_its_grounds_colour_with_less_light(
    left: tuple[float, ...], shadow: bool
) -> None:
    """Outside of a side it is no doubt; a border of the thing's own is, by half of its width."""
    ground = np.array([0.6, 0.6, 0.6])
    strip = np.array(left) * ground
    outside = _rows(6.0, strip - 0.05, strip, ground)
    assert beside._off(outside, ACROSS, 10.0) == pytest.approx(0.0 if shadow else 3.0, abs=0.3)
    # inside it the other way about: a shadow that the thing casts is not of it
    inside = _rows(-6.0, strip + 0.8 * (ground - strip), strip, ground)
    assert beside._off(inside, ACROSS, 10.0) == pytest.approx(3.0 if shadow else 0.0, abs=0.3)
    assert beside._off(outside, ACROSS, 5.0) == 0.0  # farther than such strips are wide
    assert beside._off(outside[:7], ACROSS, 10.0) == 0.0
    assert (beside._off(outside[:8], ACROSS, 10.0) == 0.0) == shadow


@pytest.mark.parametrize(
    ("px_per_mm", "reach"), [(0.6, 0.0), (0.7, 2.8), (5.0, 20.0), (20.0, 40.0)]
)
def test_strips_are_looked_for_over_four_millimetres(
    monkeypatch: pytest.MonkeyPatch, px_per_mm: float, reach: float
) -> None:
    looked: list[float] = []

    def off_by(_: Any, __: Any, reach_px: float) -> float:
        looked.append(reach_px)
        return 1.0

    monkeypatch.setattr(beside, "_off", off_by)
    off = beside.strips_beside(BLANK, SHEET, px_per_mm, (0.1, 0.1))
    assert looked == pytest.approx([reach] * 4 if reach else [])
    assert off.tolist() == ([1.0] * 4 if reach else [0.0] * 4)


@pytest.mark.parametrize("scale", [1.0, 100.0])
@pytest.mark.parametrize(("sine", "met"), [(0.11, True), (0.09, False)])
def test_sides_nearly_in_a_line_meet_nowhere(scale: float, sine: float, met: bool) -> None:
    turn = np.arcsin(sine)
    quad = scale * np.array(
        [[0.0, 0.0], [1.0, 0.0], [1.0 + np.cos(turn), np.sin(turn)], [1.0, 3.0]]
    )
    moved = beyond._moved(quad, np.zeros((4, 2)))
    assert (moved is not None) == met
    if moved is not None:
        assert moved == pytest.approx(quad)
    wide = beyond._moved(scale * SQUARE, np.full((4, 2), 0.5 * scale))
    assert wide == pytest.approx(1.5 * scale * SQUARE)


# --- a shape at full size -------------------------------------------------------------------------


@pytest.mark.parametrize(("longest", "scale"), [(1290.0, 1.0), (1310.0, 1.31), (2600.0, 2.6)])
def test_a_large_shape_is_fitted_at_a_thousand_pixels(longest: float, scale: float) -> None:
    picture = np.zeros((900, 3000), np.uint8)
    picture[300:306, 900:906] = 200
    box = _box(longest, 400.0, 1500.0, 450.0)
    part, origin, found = refining._around(picture, box)
    assert found == pytest.approx([scale, scale], rel=1e-3)
    row, column = np.unravel_index(int(np.argmax(part)), part.shape)
    at = np.array([column, row]) * scale + origin
    assert at == pytest.approx([902.5, 302.5], abs=0.5 + 2.5)
    spot = np.argwhere(part > 20)
    assert spot.mean(axis=0)[::-1] * scale + origin == pytest.approx(
        [902.5, 302.5], abs=0.4 * scale
    )


@pytest.mark.parametrize("longest", [1290.0, 1470.0, 2210.0, 2601.0])
def test_what_lies_at_either_end_of_a_large_shape_is_where_it_is(longest: float) -> None:
    """The part is made a whole number of px, so that either axis has its own scale."""
    spots = np.array([[302.0, 152.0], [round(296.0 + longest), 716.0]])
    picture = np.zeros((900, 3000), np.uint8)
    for x, y in spots.astype(int):
        picture[y - 10 : y + 11, x - 10 : x + 11] = 200
    box = np.array([[300.0, 150.0], [300 + longest, 150.0], [300 + longest, 720.0], [300.0, 720.0]])
    part, origin, per_px = refining._around(picture, box)
    for spot in spots:
        left, top = np.rint((spot - origin) / per_px).astype(int) - 14
        own = part[top : top + 29, left : left + 29].astype(float)
        row, column = np.mgrid[: own.shape[0], : own.shape[1]]
        at = np.array([(own * column).sum(), (own * row).sum()]) / own.sum() + [left, top]
        assert at * per_px + origin == pytest.approx(spot, abs=0.05)


def test_a_shape_at_or_beyond_the_border_has_two_pixels_at_least() -> None:
    picture = np.zeros((900, 3000), np.uint8)
    for at, shape in (((5000.0, 450.0), (2, None)), ((1500.0, -900.0), (None, 2))):
        part, _, _ = refining._around(picture, _box(100.0, 100.0, *at))
        for size, told in zip(part.shape[::-1], shape, strict=True):
            assert told is None or size == told + 2 * BORDER_PX
    part, _, _ = refining._around(np.zeros((6, 3000), np.uint8), _box(2600.0, 4.0, 1500.0, 3.0))
    assert part.shape[0] == 8 + 2 * BORDER_PX  # six rows over 2.6 are two


def _lines_of(corners: Array) -> list[EdgeLine]:
    return [_line(a, b) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)]


@pytest.mark.parametrize(("off", "met"), [(23.9, True), (24.1, False)])
def test_sides_that_meet_far_from_the_rough_corners_are_others(
    monkeypatch: pytest.MonkeyPatch, off: float, met: bool
) -> None:
    """Four reaches and 4 px; one corner is enough."""
    moved = SHEET.copy()
    moved[1, 0] += off
    monkeypatch.setattr(refining, "straight_sides", lambda *_: _lines_of(moved))
    sides, corners = refining._whole_sides(BLANK, A4, SHEET, 5.0)
    assert len(sides) == 4
    assert (corners is not None) == met
    if corners is not None:
        assert corners == pytest.approx(moved)
    three: list[EdgeLine | None] = [None, *_lines_of(moved)[1:]]
    monkeypatch.setattr(refining, "straight_sides", lambda *_: three)
    assert refining._whole_sides(BLANK, A4, SHEET, 5.0) == (three, None)


@pytest.mark.parametrize(
    ("kind", "scale", "reaches"),
    [
        ("id_card", 0.4, [1.0, 1.0]),
        ("id_card", 1.2, [1.8, 1.8]),
        ("id_card", 4.0, [6.0, 2.5]),
        ("a4", 0.4, [2.0, 2.5]),
        ("a4", 4.0, [6.0, 2.5]),
    ],
)
def test_a_small_card_is_refined_within_a_px(
    monkeypatch: pytest.MonkeyPatch, kind: str, scale: float, reaches: list[float]
) -> None:
    """One and a half px of the window it was found in, which may be blown up; of paper 2 px."""
    looked: list[float] = []

    def fit(_: Any, corners: Array, __: Any, reach: float, *___: Any) -> list[EdgeLine]:
        looked.append(reach)
        return _lines_of(corners)

    monkeypatch.setattr(refining, "straight_sides", fit)
    one: Any = SimpleNamespace(corners=SHEET, bows=np.zeros(4), window=SimpleNamespace(scale=scale))
    fine = refining.refined(BLANK, REFERENCES[kind], one)
    assert looked == pytest.approx(reaches)
    assert fine.corners == pytest.approx(SHEET)


@pytest.mark.parametrize(("trim", "cut"), [(0.03, 0.1), (0.12, 0.4), (0.18, 0.5), (0.2, 0.5)])
def test_half_of_a_piece_at_most_is_left_out(
    monkeypatch: pytest.MonkeyPatch, trim: float, cut: float
) -> None:
    looked: list[tuple[float, float]] = []

    def fit(*_: Any, trim: tuple[float, float], **__: Any) -> list[None]:
        looked.append(trim)
        return []

    monkeypatch.setattr(refining, "fit_sides", fit)
    refining._pieces(BLANK, SHEET, np.zeros(4), trim, 3.0)
    assert looked == [pytest.approx((cut, 0.0)), pytest.approx((0.0, cut))]


def _at(x: float, y: float, support: float = 0.9) -> tuple[EdgeLine, EdgeLine]:
    """Two sides that meet at a right angle."""
    return _line((x, y - 50), (x, y), support), _line((x, y), (x + 50, y), support)


NOTHING = (None, None)


def test_a_corner_is_that_of_whole_sides_unless_they_are_bent() -> None:
    coarse = np.array([100.0, 100.0])
    straight, bent = _at(101.0, 100.0), _at(101.0, 100.0, 0.7)
    piece, faint = _at(100.0, 102.0, 0.6), _at(100.0, 102.0, 0.5)
    own = np.hypot(0.05, 0.03)
    for whole, pieces, at, spread, seen in (
        (straight, piece, [101, 100], own, 0.9),
        (bent, piece, [100, 102], np.hypot(own, 0.3 * np.sqrt(5)), 0.6),
        (bent, faint, [101, 100], own, 0.7),
        (bent, NOTHING, [101, 100], own, 0.7),
        (NOTHING, piece, [100, 102], own, 0.6),
        (NOTHING, faint, [100, 100], 2.0, 0.4),
        ((straight[0], None), (None, piece[1]), [100, 100], 2.0, 0.4),
        (_at(108.9, 100.0), NOTHING, [108.9, 100], own, 0.9),  # three px of the look, and three
        (_at(109.1, 100.0), NOTHING, [100, 100], 2.0, 0.4),
        (NOTHING, _at(100.0, 109.1), [100, 100], 2.0, 0.4),
        (NOTHING, _at(100.0, 108.9), [100, 108.9], own, 0.9),
        (_at(108.0, 100.0, 0.7), _at(92.0, 100.0, 0.6), [92, 100], np.hypot(own, 0.3 * 9), 0.6),
    ):
        corner, sd, support = refining._corner(coarse, 2.0, whole, pieces)
        assert corner == pytest.approx(np.array(at, float))
        assert (sd, support) == (pytest.approx(spread), seen)


# --- tags -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("scale", [0.5, 1.0, 80.0])
@pytest.mark.parametrize("turn", [0.0, 0.7, 2.0])
def test_a_tag_may_be_turned_away_to_three_tenths(scale: float, turn: float) -> None:
    """Of the singular values of the parallelogram that it is seen as, by NumPy."""
    rng = np.random.default_rng(5)
    c, s = np.cos(turn), np.sin(turn)
    rotation = np.array([[c, -s], [s, c]])
    for ratio, good in ((1.0, True), (0.5, True), (0.31, True), (0.29, False), (0.1, False)):
        inner = np.linalg.qr(rng.normal(size=(2, 2)))[0]
        seen = rotation @ np.diag([1.0, ratio]) @ inner
        if np.linalg.det(seen) < 0:
            seen = seen @ np.diag([1.0, -1.0])
        assert np.linalg.svd(seen, compute_uv=False) == pytest.approx([1.0, ratio])
        corners = scale * SQUARE @ seen.T + 400.0
        assert tags._plausible(corners) == good
        assert not tags._plausible(corners[::-1])  # from behind
    assert not tags._plausible(scale * SQUARE[[0, 2, 1, 3]])
    dented = scale * np.array([[-1.0, -1.0], [1.0, -1.0], [-0.1, -0.1], [-1.0, 1.0]])
    assert not tags._plausible(dented)


@pytest.mark.parametrize("turned", range(4))
@pytest.mark.parametrize(("steep", "good"), [(1.33, True), (1.37, False)])
def test_a_tag_is_seen_from_farther_than_a_few_of_its_sides(
    turned: int, steep: float, good: bool
) -> None:
    trapeze = np.array([[-1.0, -1.0], [1.0, -1.0], [steep, 1.0], [-steep, 1.0]])
    corners = 40 * np.roll(trapeze @ np.linalg.matrix_power(np.array([[0, -1], [1, 0]]), turned), 0)
    assert tags._plausible(corners) == good


@pytest.fixture
def tag_laid(monkeypatch: pytest.MonkeyPatch) -> Any:
    """A tag's fit and reading as a test has them."""
    told = SimpleNamespace(corners=_box(80.0, 80.0), sound=True, whole=True, ring=0, fit=True)
    fit = SimpleNamespace(
        corners_px=lambda: told.corners, inverse=np.eye(8), matrix=np.eye(3),
        middle_px=np.zeros(2), tip_px=np.zeros(2), tip_covariance=np.eye(2),
        corner_spread_px=lambda: 0.2,
    )  # fmt: skip
    monkeypatch.setattr(tags, "fit_tag", lambda *_, **__: fit if told.fit else None)
    monkeypatch.setattr(
        tags, "read_face",
        lambda _: SimpleNamespace(sound=told.sound, whole=told.whole, ring=told.ring, pointed=True),
    )  # fmt: skip
    monkeypatch.setattr(tags, "scale_at", lambda *_: (10.0, 0.003))
    return told


def test_a_tag_must_lie_in_the_picture_and_read_well(tag_laid: Any) -> None:
    grey = BLANK[..., 0]
    square: Any = SimpleNamespace(corners_px=_box(80.0, 80.0), code=next(iter(tags._LANDMARKS)))

    def measured() -> Any:
        return tags._measured(grey, square, 40.0, None)

    assert measured().tag.remarks == ()
    for changed, kept in (
        ({"corners": _box(80.0, 80.0, 40.0, 40.0)}, True),
        ({"corners": _box(80.0, 80.0, 39.9, 40.0)}, False),
        ({"corners": _box(80.0, 80.0, 40.0, 39.9)}, False),
        ({"corners": _box(80.0, 80.0, 759.0, 559.0)}, True),
        ({"corners": _box(80.0, 80.0, 759.1, 559.0)}, False),
        ({"corners": _box(80.0, 80.0, 759.0, 559.1)}, False),
        ({"corners": _box(80.0, 20.0)}, False),
        ({"sound": False}, False), ({"fit": False}, False),
    ):  # fmt: skip
        before = dict(vars(tag_laid))
        vars(tag_laid).update(changed)
        assert (measured() is not None) == kept, changed
        vars(tag_laid).update(before)
    tag_laid.whole = False
    assert measured().tag.remarks == ("partly covered",)


def test_a_tag_is_sound_when_it_reads_well_and_whole(tag_laid: Any) -> None:
    square: Any = SimpleNamespace(corners_px=_box(80.0, 80.0), code=7)
    for sound, whole, fit in ((1, 1, 1), (1, 0, 1), (0, 1, 1), (0, 0, 1), (1, 1, 0)):
        vars(tag_laid).update(sound=bool(sound), whole=bool(whole), fit=bool(fit))
        assert tags._sound(BLANK[..., 0], square) == bool(sound and whole and fit)


def test_light_about_a_tag_is_twelve_cells_each_way() -> None:
    grey = np.zeros((200, 300), np.uint8)
    for middle, cell, shape, low in (
        ((150.0, 100.0), 2.0, (57, 57), (122, 72)),  # 12 cells and 4 px
        ((10.0, 100.0), 2.0, (57, 39), (0, 72)),
        ((295.0, 195.0), 2.0, (33, 33), (267, 167)),
        ((150.0, 100.0), 7.9, (198, 199), (51, 1)),
        ((150.0, 100.0), 8.1, (100, 101), (48, 0)),  # cells of 8 px at most
        ((150.0, 100.0), 17.0, (50, 75), (0, 0)),
    ):
        picture, shrink, corner = tag_fit._window(grey, np.array(middle), cell)
        assert picture is not None
        assert shrink == (1 if cell < 8 else 2 if cell < 16 else 4)
        assert corner.tolist() == list(low)
        assert np.abs(np.array(picture.shape) - shape).max() <= 1
    # eight px of the picture at least, both ways: of 12 cells of 0.15 px and 4 px
    for at, seen in (
        ((0.1, 100.0), False), ((0.3, 100.0), True), ((298.7, 100.0), True),
        ((298.9, 100.0), False), ((150.0, 0.1), False), ((150.0, 0.3), True),
        ((150.0, 198.7), True), ((150.0, 198.9), False),
    ):  # fmt: skip
        assert (tag_fit._window(grey, np.array(at), 0.15)[0] is not None) == seen, at


def test_places_that_are_no_numbers_show_nothing() -> None:
    light = np.ones((20, 20), np.float32)
    at = np.array([[3.0, 3.0], [4.0, 3.0], [3.0, 4.0], [4.0, 4.0]])
    assert tag_fit._seen(light, at, np.zeros(2), 1.0, (2, 2)) is not None
    at[2, 1] = np.nan
    assert tag_fit._seen(light, at, np.zeros(2), 1.0, (2, 2)) is None


# --- the sheet ------------------------------------------------------------------------------------


def _markers(*placed: tuple[int, float]) -> tuple[MarkerSeen, ...]:
    return tuple(MarkerSeen(place, _box(30.0, 30.0, x)) for place, x in placed)


def test_which_of_two_sheets_gave_the_scale_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(markers, "agreeing_markers", lambda rest: rest)
    left, right = _markers((0, 100.0), (1, 150.0)), _markers((1, 600.0), (2, 650.0))
    assert "on the left gave the scale" in markers._another_sheet(left + right, left)[0]
    assert "on the right gave the scale" in markers._another_sheet(left + right, right)[0]
    # squares of the same sheet that none of the used ones is again are no second sheet
    other = _markers((2, 600.0), (3, 650.0))
    assert markers._another_sheet(left + other, left) == []


@pytest.mark.parametrize(
    ("longer", "shrinks"),
    [
        (600, [1.0, 0.5]), (700, [1.0, 0.5]), (701, [1.0, 2.0, 0.5]), (1999, [1.0, 2.0, 0.5]),
        (2000, [1.0, 2.0]), (2099, [1.0, 2.0]), (2101, [2.0, 1.0, 4.0]), (4900, [4.0, 1.0, 8.0]),
    ],
)  # fmt: skip
def test_a_sheet_is_looked_for_at_several_sizes(
    monkeypatch: pytest.MonkeyPatch, longer: int, shrinks: list[float]
) -> None:
    """First at about 1400 px, then at full size, half of the first, and twice as large."""
    looked: list[float] = []

    def detect_at(_: Any, shrink: float, counted: Any) -> tuple[MarkerSeen, ...]:
        looked.append(shrink)
        return ()

    monkeypatch.setattr(marker_detection, "_glance", lambda grey, counted: ())
    monkeypatch.setattr(marker_detection, "_detect_at", detect_at)
    for shape in ((8, longer), (longer, 8)):
        looked.clear()
        assert marker_detection.detect_markers(np.zeros(shape, np.uint8)) == ()

        assert looked == shrinks


@pytest.mark.parametrize(
    ("support", "off", "found"),
    [(0.9, 0.0, True), (0.5, 0.0, True), (0.49, 0.0, False),
     (0.9, 4.9, True), (0.9, 5.1, False)],
)  # fmt: skip
def test_a_markers_corner_needs_both_its_sides_near(
    monkeypatch: pytest.MonkeyPatch, support: float, off: float, found: bool
) -> None:
    """Cells of 5 px: a corner farther off belongs to the next cell."""
    square = _box(30.0, 30.0)
    lines: list[EdgeLine | None] = list(_lines_of(square + np.array([off, 0.0])))
    monkeypatch.setattr(markers, "fit_black_squares", lambda *_: lines)
    lines[0] = replace(lines[0], support=support) if lines[0] else None
    told = markers._marker_corners(BLANK[..., 0], {2: square}, 0.5)
    assert ((2, 0) in told) == found
    assert ((2, 1) in told) == found
    assert ((2, 3) in told) == (off < 5)
    lines[3] = None
    told = markers._marker_corners(BLANK[..., 0], {2: square}, 0.5)
    assert (2, 3) not in told
    assert (2, 0) not in told
    assert ((2, 2) in told) == (off < 5)
    assert markers._marker_corners(BLANK[..., 0], {}, 0.5) == {}


@pytest.mark.parametrize(("off", "found"), [(2.9, True), (3.1, False)])
def test_a_small_markers_corner_may_be_three_pixels_off(
    monkeypatch: pytest.MonkeyPatch, off: float, found: bool
) -> None:
    square = _box(12.0, 12.0)  # cells of 2 px
    monkeypatch.setattr(
        markers, "fit_black_squares", lambda *_: _lines_of(square + np.array([off, 0.0]))
    )
    assert bool(markers._marker_corners(BLANK[..., 0], {2: square}, 0.5)) == found


def _cells_seen(place: int, x: float = 20.5, y: float = 20.5) -> tuple[Any, Any]:
    """A grey picture in which each cell of a marker is one pixel, and the map from mm."""
    per_mm = 1 / LAYOUT.module_mm
    middle = np.mean(places_mm(place), axis=0) * per_mm
    matrix = np.array([[per_mm, 0, x - middle[0]], [0, per_mm, y - middle[1]], [0, 0, 1.0]])
    grey = np.full((41, 41), 180, np.uint8)
    cells = np.asarray(marker_cells(LAYOUT.marker_ids[place])).reshape(6, 6)
    grey[18:24, 18:24] = np.where(cells, 60, 180)
    return grey, matrix


def test_a_hidden_marker_is_there_when_three_quarters_of_it_agree() -> None:
    grey, matrix = _cells_seen(1)
    assert markers._partly_there(grey, matrix, 1)
    assert not markers._partly_there(grey, matrix, 2)
    assert not markers._partly_there(np.full_like(grey, 120), matrix, 1)
    for wrong, there in ((9, True), (10, False)):  # of 36 cells
        covered = grey.copy()
        flat = covered[18:24, 18:24].reshape(-1).copy()
        dark = np.flatnonzero(flat == 60)[:wrong]
        flat[dark] = 180
        covered[18:24, 18:24] = flat.reshape(6, 6)
        assert markers._partly_there(covered, matrix, 1) == there
    for bright, there in ((85, True), (84, False)):  # 25 codes
        assert markers._partly_there(np.where(grey == 180, bright, grey), matrix, 1) == there


@pytest.mark.parametrize(
    ("x", "y", "there"),
    # six columns of cells, of which four must lie a pixel inside the border
    [(1.5, 20.5, True), (0.5, 20.5, False), (38.5, 20.5, True), (39.5, 20.5, False),
     (20.5, 1.5, True), (20.5, 0.5, False), (20.5, 38.5, True), (20.5, 39.5, False)],
)  # fmt: skip
def test_two_thirds_of_a_hidden_marker_must_lie_in_the_picture(
    x: float, y: float, there: bool
) -> None:
    whole, _ = _cells_seen(1)
    wide = np.full((200, 200), 180, np.uint8)
    wide[100:141, 100:141] = whole
    left, top = round(120.5 - x), round(120.5 - y)
    grey = wide[top : top + 41, left : left + 41]
    _, matrix = _cells_seen(1, x, y)
    assert markers._partly_there(grey, matrix, 1) == there


# --- planes ---------------------------------------------------------------------------------------


def test_a_discs_scale_is_by_its_longest_diameter() -> None:
    for half in ((40.0, 25.0), (25.0, 40.0)):
        outline = _round(half).points
        told = ReferenceSeen("disc", "found", np.zeros((0, 2)), np.zeros((0, 2)), 0.2, 0.0,
                             outline_px=outline, diameter_mm=200.0)  # fmt: skip
        assert planes.mm_per_px(told) == pytest.approx(200.0 / 80.0, rel=1e-3)
        five = replace(told, outline_px=outline[::5])
        assert planes.mm_per_px(five) == pytest.approx(2.5, rel=1e-2)
        for less in (replace(five, outline_px=outline[::6]), replace(told, diameter_mm=None)):
            with pytest.raises(ScaleError, match="fixes the scale"):
                planes.mm_per_px(less)


def test_poses_behind_the_camera_or_of_no_numbers_are_none(monkeypatch: pytest.MonkeyPatch) -> None:
    none, ahead = np.array([np.nan, 0.0, 0.0]), np.zeros(3)
    told = [(ahead, [0, 0, 0.5]), (ahead, [0, 0, -0.5]), (none, [0, 0, 5.0]), (none, [0, 0, -5.0])]
    monkeypatch.setattr(
        cv2, "solvePnPGeneric",
        lambda *_, **__: (4, [t for t, _ in told], [np.array(s, float) for _, s in told], None),
    )  # fmt: skip
    found = planes._ippe(np.zeros((4, 3)), np.zeros((4, 2)), np.eye(3))
    assert [shift.tolist() for _, shift in found] == [[0.0, 0.0, 0.5]]


def test_points_in_a_line_fix_no_plane() -> None:
    line = np.array([[0.0, 0.0], [1.0, 0.0], [2.0, 0.0], [3.0, 0.0]])
    assert planes.fit_homography(line, _box(10.0, 10.0)) is None
    assert planes.fit_homography(_box(10.0, 10.0), line) is None
    assert planes.fit_homography(_box(10.0, 10.0)[:3], _box(9.0, 9.0)[:3]) is None
    assert planes.fit_homography(_box(10.0, 10.0), np.zeros((4, 2))) is None


# --- rough rounds about a mark --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("half", "kind", "kept"),
    [
        ((6.5, 6.5), "disc", True), ((5.5, 5.5), "disc", False), ((8.0, 5.5), "disc", False),
        # larger than the look by a fifth is no outline in it
        ((95.0, 95.0), "disc", True), ((97.0, 90.0), "disc", False), ((90.0, 97.0), "disc", False),
    ],
)  # fmt: skip
def test_rough_rounds_are_six_pixels_to_a_little_more_than_the_look(
    monkeypatch: pytest.MonkeyPatch, half: tuple[float, float], kind: str, kept: bool
) -> None:
    one = _round(half, (40.0, 30.0)).ellipse
    monkeypatch.setattr(rough_ellipses, "outlines", lambda _: [])
    monkeypatch.setattr(rough_ellipses, "_voted", lambda _: [one])
    monkeypatch.setattr(rough_ellipses, "_outline_share", lambda *_: 0.5)
    window: Any = SimpleNamespace(
        rgb=np.zeros((60, 80, 3), np.uint8), mark=np.array([40.0, 30.0]), scale=2.0,
        to_photo=lambda at: 2.0 * at,
    )  # fmt: skip
    found = list(rough_ellipses.rough_ellipses(window, kind))
    assert bool(found) == kept
    if found:
        ((score, ellipse, scale),) = found
        assert (score, scale) == (0.5, 2.0)
        assert ellipse.half == pytest.approx(2.0 * np.array(half))


@pytest.mark.parametrize("radius", [12.0, 40.0])
def test_a_circle_is_seen_in_a_quarter_of_it(radius: float) -> None:
    """The rest of the contour goes elsewhere."""
    angle = np.linspace(0, 2 * np.pi, round(2 * np.pi * radius), endpoint=False)
    ring = 60.0 + radius * np.column_stack([np.cos(angle), np.sin(angle)])
    rng = np.random.default_rng(8)
    for part, seen in ((1.0, True), (0.6, True), (0.12, False)):
        arc = ring[: round(part * len(ring))]
        other = 60.0 + rng.uniform(-60, 60, (len(ring) - len(arc), 2))
        found = rough_ellipses._circle_in(np.vstack([arc, other]))
        if seen:
            assert found is not None
            assert found.centre == pytest.approx([60.0, 60.0], abs=1.5)
            assert found.half == pytest.approx([radius, radius], abs=1.5)
        else:
            assert found is None or abs(found.half[0] - radius) > 1.5
    assert rough_ellipses._circle_in(np.column_stack([np.arange(30.0), np.zeros(30)])) is None
    assert rough_ellipses._circle_in(np.zeros((30, 2))) is None


def _places_of(shape: tuple[int, int]) -> Any:
    """Where a picture with one square is to be looked at."""
    half = np.full(shape, 200, np.uint8)
    half[:, : shape[1] // 2] = 20
    return tag_detection._places(half)


def test_a_tiny_picture_is_one_place() -> None:
    for shape in ((8, 400), (400, 8), (9, 9)):
        first, later = _places_of(shape)
        assert (first, later) == ([(0, 0, 2 * shape[1], 2 * shape[0])], [])
    first, _ = _places_of((40, 400))
    assert first != [(0, 0, 800, 80)]


@pytest.mark.parametrize(("apart", "count"), [(1.9, 1), (2.1, 2)])
def test_two_squares_within_two_cells_are_one(apart: float, count: int) -> None:
    """Cells of 10 px; both are read from a picture in which a marker goes on without an end."""
    code = tag_detection._looks()[0][0][0]
    cells = np.asarray(marker_cells(int(code)))
    grey = np.full((200, 200), 230, np.uint8)
    grey[60:120, 60:120] = np.kron(np.where(cells, 20, 230), np.ones((10, 10)))
    square = _box(60.0, 60.0, 89.5, 89.5)
    squares = np.array([square, square + np.array([apart * 10.0, 0.0])])
    found = tag_detection._named(grey, squares[:1], [])
    assert len(found) == 1
    assert found[0].likeness == pytest.approx(1.0, abs=0.02)
    there = [replace(found[0], corners_px=square + np.array([apart * 10.0, 0.0]))]
    assert len(tag_detection._named(grey, squares[:1], there)) == count - 1
    assert tag_detection._named(grey, np.zeros((0, 4, 2)), []) == []


@pytest.mark.parametrize("code", [0, 7, 23, 49])
def test_a_marker_begins_at_its_own_top_left_wherever_its_square_does(code: int) -> None:
    """Drawn by OpenCV, cells of 10 px; the square is handed in from each of its corners on."""
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    grey = np.full((200, 240), 230, np.uint8)
    grey[60:120, 90:150] = cv2.aruco.generateImageMarker(family, code, 60)
    square = _box(60.0, 60.0, 119.5, 89.5)
    for turn in range(4):
        found = tag_detection._named(grey, np.roll(square, turn, axis=0)[None], [])
        assert [one.code for one in found] == [code]
        assert found[0].corners_px.tolist() == square.tolist()


@pytest.mark.parametrize(("long", "seen"), [(0.9, False), (1.5, True), (12.0, True)])
def test_a_side_of_a_pixel_is_a_side(long: float, seen: bool) -> None:
    picture = np.full((80, 100, 3), 40, np.uint8)
    picture[40:] = 200
    start, end = np.array([[[50.0, 39.0]]]), np.array([[[50.0 + long, 39.0]]])
    (line,) = subpixel.fit_sides(picture, start, end, reach_px=3.0, trim=(0.0, 0.0))
    assert (line is not None) == seen
    if line is not None:
        assert line.start[1] == pytest.approx(39.5, abs=0.1)


@pytest.mark.parametrize(("px_per_mm", "drawn"), [(0.49, False), (0.5, True), (0.6, True)])
def test_a_sheet_is_drawn_from_half_a_pixel_per_mm_on(px_per_mm: float, drawn: bool) -> None:
    if drawn:
        assert sheet_bitmap(px_per_mm).shape == (round(297 * px_per_mm), round(210 * px_per_mm))
    else:
        with pytest.raises(ScaleError, match="cannot be drawn"):
            sheet_bitmap(px_per_mm)
    with pytest.raises(ScaleError, match="cannot be drawn"):
        sheet_bitmap(40.5)


@pytest.mark.parametrize(
    ("corners", "settled"),
    [({0: 4, 1: 2}, True), ({0: 4, 1: 1}, False), ({0: 3, 1: 3}, True), ({0: 4}, False)],
)
def test_a_sheet_needs_six_corners_of_two_squares(corners: dict[int, int], settled: bool) -> None:
    """A plane and the growth of black are nine numbers; twelve are the least that tell more."""
    found = {
        (place, k): 2.0 * places_mm(place)[k] + 400.0
        for place, count in corners.items()
        for k in range(count)
    }
    told = marker_plane.settled(found)
    assert (told is not None) == settled
    if told is not None:
        points_mm, points_px, spread, places = told
        assert len(points_mm) == sum(corners.values())
        assert points_px == pytest.approx(2.0 * points_mm + 400.0, abs=1e-3)
        assert places == set(corners)
        assert spread < 0.2


def test_a_corner_that_contradicts_the_rest_is_left_out_of_eight_and_more() -> None:
    """Seven are left at least: of fewer none is known to be the wrong one."""
    every = [(place, k) for place in range(3) for k in range(4)]
    for count, kept in ((12, 11), (9, 8), (8, 7), (7, 7)):
        found = {(place, k): 2.0 * places_mm(place)[k] + 400.0 for place, k in every[:count]}
        found[0, 2] = found[0, 2] + np.array([6.0, -4.0])
        told = marker_plane.settled(found)
        assert told is not None
        assert len(told[0]) == kept, count
