"""The dog's outline in a photo, found from its marks.

Iterated graph cuts (GrabCut: Rother, Kolmogorov and Blake 2004, ACM Transactions on
Graphics 23: 309-314, as in OpenCV), seeded by where the marks say the trunk must be,
where head, tail and legs may be, and where nothing of the dog can be.  It works on a
small copy of the part of the photo around the dog.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from photocheck.body.outline_seeds import CloseUp, seeds_of
from photocheck.case.model import Point

Array = NDArray[np.float64]
Mask = NDArray[np.uint8]

ROUNDS: Final = 3
"""Rounds of colour models and cuts; more change little."""
EDGE_PX: Final = 2.0
"""Nearer to the photo's edge than this many px of the small copy counts as touching it."""
HOLE: Final = 0.004
"""Holes below this share of the copy are filled."""
TRUSTED: Final = 0.6
"""Agreement below which nothing is read off the outline (judgement)."""


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
        0 to 1: how well the outline passes through the marks that lie on it.
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
    small = frame.copy(rgb)
    marks = {name: frame.into(xy) for name, xy in marks_px.items()}
    seeds = seeds_of(small.shape[:2], marks, [frame.into(xy) for xy in reference_px], frame)
    if not ((seeds == cv2.GC_FGD).any() and (seeds == cv2.GC_BGD).any()):
        return None
    soft = cv2.GaussianBlur(small, (0, 0), 1.0)  # hair and grain are not outline
    colours = np.asarray(cv2.cvtColor(soft, cv2.COLOR_RGB2Lab), np.uint8)
    mask = _one_piece(_cut(colours, seeds), marks)
    return _read(mask, marks, frame)


def _cut(colours: NDArray[np.uint8], seeds: Mask) -> Mask:
    """Colours learned at half size, then one cut at full size: half the time of learning there.

    What lies deep inside the coarse outline is settled; thin legs and tails are not found
    at half size, so that all the rest is cut afresh.
    """
    height, width = seeds.shape
    half = (max(width // 2, 8), max(height // 2, 8))
    coarse = np.asarray(cv2.resize(colours, half, interpolation=cv2.INTER_AREA), np.uint8)
    guess = np.asarray(cv2.resize(seeds, half, interpolation=cv2.INTER_NEAREST), np.uint8)
    models = np.zeros((1, 65)), np.zeros((1, 65))
    cv2.setRNGSeed(1)  # the colour models start from a random clustering
    cv2.grabCut(coarse, guess, (0, 0, 0, 0), *models, ROUNDS, cv2.GC_INIT_WITH_MASK)
    inside = np.isin(guess, (cv2.GC_FGD, cv2.GC_PR_FGD)).astype(np.uint8)
    grown = cv2.resize(inside, (width, height), interpolation=cv2.INTER_NEAREST)
    surely = cv2.erode(grown, np.ones((9, 9), np.uint8), borderValue=1)
    fine = np.where((surely > 0) & (seeds != cv2.GC_BGD), cv2.GC_FGD, seeds).astype(np.uint8)
    cv2.grabCut(colours, fine, (0, 0, 0, 0), *models, 1, cv2.GC_EVAL_FREEZE_MODEL)
    return np.isin(fine, (cv2.GC_FGD, cv2.GC_PR_FGD)).astype(np.uint8)


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


def _read(mask: Mask, marks: Mapping[str, Array], frame: CloseUp) -> Silhouette:
    """Everything the outline tells."""
    trust = _trust(mask, marks, frame.trunk)
    topline: tuple[Point, ...] = ()
    head = None
    feet: dict[str, Point] = {}
    if trust >= TRUSTED:
        topline = tuple(frame.back(at) for at in _topline(mask, marks))
        found = _head(mask, marks, frame.ahead)
        head = None if found is None else frame.back(found)
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


def _trust(mask: Mask, marks: Mapping[str, Array], trunk: float) -> float:
    """Share of the marks on the outline that it passes within a thirtieth of the trunk of."""
    edge = cv2.morphologyEx(mask, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    if not edge.any():
        return 0.0
    away = cv2.distanceTransform((1 - edge).astype(np.uint8), cv2.DIST_L2, 3)
    names = ("breastbone", "shoulder_top", "tail_base", "back_top", "chest_bottom")
    scores = []
    for name in names:
        if name in marks:
            column, row = (int(v) for v in np.rint(marks[name]))
            if 0 <= row < mask.shape[0] and 0 <= column < mask.shape[1]:
                near = max(2.5, trunk / 30.0)
                scores.append(float(np.exp(-0.5 * (away[row, column] / near) ** 2)))
            else:
                scores.append(0.0)
    return float(np.mean(scores))


def _topline(mask: Mask, marks: Mapping[str, Array]) -> list[Array]:
    """The mask's upper edge in each column between shoulder top and tail base."""
    start, end = marks["shoulder_top"], marks["tail_base"]
    low, high = sorted((start[0], end[0]))
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
