"""The benchmark of what nobody pointed at tells right from wrong."""

from __future__ import annotations

import numpy as np

from photocheck.benchmark.sighted import SightedPicture, judged
from photocheck.phantom.composites import Composite
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.edges import seen_as
from photocheck.scale.unaided import Sighting

TRUE = np.array([[100.0, 100.0], [397.0, 100.0], [397.0, 310.0], [100.0, 310.0]])
EMPTY = np.zeros((10, 10, 3), np.uint8)


def _sighting(corners: np.ndarray, kind: str = "a4") -> Sighting:
    return Sighting((seen_as(REFERENCES[kind], "found", corners, 1.0, []),), 0.9)


def test_what_lies_elsewhere_is_wrong_and_another_kind_is_not_first():
    made = Composite(EMPTY, "a4", TRUE, (200.0, 200.0), "")
    assert judged(made, [_sighting(np.roll(TRUE, 1, axis=0))]) == SightedPicture(
        "a4", True, True, False
    )
    assert judged(made, [_sighting(TRUE, "letter")]) == SightedPicture("a4", True, False, False)
    assert judged(made, [_sighting(TRUE + 30)]) == SightedPicture("a4", False, False, True)
    assert judged(made, []) == SightedPicture("a4", False, False, False)


def test_whatever_is_shown_where_nothing_is_is_wrong():
    made = Composite(EMPTY, "", np.zeros((0, 2)), (5.0, 5.0), "")
    assert judged(made, [_sighting(TRUE)]).wrong
    assert not judged(made, []).wrong
