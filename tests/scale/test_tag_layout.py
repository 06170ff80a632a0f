"""The tags' markers cannot be taken for one another, turned or not, nor for the sheet's."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from photocheck.scale.sheet import LAYOUT, marker_cells
from photocheck.scale.tag_layout import TAG_IDS
from photocheck.words import ALL_LANDMARKS, FRONT_LANDMARKS


def apart(one: int, other: int, turns: tuple[int, ...] = (0, 1, 2, 3)) -> int:
    """Cells in which two markers differ at least, in any turn."""
    cells, others = marker_cells(one), marker_cells(other)
    return min(int(np.sum(np.rot90(cells, turn) != others)) for turn in turns)


def test_every_marker_is_told_from_every_other() -> None:
    ids = tuple(TAG_IDS.values())
    assert min(apart(one, other) for one, other in combinations(ids, 2)) >= 6
    assert min(apart(one, other) for one in ids for other in LAYOUT.marker_ids) >= 5
    assert min(apart(one, one, (1, 2, 3)) for one in ids) >= 6


def test_tags_are_for_landmarks_and_no_two_for_one() -> None:
    assert set(TAG_IDS) <= {*ALL_LANDMARKS, *FRONT_LANDMARKS}
    assert len(set(TAG_IDS.values())) == len(TAG_IDS)
