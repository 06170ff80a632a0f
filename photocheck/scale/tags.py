"""Tags on the dog, found in a photo: whose point each is, where its tip is, how large a mm is.

Places where black and white lie close together are searched for squares
(`photocheck.scale.tag_detection`); the whole face of the tag that each looks like is laid over the
photo at full resolution (`photocheck.scale.tag_fit`), and what does not look like it is none
(`photocheck.scale.tag_reading`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot, sqrt
from typing import Final

import numpy as np

from photocheck.scale.light import Floats, Picture, as_grey
from photocheck.scale.sheet import LAYOUT
from photocheck.scale.tag_detection import Search, Square, cell_px
from photocheck.scale.tag_fit import fit_tag
from photocheck.scale.tag_layout import CELLS, TAG_IDS, TAG_MM
from photocheck.scale.tag_place import USUAL_FOCAL, scale_at
from photocheck.scale.tag_reading import FaceRead, read_face
from photocheck.scale.tags_seen import TagSeen, TagsSeen
from photocheck.speech import joined, tr
from photocheck.words import LANDMARK_TITLES

_LEAST_CELL_PX: Final = 2.5  # cells smaller than this are not measured
_SPREAD_FLOOR_PX: Final = 0.1
_FLATTEST: Final = 0.3  # shorter side over longer one of a square that is still measured
_OFTEN: Final = 2.0
"""Standard deviation of what a fit leaves open over what it says of itself: what is left over in
one pixel is left over in the next as well."""
_NOT_FLAT_MM: Final = {"standing": 0.25, "lying": 0.45}
"""Spread of the tip off where the face says it is, per axis, mm: paper that stands on a fold, and
paper that follows a flank."""
_SCALE_FLOOR: Final = {"standing": 0.004, "lying": 0.007}
"""Spread of ln px per mm beyond what the fit leaves open: paper that is not quite flat, and tape
that lies along a side."""
_COVERED_RING: Final = 5
"""Cells of the white round a square that look otherwise before that is said."""
_OTHERS_LIKENESS: Final = 0.9
"""Correlation of a square's cells with a marker's that is neither a tag's nor the sheet's."""
_MOST_OTHERS: Final = 8
"""So many are looked at: of them only a sentence comes."""
_ONE_SET: Final = 1.6
"""How many times larger the nearest tag of one set may look than the usual one (judgement)."""

_LANDMARKS: Final = {code: landmark for landmark, code in TAG_IDS.items()}


@dataclass(frozen=True, eq=False)
class _Measured:
    tag: TagSeen
    reading: FaceRead


def find_tags(picture: Picture, *, small: bool = False, focal_px: float | None = None) -> TagsSeen:
    """Find all tags in a photo.

    Parameters
    ----------
    picture : (H, W) grey or (H, W, 3) RGB, uint8
        The upright photo at full resolution.
    small : bool
        The tags are those for small dogs (30 mm), not the usual ones (40 mm).
    focal_px : float or None
        Focal length, when it is known; else that of a phone is meant, with its doubt.  It
        matters little: for how strong perspective is within a tag, and for tags far from the
        picture's middle that are turned.

    Returns
    -------
    TagsSeen
        `TagSeen.px_per_mm` is the focal length over the tag's depth along the line of sight.
    """
    grey = as_grey(picture)
    side = TAG_MM["small" if small else "usual"]
    search = Search(grey)
    measured, others = _sorted_out(grey, search.squares, side, focal_px)
    if measured:
        found = [one.tag.corners_px for one in measured]
        more, more_others = _sorted_out(grey, search.faint_near(found), side, focal_px)
        measured, others = measured + more, others + more_others
    seen = _kept(measured)
    if any(_sound(grey, square) for square in others[:_MOST_OTHERS]):
        said = tr("A printed square that is neither a tag's nor the marker sheet's is not used")
        return replace(seen, remarks=(*seen.remarks, said))
    return seen


def _sorted_out(
    grey: Picture, squares: list[Square], side: float, focal_px: float | None
) -> tuple[list[_Measured], list[Square]]:
    """Tags, measured, and what looks like other people's markers."""
    measured: list[_Measured] = []
    others: list[Square] = []
    for square in squares:
        if cell_px(square.corners_px) < _LEAST_CELL_PX or not _plausible(square.corners_px):
            continue
        if square.code in _LANDMARKS:
            one = _measured(grey, square, side, focal_px)
            measured += [one] if one is not None else []
        elif square.code not in LAYOUT.marker_ids and square.likeness >= _OTHERS_LIKENESS:
            others.append(square)
    return measured, others


def _sound(grey: Picture, square: Square) -> bool:
    fit = fit_tag(
        grey, square.corners_px, square.code, lying=False, focal_px=USUAL_FOCAL * max(grey.shape)
    )
    if fit is None:
        return False
    reading = read_face(fit)
    return reading.sound and reading.whole


def _measured(
    grey: Picture, square: Square, side: float, focal_px: float | None
) -> _Measured | None:
    """A tag with its place, or None where there is none."""
    landmark = _LANDMARKS[square.code]
    how = "lying" if landmark == "last_rib" else "standing"
    size = grey.shape[1], grey.shape[0]
    focal = USUAL_FOCAL * max(size) if focal_px is None else focal_px
    fit = fit_tag(grey, square.corners_px, square.code, lying=how == "lying", focal_px=focal)
    if fit is None:
        return None
    corners = fit.corners_px()
    reading = read_face(fit)
    inside = np.all(corners >= 0) and np.all(corners <= np.array(size) - 1)
    if not (reading.sound and inside and _plausible(corners)):
        return None
    if cell_px(corners) < _LEAST_CELL_PX:
        return None
    covariance = _OFTEN**2 * fit.inverse
    per_cell, spread = scale_at(fit.matrix, covariance, fit.middle_px, size, focal_px)
    per_mm = per_cell / (side / CELLS)
    off = _NOT_FLAT_MM[how] * per_mm
    covered = not reading.whole or reading.ring > _COVERED_RING
    tag = TagSeen(
        landmark=landmark,
        side_mm=side,
        corners_px=corners,
        corner_spread_px=max(_OFTEN * fit.corner_spread_px(), _SPREAD_FLOOR_PX),
        tip_px=fit.tip_px,
        tip_covariance=_OFTEN**2 * fit.tip_covariance + off**2 * np.eye(2),
        px_per_mm=per_mm,
        px_per_mm_spread=float(np.hypot(spread, _SCALE_FLOOR[how])),
        remarks=(tr("partly covered"),) if covered else (),
    )
    return _Measured(tag, reading)


def _plausible(corners: Floats) -> bool:
    """Whether the corners are a square's, seen from farther than a few times its side."""
    # a few numbers: plain arithmetic is quicker than arrays
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = corners.tolist()
    sides = ((bx - ax, by - ay), (cx - bx, cy - by), (dx - cx, dy - cy), (ax - dx, ay - dy))
    turned = (*sides[1:], sides[0])
    if any(x * v - y * u <= 0 for (x, y), (u, v) in zip(sides, turned, strict=True)):
        return False
    long = [hypot(x, y) for x, y in sides]
    across = ((sides[0][0] - sides[2][0]) / 2, (sides[0][1] - sides[2][1]) / 2)
    down = ((sides[1][0] - sides[3][0]) / 2, (sides[1][1] - sides[3][1]) / 2)
    # singular values of the 2 x 2 of both: their squares' sum, and their product
    squares = sum(x * x + y * y for x, y in (across, down))
    area = abs(across[0] * down[1] - across[1] * down[0])
    flat = squares - sqrt(max(squares**2 - 4 * area**2, 0.0))
    steep = max(long[0] / long[2], long[2] / long[0], long[1] / long[3], long[3] / long[1])
    return flat >= _FLATTEST**2 * (2 * squares - flat) and steep < 1.35


def _kept(measured: list[_Measured]) -> TagsSeen:
    """Each landmark once, tags whose wedge is hidden only beside others."""
    pointed = [one for one in measured if one.reading.pointed]
    beside = [one for one in measured if one.reading.pointed or one.reading.whole]
    trusted = [one.tag for one in (beside if len(pointed) >= 2 else pointed)]
    once, remarks = [], []
    for landmark in TAG_IDS:
        same = [tag for tag in trusted if tag.landmark == landmark]
        if len(same) == 1:
            once += same
        elif same:
            remarks.append(
                tr(
                    "Two tags “{point}” are in the photo, and neither is used: leave only one of "
                    "them on the dog, and take the photo again",
                    point=tr(LANDMARK_TITLES[landmark]),
                )
            )
    kept, other = _of_one_set(once)
    if other:
        remarks.append(
            tr(
                "Tags that look far larger or smaller than the others are not used ({points}): "
                "put on one set only, all of one size, and keep spare ones out of the picture",
                points=joined(*(tr(LANDMARK_TITLES[tag.landmark]) for tag in other), between=", "),
            )
        )
    return TagsSeen(tuple(kept), tuple(remarks))


def _of_one_set(tags: list[TagSeen]) -> tuple[list[TagSeen], list[TagSeen]]:
    """Those that one dog may wear, as near as they look to one another, and the others."""
    if not tags:
        return [], []
    looks = np.log([tag.px_per_mm for tag in tags])
    if np.ptp(looks) <= np.log(_ONE_SET):
        return tags, []
    # of two nobody can say which is the other's
    far = np.abs(looks - np.median(looks)) > np.log(_ONE_SET) / 2
    return (
        [tag for tag, off in zip(tags, far, strict=True) if not off],
        [tag for tag, off in zip(tags, far, strict=True) if off],
    )
