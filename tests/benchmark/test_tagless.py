"""Pictures without tags: each kind is drawn as its seed says, and what is reported is counted."""

from __future__ import annotations

import numpy as np
import pytest

from photocheck.benchmark.tagless import KINDS, table, tagless


@pytest.mark.slow
def test_a_seed_is_one_picture_and_every_kind_comes() -> None:
    kinds = set()
    for seed in range(40):
        kind, picture = tagless(seed)
        kinds.add(kind)
        assert picture.dtype == np.uint8
        assert min(picture.shape) >= 400
    assert kinds == set(KINDS)
    np.testing.assert_array_equal(tagless(3)[1], tagless(3)[1])


def test_a_wrong_tag_is_counted_and_its_seed_named() -> None:
    first, second = list(KINDS)[:2]
    said = table([(first, 5, 2, 0), (second, 6, 1, 3)], files=7)
    assert f"| {second} | 1 | 1 | 1 |" in said
    assert "| all | 2 | 3 | 1 |" in said
    assert "Wrong: 6." in said
