"""The benchmark of what nobody pointed at tells right from wrong."""

from __future__ import annotations

import numpy as np

from photocheck.benchmark.sighted import SightedPicture, judged, judged_round
from photocheck.phantom.composites import Composite
from photocheck.scale.catalogue import REFERENCES
from photocheck.scale.discs import OutlineFound
from photocheck.scale.edges import seen_as
from photocheck.scale.ellipses import Ellipse
from photocheck.scale.outline_fits import OutlineFit
from photocheck.scale.unaided import Sighting
from photocheck.scale.unaided_rounds import RoundSighting

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


def test_a_round_thing_elsewhere_or_of_another_size_is_wrong():
    outline = Ellipse(np.array([50.0, 40.0]), np.array([20.0, 20.0]), 0.0).points(40)[0]

    def shown(centre: tuple[float, float], half: float, *kinds: str) -> RoundSighting:
        ellipse = Ellipse(np.array(centre), np.array([half, half]), 0.0)
        fit = OutlineFit(ellipse, outline, 1.0, 0.1, 1.0, 1.0, 1.0)
        return RoundSighting(kinds, OutlineFound(fit, [], 0.1, 0.0, rivalled=False))

    right = shown((50.5, 40.0), 20.4, "ball", "disc")
    assert judged_round("ball", outline, [right]) == SightedPicture("ball", True, True, False)
    assert judged_round("disc", outline, [right]) == SightedPicture("disc", True, False, False)
    assert judged_round("ball", outline, [shown((50, 40), 22, "ball")]).wrong
    assert judged_round("", outline[:0], [right]).wrong
    assert judged_round("ball", outline, []) == SightedPicture("ball", False, False, False)
