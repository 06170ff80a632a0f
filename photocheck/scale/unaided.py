"""Cards, sheets of paper, discs and balls that nobody has pointed at: where one may lie.

A photo of a dog is full of things with four sides.  What is shown to a person as found must
nearly always be right, and nothing is shown rather than a doubtful shape.  So places are only
proposed here, cheaply, on shrunken copies; what lies there is then found as from a mark inside
it (`photocheck.scale.edges`), weighed against everything else there, and must be as large as
such a thing is in a photo of a dog.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from heapq import merge
from itertools import chain
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.errors import ScaleError
from photocheck.scale.candidates import Window, edge_share, halved_of, window_of, windows
from photocheck.scale.catalogue import REFERENCES, ReferenceObject
from photocheck.scale.coarse import STIFF, fitted_in, window_px
from photocheck.scale.corners import contains, corners_mm, orders_of_corners, side_lengths
from photocheck.scale.crowds import largest_outlines
from photocheck.scale.edges import seen_as, weighed_at
from photocheck.scale.kinds import BesideDog, costs
from photocheck.scale.light import Floats, Halved, Picture
from photocheck.scale.rivals import weigh
from photocheck.scale.seen import ReferenceSeen
from photocheck.scale.shapes import shapes

_LEVELS_PX: Final = (1600, 640)
"""Longer sides of the copies that are looked at: a card beside a dog is 40 px long in the first,
and print on a sheet is gone in the second."""
_LEAST_SIDE_PX: Final = 13.0
_LOCAL: Final = ((25, 6), (61, 8))
"""Neighbourhoods, px, and how much lighter or darker than theirs a region is, codes."""
_EDGES: Final = (20.0, 45.0)  # Canny, high thresholds on 8-bit codes
_ROUGH_MISFIT: Final = 12.0
_MOST_TILTED: Final = np.deg2rad(50.0)
_FULL: Final = 0.8  # of a hull that its four corners must cover, and the other way
_MOST_QUADS: Final = 2000
"""Of one look, those with most edge: of 160 composites and 27 photos the most had 1,305."""
_JUDGED_AT_ONCE: Final = 250
_PLACES: Final = 10
"""Places that are looked at more closely."""
_CLOSE: Final = 3
"""Of those, how many are searched as if somebody had pointed at them."""
_LARGER: Final = 1.25  # by the way around, of what something is printed on
_FIRST_SURE: Final = 0.25
_LEAST_SURE: Final = 0.8
"""Probability of one shape, of all at its place, from which it is shown."""
_MOST_RIVALS: Final = 0.15
"""What all other shapes there may be as likely as beside it."""
_MOST_UNSURE: Final = 0.03
"""Corner doubt, of the longer side, up to which it is: another may lie around it."""
_AROUND: Final = (1.3, 4.5)
"""How wide the windows are in which a shape is looked for again, of its longer side."""
_MOST_ODD: Final = 2.5
"""Sds beyond which a thing of that kind would be too near or far: 0.5 and 10 m."""
_MOST_TURNED: Final = np.deg2rad(35.0)
"""What stands beside a dog to be measured by faces the camera, more or less (judgement)."""
_MOST_LEFT: Final = 6.0
"""Cost beyond the likeliest kind from which another is not offered."""
RECTANGLES: Final = tuple(kind for kind in REFERENCES.values() if kind.form == "rectangle")


@dataclass(frozen=True)
class FourSides:
    """Four sides somewhere in a photo: corners (4, 2) px, and how much of them is edge, 0 to 1."""

    corners: Floats
    edge: float


@dataclass(frozen=True)
class Sighting:
    """Something of known size that nobody has pointed at.

    Attributes
    ----------
    seen : tuple of ReferenceSeen
        As each kind that it may be, the likeliest first.
    sure : float
        Probability that its corners are those of one thing and no other's, had somebody pointed
        at it.
    """

    seen: tuple[ReferenceSeen, ...]
    sure: float

    @property
    def corners(self) -> Floats:
        """(4, 2) px."""
        return self.seen[0].points_px


def sightings(picture: Picture, beside: BesideDog) -> tuple[Sighting, ...]:
    """Cards and sheets of paper that lie somewhere in a photo of a dog, the surest first.

    Parameters
    ----------
    picture : (H, W, 3) uint8
    beside : BesideDog

    >>> picture = np.full((900, 1200, 3), 60, np.uint8)
    >>> picture[400:610, 300:597] = 220  # an A4 sheet, 1 px/mm
    >>> [one.seen[0].kind for one in sightings(picture, BesideDog(2000.0))]
    ['a4']
    """
    found: list[Sighting] = []
    pictures = Halved(picture)
    closer = _closer(pictures, places(pictures, _PLACES), beside)
    for place, kind in closer[:_CLOSE]:
        if any(_lies_in(place.corners, other.corners) for other, _ in closer):
            continue  # what is printed on something
        longest = float(side_lengths(place.corners).max())
        with suppress(ScaleError):
            seen, weighed = weighed_at(
                pictures, kind, place.corners.mean(axis=0),
                across_px=(_AROUND[0] * longest, _AROUND[1] * longest),
            )  # fmt: skip
            if weighed.sure < _LEAST_SURE:
                continue
            if sum(share for share, _ in weighed.rivals) > _MOST_RIVALS:
                continue
            if seen.spread_px > _MOST_UNSURE * float(side_lengths(seen.points_px).max()):
                continue
            kinds = _as_kinds(picture, seen, beside)
            if kinds:
                found.append(Sighting(kinds, weighed.sure))
    found.sort(key=lambda one: -one.sure)
    kept: list[Sighting] = []
    for one in found:
        inner = any(_lies_in(one.corners, other.corners) for other in found)
        if not inner and not any(_same(one, other) for other in kept):
            kept.append(one)
    return tuple(kept)


def _closer(
    picture: Picture | Halved, found: list[FourSides], beside: BesideDog
) -> list[tuple[FourSides, ReferenceObject]]:
    """Places where a shape is sure enough by itself, with the kind that it is surest of."""
    passed: list[tuple[float, FourSides, ReferenceObject]] = []
    pictures = halved_of(picture)
    for place in found:
        longest = float(side_lengths(place.corners).max())
        middle = place.corners.mean(axis=0)
        best: tuple[float, ReferenceObject] | None = None
        for kind in RECTANGLES:
            if beside.oddness(kind, place.corners) > _MOST_ODD:
                continue
            across = (_AROUND[0] * longest, np.inf)
            window = next(windows(pictures, middle, window_px(kind), across))
            quads = (place.corners[None] - window.origin) / window.scale
            weighed = weigh(
                fitted_in(window, kind, quads), kind.size_mm, pictures.picture.shape,
                bends=kind.kind not in STIFF,
            )  # fmt: skip
            if weighed and weighed.sure > max(_FIRST_SURE, best[0] if best else 0.0):
                best = (weighed.sure, kind)
        if best:
            passed.append((best[0], place, best[1]))
    passed.sort(key=lambda item: -item[0])
    return [(place, kind) for _, place, kind in passed]


def _lies_in(inner: Floats, outer: Floats) -> bool:
    """Whether one shape's middle lies in another that is larger by more than its border."""
    larger = side_lengths(outer).sum() > _LARGER * side_lengths(inner).sum()
    return bool(larger) and contains(outer, inner.mean(axis=0))


def _same(one: Sighting, other: Sighting) -> bool:
    apart = float(np.hypot(*(one.corners.mean(axis=0) - other.corners.mean(axis=0))))
    return apart < 0.5 * float(side_lengths(one.corners).max())


def _as_kinds(
    picture: Picture, seen: ReferenceSeen, beside: BesideDog
) -> tuple[ReferenceSeen, ...]:
    """What the shape is as each kind that it may be, the likeliest first."""
    ways: list[ReferenceSeen] = []
    for kind in RECTANGLES:
        turned = corners_mm(kind, seen.points_px)[1]
        if turned < _MOST_TURNED and beside.oddness(kind, seen.points_px) <= _MOST_ODD:
            remarks = list(seen.remarks)
            ways.append(seen_as(kind, "found", seen.points_px, seen.spread_px, remarks))
    if not ways:
        return ()
    cost = costs(picture, ways, beside)
    order = np.argsort(cost, kind="stable")
    return tuple(ways[k] for k in order if cost[k] < float(cost.min()) + _MOST_LEFT)


def places(picture: Picture | Halved, most: int) -> list[FourSides]:
    """The plainest four-sided shapes of a picture that could be a card or sheet."""
    pictures = halved_of(picture)
    looks: list[Iterator[FourSides]] = []
    for side in _LEVELS_PX:
        if looks and side > max(pictures.picture.shape[:2]):
            continue
        look = _plainest(window_of(pictures, side))
        first = next(look, None)
        if first is not None:
            looks.append(chain([first], look))
    return _apart(merge(*looks, key=lambda place: -place.edge), most)


def _plainest(window: Window) -> Iterator[FourSides]:
    """What could be a card or sheet in one look, the plainest first; judged as it is asked for."""
    quads = _quads(window)
    if len(quads) == 0:
        return
    shares = _edge_of(window, quads)
    order = np.argsort(-shares, kind="stable")[:_MOST_QUADS]
    for start in range(0, len(order), _JUDGED_AT_ONCE):
        part = order[start : start + _JUDGED_AT_ONCE]
        for k in part[_could_be(quads[part], window.rgb.shape)]:
            yield FourSides(window.to_photo(quads[k]), float(shares[k]))


def _apart(found: Iterable[FourSides], most: int) -> list[FourSides]:
    kept: list[FourSides] = []
    for place in found:
        room = 0.2 * float(side_lengths(place.corners).max())
        if all(np.max(np.abs(place.corners - other.corners)) > room for other in kept):
            kept.append(place)
            if len(kept) == most:
                break
    return kept


def _could_be(quads: Floats, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    if len(quads) == 0:
        return np.zeros(0, np.bool_)
    run = np.roll(quads, -1, axis=1) - quads
    longest = np.max(np.hypot(run[..., 0], run[..., 1]), axis=1)
    spread = np.hypot(1.5, 0.03 * longest)
    fits = np.zeros(len(quads), np.bool_)
    for kind in RECTANGLES:
        judged = shapes(quads, kind.size_mm, shape, spread)
        fits |= (judged.misfit < _ROUGH_MISFIT) & (judged.tilt < _MOST_TILTED)
    return fits


def _quads(window: Window) -> Floats:
    """Rough four-sided shapes of one look, (n, 4, 2) px clockwise from the top left, each once."""
    outlines = largest_outlines(masks(window), cv2.CHAIN_APPROX_SIMPLE, _LEAST_SIDE_PX)
    most = 0.6 * max(window.rgb.shape[:2])
    rough = [quad for outline in outlines if (quad := _quad_of(outline, most)) is not None]
    quads = orders_of_corners(np.array(rough).reshape(-1, 4, 2))
    before = quads - np.roll(quads, 1, axis=1)
    after = np.roll(quads, -1, axis=1) - quads
    turns = before[..., 0] * after[..., 1] - before[..., 1] * after[..., 0]
    quads = quads[np.all(turns > 0, axis=1)]
    keys = np.rint(quads.reshape(-1, 8) / 2).astype(int)
    _, first = np.unique(keys, axis=0, return_index=True)
    return np.asarray(quads[np.sort(first)])


def _quad_of(outline: NDArray[np.int32], most: float) -> Floats | None:
    """The corners (4, 2) of an outline that has four sides, in any order; else None."""
    _, (wide, high), _ = box = cv2.minAreaRect(outline)
    if min(wide, high) < _LEAST_SIDE_PX or max(wide, high) > most:
        return None
    if max(wide, high) > 2.4 * min(wide, high):
        return None
    hull = cv2.convexHull(outline)
    area = float(cv2.contourArea(hull))
    if area < 0.55 * wide * high:
        return None
    around = cv2.arcLength(hull, True)
    quad: Floats | None = None
    for share in (0.03, 0.05, 0.08):
        corners = cv2.approxPolyDP(hull, share * around, True)
        if len(corners) == 4:
            quad = np.asarray(corners, np.float64).reshape(4, 2)
            break
    if quad is None:
        if area < 0.88 * wide * high:
            return None
        quad = np.asarray(cv2.boxPoints(box), np.float64)
    inside = float(cv2.contourArea(quad.astype(np.float32)))
    if min(area, inside) < _FULL * max(area, inside):
        return None
    return quad


def masks(window: Window) -> Iterator[Picture]:
    """What stands out of a look (h, w), 1 where it does: by lightness, colours, and edges."""
    kernel = np.ones((3, 3), np.uint8)
    for channel in range(3):
        plane = np.ascontiguousarray(window.lab[:, :, channel])
        for block, step in _LOCAL:
            around = cv2.boxFilter(plane, -1, (block, block), borderType=cv2.BORDER_REPLICATE)
            by = step if channel == 0 else step // 2
            for one, other in ((plane, around), (around, plane)):
                mask = (cv2.subtract(one, other) > by).astype(np.uint8)
                yield np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, kernel), np.uint8)
    across = np.ascontiguousarray(np.clip(window.slope[:, :, 0] * 16, -32000, 32000), np.int16)
    down = np.ascontiguousarray(np.clip(window.slope[:, :, 1] * 16, -32000, 32000), np.int16)
    for level in _EDGES:
        edges = cv2.Canny(across, down, level * 1.6, level * 4.0, L2gradient=True)
        yield np.asarray(cv2.dilate(edges, kernel), np.uint8)


def _edge_of(window: Window, quads: Floats) -> Floats:
    """How much of each outline (n, 4, 2) is edge, the least side counting half."""
    steps = np.linspace(0.12, 0.88, 13)
    run = np.roll(quads, -1, axis=1) - quads
    points = quads[:, :, None, :] + steps[None, None, :, None] * run[:, :, None, :]
    length = np.maximum(np.linalg.norm(run, axis=2), 1e-9)
    normal = np.stack([run[:, :, 1], -run[:, :, 0]], axis=2) / length[:, :, None]
    height, width = window.rgb.shape[:2]
    best = np.zeros(points.shape[:3])
    for shift in (-1.5, 0.0, 1.5):
        at = np.rint(points + shift * normal[:, :, None, :]).astype(int)
        column, row = np.clip(at[..., 0], 0, width - 1), np.clip(at[..., 1], 0, height - 1)
        best = np.maximum(
            best, np.abs(np.sum(window.slope[row, column] * normal[:, :, None, :], axis=3))
        )
    share = np.mean(edge_share(best), axis=2)
    return np.asarray(0.5 * share.mean(axis=1) + 0.5 * share.min(axis=1))
