"""The dog's outline in a photo, found from its marks.

Every pixel says by its colour how likely it is the dog, learnt from this photo
(`outline_colours`); what a dog around these marks can look like says it by place
(`outline_shapes`), weighed anew by what the colours said; the cut that agrees best with both
and runs along edges is the outline (`outline_cut`).  Some rounds of that settle it.  It works
on a small copy of the part of the photo around the dog.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.body.outline_colours import Colours
from photocheck.body.outline_cut import cut, edges
from photocheck.body.outline_frame import CloseUp
from photocheck.body.outline_shapes import COARSE_PX, Shapes
from photocheck.body.outline_trust import trust_in
from photocheck.case.model import Point

Array = NDArray[np.float64]
Map = NDArray[np.float32]
Mask = NDArray[np.uint8]

ROUNDS: Final = 3
"""Rounds of colours, shapes and cut; a fourth changed little."""
STEPS: Final = 160
"""Steps of the last cut; the ones before take half as many."""
SHAPE_SPEAKS: Final = 0.7
"""What the shapes' odds count beside the colours'; from 0.4 to 1 changed little."""
UNSURE: Final = 0.06
UNSURE_LATER: Final = 0.03
"""A part may lie where no shape has it, and no shape is right everywhere: the shapes' say is
kept this far from 0 and 1, in the first round and after."""
BEYOND: Final = 0.01
"""The same where no shape at all reached."""
BLUR: Final = 0.02
"""Blur of the shapes' say, over the trunk's length."""
BESIDE: Final = 8.0
"""ln of the odds against the dog where the reference lies."""
EDGE_PX: Final = 2.0
"""Nearer to the photo's edge than this many px of the small copy counts as touching it."""
HOLE: Final = 0.004
"""Holes below this share of the copy are filled."""
TRUSTED: Final = 0.6
"""Trust below which nothing is read off the outline (`photocheck.body.outline_trust`)."""


@dataclass(frozen=True, eq=False)
class Silhouette:
    """The dog's outline.

    Attributes
    ----------
    mask : (h, w) uint8
        1 inside the dog, of the small copy.
    left, top : float
        Where the copy's corner lies in the photo, px.
    scale : float
        Pixels of the copy per pixel of the photo.
    trust : float
        0 to 1, see `photocheck.body.outline_trust`.
    topline : tuple of Point
        The back's outline from shoulder top to tail base, px; empty when not trusted.
    head : Point or None
        Highest point ahead of the shoulder top, px.
    feet : mapping of "front_foot" and "rear_foot" to Point
        Lowest points below the trunk's front and hind halves, px; only where found.
    touches : tuple of str
        Edges of the photo the dog is cut off by: "left", "right", "top", "bottom".
    """

    mask: Mask
    left: float
    top: float
    scale: float
    trust: float
    topline: tuple[Point, ...]
    head: Point | None
    feet: Mapping[str, Point]
    touches: tuple[str, ...]

    @property
    def trusted(self) -> bool:
        """Whether the outline follows the marks well enough to be read."""
        return self.trust >= TRUSTED

    def full_mask(self, size: tuple[int, int]) -> Mask:
        """The mask at the photo's own size (width, height), (H, W) uint8."""
        move = np.array(
            [
                [self.scale, 0.0, self.scale * (0.5 - self.left) - 0.5],
                [0.0, self.scale, self.scale * (0.5 - self.top) - 0.5],
            ]
        )
        flags = cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
        return np.asarray(cv2.warpAffine(self.mask, move, size, flags=flags), dtype=np.uint8)


def find_silhouette(
    rgb: NDArray[np.uint8],
    marks_px: Mapping[str, Point],
    *,
    reference_px: Sequence[Point] = (),
) -> Silhouette | None:
    """Find the dog's outline.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
        The upright photo.
    marks_px : mapping of landmark name to Point
        breastbone, shoulder_top, last_rib and tail_base at least, px.
    reference_px : sequence of Point
        Outline of the reference; left out of the dog where it lies beside it.

    Returns
    -------
    Silhouette or None
        None when marks are missing, coincide or leave nothing to cut.
    """
    needed = ("breastbone", "shoulder_top", "last_rib", "tail_base")
    if any(name not in marks_px for name in needed):
        return None
    frame = CloseUp.around(rgb, marks_px)
    if frame is None:
        return None
    marks = {name: frame.into(xy) for name, xy in marks_px.items()}
    small = frame.copy(rgb)
    ring = [frame.into(xy) for xy in reference_px]
    found = _find(small, marks, frame, _beside(small.shape[:2], ring))
    return _read(found, marks, frame)


@dataclass(frozen=True, eq=False)
class _Found:
    """The outline with what it came from: maps of the small copy, (h, w)."""

    mask: Mask
    inside: Map
    price: Map
    shapes: Shapes


def _find(
    small: NDArray[np.uint8], marks: Mapping[str, Array], frame: CloseUp, beside: Mask
) -> _Found:
    height, width = small.shape[:2]
    share = min(1.0, COARSE_PX / max(height, width))
    coarse = (max(1, round(height * share)), max(1, round(width * share)))
    there = {name: (at + 0.5) * share - 0.5 for name, at in marks.items()}
    shapes = Shapes(there, frame.trunk * share, frame.ahead, coarse)
    soft = np.asarray(cv2.bilateralFilter(small, 7, 30.0, 5.0), np.uint8)
    colours = Colours(_lab(soft), frame.trunk)  # hair and grain are not colours
    price = edges(_lab(small))

    def grown(coarse_map: Map) -> Map:
        return np.asarray(cv2.resize(coarse_map, (width, height)), np.float32)

    first = grown(shapes.dog())
    teach_dog, teach_ground = first**3, (1.0 - first) ** 12
    inside: Map | None = None
    for number in range(ROUNDS):
        if inside is not None:
            place = grown(shapes.dog())
            teach_dog = np.where(inside > 0.5, np.maximum(place, 0.1), 0.0)
            # What all shapes have as the dog never teaches the ground.
            open_ground = (inside < 0.5) & (first < 0.6)
            teach_ground = np.where(open_ground, np.maximum(1.0 - place, 0.1), 0.0)
        odds = colours.speak(np.where(beside, 0.0, teach_dog), teach_ground)
        odds = np.where(beside, -BESIDE, odds).astype(np.float32)
        seen = cv2.resize(odds, coarse[::-1], interpolation=cv2.INTER_AREA)
        shapes.weigh(np.asarray(seen, np.float32))
        odds = odds + SHAPE_SPEAKS * _placed(grown(shapes.dog()), first, frame.trunk, number)
        start = (odds > 0.0).astype(np.float32) if inside is None else inside
        inside = cut(odds, price, start, STEPS if number == ROUNDS - 1 else STEPS // 2)
    assert inside is not None
    mask = _one_piece((inside > 0.5).astype(np.uint8), marks)
    return _Found(mask, inside, price, shapes)


def _lab(rgb: NDArray[np.uint8]) -> Map:
    return np.asarray(cv2.cvtColor(rgb.astype(np.float32) / 255.0, cv2.COLOR_RGB2Lab), np.float32)


def _placed(place: Map, first: Map, trunk: float, number: int) -> Map:
    """ln of the odds that the shapes give, (h, w)."""
    soft = cv2.GaussianBlur(place, (0, 0), max(BLUR * trunk, 0.5))
    unsure = np.where(first > BEYOND, UNSURE if number == 0 else UNSURE_LATER, BEYOND)
    likely = np.clip(unsure + (1.0 - 2.0 * unsure) * soft, BEYOND, 1.0 - BEYOND)
    likely = np.where(first > 1.0 - 0.5 * BEYOND, 1.0 - BEYOND, likely)
    return np.asarray(np.log(likely / (1.0 - likely)), np.float32)


def _beside(shape: tuple[int, ...], ring: Sequence[Array]) -> Mask:
    """Where the reference lies, and a quarter beyond: its shadow and its rim, (h, w)."""
    mask = np.zeros(shape, np.uint8)
    if len(ring) >= 3:
        corners = np.array(ring)
        hull = cv2.convexHull(corners.astype(np.float32))[:, 0]
        out = corners.mean(axis=0) + 1.25 * (hull - corners.mean(axis=0))
        cv2.fillPoly(mask, [np.rint(out).astype(np.int32)], 1)
    return mask


def _one_piece(mask: Mask, marks: Mapping[str, Array]) -> Mask:
    """The piece with most of the trunk, without small holes."""
    mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)), np.uint8)
    _, pieces = cv2.connectedComponents(mask)
    middle = np.mean([marks[n] for n in ("breastbone", "shoulder_top", "tail_base")], axis=0)
    column, row = (int(v) for v in np.rint(middle))
    radius = max(3, mask.shape[1] // 40)
    near = pieces[max(row - radius, 0) : row + radius, max(column - radius, 0) : column + radius]
    counts = np.bincount(near.ravel(), minlength=2)
    counts[0] = 0
    if counts.sum() == 0:
        return np.zeros_like(mask)
    piece = (pieces == counts.argmax()).astype(np.uint8)
    # Daylight between crossing legs is large; a closed small hole is a patch of the coat.
    _, holes, stats, _ = cv2.connectedComponentsWithStats(1 - piece, connectivity=4)
    for number in range(1, len(stats)):
        x, y, w, h, area = (int(v) for v in stats[number])
        inside = x > 0 and y > 0 and x + w < mask.shape[1] and y + h < mask.shape[0]
        if inside and area < HOLE * mask.size:
            piece[holes == number] = 1
    return np.asarray(piece, np.uint8)


def _read(found: _Found, marks: Mapping[str, Array], frame: CloseUp) -> Silhouette:
    """Everything the outline tells."""
    mask = found.mask
    trust = trust_in(mask, found.inside, found.price, found.shapes, marks, frame.trunk)
    topline: tuple[Point, ...] = ()
    head = None
    feet: dict[str, Point] = {}
    if trust >= TRUSTED:
        topline = tuple(frame.back(at) for at in _topline(mask, marks))
        highest = _head(mask, marks, frame.ahead)
        head = None if highest is None else frame.back(highest)
        feet = {name: frame.back(at) for name, at in _feet(mask, marks, frame).items()}
    return Silhouette(
        mask=mask,
        left=float(frame.left),
        top=float(frame.top),
        scale=frame.scale,
        trust=trust,
        topline=topline,
        head=head,
        feet=feet,
        touches=_touches(mask, frame),
    )


def _topline(mask: Mask, marks: Mapping[str, Array]) -> list[Array]:
    """The mask's upper edge in each column between shoulder top and tail base."""
    start, end = marks["shoulder_top"], marks["tail_base"]
    low, high = sorted((start[0], end[0]))
    if high - low < 1.0:
        return []  # one above the other: no back lies between them
    reach = 0.2 * (high - low)  # a raised tail or a neck rises higher: not the back
    line = []
    for column in range(int(np.ceil(low)), int(high) + 1):
        t = (column - start[0]) / (end[0] - start[0])
        level = start[1] + t * (end[1] - start[1])
        first = max(int(level - reach), 0)
        rows = np.flatnonzero(mask[first : int(level + reach) + 1, column])
        if len(rows) and rows[0] > 0:
            line.append(np.array([float(column), first + rows[0] - 0.5]))
    return line


def _head(mask: Mask, marks: Mapping[str, Array], ahead: float) -> Array | None:
    """Highest point ahead of the breastbone's and shoulder top's middle."""
    columns = np.arange(mask.shape[1])
    middle = 0.5 * (marks["breastbone"][0] + marks["shoulder_top"][0])
    part = mask * ((columns - middle) * ahead > 0)
    rows = np.flatnonzero(part.any(axis=1))
    if not len(rows):
        return None
    columns = np.flatnonzero(part[rows[0]])
    return np.array([float(columns.mean()), rows[0] - 0.5])


def _feet(mask: Mask, marks: Mapping[str, Array], frame: CloseUp) -> dict[str, Array]:
    """Lowest points below the trunk's front and hind halves, well below the chest."""
    breast, tail = marks["breastbone"], marks["tail_base"]
    middle = 0.5 * (breast[0] + tail[0])
    columns = np.arange(mask.shape[1])
    front = (columns - middle) * frame.ahead > 0
    floor = max(breast[1], tail[1]) + 0.3 * frame.trunk
    found = {}
    for name, side in (("front_foot", front), ("rear_foot", ~front)):
        rows = np.flatnonzero((mask * side).any(axis=1))
        if len(rows) and rows[-1] > floor:
            lowest = rows[-1]
            band = np.flatnonzero((mask * side)[max(lowest - 2, 0) : lowest + 1].any(axis=0))
            found[name] = np.array([float(np.median(band)), lowest + 0.5])
    return found


def _touches(mask: Mask, frame: CloseUp) -> tuple[str, ...]:
    """Edges of the photo itself that the dog runs into over more than a hair's width."""
    rim = int(EDGE_PX)
    parts = {
        "left": mask[:, :rim].any(axis=1),
        "right": mask[:, -rim:].any(axis=1),
        "top": mask[:rim].any(axis=0),
        "bottom": mask[-rim:].any(axis=0),
    }
    least = max(3, round(0.02 * frame.trunk))
    opened = frame.open_edges()
    return tuple(n for n, part in parts.items() if opened[n] and int(part.sum()) >= least)
