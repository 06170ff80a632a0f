"""Rules whose turning points a planting of faults left free, each reached from both sides."""

from __future__ import annotations

from collections.abc import Mapping
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from photocheck.body import outline_trust
from photocheck.body.outline_trust import CONTRAST, NO_CONTRAST, UNDECIDED, trust_in
from photocheck.case.model import DogFacts
from photocheck.judge.budget import what_actions_leave
from photocheck.scale import rough_quads
from photocheck.scale.light import SRGB_TO_LIGHT, sample_rows

# --- the outline's trust ------------------------------------------------------------------------


def block() -> np.ndarray:
    mask = np.zeros((60, 90), np.uint8)
    mask[20:40, 20:70] = 1
    return mask


def trusted(
    monkeypatch: pytest.MonkeyPatch,
    *,
    contrast: float = 1.0,
    moved: float = 0.0,
    parts: tuple[float, ...] = (1.0, 1.0),
    on_marks: float = 1.0,
) -> float:
    """The trust in a block whose four figures are these."""
    mask = block()
    inside = mask.astype(np.float32)
    # a thousand pixels; so many more are inside by a lower threshold that the share is `moved`
    more = round(1001 * moved / (1.0 - moved))
    inside.reshape(-1)[:more] = 0.5
    price = np.full(mask.shape, 1.0 - NO_CONTRAST - contrast * (CONTRAST - NO_CONTRAST))
    monkeypatch.setattr(outline_trust, "_parts", lambda *_: list(parts))
    monkeypatch.setattr(outline_trust, "_on_marks", lambda *_: on_marks)
    return trust_in(mask, inside, price, SimpleNamespace(), {}, 50.0)  # type: ignore[arg-type]


def test_trust_is_a_product_and_edges_and_decision_count_by_their_root(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def of(**figures: Any) -> float:
        return trusted(monkeypatch, **figures)

    assert of() == pytest.approx(1.0)
    assert of(contrast=1.7) == pytest.approx(1.0)  # never more than all
    half = of(moved=0.5 * UNDECIDED)
    assert half == pytest.approx(np.sqrt(0.5), abs=0.01)
    assert of(contrast=0.36) == pytest.approx(0.6)
    assert of(contrast=0.36, moved=0.5 * UNDECIDED) == pytest.approx(0.6 * half)
    # the worst part counts, up to where it is there; and the marks, up to where they agree
    assert of(parts=(0.15, 0.9)) == of(parts=(0.9, 0.15, 0.2)) == pytest.approx(0.5)
    assert of(on_marks=0.3) == pytest.approx(0.5)
    assert of(parts=(0.15,), on_marks=0.3, contrast=0.36) == pytest.approx(0.15)
    for none in ({"contrast": -0.1}, {"moved": 1.1 * UNDECIDED}, {"parts": (0.0, 1.0)}):
        assert of(**none) == 0.0


# --- what is still open: in any photo of several ------------------------------------------------

KNOWN = {
    "bar": 150.0,
    "kind": "marker_sheet",
    "focal": 26.0,
    "cut": 0.0,
}
"""A photo from which nothing is left to ask of its scale, camera or frame."""


def asked(*photos: Mapping[str, Any], marked: tuple[str, ...] = ()) -> set[str]:
    """The keys of what is asked for, of photos that differ from `KNOWN` by so much."""
    entries, views = [], []
    for told in (KNOWN | dict(photo) for photo in photos):
        marking = SimpleNamespace(by="owner", marks=dict.fromkeys(marked), bends={})
        entries.append(
            SimpleNamespace(
                view="side",
                markings=(marking,),
                reference=SimpleNamespace(kind=told["kind"], bar_mm=told["bar"]),
            )
        )
        views.append(
            SimpleNamespace(
                offset=SimpleNamespace(spread_mm=10.0),
                from_front=False,
                camera=SimpleNamespace(
                    focal_35mm=told["focal"], framing=SimpleNamespace(cut=told["cut"])
                ),
                seen=SimpleNamespace(kind=told["kind"]),
            )
        )
    case: Any = SimpleNamespace(photos=tuple(entries), dog=DogFacts(coat_depth_mm=0.0))
    return set(what_actions_leave(case, views))


@pytest.mark.parametrize(
    ("action", "lacking"),
    [
        ("size", {"bar": None}),
        ("focal", {"focal": None}),
        ("framing", {"cut": 0.99}),
        ("corners", {"kind": "a4"}),
    ],
)
def test_what_one_photo_of_several_lacks_is_asked_for(action: str, lacking: dict[str, Any]) -> None:
    assert action not in asked({}, {})
    assert action in asked({}, lacking)
    assert action in asked(lacking, {})
    assert action in asked(lacking)


# --- light at the picture's edges ---------------------------------------------------------------


@pytest.mark.parametrize("side", ["left", "right", "top", "bottom"])
def test_a_row_lies_in_the_picture_up_to_its_outermost_pixels_centres(side: str) -> None:
    picture = np.arange(30, dtype=np.uint8).reshape(5, 6) * 8
    along = 0 if side in {"left", "right"} else 1
    last = {"left": 0.0, "right": 5.0, "top": 0.0, "bottom": 4.0}[side]
    out = -1.0 if side in {"left", "top"} else 1.0
    for beyond, there in ((-0.01, True), (0.0, True), (0.01, False), (1.5, False)):
        point = np.array([2.0, 2.0])
        point[along] = last + out * beyond
        rows, inside = sample_rows(picture, point[None], np.array([[1.0, 0.0]]), np.zeros(1))
        assert inside.tolist() == [there]
        # beyond, the light of the edge goes on
        column, row = np.clip(point, 0.0, [5.0, 4.0])
        near = SRGB_TO_LIGHT[picture[round(float(row)), round(float(column))]]
        assert rows[0, 0, 0] == pytest.approx(float(near), abs=0.003)


# --- rough shapes -------------------------------------------------------------------------------


@pytest.mark.parametrize("wide", [1.1, 1.35, 1.6])
@pytest.mark.parametrize("better", [True, False])
def test_a_quad_of_other_proportions_must_have_the_clearer_outline(
    monkeypatch: pytest.MonkeyPatch, wide: float, better: bool
) -> None:
    """By the root of how much wider it is than what is looked for."""
    side = 40.0
    lines = np.array(
        [
            [0.0, side / 2],
            [np.pi / 2, side / 2],
            [np.pi, side / 2],
            [3 * np.pi / 2, side / 2],
            [0.0, side / 2 + (wide - 1.0) * side],
        ]
    )
    square = np.exp(-0.5 * np.log(wide)) * (0.98 if better else 1.02)

    def clear(_: object, corners: np.ndarray) -> np.ndarray:
        return np.where(np.ptp(corners[..., 0], axis=1) > 1.01 * side, 1.0, square)

    monkeypatch.setattr(rough_quads, "straight_lines", lambda *_: lines)
    monkeypatch.setattr(rough_quads, "_edge_scores", clear)
    window: Any = SimpleNamespace(mark=np.array([60.0, 60.0]), rgb=np.zeros((120, 120, 3)))
    kind: Any = SimpleNamespace(width_mm=50.0, height_mm=50.0)
    first, second = rough_quads._quads_of_lines(window, kind)
    widths = [float(np.ptp(quad[:, 0])) / side for quad in (first, second)]
    assert widths == pytest.approx([wide, 1.0] if better else [1.0, wide])
