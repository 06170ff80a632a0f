"""The tags on the dog as found in one photo: which marks they place, before anybody looks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from photocheck.case.model import Point
from photocheck.photo.photo import Photo
from photocheck.scale.tags import find_tags
from photocheck.scale.tags_seen import TagSeen
from photocheck.words import (
    ALL_LANDMARKS,
    FRONT_HELPERS,
    FRONT_LANDMARKS,
)


@dataclass(frozen=True)
class FoundTags:
    """What the tags in one photo say of it.

    Attributes
    ----------
    marks : mapping of landmark name to Point
        Where the tips are, px of the upright photo; only landmarks of the photo's own view, and
        none where no tag was found.
    outlines : tuple of tuple of Point
        Each tag as a closed shape to draw, px: its square, and the tip below it.
    remarks : tuple of str
        What a person should know of them.
    """

    marks: Mapping[str, Point] = field(default_factory=dict)
    outlines: tuple[tuple[Point, ...], ...] = ()
    remarks: tuple[str, ...] = ()


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
    return FoundTags(
        {tag.landmark: _point(tag.tip_px) for tag in tags},
        tuple(map(_outline, tags)),
        seen.remarks,
    )


def _outline(tag: TagSeen) -> tuple[Point, ...]:
    above = [_point(corner) for corner in tag.corners_px]
    return (*above[:3], _point(tag.tip_px), above[3])


def _point(xy: NDArray[np.float64]) -> Point:
    return float(xy[0]), float(xy[1])
