"""Stands in until the finder is merged: finds nothing."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from photocheck.scale.tags_seen import TagsSeen


def find_tags(picture: NDArray[np.uint8], side_mm: float = 40.0) -> TagsSeen:
    """None."""
    del picture, side_mm
    return TagsSeen()
