"""Whether the tags look as large as the reference and its place let expect.

Tags of the other set look a third too large or a quarter too small, and a reference that stood
elsewhere than was said makes all of them look too large or too small as well.  What is a third or
a quarter off is more likely the other set: then no tag's size is used.  Anything else is believed
of the tags, which are on the dog itself; then nothing is believed of the place.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from photocheck.judge.joint import Joint
from photocheck.judge.solve import solve
from photocheck.scale.catalogue import DOG_TAGS, REFERENCES
from photocheck.scale.pose import View
from photocheck.scale.tag_layout import TAG_MM
from photocheck.speech import tr

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
    bare = Joint(
        [replace(shot, view=without_sizes(shot.view))],
        alone.dog,
        ratios=alone.ratios,
        facts_left_out=frozenset(alone.facts),
    )
    mode = solve(bare)
    rows = list(bare.size_rows)
    # Their residuals are misfits over a spread that says nothing.
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


def without_sizes(view: View) -> View:
    """The same photo with tags that tell their points only."""
    tags = tuple(replace(tag, px_per_mm_spread=_UNKNOWN) for tag in view.tags.tags)
    return replace(view, tags=replace(view.tags, tags=tags))
