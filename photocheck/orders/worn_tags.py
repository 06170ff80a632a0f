"""The tags on the dog as found in one photo: which marks they place, before anybody looks."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Point
from photocheck.orders.draft import Draft, DraftPhoto
from photocheck.orders.filling import with_tags
from photocheck.photo.photo import Photo
from photocheck.scale.tag_layout import STANDING
from photocheck.scale.tags import find_tags
from photocheck.words import (
    ALL_LANDMARKS,
    FRONT_HELPERS,
    FRONT_LANDMARKS,
    TAGS_UNUSED,
)

Frame = tuple[int, int, int, int]

ROOM: Final = 0.15
ROOM_TAGS: Final = 2.0
"""Room round the tags: as a share of the longer side of what they span, and in lengths of the
largest tag (judgement)."""


@dataclass(frozen=True)
class FoundTags:
    """What the tags in one photo say of it.

    Attributes
    ----------
    marks : mapping of landmark name to Point
        Where the tips are, px of the upright photo; only landmarks of the photo's own view, and
        none where no tag was found.
    frame : (int, int, int, int)
        Left, top, right and bottom of the part of the photo that shows all tags with some of the
        dog round them, px, the right and bottom ones excluded.
    outlines : tuple of tuple of Point
        Each tag as a closed shape to draw, px from the frame's upper left: its square, and the
        tip below it.
    remarks : tuple of str
        What a person should know of them.
    scale : bool
        Whether one of them faces the camera, so that its size tells how large things are.
    """

    marks: Mapping[str, Point] = field(default_factory=dict)
    frame: Frame = (0, 0, 0, 0)
    outlines: tuple[tuple[Point, ...], ...] = ()
    remarks: tuple[str, ...] = ()
    scale: bool = False


def tags_found(photo: Photo, view: str = "side") -> FoundTags:
    """The tags of a photo.

    Parameters
    ----------
    photo : Photo
    view : str
        One of `photocheck.words.VIEWS`: tags of the other view's points are not used.
    """
    wanted = (*FRONT_LANDMARKS, *FRONT_HELPERS) if view == "front" else ALL_LANDMARKS
    seen = find_tags(photo.rgb)
    tags = [tag for tag in seen.tags if tag.landmark in wanted]
    if not tags:
        return FoundTags(remarks=seen.remarks)
    shapes = np.array([[*tag.corners_px[:3], tag.tip_px, tag.corners_px[3]] for tag in tags])
    frame = _frame(shapes, photo.size)
    return FoundTags(
        {tag.landmark: _point(tag.tip_px) for tag in tags},
        frame,
        tuple(tuple(map(_point, shape)) for shape in shapes - frame[:2]),
        seen.remarks,
        any(tag.landmark in (*STANDING, *FRONT_LANDMARKS) for tag in tags),
    )


def told_by_tags(draft: Draft, find: Callable[[DraftPhoto], FoundTags]) -> Draft:
    """A copy of the draft in which tags have marked the photos that nobody has.

    What stays without a mark is to be marked by hand, and its check says so.

    Parameters
    ----------
    draft : Draft
    find : callable
        Gives the tags of one of its photos; only asked for those without any marking.
    """
    bare = [photo for photo in draft.photos if not photo.markings and photo.tags != TAGS_UNUSED]
    return with_tags(draft, {photo.file: find(photo).marks for photo in bare})


def _frame(shapes: NDArray[np.float64], size: tuple[int, int]) -> Frame:
    low, high = shapes.min(axis=(0, 1)), shapes.max(axis=(0, 1))
    tag = float(np.max(np.ptp(shapes, axis=1)))
    room = max(ROOM * float(np.max(high - low)), ROOM_TAGS * tag)
    left, top = np.floor(np.maximum(low - room, 0)).astype(int).tolist()
    right, bottom = np.ceil(np.minimum(high + room, size)).astype(int).tolist()
    return left, top, right, bottom


def _point(xy: NDArray[np.float64]) -> Point:
    return float(xy[0]), float(xy[1])
