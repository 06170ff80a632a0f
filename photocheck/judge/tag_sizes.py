"""Whether the tags look as large as the reference and its place let expect.

Tags of the other set look a third too large or a quarter too small, and a reference that stood
elsewhere than was said makes all of them look too large or too small as well.  What is a third or
a quarter off is more likely the other set: then no tag's size is used.  Anything else is believed
of the tags, which are on the dog itself; then nothing is believed of the place.  A tag that does
not go with the others is told apart first.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.judge.joint import Joint
from photocheck.judge.solve import solve
from photocheck.scale.catalogue import DOG_TAGS, REFERENCES
from photocheck.scale.pose import View
from photocheck.scale.priors import TAG_DEPTH_MM
from photocheck.scale.tag_layout import TAG_MM
from photocheck.scale.tag_place import USUAL_FOCAL
from photocheck.scale.tag_reference import reference_tag, tags_as_reference
from photocheck.scale.tags_seen import TagSeen
from photocheck.speech import joined, tr
from photocheck.words import LANDMARK_TITLES

_LIMIT: Final = 4.0
"""Standard deviations, of what is believed without them, beyond which tags contradict
(judgement)."""
_NEAR: Final = 0.12
"""How near to the other set's look, in ln, counts as that (judgement): a third and a quarter are
0.29, and a dog half a metre off its place at 2.5 m is 0.2."""
_NOWHERE_MM: Final = 1000.0
"""Spread of where a reference stood of which nothing is believed."""
_UNKNOWN: Final = 10.0
"""A spread of ln px per mm that says nothing."""
_TELLS_APART: Final = 9.0
"""By how much more one tag's misfit, squared, must explain than another's to be the odd one: a
likelihood 90 times larger (judgement)."""
_FEWEST: Final = 3
"""So many tags can say of one of them that it does not go with the others."""


@dataclass(frozen=True)
class TagLook:
    """What is to be said of the tags of one photo, and what of it is left to be believed."""

    sentence: str
    view: View


def tag_look(alone: Joint, number: int) -> TagLook | None:
    """What is to be said of tags that look too large or too small; None where nothing is.

    Parameters
    ----------
    alone : Joint
        Of one photo from the side.
    number : int
        What people call the photo.
    """
    (shot,) = alone.shots
    if shot.view.seen.kind == DOG_TAGS or not alone.size_rows:
        return None
    bare = _bare(alone)
    mode = solve(bare)
    rows = list(bare.size_rows)
    larger = -_UNKNOWN * float(np.mean(mode.residuals[rows]))
    slope = _UNKNOWN * mode.jacobian[rows].mean(axis=0)
    own = [mark.tag.px_per_mm_spread for mark in alone.size_rows.values() if mark.tag is not None]
    spread = np.sqrt(
        slope @ mode.covariance @ slope
        + np.mean(np.square(own)) / len(own)
        + REFERENCES[DOG_TAGS].size_spread ** 2
    )
    if abs(larger) <= _LIMIT * spread:
        return None
    percent = 100.0 * abs(np.expm1(larger))
    said = {"number": number, "percent": f"{percent:.0f}"}
    if abs(abs(larger) - np.log(TAG_MM["usual"] / TAG_MM["small"])) < _NEAR:
        text = (
            tr(
                "Photo {number}: the tags look {percent} % larger than the set that was named can "
                "look there, as those of the usual set would. Their sizes were left out; say "
                "which set the dog wears, and where the object of known size stood.",
                **said,
            )
            if larger > 0
            else tr(
                "Photo {number}: the tags look {percent} % smaller than the set that was named "
                "can look there, as those of the small set would. Their sizes were left out; say "
                "which set the dog wears, and where the object of known size stood.",
                **said,
            )
        )
        return TagLook(text, without_sizes(shot.view))
    text = (
        tr(
            "Photo {number}: the tags look {percent} % larger than the place of the object of "
            "known size lets expect: the dog was nearer to the camera than was said. The tags "
            "were believed; check where it stood, and which object it is.",
            **said,
        )
        if larger > 0
        else tr(
            "Photo {number}: the tags look {percent} % smaller than the place of the object of "
            "known size lets expect: the dog was farther from the camera than was said. The tags "
            "were believed; check where it stood, and which object it is.",
            **said,
        )
    )
    anywhere = replace(shot.view.offset, spread_mm=_NOWHERE_MM)
    return TagLook(text, replace(shot.view, offset=anywhere))


def odd_tags(alone: Joint, number: int) -> TagLook | None:
    """What is to be said of a tag that contradicts the others; None where none does.

    One of the other set among three that go with each other, or one that is crumpled: its size is
    left out, its tip is not.  Where it may be one of several all of theirs are.  Where the others
    do not agree either nobody can say which is wrong, and of one or two only `tag_look` can say
    anything.

    Parameters
    ----------
    alone, number
        As `tag_look`'s.
    """
    (shot,) = alone.shots
    if len(alone.size_rows) < _FEWEST:
        return None
    larger, spread, tags = _misfits(alone)
    every = list(range(len(tags)))
    off = _against_others(every, larger, spread)
    odd = max(every, key=lambda k: abs(off[k][1]))
    if abs(off[odd][1]) <= _LIMIT or not _go_together(odd, every, larger, spread):
        return None
    suspects = [
        k
        for k in every
        if off[odd][1] ** 2 - off[k][1] ** 2 < _TELLS_APART
        and _go_together(k, every, larger, spread)
    ]
    names = [tags[k].landmark for k in suspects]
    points = joined(*(tr(LANDMARK_TITLES[name]) for name in names), between="”, “")
    percent = f"{100.0 * np.expm1(off[odd][0]):+.0f}"
    text = (
        tr(
            "Photo {number}: the tag “{point}” does not go with the others by its size "
            "({percent} %): it is of another set or not flat. Its size was left out, its tip was "
            "used.",
            number=number,
            point=points,
            percent=percent,
        )
        if len(names) == 1
        else tr(
            "Photo {number}: one of the tags “{points}” does not go with the others by its size: "
            "it is of another set or not flat. Their sizes were left out, their tips were used.",
            number=number,
            points=points,
        )
    )
    return TagLook(text, _without_odd(shot.view, names))


def _go_together(
    odd: int, every: list[int], larger: NDArray[np.float64], spread: NDArray[np.float64]
) -> bool:
    """Whether all but one agree."""
    rest = [k for k in every if k != odd]
    return all(abs(sds) <= _LIMIT for _, sds in _against_others(rest, larger, spread).values())


def _against_others(
    left: list[int], larger: NDArray[np.float64], spread: NDArray[np.float64]
) -> dict[int, tuple[float, float]]:
    """How much larger each looks than the others let expect, in ln, and in standard deviations.

    However large all of them are.  What a dog that stands askew does to one it does to the others
    too, so that the whole covariance counts: each against what is expected of it given the rest
    (Baarda's w, "A Testing Procedure for Use in Geodetic Networks", 1968; from memory).
    """
    firm = np.linalg.inv(spread[np.ix_(left, left)] + _UNKNOWN**2)
    pulls, own = firm @ larger[left], np.diag(firm)
    return {
        k: (float(pull / one), float(pull / np.sqrt(one)))
        for k, pull, one in zip(left, pulls, own, strict=True)
    }


def _misfits(
    alone: Joint,
) -> tuple[NDArray[np.float64], NDArray[np.float64], list[TagSeen]]:
    """How much larger each tag looks than all but their sizes let expect, its covariance, tags."""
    (shot,) = alone.shots
    bare = _bare(alone)
    mode = solve(bare)
    rows = list(bare.size_rows)
    slopes = _UNKNOWN * mode.jacobian[rows]
    tags = [mark.tag for mark in alone.size_rows.values() if mark.tag is not None]
    focal = USUAL_FOCAL * max(shot.view.size_px)
    own = [np.hypot(tag.px_per_mm_spread, TAG_DEPTH_MM * tag.px_per_mm / focal) for tag in tags]
    spread = slopes @ mode.covariance @ slopes.T + np.diag(np.square(own))
    return -_UNKNOWN * mode.residuals[rows], spread, tags


def _bare(alone: Joint) -> Joint:
    """The same without the tags' sizes: their residuals are misfits over a spread that says
    nothing."""
    (shot,) = alone.shots
    return Joint(
        [replace(shot, view=without_sizes(shot.view))],
        alone.dog,
        ratios=alone.ratios,
        facts_left_out=frozenset(alone.facts),
    )


def _without_odd(view: View, names: list[str]) -> View:
    """The same photo without the size of some tags, which then are no reference either."""
    left = replace(
        view.tags, tags=tuple(tag for tag in view.tags.tags if tag.landmark not in names)
    )
    told = _without_sizes_of(view, names)
    if view.seen.kind != DOG_TAGS or reference_tag(left) is None:
        return told
    return replace(told, seen=tags_as_reference(left))


def without_sizes(view: View) -> View:
    """The same photo with tags that tell their points only."""
    return _without_sizes_of(view, [tag.landmark for tag in view.tags.tags])


def _without_sizes_of(view: View, landmarks: list[str]) -> View:
    tags = tuple(
        replace(tag, px_per_mm_spread=_UNKNOWN) if tag.landmark in landmarks else tag
        for tag in view.tags.tags
    )
    return replace(view, tags=replace(view.tags, tags=tags))
