"""A sample whose four marks are tags, found where its owner set the marks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

import photocheck
from photocheck.case.model import Case, Marking, Point
from photocheck.scale.tag_layout import square_mm, tip_mm
from photocheck.scale.tags_seen import TagSeen, TagsSeen
from photocheck.words import LANDMARKS
from tests.support.places import SAMPLES


def marked_by_hand() -> Case:
    """The sample with its owner's four marks alone."""
    case = photocheck.read_case(SAMPLES / "bramble" / "case.json")
    first = case.photos[0].markings[0]
    four = Marking({name: first.marks[name] for name in LANDMARKS})
    return replace(case, photos=(replace(case.photos[0], markings=(four,)),))


def without_marks(case: Case) -> Case:
    """The same with nothing marked."""
    return replace(case, photos=(replace(case.photos[0], markings=()),))


def finder(
    case: Case, px_per_mm: float, names: tuple[str, ...] = LANDMARKS
) -> Callable[..., TagsSeen]:
    """What `looking.find_tags` is to be: tags at these marks, their sizes told only to 10 %."""
    marks = case.photos[0].markings[0].marks

    def tag(name: str, at: Point) -> TagSeen:
        corners = np.array(at) + px_per_mm * (square_mm(40.0) - tip_mm(40.0))
        return TagSeen(name, 40.0, corners, 0.15, np.array(at), 0.25 * np.eye(2), px_per_mm, 0.1)

    def found(picture: np.ndarray, *, small: bool) -> TagsSeen:
        assert not small
        return TagsSeen(tuple(tag(name, marks[name]) for name in names))

    return found
