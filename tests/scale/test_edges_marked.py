"""When edges replace the corners that a hand placed, when not, and what is doubted then.

The limits are reached from both sides: what is fitted is given, so that each rule is seen alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from photocheck.errors import ScaleError
from photocheck.scale import edges
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.edges import Quad, find_rectangle
from photocheck.scale.seen import ReferenceSeen
from photocheck.scale.subpixel import EdgeLine

Array = NDArray[np.float64]
A4 = REFERENCES["a4"]
BLANK = np.full((600, 800, 3), 128, np.uint8)
SHEET = np.array([[100.0, 100.0], [397.0, 100.0], [397.0, 310.0], [100.0, 310.0]])
"""An A4 sheet at 1 px/mm."""


def _side(start: Array, end: Array, support: float = 0.9, contrast: float = 0.5) -> EdgeLine:
    return EdgeLine(start, end, support, contrast, 0.1, 0.1, 0.05, 0.05)


def _fitted(corners: Array, supports: Sequence[float] = (0.9, 0.9, 0.9, 0.9)) -> Quad:
    ends = np.roll(corners, -1, axis=0)
    return Quad(corners, tuple(map(_side, corners, ends, supports)), 0.0)


def _marked(corners: Array, hand: float | None) -> ReferenceSeen:
    rough = [(float(x), float(y)) for x, y in corners]
    return find_rectangle(BLANK, A4, rough_corners=rough, corner_spread_px=hand)


@pytest.fixture
def alone(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """Nothing is found without the marks, no edges run elsewhere, and fitted corners have 0.5 px
    of doubt."""
    monkeypatch.setattr(edges, "_near_marks", lambda *_: None)
    monkeypatch.setattr(edges, "_edges_off", lambda *_: np.zeros(4))
    monkeypatch.setattr(edges, "_corner_spreads", lambda *_: np.full(4, 0.5))
    return monkeypatch


@pytest.mark.parametrize("hand", [1.0, 1.5, 3.0, 6.0])
@pytest.mark.parametrize("beyond", [-0.1, 0.1])
def test_a_corner_goes_to_the_edges_no_farther_than_a_hand_misses_by(
    alone: pytest.MonkeyPatch, hand: float, beyond: float
) -> None:
    """Five deviations of the hand and 2 px for the edge itself: what is farther is another's edge.

    One in two million normal marks lies that far off (two sides, scipy.stats.norm).
    """
    off = 5 * hand + 2 + beyond
    moved = SHEET + np.array([[-off, 0.0], [0, 0], [0, 0], [0, 0]])
    alone.setattr(edges, "_fit_quad", lambda *_, **__: _fitted(moved))
    seen = _marked(SHEET, hand)
    assert seen.points_px[0] == pytest.approx(moved[0] if beyond < 0 else SHEET[0])
    # what moved farther than two deviations is doubted by 0.3 of its way; what stayed, as marked
    of_first = np.hypot(0.5, 0.3 * off) if beyond < 0 else hand
    assert seen.spread_px == pytest.approx(np.sqrt((of_first**2 + 3 * 0.5**2) / 4))
    assert bool(seen.remarks) == (beyond > 0)


@pytest.mark.parametrize(("off", "strange"), [(5.9, False), (6.1, True)])
def test_two_deviations_of_the_hand_are_strange(
    alone: pytest.MonkeyPatch, off: float, strange: bool
) -> None:
    moved = SHEET + np.array([[-off, 0.0], [0, 0], [0, 0], [0, 0]])
    alone.setattr(edges, "_fit_quad", lambda *_, **__: _fitted(moved))
    of_first = np.hypot(0.5, 0.3 * off) if strange else 0.5
    assert _marked(SHEET, 3.0).spread_px == pytest.approx(np.sqrt((of_first**2 + 0.75) / 4))


@pytest.mark.parametrize(
    ("hand", "reach"),
    # three deviations, 2 px at least, a fifth of the shorter side at most: a sheet's other edge
    # is five fifths away
    [(0.3, 2.0), (0.6, 2.0), (0.7, 2.1), (4.0, 12.0), (13.9, 41.7), (14.1, 42.0), (60.0, 42.0)],
)
def test_edges_are_looked_for_as_far_as_a_hand_misses(
    alone: pytest.MonkeyPatch, hand: float, reach: float
) -> None:
    looked: list[float] = []

    def fit(_: Any, __: Any, ___: Any, reach_px: float, stay: float) -> None:
        looked.append(reach_px)
        assert stay == 1.0

    alone.setattr(edges, "_fit_quad", fit)
    seen = _marked(SHEET, hand)
    assert looked == pytest.approx([reach])
    assert seen.spread_px == pytest.approx(hand)  # nothing was fitted: as marked


@pytest.mark.parametrize(
    ("hand", "longer", "near", "far"),
    [
        (1.0, 1.0, 4.5, 36.0),  # a fifth of 210 px is 42: the 36 px of hasty marks
        (1.0, 0.5, 4.5, 21.0),  # a fifth of 105 px
        (12.0, 0.5, 43.0, 43.0),  # no nearer than what is near
        (12.0, 1.0, 43.0, 43.0),
        (0.0, 0.4, 1.0, 16.8),
    ],
)
def test_what_is_found_without_the_marks_is_asked_within_a_hands_reach(
    alone: pytest.MonkeyPatch, hand: float, longer: float, near: float, far: float
) -> None:
    asked: list[tuple[float, float]] = []

    def near_marks(_: Any, __: Any, ___: Any, near_px: float, far_px: float) -> None:
        asked.append((near_px, far_px))

    alone.setattr(edges, "_near_marks", near_marks)
    alone.setattr(edges, "_fit_quad", lambda *_, **__: None)
    _marked(np.array([100.0, 100.0]) + longer * (SHEET - SHEET[0]), hand)
    assert asked == [pytest.approx((near, far))]


def test_corners_without_edges_are_named_and_doubted(alone: pytest.MonkeyPatch) -> None:
    """One faint side leaves two corners as marked; of a hand that nobody told of, 10 px more."""
    seen_by_edges = _fitted(SHEET + 0.5, (0.59, 0.6, 0.6, 0.6))
    alone.setattr(edges, "_fit_quad", lambda *_, **__: seen_by_edges)
    told = _marked(SHEET, 3.0)
    assert told.points_px == pytest.approx(SHEET + np.array([[0.0], [0.0], [0.5], [0.5]]))
    assert "top left, top right corner" in told.remarks[0]
    assert told.spread_px == pytest.approx(np.sqrt((2 * 3.0**2 + 2 * 0.5**2) / 4))
    untold = _marked(SHEET, None)
    assert untold.spread_px == pytest.approx(np.sqrt((2 * (4.0**2 + 10.0**2) + 2 * 0.5**2) / 4))
    alone.setattr(edges, "_edges_off", lambda *_: np.array([2.0, 0.0, 9.0, 9.0]))
    doubted = _marked(SHEET, 3.0)
    assert doubted.spread_px == pytest.approx(np.sqrt((3**2 + 2**2 + 3**2 + 2 * 0.5**2) / 4))


def test_a_side_that_was_not_fitted_leaves_both_its_corners(alone: pytest.MonkeyPatch) -> None:
    one, *rest = _fitted(SHEET + 0.5).sides
    for sides in ((None, *rest), (*rest[:2], None, one)):
        missing = sides.index(None)
        quad = Quad(SHEET + 0.5, sides, 0.0)
        alone.setattr(edges, "_fit_quad", lambda *_, quad=quad, **__: quad)
        moved = _marked(SHEET, 3.0).points_px[:, 0] - SHEET[:, 0]
        assert np.flatnonzero(moved == 0.0).tolist() == sorted({missing, (missing + 1) % 4})


def test_a_corner_of_one_side_alone_is_nowhere() -> None:
    rest = _fitted(SHEET).sides[1:]
    spreads = edges._corner_spreads(A4, Quad(SHEET, (None, *rest), 0.0))
    assert np.isinf(spreads).tolist() == [True, True, False, False]
    # paper that may curl by 1 mm at 1 px/mm, edges of 0.15 px, two lines at right angles, of each
    # its own 0.05 and 0.3 of its scatter
    of_lines = np.hypot(0.05, 0.3 * 0.1)
    assert spreads[2:] == pytest.approx(np.hypot(np.hypot(0.15, 1.0), of_lines), rel=1e-6)


def _seen(corners: Array, spread: float = 0.6) -> ReferenceSeen:
    return edges.seen_as(A4, "found", corners, spread, [])


@pytest.mark.parametrize("turned", [0, 1, 2, 3])
def test_what_was_found_is_the_marked_one_whichever_corner_comes_first(
    monkeypatch: pytest.MonkeyPatch, turned: int
) -> None:
    found = _seen(np.roll(SHEET, turned, axis=0) + 2.0, 0.5)
    monkeypatch.setattr(edges, "_find_from_mark", lambda *_: found)
    near = edges._near_marks(BLANK, A4, SHEET, 2.9, 30.0)
    assert near is not None
    assert (near.how, near.remarks) == ("marked", ())
    told = edges._near_marks(BLANK, A4, SHEET, 2.8, 30.0)  # the corners are 2.83 px off
    assert told is not None
    assert "up to 3 px off" in told.remarks[-1]


@pytest.mark.parametrize(
    ("off", "spread", "taken"),
    [
        (10.0, 1.9, True), (10.0, 2.1, False),  # as doubtful as a fifth of how far it is
        (4.9, 3.0, True), (19.9, 1.0, True), (20.1, 1.0, False),
    ],
)  # fmt: skip
def test_what_was_found_far_from_the_marks_must_be_sure(
    monkeypatch: pytest.MonkeyPatch, off: float, spread: float, taken: bool
) -> None:
    found = _seen(SHEET + np.array([off, 0.0]), spread)
    monkeypatch.setattr(edges, "_find_from_mark", lambda *_: found)
    near = edges._near_marks(BLANK, A4, SHEET, 5.0, 20.0)
    assert (near is not None) == taken


@pytest.mark.parametrize(("off", "doubt"), [(3.9, 0.0), (4.1, 2.05), (9.0, 4.5)])
def test_edges_beyond_a_hands_miss_are_half_their_way_of_doubt(
    monkeypatch: pytest.MonkeyPatch, off: float, doubt: float
) -> None:
    trims = [(0.02, 0.03), (0.05, 0.04), (0.02, 0.02), (0.05, 0.05)]
    aside = np.array([0.0, off])
    lines = [_side(SHEET[0] - aside, SHEET[1] - aside), None, None, None]
    monkeypatch.setattr(edges, "trims_of", lambda *_: trims)

    def fit(*_: Any, trim: tuple[float, float], reach_px: float, **__: Any) -> list[Any]:
        assert trim == (0.05, 0.05)  # of the shortest side, whose rounding takes most
        assert reach_px == 36.0
        return lines

    monkeypatch.setattr(edges, "fit_sides", fit)
    assert edges._edges_off(BLANK, A4, SHEET, 36.0, 4.0) == pytest.approx([doubt, doubt, 0, 0])
    for faint in ({"support": 0.59}, {"contrast": -0.02}):
        lines[0] = _side(SHEET[0] - aside, SHEET[1] - aside, **faint)
        assert not edges._edges_off(BLANK, A4, SHEET, 36.0, 4.0).any()
    lines[0] = _side(SHEET[0] - aside, SHEET[1] - aside, 0.6, -0.03)
    lines[1] = _side(SHEET[1] + [12.0, 0.0], SHEET[2] + [12.0, 0.0])
    both = np.hypot(off, 12.0) / 2
    assert edges._edges_off(BLANK, A4, SHEET, 36.0, 4.0) == pytest.approx([doubt, both, 6.0, 0])


@pytest.mark.parametrize(("across", "said"), [(15.9, "too small"), (16.1, "")])
def test_a_little_thing_that_was_seen_is_told(
    monkeypatch: pytest.MonkeyPatch, across: float, said: str
) -> None:
    """A fifth under the 20 px that are needed: less is surely the thing, more may be a part."""
    monkeypatch.setattr(edges, "coarse_candidates", lambda *_: ([], across))
    monkeypatch.setattr(edges, "weighed_closer", lambda *_: (None, np.zeros(4)))
    with pytest.raises(ScaleError) as refused:
        find_rectangle(BLANK, A4, near=(200.0, 200.0))
    assert ("too small" in str(refused.value)) == bool(said)


@pytest.fixture
def found_for_sure(monkeypatch: pytest.MonkeyPatch) -> Any:
    """A sheet found for certain, with rivals as a test has them."""
    told = SimpleNamespace(
        best=SimpleNamespace(corners=SHEET), sure=0.9, any_of_them=1.0, rivals=()
    )
    fine = SimpleNamespace(corners=SHEET, spread_px=1.0, support=0.9)
    monkeypatch.setattr(edges, "coarse_candidates", lambda *_: ([], 100.0))
    monkeypatch.setattr(edges, "weighed_closer", lambda *_: (told, np.zeros(4)))
    monkeypatch.setattr(edges, "refined", lambda *_: fine)
    return told


@pytest.mark.parametrize(
    ("share", "off", "refused"),
    # 0.03 of 297 px are 8.9 of doubt; what is 18 px off has 9.2 of it with a share of 0.35
    [(0.35, 17.0, False), (0.35, 18.0, True), (0.14, 40.0, False), (0.16, 40.0, True)],
)
def test_rivals_that_lie_close_are_doubt_and_others_refuse(
    found_for_sure: Any, share: float, off: float, refused: bool
) -> None:
    found_for_sure.rivals = ((share, SHEET + np.array([off, off])),)
    doubt = np.hypot(1.0, off * np.sqrt(share / (1 + share)))
    if refused:
        with pytest.raises(ScaleError, match="Several shapes"):
            find_rectangle(BLANK, A4, near=(200.0, 200.0))
    else:
        seen = find_rectangle(BLANK, A4, near=(200.0, 200.0))
        assert seen.spread_px == pytest.approx(doubt)
        assert any("fits nearly as well" in remark for remark in seen.remarks)


def test_a_rival_is_worth_no_more_for_lying_at_the_marks() -> None:
    """Marks on the rival itself leave it what it was: it was the less likely one before."""
    rival = SHEET + 9.0
    ((share, _),) = edges._borne_out(((0.5, rival),), SHEET, rival)
    assert share == 0.5
    # on the best, the normal density of eight numbers with a hand's 4 px says how much less
    ((less, _),) = edges._borne_out(((0.5, SHEET + 2.0),), SHEET, SHEET)
    assert less == pytest.approx(0.5 * np.exp(-0.5 * 8 * (2.0 / 4.0) ** 2))


def test_sides_that_meet_in_a_hollow_shape_are_none(monkeypatch: pytest.MonkeyPatch) -> None:
    hollow = SHEET.copy()
    hollow[2] = (180.0, 180.0)  # inside the triangle of the others

    def sides(*_: Any) -> list[EdgeLine]:
        return list(map(_side, hollow, np.roll(hollow, -1, axis=0)))

    monkeypatch.setattr(edges, "straight_sides", sides)
    assert edges._fit_quad(BLANK, A4, SHEET, 100.0, 1.0) is None
    hollow[2] = SHEET[2] - 40.0
    fitted = edges._fit_quad(BLANK, A4, SHEET, 8.0, 1.0)  # 4 reaches and 10 px
    assert fitted is not None
    assert fitted.corners == pytest.approx(hollow)
    assert edges._fit_quad(BLANK, A4, SHEET, 7.4, 1.0) is None
