"""What a fresh planting of faults found unnoticed, each held by hand."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import cv2
import numpy as np
import pytest

from photocheck.body import silhouette
from photocheck.body.outline_frame import CloseUp
from photocheck.body.outline_trust import _parts
from photocheck.case.lengths import parse_length
from photocheck.case.model import Take
from photocheck.case.takes import MOST_TAKES
from photocheck.errors import CaseError
from photocheck.judge.repeats import needs_third
from photocheck.photo import kind
from photocheck.propose.looks import Small, SquareLook
from photocheck.propose.network import SeenInLook
from photocheck.propose.proposing import _frame
from photocheck.scale import refining
from photocheck.scale.candidates import straight_lines
from photocheck.scale.subpixel import EdgeLine, _colours


def test_nobody_is_asked_to_measure_more_often_than_can_be_kept() -> None:
    scattered = [Take(300.0 + 100.0 * k, "", "cm") for k in range(MOST_TAKES)]
    assert needs_third(scattered[:-1])
    assert not needs_third(scattered)


@pytest.mark.parametrize(("inner", "outer"), [(0.8, 0.2), (0.2, 0.8)])
def test_the_contrast_of_a_grey_side_is_over_its_brighter_half(inner: float, outer: float) -> None:
    light = np.repeat(np.array([inner, outer], np.float32), 9)[None, None, :, None]
    light = np.broadcast_to(light, (1, 5, 18, 1)).copy()
    colour, contrast = _colours(light, np.ones((1, 5), bool))
    assert colour.tolist() == [[1.0]]
    assert contrast == pytest.approx([(inner - outer) / 0.8], rel=1e-6)


@pytest.mark.parametrize(
    ("far", "wide", "lines"),
    # its two sides lie 2 px apart, 2.12 and 2.5; a fiftieth of the distance and 1.5 px are one line
    [(30.0, 2.0, 1), (30.0, 2.2, 2), (40.0, 2.0, 1), (40.0, 2.5, 2)],
)
def test_two_sides_of_a_hair_are_one_line(far: float, wide: float, lines: int) -> None:
    fine = 8
    drawn = np.full((200 * fine, 200 * fine, 3), 220, np.uint8)
    left = int((100 + far) * fine)
    drawn[:, left : left + int(wide * fine)] = 40
    rgb = cv2.resize(drawn, (200, 200), interpolation=cv2.INTER_AREA)
    window: Any = SimpleNamespace(
        rgb=rgb, lab=cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB), mark=np.array([100.0, 100.0])
    )
    assert len(straight_lines(window, 9)) == lines


def test_an_outline_that_ends_behind_the_neck_has_no_head(monkeypatch: pytest.MonkeyPatch) -> None:
    mask = np.zeros((60, 100), np.uint8)
    mask[20:40, 10:60] = 1  # the dog looks to the right; breastbone and shoulder top beyond
    marks = {
        name: np.array(at, float)
        for name, at in {
            "breastbone": (90.0, 30.0),
            "shoulder_top": (70.0, 20.0),
            "last_rib": (40.0, 30.0),
            "tail_base": (12.0, 20.0),
        }.items()
    }
    frame: Any = SimpleNamespace(
        left=0, top=0, scale=1.0, ahead=1.0, trunk=78.0, back=lambda at: tuple(at.tolist())
    )
    monkeypatch.setattr(silhouette, "trust_in", lambda *_: 1.0)
    monkeypatch.setattr(silhouette, "_touches", lambda *_: frozenset())
    found: Any = SimpleNamespace(mask=mask, inside=None, price=None, shapes=None)
    assert silhouette._read(found, marks, frame).head is None
    mask[10, 85] = 1
    assert silhouette._read(found, marks, frame).head == (85.0, 9.5)


def test_a_leg_across_the_gap_under_the_belly_does_not_close_it() -> None:
    """The gap reaches from 31 to 59 px across; a leg may cover it from 45 on."""
    leg = np.zeros((100, 100), np.float32)
    leg[:, 45:] = 1.0
    nothing = np.zeros_like(leg)
    shapes: Any = SimpleNamespace(part=lambda name: leg if name == "fore" else nothing)
    marks = {
        "shoulder_top": np.array([80.0, 20.0]),
        "tail_base": np.array([10.0, 20.0]),
        "last_rib": np.array([40.0, 25.0]),
        "front_foot": np.array([80.0, 90.0]),
        "rear_foot": np.array([10.0, 90.0]),
    }
    for first, share in ((45, 1.0), (38, 0.5), (0, 0.0)):
        mask = np.zeros((100, 100), np.uint8)
        mask[:, first:] = 1
        *_, gap = _parts(mask, shapes, marks, 70.0)
        assert gap == pytest.approx(share, abs=0.01)


def test_heic_is_read_where_its_library_is(monkeypatch: pytest.MonkeyPatch) -> None:
    for library, there in (("json", True), ("no_such_library", False)):
        monkeypatch.setattr(kind, "HEIC_LIBRARY", library)
        assert kind.reads_heic() is there


@pytest.mark.parametrize(
    ("longer", "scale"), [(800, 1), (1599, 1), (1600, 2), (3199, 2), (3200, 4)]
)
def test_a_photo_is_halved_until_its_longer_side_is_below_1600(longer: int, scale: int) -> None:
    copy = Small.of(np.zeros((8, longer, 3), np.uint8))
    assert copy.scale == scale
    assert copy.rgb.shape[1] == longer // scale


def test_more_than_80_letters_are_no_length() -> None:
    assert parse_length(" " * 78 + "41", "cm")[0] == 410.0
    with pytest.raises(CaseError, match="too long"):
        parse_length(" " * 79 + "41", "cm")


@pytest.mark.parametrize(("trunk", "followed"), [(19.9, False), (20.0, True)])
@pytest.mark.parametrize("turn", [0.0, 0.6])
def test_a_dog_of_20_pixels_is_the_smallest_that_is_followed(
    trunk: float, followed: bool, turn: float
) -> None:
    along = trunk * np.array([np.cos(turn), np.sin(turn)])
    marks = {
        "breastbone": (100.0, 100.0),
        "shoulder_top": (104.0, 92.0),
        "last_rib": (110.0, 100.0),
        "tail_base": tuple((np.array([100.0, 100.0]) + along * (1.0 + 1e-9)).tolist()),
    }
    assert (CloseUp.around(np.zeros((200, 200, 3), np.uint8), marks) is not None) is followed


def _edge(start: tuple[float, float], end: tuple[float, float], seen: float) -> EdgeLine:
    return EdgeLine(np.array(start), np.array(end), seen, 0.5, 0.1, 0.0, 0.1, 0.1)


@pytest.mark.parametrize("ratio", [1.0, 4.0])
@pytest.mark.parametrize("by", ["whole", "piece"])
def test_a_corner_is_looked_for_within_three_pixels_of_both_pictures(ratio: float, by: str) -> None:
    """Three of those it was found in and three of those it is fitted in; beyond, it is another."""
    near = 3.0 * ratio + 3.0
    for off, taken in ((near - 0.01, True), (near + 0.01, False)):
        lines = _edge((-50.0, 0.0), (off, 0.0), 0.9), _edge((off, 0.0), (off, 50.0), 0.9)
        given: Any = {"whole": (None, None), "pieces": (None, None)}
        given["whole" if by == "whole" else "pieces"] = lines
        corner, _, _ = refining._corner(np.zeros(2), ratio, **given)
        assert corner == pytest.approx([off, 0.0] if taken else [0.0, 0.0])


def test_a_dog_that_reaches_over_the_edge_is_framed_up_to_the_edge() -> None:
    seen = SeenInLook(np.zeros(1), np.zeros(1), 0.0, np.array([0.0, 0.0, 1.0, 1.0], np.float32))
    look = SquareLook(np.zeros((8, 8, 3), np.uint8), -30.0, -20.0, 200.0)
    assert _frame([(look, seen)], np.zeros((90, 120, 3), np.uint8)) == (0.0, 0.0, 119.0, 89.0)
