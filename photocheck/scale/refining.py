"""A shape found coarsely, its sides fitted again at full size, and how well its corners are known.

The straight part of each side is fitted and the sides are made to meet.  Paper that curls has
sides that bow: there the quarter of a side next to a corner tells where the corner is, and the
whole side that the sheet is not flat.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from photocheck.scale.beside import strips_beside
from photocheck.scale.candidates import BORDER_PX, halved_of, part_of, shrunk
from photocheck.scale.catalogue import ReferenceObject
from photocheck.scale.coarse import STIFF, straight_sides, trim_of, trims_of
from photocheck.scale.corners import px_per_mm_of, side_lengths, sides_from
from photocheck.scale.light import Floats, Halved, Picture
from photocheck.scale.rivals import FittedShape
from photocheck.scale.subpixel import EdgeLine, crossing, crossing_spread, fit_sides
from photocheck.scale.thresholds import FLAT_MM, FLOOR_PX, PAPER_FLAT_MM

_FINE_PX: Final = 1000.0
"""Longer side a shape is fitted at.  Larger ones are shrunk to it: a tenth of a px is then a
hundredth of a per cent, far below how flat and straight paper and cards are."""
_FAINT_PX: Final = 3.5
"""Corner doubt of a side that is hardly seen, fitted px per missing share of it (judgement, after
a small card before leaves whose side was taken 4 px off with 60 % of it seen)."""
_UNSEEN_BOW: Final = 0.012
"""The same of paper, of its longer side: a loose sheet's side bowed by 1.8 % in a photograph."""
_REACH_PX: Final = 2.0  # of an edge from where it was found coarsely, at least
_STIFF_REACH_PX: Final = 1.0
"""The same of a card: a small one was found in a window blown up, and known to half a px of the
photo; within two lie its frame, its stripe and its shadow."""
_CLOSELY_PX: Final = 2.5  # the same of the second time, at most
_PIECE: Final = 0.3  # of a side, next to a corner
_WHOLE_SEEN: Final = 0.8  # of both sides at a corner: they are straight
_PIECE_SEEN: Final = 0.55


@dataclass(frozen=True)
class Fine:
    """Corners (4, 2) px, their sd per axis px, and how much of the least seen side was seen."""

    corners: Floats
    spread_px: float
    support: float


def refined(picture: Picture | Halved, kind: ReferenceObject, one: FittedShape) -> Fine:
    """The shape's corners at full size."""
    part, origin, per_px = _around(picture, one.corners)
    coarse, scale = (one.corners - origin) / per_px, float(per_px.mean())
    ratio = one.window.scale / scale  # fitted px per px of the window it was found in
    bows = one.bows * ratio
    trim = trim_of(kind)
    reach = max(1.5 * ratio, _STIFF_REACH_PX if kind.kind in STIFF else _REACH_PX)
    whole, straight = _whole_sides(part, kind, coarse, reach)
    pieces: tuple[Sequence[EdgeLine | None], Sequence[EdgeLine | None]] = ((None,) * 4, (None,) * 4)
    if kind.kind not in STIFF:
        pieces = _pieces(part, coarse if straight is None else straight, bows, trim, reach)
    px_per_mm = px_per_mm_of(kind, coarse)
    floor = float(np.hypot(FLOOR_PX, FLAT_MM.get(kind.kind, PAPER_FLAT_MM) * px_per_mm))
    corners, spreads, seen = [], [], []
    for k in range(4):
        corner, spread, support = _corner(
            coarse[k], ratio, (whole[k - 1], whole[k]), (pieces[1][k - 1], pieces[0][k])
        )
        corners.append(corner)
        spreads.append(float(np.hypot(spread, floor)))
        seen.append(support)
    weakest = min(seen)
    # What is not seen on the line is hidden or faint, or the paper bows away from it.
    longest = float(np.max(side_lengths(coarse)))
    unseen = _FAINT_PX if kind.kind in STIFF else max(_FAINT_PX, _UNSEEN_BOW * longest)
    off = strips_beside(part, np.array(corners), px_per_mm, (trim, trim))
    # A side that is off moves two corners, each along one axis.
    spread = float(
        np.sqrt(np.mean(np.square(spreads)) + (unseen * (1.0 - weakest)) ** 2 + np.sum(off**2) / 4)
    )
    return Fine(np.array(corners) * per_px + origin, spread * scale, weakest)


def _around(picture: Picture | Halved, corners: Floats) -> tuple[Picture, Floats, Floats]:
    """The part of the picture about the shape, shrunk if need be: origin and px per its px."""
    lengths = side_lengths(corners)
    scale = float(lengths.max()) / _FINE_PX
    scale = scale if scale > 1.3 else 1.0
    margin = 0.06 * float(lengths.max()) + 30.0
    pictures = halved_of(picture)
    high = np.array(pictures.picture.shape[1::-1])
    left, top = np.clip(np.floor(corners.min(axis=0) - margin), 0, high - 2).astype(int)
    right, bottom = np.clip(np.ceil(corners.max(axis=0) + margin), 2, high).astype(int)
    crop, (left, top), step = part_of(pictures, (left, top, right, bottom), scale)
    per_px = np.array([step, step], np.float64)
    if scale > 1:
        size = np.array(crop.shape[1::-1])
        crop = shrunk(crop, scale / step)
        per_px *= size / crop.shape[1::-1]
    sides = ((BORDER_PX, BORDER_PX),) * 2 + ((0, 0),) * (crop.ndim - 2)
    part = np.pad(crop, sides, "edge")
    origin = np.array([left, top], np.float64) + (per_px - 1) / 2 - per_px * BORDER_PX
    return np.asarray(part, np.uint8), origin, per_px


def _whole_sides(
    part: Picture, kind: ReferenceObject, corners: Floats, reach: float
) -> tuple[list[EdgeLine | None], Floats | None]:
    """All four sides as straight lines, fitted twice, and where they meet if they do."""
    sides: list[EdgeLine | None] = []
    met: Floats | None = None
    closely = min(reach, _CLOSELY_PX) if kind.kind in STIFF else _CLOSELY_PX
    for within in (reach, closely):
        sides = straight_sides(part, corners, trims_of(kind, corners), within, 0.5)
        crossed = [_met(sides[k - 1], sides[k]) for k in range(4)]
        known = [corner for corner in crossed if corner is not None]
        if len(known) < 4 or np.max(np.abs(np.array(known) - corners)) > 4 * reach + 4:
            return sides, met
        corners = met = np.array(known)
    return sides, met


def _pieces(
    part: Picture, corners: Floats, bows: Floats, trim: float, reach: float
) -> tuple[list[EdgeLine | None], list[EdgeLine | None]]:
    """The first and the last piece of each side."""
    run, normal = sides_from(corners)
    out = normal * (bows * 4 * _PIECE * (1 - _PIECE))[:, None]
    cut = min(trim / _PIECE, 0.5)
    first = fit_sides(
        part, corners[None], (corners + _PIECE * run + out)[None],
        reach_px=reach, trim=(cut, 0.0), window_px=2.5, stay=0.5,
    )  # fmt: skip
    last = fit_sides(
        part, (corners + (1 - _PIECE) * run + out)[None], (corners + run)[None],
        reach_px=reach, trim=(0.0, cut), window_px=2.5, stay=0.5,
    )  # fmt: skip
    return first, last


def _met(before: EdgeLine | None, after: EdgeLine | None) -> Floats | None:
    return None if before is None or after is None else crossing(before, after)


def _corner(
    coarse: Floats,
    ratio: float,
    whole: tuple[EdgeLine | None, EdgeLine | None],
    pieces: tuple[EdgeLine | None, EdgeLine | None],
) -> tuple[Floats, float, float]:
    """One corner, its sd, and the share seen of the worse of its two sides, fitted px."""
    near = 3.0 * ratio + 3.0  # a corner farther from where it was found belongs to other edges
    by_whole, by_piece = _met(*whole), _met(*pieces)
    if by_whole is not None and np.hypot(*(by_whole - coarse)) > near:
        by_whole = None
    if by_piece is not None and np.hypot(*(by_piece - coarse)) > near:
        by_piece = None
    seen_whole, seen_piece = _seen(whole), _seen(pieces)
    bent = by_piece is not None and seen_whole < _WHOLE_SEEN and seen_piece >= _PIECE_SEEN
    if by_whole is not None and not bent:
        return by_whole, _spread(whole), seen_whole
    if by_piece is not None and seen_piece >= _PIECE_SEEN:
        off = 0.0 if by_whole is None else float(np.hypot(*(by_piece - by_whole)))
        return by_piece, float(np.hypot(_spread(pieces), 0.3 * min(off, near))), seen_piece
    if by_whole is not None:
        return by_whole, _spread(whole), seen_whole
    return coarse, max(ratio, 1.0), 0.4


def _seen(lines: tuple[EdgeLine | None, EdgeLine | None]) -> float:
    return min(0.0 if line is None else line.support for line in lines)


def _spread(lines: tuple[EdgeLine | None, EdgeLine | None]) -> float:
    """Sd per axis of where two lines meet that are known to."""
    before, after = lines
    assert before is not None
    assert after is not None
    return crossing_spread(before, after)
