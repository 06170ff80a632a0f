"""Which readings went from tag to tag: there tape and photo have their points in common."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from photocheck.body.shape import WAY_TERMS
from photocheck.scale.pose import View
from photocheck.words import LANDMARKS, NECK_RING, READINGS, SPAN_ENDS


def readings_at_tags(given: Collection[str], views: Sequence[View]) -> tuple[str, ...]:
    """Readings whose tape was held at tags that a photo from the side shows, by `words.READINGS`.

    Tags in a photo do not tell that the dog wore them while it was measured: that must have been
    said (`View.at_tags`, which a check takes from `Case.measured_at_tags`).  A reading counts only
    where the tags of all points were found that it goes by.

    Parameters
    ----------
    given : collection of str
        The readings that there are.
    views : sequence of View
    """
    sides = [view for view in views if view.at_tags and not view.from_front]
    found = {tag.landmark for view in sides for tag in view.tags.tags}
    return tuple(name for name in READINGS if name in given and found >= _points(name))


def spans_at_tags(readings: Collection[str]) -> frozenset[str]:
    """The spans of `WAY_TERMS` whose points tape and photo share.

    Parameters
    ----------
    readings : collection of str
        Those whose tape was held at tags.

    >>> sorted(spans_at_tags(["neck_ring", "full_length"]))
    ['front_length', 'half_neck', 'rear_length']
    """
    found = {"half_neck" if name == NECK_RING else name for name in readings}
    if "full_length" in found:
        found |= {"front_length", "rear_length"}
    return frozenset(found & WAY_TERMS.keys())


def _points(reading: str) -> set[str]:
    """The points by which a reading goes."""
    if reading == "full_length":  # along the same line past the last rib
        return set(LANDMARKS) - {"shoulder_top"}
    return set(SPAN_ENDS["half_neck" if reading == NECK_RING else reading])
