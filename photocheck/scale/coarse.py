"""Coarse first: four-sided shapes around a mark, found and fitted in shrunken windows.

In a photo of a sheet by itself its letters are as large as a card beside a dog, and each has
edges.  Shrunk until the sheet is a few hundred pixels long they are grey, and the sheet's own
sides remain; what they are is fitted again at full size later.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from photocheck.scale.candidates import Window, windows
from photocheck.scale.catalogue import ReferenceObject
from photocheck.scale.corners import contains, corner_turns, corners_mm, side_lengths, sides_from
from photocheck.scale.light import Floats, Halved, Picture
from photocheck.scale.rivals import FittedShape, Side
from photocheck.scale.rough_quads import rough_quads
from photocheck.scale.subpixel import EdgeLine, crossing, fit_side, fit_sides

_WINDOW_PX: Final = {"id_card": 320}
_SHEET_WINDOW_PX: Final = 420
_GROWTH: Final = 1.7
_EACH: Final = 12  # rough shapes kept of a window
_MOST_FITTED: Final = {"id_card": 34}
_MOST_SHEETS_FITTED: Final = 26
_BLOCKS: Final = 18  # a side is seen in, in a window
STIFF: Final = ("id_card",)
"""Kinds whose sides do not bow by more than can be seen; halves of their sides would only follow
fingers and print."""
_PASSES: Final = 2  # a shape that is chosen is fitted again, and at full size
_STRAIGHT: Final = 0.8  # seen of each side along one line: no need to look for bowed ones
_BOWED_SEEN: Final = 0.35  # of all sides along straight lines, where some may be bowed
_REACH_PX: Final = 3.0
_BOW_MOST: Final = 0.02  # of a side, beyond the reach of a straight one
_BOWED_GAIN: Final = 0.05  # what two halves must see more of a side than one line
_LEAST_SEEN: Final = 0.3  # of any side, in a window
TRIM_MM: Final = 6.0  # left out at either end of a side: rounded and bent corners, thumbs


def window_px(kind: ReferenceObject) -> int:
    """What windows are shrunk to where a thing of that kind is looked for, px."""
    return _WINDOW_PX.get(kind.kind, _SHEET_WINDOW_PX)


def trim_of(kind: ReferenceObject) -> float:
    """Share of a side left out at either end, of the shorter side."""
    return min(TRIM_MM / kind.size_mm[1], 0.2)


def trims_of(kind: ReferenceObject, corners: Floats) -> list[tuple[float, float]]:
    """The same for each side in turn of corners (4, 2) px, start and end."""
    points, _, _ = corners_mm(kind, corners)
    lengths = side_lengths(points)
    return [(min(TRIM_MM / length, 0.2),) * 2 for length in lengths]


def straight_sides(
    picture: Picture,
    corners: Floats,
    trims: Sequence[tuple[float, float]],
    reach_px: float,
    stay: float,
) -> list[EdgeLine | None]:
    """The straight edge nearest to each side in turn of corners (4, 2) px, at full size.

    Parameters
    ----------
    trims : of each side, as by `trims_of`
    reach_px, stay
        As for `photocheck.scale.subpixel.fit_side`.
    """
    return [
        fit_side(
            picture, corners[k], corners[(k + 1) % 4],
            reach_px=reach_px, trim=trims[k], window_px=2.5, stay=stay,
        )
        for k in range(4)
    ]  # fmt: skip


def coarse_candidates(
    picture: Picture | Halved,
    kind: ReferenceObject,
    near: Floats,
    across_px: tuple[float, float] = (0.0, np.inf),
) -> tuple[list[FittedShape], float]:
    """Shapes around the mark (2,) px that have four sides, and the least side seen, photo px.

    The second is inf when no shape was seen at all.  Windows between `across_px` wide are
    looked at, as `photocheck.scale.candidates.windows` has it.
    """
    # In turn from every window: what is printed large would fill all places otherwise.
    turns: list[tuple[int, float, Floats, Window]] = []
    # A smaller window than is looked at shows nothing larger, and less of it.
    across = (max(across_px[0], window_px(kind)), across_px[1])
    for window in windows(picture, near, window_px(kind), across, _GROWTH):
        rough = rough_quads(window, kind, _EACH)
        turns.extend((k, -score, quad, window) for k, (score, quad) in enumerate(rough))
    turns.sort(key=lambda item: item[:2])
    taken: list[tuple[Floats, Window]] = []
    most = _MOST_FITTED.get(kind.kind, _MOST_SHEETS_FITTED)
    photo = np.full((most, 4, 2), np.inf)
    smallest = np.inf
    for _, _, quad, window in turns:
        corners = window.to_photo(quad)
        side = float(np.min(side_lengths(corners)))
        smallest = min(smallest, side)
        off = np.abs(corners - photo[: len(taken)]).max(axis=(1, 2))
        if np.any(off < 0.02 * side + window.scale):
            continue
        photo[len(taken)] = corners
        taken.append((quad, window))
        if len(taken) >= most:
            break
    found: list[FittedShape] = []
    for window in {id(window): window for _, window in taken}.values():
        quads = np.array([quad for quad, own in taken if own is window])
        found.extend(fitted_in(window, kind, quads))
    return [one for one in found if contains(one.corners, near)], smallest


def fitted_in(window: Window, kind: ReferenceObject, quads: Floats) -> list[FittedShape]:
    """Rough quads (n, 4, 2) in window px, fitted there; fewer where some sides do not meet."""
    trim = trim_of(kind)
    starts, ends = quads, np.roll(quads, -1, axis=1)
    whole = _fitted(window, starts, ends, _REACH_PX, (trim, trim))
    seen = np.array([0.0 if line is None else line.support for line in whole]).reshape(-1, 4)
    bowed = (seen.min(axis=1) < _STRAIGHT) & (seen.mean(axis=1) > _BOWED_SEEN)
    halves: dict[tuple[int, int], Side] = {}
    if bowed.any() and kind.kind not in STIFF:
        longest = float(np.max(np.linalg.norm((ends - starts)[bowed], axis=2)))
        # Of a side that is seen so far along one line two could not see more.
        which = np.argwhere(bowed[:, None] & (seen < 1.0 - _BOWED_GAIN))
        both = _halves(window, starts[*which.T], ends[*which.T], longest, trim)
        halves = {(int(k), int(j)): both[n] for n, (k, j) in enumerate(which) if n in both}
    found = []
    for k, quad in enumerate(quads):
        sides = []
        for j in range(4):
            line = whole[4 * k + j]
            side = None if line is None else Side(line, line)
            bent = halves.get((k, j))
            if bent and (side is None or bent.support > side.support + _BOWED_GAIN):
                side = bent
            sides.append(side)
        made = _closed(window, quad, sides)
        if made is not None:
            found.append(made)
    return found


def _halves(
    window: Window, starts: Floats, ends: Floats, longest: float, trim: float
) -> dict[int, Side]:
    """Sides (n, 2) to (n, 2) in two halves, by their number, where both are seen."""
    middles = (starts + ends) / 2
    reach = _REACH_PX + _BOW_MOST * longest
    lines = _fitted(
        window,
        np.concatenate([starts, middles]),
        np.concatenate([middles, ends]),
        reach,
        (trim, trim),
        _BLOCKS // 2,
    )
    pairs = zip(lines[: len(starts)], lines[len(starts) :], strict=True)
    return {
        n: Side(first, second)
        for n, (first, second) in enumerate(pairs)
        if first is not None and second is not None
    }


def _fitted(
    window: Window,
    starts: Floats,
    ends: Floats,
    reach: float,
    trim: tuple[float, float],
    blocks: int = _BLOCKS,
) -> list[EdgeLine | None]:
    # As one group: the window is small, and made linear once.
    return fit_sides(
        window.rgb, starts.reshape(1, -1, 2), ends.reshape(1, -1, 2),
        reach_px=reach, trim=trim, window_px=2.0, stay=0.5, most_blocks=blocks, passes=_PASSES,
    )  # fmt: skip


def _closed(window: Window, quad: Floats, sides: list[Side | None]) -> FittedShape | None:
    """The shape of four sides, or None where they do not meet near the rough one."""
    whole = [side for side in sides if side is not None]
    if len(whole) < 4 or min(side.support for side in whole) < _LEAST_SEEN:
        return None
    corners = crossings(whole)
    if corners is None or not np.all(corner_turns(corners) > 0):
        return None
    length = float(np.max(side_lengths(quad)))
    if np.max(np.abs(corners - quad)) > 12.0 + 0.05 * length:
        return None
    _, normal = sides_from(corners)
    middle = np.array([0.5 * (side.first.end + side.second.start) for side in whole])
    bows = np.array(
        [
            0.0 if side.first is side.second else float((middle[k] - corners[k]) @ normal[k])
            for k, side in enumerate(whole)
        ]
    )
    return FittedShape(window.to_photo(corners), tuple(whole), bows, window)


def crossings(sides: Sequence[Side]) -> Floats | None:
    """Where four sides meet, (4, 2): corner k is where side k - 1 meets side k; or None."""
    corners = [crossing(sides[k - 1].second, sides[k].first) for k in range(4)]
    met = [corner for corner in corners if corner is not None]
    return np.array(met) if len(met) == 4 else None
