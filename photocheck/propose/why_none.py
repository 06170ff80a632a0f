"""What is said of a photo in which nothing can be proposed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from photocheck.propose.proposal import UNSURE
from photocheck.speech import later, tr

KINDS: Final[Mapping[str, tuple[str, str]]] = {
    "no_dog": (
        later("No dog was found in this photo."),
        later("Take one that shows the whole dog from the side."),
    ),
    "turned": (
        later("The dog seems to stand turned: towards the camera or away from it."),
        later("Take the photo again with its side straight to you."),
    ),
    "lying": (
        later("The dog seems to lie."),
        later("Wait until it stands of its own accord, and take the photo again."),
    ),
    "sitting": (
        later("The dog seems to sit."),
        later("Wait until it stands of its own accord, and take the photo again."),
    ),
    "bowing": (
        later("The dog seems to bow, its front low."),
        later("Wait until it stands on four straight legs, and take the photo again."),
    ),
    "cut_off": (
        later("A part of the dog seems to be beyond the photo's edge."),
        later("Step back until the whole dog is in the picture, with its feet and tail."),
    ),
}
"""Of each kind of photo that is not asked for: what is seen, and what to do."""

_UNSURE: Final = later("The places of the marks are not seen well enough to propose any.")


def said_of(why: str) -> str:
    """Why nothing is proposed, and what to do where that helps; empty where something is.

    >>> said_of("sitting")
    'The dog seems to sit. Wait until it stands of its own accord, and take the photo again.'
    """
    if not why:
        return ""
    if why == UNSURE or why not in KINDS:
        return tr(_UNSURE)
    seen, do = KINDS[why]
    return f"{tr(seen)} {tr(do)}"
