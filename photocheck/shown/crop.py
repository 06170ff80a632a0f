"""The part of a photo worth showing, and where its points lie at the size given out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Marking, Point
from photocheck.shown.labels import Box
from photocheck.words import FRONT_LANDMARKS

if TYPE_CHECKING:
    from PIL import Image


MAX_WIDTH: Final = 1600
"""Widest picture given out, px."""


MIN_WIDTH: Final = 1000
"""Narrowest, px: smaller photos are enlarged, for the letters' sake."""


MAX_ENLARGED: Final = 2.0
"""A photo is not cut down so far that it must be enlarged more than this."""


ROOM: Final = 0.5
"""Room kept around the dog's marks for its ears and tail, as a share of their longer extent."""


ROOM_AHEAD: Final = 0.65
"""The same in front of the breastbone, for a long nose held out."""


ROOM_BELOW: Final = 0.16
"""The same below the marked feet, where nothing of the dog is left to show."""


ROOM_FOR_LEGS: Final = 0.8
"""The same below the trunk when no foot is marked."""


ROOM_FOR_HEAD: Final = 1.5
"""The same above the widths that are marked in a photo from the front."""


ROOM_FOR_FORELEGS: Final = 1.9
"""The same below them."""


ROOM_REFERENCE: Final = 0.2
"""Room around the reference, for its name, as a share of the longer extent of the dog's marks."""


TALLEST: Final = 3 / 4
"""Smallest width over height a photo is cut to."""


FLATTEST: Final = 3 / 2
"""Largest width over height a photo is cut to."""


FONT_SHARE: Final = 32
"""The picture's width over the font size: on a phone held upright, about 2 mm high."""


Frame = tuple[int, int, int, int]
"""Left, top, right, bottom of a part of the photo, px; the right and bottom ones excluded."""


@dataclass(frozen=True)
class Cropped:
    """A part of the photo at the size it is given out."""

    photo: Image.Image
    frame: Frame
    scale: float
    size_px: float
    """Of the letters."""

    def at(self, xy: Point) -> Point:
        """Where a point of the whole photo lies."""
        # Pixel centres lie at whole numbers before and after.
        left, top = self.frame[:2]
        return (
            (xy[0] - left + 0.5) * self.scale - 0.5,
            (xy[1] - top + 0.5) * self.scale - 0.5,
        )


def view_of(photo_rgb: NDArray[np.uint8], frame: Frame) -> Cropped:
    """A part of the photo at the width given out."""
    import cv2
    from PIL import Image

    left, top, right, bottom = frame
    part = photo_rgb[top:bottom, left:right]
    height, given = part.shape[:2]
    width = min(max(given, MIN_WIDTH), MAX_WIDTH)
    scale = width / given
    if width != given:
        # Both keep the picture's outer edges in place, as `Cropped.at` has it.
        way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
        size = (width, max(1, round(height * scale)))
        part = cv2.resize(part, size, interpolation=way).astype(np.uint8, copy=False)
    photo = Image.fromarray(np.ascontiguousarray(part))
    return Cropped(photo, frame, scale, width / FONT_SHARE)


def frame_of(
    width: int, height: int, markings: Sequence[Marking], reference: Sequence[Point]
) -> Frame:
    """The part of the photo worth showing: the dog with its head and tail, and the reference."""

    def box(points: Sequence[Point]) -> Box:
        # What lies outside the photo cannot be shown; the photo's edge towards it can.
        xs = [min(max(x, 0.0), float(width)) for x, _ in points]
        ys = [min(max(y, 0.0), float(height)) for _, y in points]
        return min(xs), min(ys), max(xs), max(ys)

    dog = [xy for m in markings for xy in m.marks.values()]
    dog += [xy for m in markings for line in m.bends.values() for xy in line]
    left, top, right, bottom = box(dog) if dog else (0.0, 0.0, 0.0, 0.0)
    extent = max(right - left, bottom - top)
    if extent == 0:
        return 0, 0, width, height  # nothing says where the dog is
    feet = any(name in m.marks for m in markings for name in ("front_foot", "rear_foot"))
    below = ROOM_BELOW if feet else ROOM_FOR_LEGS
    means = mean_marks(markings)
    before, after = ROOM, ROOM
    if "breastbone" in means and "tail_base" in means:
        faces_left = means["breastbone"][0] < means["tail_base"][0]
        before, after = (ROOM_AHEAD, ROOM) if faces_left else (ROOM, ROOM_AHEAD)
    left, right = left - before * extent, right + after * extent
    front = any(name in means for name in FRONT_LANDMARKS)
    above, below = (ROOM_FOR_HEAD, ROOM_FOR_FORELEGS) if front else (ROOM, below)
    top, bottom = top - above * extent, bottom + below * extent
    if reference:
        held, rim = box(reference), ROOM_REFERENCE * extent
        left, top = min(left, held[0] - rim), min(top, held[1] - rim)
        right, bottom = max(right, held[2] + rim), max(bottom, held[3] + rim)
    left, right = max(left, 0.0), min(right, float(width))
    top, bottom = max(top, 0.0), min(bottom, float(height))

    wide = max(right - left, MIN_WIDTH / MAX_ENLARGED, TALLEST * (bottom - top))
    left, right = _widened(left, right, wide, width)
    top, bottom = _widened(top, bottom, (right - left) / FLATTEST, height)
    return floor(left), floor(top), min(ceil(right), width), min(ceil(bottom), height)


def _widened(low: float, high: float, length: float, limit: int) -> tuple[float, float]:
    """An interval grown to a length, evenly as far as 0 and the limit let it."""
    length = min(max(length, high - low), float(limit))
    low = min(max((low + high - length) / 2, 0.0), limit - length)
    return low, low + length


def mean_marks(markings: Sequence[Marking]) -> dict[str, Point]:
    """Each mark, px: the mean over those who placed it."""
    names = dict.fromkeys(name for marking in markings for name in marking.marks)
    means = {}
    for name in names:
        placed = [m.marks[name] for m in markings if name in m.marks]
        means[name] = (
            sum(x for x, _ in placed) / len(placed),
            sum(y for _, y in placed) / len(placed),
        )
    return means
