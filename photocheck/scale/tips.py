"""Tags' tips as marks: which they replace, and what is said where a mark by hand is elsewhere."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from photocheck.case.model import Marking, PhotoEntry, Point
from photocheck.scale.priors import TAG_TIP_MM
from photocheck.scale.tags_seen import TagSeen, TagsSeen
from photocheck.speech import tr
from photocheck.words import (
    ALL_LANDMARKS,
    FRONT_LANDMARKS,
    LANDMARK_TITLES,
    TAGS,
    TAGS_AND_OWNER,
    by_whom,
)

BEYOND: Final = 13.8
"""Chi-square with two degrees of freedom at 1 in 1000: a mark farther from a tip is named."""


def of_view(tags: TagsSeen, view: str) -> TagsSeen:
    """The tags of a photo that are of use from where the dog is seen.

    Parameters
    ----------
    view : str
        One of `photocheck.words.VIEWS`.  From the front those at the neck, and the breastbone's
        for its size alone.
    """
    names = (*FRONT_LANDMARKS, "breastbone") if view == "front" else ALL_LANDMARKS
    return replace(tags, tags=tuple(tag for tag in tags.tags if tag.landmark in names))


def tips(tags: TagsSeen, view: str) -> dict[str, Point]:
    """The marks that tags of `of_view` place, px."""
    own = FRONT_LANDMARKS if view == "front" else ALL_LANDMARKS
    return {
        tag.landmark: (float(tag.tip_px[0]), float(tag.tip_px[1]))
        for tag in tags.tags
        if tag.landmark in own
    }


def with_tips(
    entry: PhotoEntry, tags: TagsSeen, spread_mm: float
) -> tuple[PhotoEntry, tuple[str, ...]]:
    """The photo with the tips as one more marking, which replaces marks of the same landmarks.

    Parameters
    ----------
    entry : PhotoEntry
        As handed in; every landmark needed has a mark or a tag.
    tags : TagsSeen
        Of `of_view`.
    spread_mm : float
        Of marks by hand whose marking tells none.

    Returns
    -------
    (PhotoEntry, tuple of str)
        Without tags the same; sentences on marks that lie elsewhere than their tags.
    """
    placed = tips(tags, entry.view)
    if not placed:
        return entry, ()
    said = []
    kept = []
    both = entry.view != "front" or set(placed) >= set(FRONT_LANDMARKS)
    for marking in entry.markings:
        for name in placed.keys() & marking.marks.keys():
            tag = tags.of(name)
            if tag and _elsewhere(tag, marking.marks[name], marking.spread_mm or spread_mm):
                said.append(_sentence(name, marking.by))
        own = {name: xy for name, xy in marking.marks.items() if not both or name not in placed}
        if not both:  # left and right come from one marking: a single tag fills a gap
            own = {**placed, **own}
        if own or any(marking.bends.values()):
            kept.append(replace(marking, marks=own))
    if both:
        kept.append(Marking(placed, by=TAGS))
    return replace(entry, markings=tuple(kept)), tuple(sorted(said))


def _elsewhere(tag: TagSeen, mark: Point, spread_mm: float) -> bool:
    off = np.asarray(mark, float) - tag.tip_px
    on_dog = (spread_mm**2 + TAG_TIP_MM**2) * tag.px_per_mm**2
    return bool(off @ np.linalg.solve(tag.tip_covariance + on_dog * np.eye(2), off) > BEYOND)


def _sentence(name: str, by: str) -> str:
    if by in (TAGS, TAGS_AND_OWNER):
        return tr(
            "The mark of the {name} that was moved lies elsewhere than the tip of its tag; the tag "
            "was used",
            name=tr(LANDMARK_TITLES[name]),
        )
    return tr(
        "The {name} mark of {who} lies elsewhere than the tip of its tag; the tag was used",
        name=tr(LANDMARK_TITLES[name]),
        who=by_whom(by),
    )
