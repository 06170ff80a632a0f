"""Tags on the dog as the reference: their printed size gives the scale where no sheet is seen."""

from __future__ import annotations

import numpy as np

from photocheck.errors import ScaleError
from photocheck.scale.catalogue import DOG_TAGS, REFERENCES
from photocheck.scale.seen import ReferenceSeen
from photocheck.scale.tag_layout import STANDING, square_mm
from photocheck.scale.tags_seen import TagSeen, TagsSeen
from photocheck.speech import tr
from photocheck.words import FRONT_LANDMARKS


def reference_tag(tags: TagsSeen, *, front: bool = False) -> TagSeen | None:
    """The tag whose square is the reference: of those that stand up, the largest for its doubt.

    The others enter the estimate by their own sizes, each at its own point of the dog.

    Parameters
    ----------
    front : bool
        Whether the dog is seen from the front, where those at the neck face the camera.
    """
    names = FRONT_LANDMARKS if front else STANDING
    standing = [tag for tag in tags.tags if tag.landmark in names]
    return min(standing, key=lambda tag: tag.corner_spread_px / _side_px(tag), default=None)


def tags_as_reference(tags: TagsSeen, *, front: bool = False) -> ReferenceSeen:
    """The reference that the tags are.

    Parameters
    ----------
    front : bool
        Whether the dog is seen from the front.

    Raises
    ------
    ScaleError
        When no tag that stands up in the dog's middle plane was found; from the front, none at
        the neck.
    """
    tag = reference_tag(tags, front=front)
    if tag is None:
        raise ScaleError(
            tr("No tag that faces the camera was found on the dog, and one gives the scale"),
            where="reference",
            do=tr(
                "Take the photo again from nearer, sharp and with the tags facing the camera, or "
                "put the marker sheet beside the dog and choose it"
            ),
        )
    kind = REFERENCES[DOG_TAGS]
    return ReferenceSeen(
        kind=kind.kind,
        how="markers",
        points_mm=square_mm(tag.side_mm),
        points_px=np.asarray(tag.corners_px, float),
        spread_px=tag.corner_spread_px,
        size_spread=kind.size_spread,
    )


def _side_px(tag: TagSeen) -> float:
    ends = np.asarray(tag.corners_px, float)
    return float(np.linalg.norm(ends - np.roll(ends, 1, axis=0), axis=1).mean())
