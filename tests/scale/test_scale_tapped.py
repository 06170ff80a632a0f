"""What a tap costs and asks: how much is looked at, and when a person is asked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from photocheck.errors import ScaleError
from photocheck.scale import coarse, edges
from photocheck.scale.candidates import windows
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.corners import order_corners, orders_of_corners
from photocheck.scale.edges import find_rectangle
from photocheck.scale.rough_quads import rough_quads
from photocheck.scale.shapes import shapes

CARD = np.array([[150.0, 120.0], [406.8, 120.0], [406.8, 281.9], [150.0, 281.9]])


def _plain(corners: np.ndarray = CARD) -> np.ndarray:
    """A pale rectangle on a dark ground."""
    picture = np.full((400, 560, 3), 60, np.uint8)
    (left, top), (right, bottom) = np.rint(corners[0]), np.rint(corners[2])
    picture[int(top) : int(bottom), int(left) : int(right)] = 210
    return picture


def test_few_windows_are_looked_at_around_a_tap(monkeypatch):
    """In 12 megapixels: each 1.7 times as wide as the one before, from 326 px for a card.

    A smaller one would show what that one shows, and less of it.
    """
    looked = []

    def counted(window, kind, most):
        looked.append(window.scale)
        return []

    monkeypatch.setattr(coarse, "rough_quads", counted)
    picture = np.zeros((3000, 4000, 3), np.uint8)
    coarse.coarse_candidates(picture, REFERENCES["id_card"], np.array([2000.0, 1500.0]))
    assert len(looked) == 6
    assert looked[0] == pytest.approx(2 * 0.3 * 1.7, rel=0.02)
    assert looked[-1] == pytest.approx(4000 / 320)


def test_large_windows_lie_where_the_photo_does():
    """Shrunk in two steps: a pale square keeps its middle to a part of a window px."""
    picture = np.zeros((3001, 4003, 3), np.uint8)
    picture[1700:2300, 3000:3600] = 255
    last = list(windows(picture, np.array([2000.0, 1500.0])))[-1]
    assert last.scale > 12
    rows, columns = np.nonzero(last.rgb[:, :, 1] > 127)
    middle = last.to_photo(np.array([columns.mean(), rows.mean()]))
    np.testing.assert_allclose(middle, [3299.5, 1999.5], atol=0.4 * last.scale)


def test_rough_shapes_may_all_be_what_is_looked_for():
    """Places among those that are fitted go to none that a fit would find of another shape."""
    picture = _plain()
    for k in range(9):  # squares within squares: none is a card, and each has edges all around
        low, high = 20 + 8 * k, 190 - 8 * k
        picture[250 + low : 250 + high, 20 + low : 20 + high] = (40, 200)[k % 2]
    kind = REFERENCES["id_card"]
    for near in ([125.0, 340.0], [280.0, 200.0]):
        window = list(windows(picture, np.array(near)))[-1]
        rough = rough_quads(window, kind, 12)
        quads = np.array([quad for _, quad in rough]).reshape(-1, 4, 2)
        run = np.roll(quads, -1, axis=1) - quads
        spread = np.hypot(2.0, 0.03 * np.max(np.hypot(run[..., 0], run[..., 1]), axis=1))
        judged = shapes(quads, kind.size_mm, window.rgb.shape, spread)
        assert np.all(judged.misfit < 12.0)
    assert len(quads) > 0


def test_many_corners_are_ordered_as_one():
    random = np.random.default_rng(5)
    quads = CARD + random.normal(0, 20, (40, 4, 2))
    mixed = np.array([random.permutation(quad) for quad in quads])
    each = np.array([order_corners(quad) for quad in mixed])
    np.testing.assert_array_equal(orders_of_corners(mixed), each)


@pytest.mark.parametrize(
    ("share", "asks"), [(0.5, True), (0.31, True), (0.29, False), (0.15, False)]
)
def test_a_person_is_asked_where_another_shape_is_nearly_as_likely(monkeypatch, share, asks):
    """Somewhere else by a tenth of the card: a doubt of 4 % of its longer side or of 2 %."""
    real = edges.weighed_closer

    def with_rival(*args, **kwargs):
        weighed, beyond = real(*args, **kwargs)
        other = CARD + np.array([[0, 0], [0, 0], [0, -50], [0, -50]])
        return replace(weighed, rivals=((share, other),)), beyond

    monkeypatch.setattr(edges, "weighed_closer", with_rival)
    if asks:
        with pytest.raises(ScaleError, match="Several shapes"):
            find_rectangle(_plain(), REFERENCES["id_card"], near=(280.0, 200.0))
    else:
        seen = find_rectangle(_plain(), REFERENCES["id_card"], near=(280.0, 200.0))
        assert "Another shape" in seen.remarks[-1]


@pytest.mark.parametrize(("share", "asks"), [(0.2, True), (0.12, False)])
def test_of_paper_a_person_is_asked_sooner(monkeypatch, share, asks):
    """Both are more doubt than 3 % of the longer side: what a card is asked for from 0.3 on."""
    picture = np.full((400, 600), 60, np.uint8)
    picture[100:310, 120:417] = 220  # an A4 sheet at 1 px/mm
    real = edges.weighed_closer

    def with_rival(*args, **kwargs):
        weighed, beyond = real(*args, **kwargs)
        other = weighed.best.corners + np.array([[0, 0], [0, 0], [0, -80], [0, -80]])
        return replace(weighed, rivals=((share, other),)), beyond

    monkeypatch.setattr(edges, "weighed_closer", with_rival)
    if asks:
        with pytest.raises(ScaleError, match="Several shapes"):
            find_rectangle(picture, REFERENCES["a4"], near=(250.0, 200.0))
    else:
        seen = find_rectangle(picture, REFERENCES["a4"], near=(250.0, 200.0))
        assert seen.spread_px > 0.03 * 297


def _as_sure(monkeypatch: pytest.MonkeyPatch, likely: float) -> None:
    """What is found is as likely as that, and has no rivals."""
    real = edges.weighed_closer

    def so_sure(*args, **kwargs):
        weighed, beyond = real(*args, **kwargs)
        return replace(weighed, sure=likely, any_of_them=likely, rivals=()), beyond

    monkeypatch.setattr(edges, "weighed_closer", so_sure)


def test_nothing_was_found_where_it_is_hardly_likelier_than_not(monkeypatch):
    _as_sure(monkeypatch, 0.55)
    with pytest.raises(ScaleError, match="was found around"):
        find_rectangle(_plain(), REFERENCES["id_card"], near=(280.0, 200.0))


@pytest.mark.parametrize(("likely", "doubt"), [(0.95, 0.01), (0.75, 0.2)])
def test_what_is_hardly_likely_is_found_with_doubt(monkeypatch, likely, doubt):
    """That nothing of these was meant is doubt: 0.4 of the longer side by the root of a quarter."""
    _as_sure(monkeypatch, likely)
    seen = find_rectangle(_plain(), REFERENCES["id_card"], near=(280.0, 200.0))
    assert (seen.spread_px > 0.1 * 257.0) == (doubt > 0.1)
    if doubt > 0.1:
        assert seen.spread_px == pytest.approx(doubt * 257.0, rel=0.02)
        assert "Another shape" in seen.remarks[-1]
