"""Shapes looked at again, each in a window of its own size: corners, print, and the choice."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from photocheck.scale import closer
from photocheck.scale.candidates import Window, window_about
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.closer import MORE, WORTH, weighed_closer
from photocheck.scale.coarse import coarse_candidates, fitted_in
from photocheck.scale.corner_marks import CARD_CORNER_MM, corner_marks
from photocheck.scale.rivals import FEATURES, FittedShape

PX_PER_MM = 3.0
CARD = PX_PER_MM * np.array([[-42.8, -26.99], [42.8, -26.99], [42.8, 26.99], [-42.8, 26.99]])


def _drawn(rounded: bool, by: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """A pale card of 3 px/mm times ``by`` on a dark ground, and where its sides meet, px."""
    corners = CARD * by + np.array([320.0, 240.0])
    picture = np.full((480, 640), 70, np.uint8)
    radius = CARD_CORNER_MM * PX_PER_MM * by if rounded else 0.0
    y, x = np.mgrid[:480, :640].astype(np.float64)
    half = CARD[2] * by
    past = np.stack([np.abs(x - 320.0), np.abs(y - 240.0)]) - (half - radius)[:, None, None]
    far = np.hypot(*np.maximum(past, 0.0)) if rounded else past.max(axis=0)
    inside = np.clip(0.5 - (far - radius), 0.0, 1.0)
    picture = np.asarray(np.rint(70 + 140 * inside), np.uint8)
    return np.repeat(picture[:, :, None], 3, axis=2), corners


def _window(picture: np.ndarray, corners: np.ndarray) -> tuple[Window, np.ndarray]:
    window = window_about(picture, corners, corners.mean(axis=0), 320, 0.3, grow=True)
    return window, (corners - window.origin) / window.scale


@pytest.mark.parametrize("by", [0.5, 1.0, 1.8])
def test_round_corners_are_told_from_square_ones(by: float) -> None:
    """ISO/IEC 7810 rounds a card's corners by 2.88 to 3.48 mm; whatever size it is seen at."""
    tips = []
    for rounded in (True, False):
        window, inside = _window(*_drawn(rounded, by))
        marks = corner_marks(window, inside, PX_PER_MM * by / window.scale, True)
        assert np.all(marks[:, 0] > 0.9)
        tips.append(float(marks[:, 1].mean()))
    assert tips[0] < 0.7
    assert tips[1] > 0.95


@pytest.mark.parametrize("rounded", [True, False])
def test_where_sides_go_on_there_is_no_corner(rounded: bool) -> None:
    """A shape that ends where only its long sides are seen has two corners and no more."""
    window, inside = _window(*_drawn(rounded))
    short = inside.copy()
    short[1:3, 0] -= 0.3 * (inside[1, 0] - inside[0, 0])
    marks = corner_marks(window, short, PX_PER_MM / window.scale, rounded)[:, 0]
    assert np.all(marks[[0, 3]] > 0.9)
    assert np.all(marks[[1, 2]] < 0.65)  # an arc begins along the side that goes on


@pytest.mark.parametrize("by", [0.4, 1.0])
def test_shapes_are_looked_at_in_windows_of_their_own_size(by: float) -> None:
    """A small card is blown up: it fills as much of its window as a large one."""
    picture, corners = _drawn(True, by)
    window, inside = _window(picture, corners)
    assert window.rgb.shape[1] == pytest.approx(320, abs=2)
    np.testing.assert_allclose(window.to_photo(inside), corners, atol=1e-9)
    edge = np.abs(window.slope[..., 0]).sum(axis=0)
    left, right = (inside[:, 0].min(), inside[:, 0].max())
    peaks = np.argsort(-edge)[:2]
    assert sorted(peaks) == pytest.approx([left, right], abs=1.5)


def test_a_card_is_chosen_among_what_is_printed_on_it() -> None:
    picture, corners = _drawn(True)
    stripe = picture.copy()
    stripe[180:216, 200:441] = 40
    kind, near = REFERENCES["id_card"], np.array([330.0, 250.0])
    found, _ = coarse_candidates(stripe, kind, near)
    weighed, beyond = weighed_closer(stripe, kind, near, found)
    assert weighed is not None
    np.testing.assert_allclose(weighed.best.corners, corners, atol=1.5)
    assert weighed.sure > 0.9
    assert np.all(beyond == 0.0)
    assert weighed_closer(stripe, kind, near, [])[0] is None


def test_what_is_weighed_is_known_by_name() -> None:
    """And round corners speak for a card, where sides go on past a corner against both."""
    assert set(WORTH) <= {*FEATURES, *MORE}
    assert set(MORE) <= set(WORTH)
    for name, sign in (("corner mean", 1), ("goes on mean", -1), ("misfit", -1), ("plain mean", 1)):
        assert all(sign * worth > 1.0 for worth in WORTH[name])
    assert WORTH["tip"][0] < -5.0
    assert WORTH["tip"][1] == 0.0
    assert closer.BIAS[0] < -9.0


def _striped() -> tuple[np.ndarray, np.ndarray, FittedShape]:
    """A card with a stripe along its top edge, its corners, and what is below the stripe."""
    kind = REFERENCES["id_card"]
    picture, corners = _drawn(True)
    picture[164:184, 192:449] = 30  # 5 px below the edge
    below = corners.copy()
    below[:2, 1] = 183.5
    window, _ = _window(picture, below)
    (fitted,) = fitted_in(window, kind, ((below - window.origin) / window.scale)[None])
    return picture, corners, fitted


def test_a_card_is_looked_for_in_the_window_of_what_is_printed_on_it() -> None:
    _, corners, below = _striped()
    kind, near = REFERENCES["id_card"], np.array([330.0, 250.0])
    new = closer._seen_again(kind, near, [below], below.window)
    off = [float(np.abs(one.corners - corners).max()) for one in new]
    assert min(off) < 1.5
    # Nothing lies where something does, and nothing beside the mark.
    both = [below, *new]
    assert closer._seen_again(kind, near, both, below.window) == []
    apart = [
        np.abs(one.corners - other.corners).max()
        for k, one in enumerate(both)
        for other in both[:k]
    ]
    assert min(apart) > 1.2 * below.window.scale
    assert closer._seen_again(kind, np.array([20.0, 20.0]), [below], below.window) == []


@pytest.mark.parametrize(("name", "times"), [("id_card", 1), ("a4", 0), ("letter", 0)])
def test_only_cards_are_looked_for_twice(
    monkeypatch: pytest.MonkeyPatch, name: str, times: int
) -> None:
    """And once each, in the likeliest one's window; paper is seen whole in the windows before."""
    picture, corners, below = _striped()
    seen: list[Window] = []

    def again(*told: Any) -> list[FittedShape]:
        seen.append(told[3])
        return []

    monkeypatch.setattr(closer, "_seen_again", again)
    weighed, _ = weighed_closer(picture, REFERENCES[name], corners.mean(axis=0), [below])
    assert weighed is not None
    assert len(seen) == times
    assert all(window is weighed.best.window for window in seen)


def test_what_is_seen_then_is_weighed_with_the_rest(monkeypatch: pytest.MonkeyPatch) -> None:
    picture, corners, below = _striped()
    kind = REFERENCES["id_card"]
    monkeypatch.setattr(closer, "shapes_around", lambda *_: np.zeros((0, 4, 2)))
    weighed, beyond = weighed_closer(picture, kind, np.array([330.0, 250.0]), [below])
    assert weighed is not None
    np.testing.assert_allclose(weighed.best.corners, corners, atol=1.5)
    assert weighed.sure > 0.5
    assert beyond.shape == (4,)
    monkeypatch.setattr(closer, "_seen_again", lambda *_: [])
    alone, _ = weighed_closer(picture, kind, np.array([330.0, 250.0]), [below])
    assert alone is not None
    assert float(np.abs(alone.best.corners - corners).max()) > 10.0
