"""Tags on the dog, found in a photo: whose point each is, where its tip is, how large a mm is.

Detection runs on a shrunken picture.  What was found is read again at full resolution
(`photocheck.scale.tag_reading`), and its corners are measured there as crossings of lines, as
the sheet's are (`photocheck.scale.markers`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from photocheck.scale.light import Floats, Picture, as_grey
from photocheck.scale.sheet import LAYOUT
from photocheck.scale.subpixel import crossing, crossing_spread, fit_black_squares
from photocheck.scale.tag_detection import cell_px, detect_squares
from photocheck.scale.tag_layout import TAG_IDS, TAG_MM
from photocheck.scale.tag_place import place_tag
from photocheck.scale.tag_reading import MarkerRead, read_marker
from photocheck.scale.tags_seen import TagSeen, TagsSeen
from photocheck.speech import tr
from photocheck.words import LANDMARK_TITLES

_LEAST_CELL_PX: Final = 2.5  # cells smaller than this are not measured
_LEAST_SUPPORT: Final = 0.5
_WHOLE_SUPPORT: Final = 0.75  # below, something lies over a side
_SPREAD_FLOOR_PX: Final = 0.1
_FLATTEST: Final = 0.3  # shorter side over longer one of a square that is still measured
_NOT_FLAT_MM: Final = {"standing": 0.6, "lying": 1.0}
"""Spread of the tip off the square's plane and of its place in it, per axis, mm: paper that
stands on a fold, and paper that follows a flank."""
_SCALE_FLOOR: Final = {"standing": 0.007, "lying": 0.018}
"""Spread of ln px per mm beyond what the corners leave open: paper that is not quite flat, and tape
that lies along a side.  On rendered dogs the error was 1.4 to 3 times what the corners say."""
_ONE_SET: Final = 1.6
"""How many times larger the nearest tag of one set may look than the usual one (judgement)."""

_LANDMARKS: Final = {code: landmark for landmark, code in TAG_IDS.items()}


@dataclass(frozen=True, eq=False)
class _Square:
    """A marker of the family, read: corners (4, 2) px from its own top left, and their spread."""

    corners_px: Floats
    spread_px: float
    support: float
    reading: MarkerRead

    @property
    def code(self) -> int:
        return self.reading.code


@dataclass(frozen=True, eq=False)
class _Measured:
    tag: TagSeen
    reading: MarkerRead


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
    size = grey.shape[1], grey.shape[0]
    side = TAG_MM["small" if small else "usual"]
    read = [_read(grey, corners) for corners in detect_squares(grey)]
    sound = [one for one in read if one is not None and one.reading.sound]
    ours = [one for one in sound if one.code in _LANDMARKS]
    seen = _kept([_measured(one, side, size, focal_px) for one in ours])
    return replace(seen, remarks=(*seen.remarks, *_others(sound)))


def _read(grey: Picture, corners: Floats) -> _Square | None:
    """A marker with its sides measured, or None where there is none."""
    cell = cell_px(corners)
    if cell < _LEAST_CELL_PX or not _plausible(corners):
        return None
    lines = fit_black_squares(grey, corners[None], cell)
    points, spreads, supports = [], [], []
    for k in range(4):
        before, after = lines[k - 1], lines[k]
        if before is None or after is None:
            return None
        point = crossing(before, after)
        if point is None or float(np.hypot(*(point - corners[k]))) > max(cell, 3.0):
            return None
        points.append(point)
        spreads.append(crossing_spread(before, after))
        supports.append(after.support)
    exact = np.array(points)
    if min(supports) < _LEAST_SUPPORT or not _plausible(exact):
        return None
    reading = read_marker(grey, exact)
    if reading is None:
        return None
    return _Square(
        corners_px=np.roll(exact, -reading.turn, axis=0),
        spread_px=max(float(np.sqrt(np.mean(np.square(spreads)))), _SPREAD_FLOOR_PX),
        support=min(supports),
        reading=reading,
    )


def _measured(
    one: _Square, side: float, size: tuple[int, int], focal_px: float | None
) -> _Measured:
    place = place_tag(one.corners_px, one.spread_px, side, size, focal_px)
    landmark = _LANDMARKS[one.code]
    how = "lying" if landmark == "last_rib" else "standing"
    off = _NOT_FLAT_MM[how] * place.px_per_mm
    remarks = [tr("partly covered")] if one.support < _WHOLE_SUPPORT else []
    tag = TagSeen(
        landmark=landmark,
        side_mm=side,
        corners_px=one.corners_px,
        corner_spread_px=one.spread_px,
        tip_px=place.tip_px,
        tip_covariance=place.tip_covariance + off**2 * np.eye(2),
        px_per_mm=place.px_per_mm,
        px_per_mm_spread=float(np.hypot(place.px_per_mm_spread, _SCALE_FLOOR[how])),
        remarks=tuple(remarks),
    )
    return _Measured(tag, one.reading)


def _plausible(corners: Floats) -> bool:
    """Whether the corners are a square's, seen from farther than a few times its side."""
    sides = np.roll(corners, -1, axis=0) - corners
    long = np.hypot(sides[:, 0], sides[:, 1])
    turns = sides[:, 0] * np.roll(sides[:, 1], -1) - sides[:, 1] * np.roll(sides[:, 0], -1)
    if np.any(turns <= 0):
        return False
    across, down = (sides[0] - sides[2]) / 2, (sides[1] - sides[3]) / 2
    flat = np.linalg.svd(np.stack([across, down]), compute_uv=False)
    even = max(long[0] / long[2], long[2] / long[0], long[1] / long[3], long[3] / long[1])
    return bool(flat[1] / flat[0] >= _FLATTEST and even < 1.35)


def _kept(measured: list[_Measured]) -> TagsSeen:
    """Each landmark once, tags whose wedge is hidden only beside others."""
    pointed = [one for one in measured if one.reading.pointed]
    trusted = [one.tag for one in (measured if len(pointed) >= 2 else pointed)]
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
                points=", ".join(tr(LANDMARK_TITLES[tag.landmark]) for tag in other),
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


def _others(sound: list[_Square]) -> tuple[str, ...]:
    """What is said of markers of the family that are neither a tag's nor the sheet's."""
    if all(one.code in _LANDMARKS or one.code in LAYOUT.marker_ids for one in sound):
        return ()
    return (tr("A printed square that is neither a tag's nor the marker sheet's is not used"),)
