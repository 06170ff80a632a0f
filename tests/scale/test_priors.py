"""Where a reference stood, by people's words: held against where phantoms' references stand."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from photocheck.case.model import Reference
from photocheck.errors import CaseError
from photocheck.phantom.draws import OFFSETS
from photocheck.phantom.facing import FRONT_OFFSETS, FRONT_YAW_DEG
from photocheck.phantom.solid import Dog, DogPlan, make_dog
from photocheck.scale.priors import (
    FRONT_PLACE_OFFSETS,
    FRONT_TILT_RAD,
    FRONT_YAW_RAD,
    PLACE_OFFSETS,
    offset_prior,
)

HALF_WIDTH_MM = 95.0


@pytest.mark.parametrize("place", OFFSETS)
def test_a_place_covers_where_phantoms_put_it_and_not_much_more(place: str) -> None:
    # the phantom's ranges are a judgement of their own, made without these
    side, low, high = OFFSETS[place]
    drawn = np.linspace(low, high, 201) + side * HALF_WIDTH_MM
    prior = PLACE_OFFSETS[place]
    mean = prior.half_widths * HALF_WIDTH_MM + prior.beyond_mm
    away = (drawn - mean) / prior.spread_mm
    assert np.abs(away).max() < 2.6
    assert 0.35 < np.sqrt(np.mean(away**2)) < 1.2


@pytest.mark.parametrize("place", ["near_flank", "near_feet"])
def test_a_distance_behind_the_dog_is_refused_where_the_place_is_before_it(place: str) -> None:
    with pytest.raises(CaseError, match="behind the dog's middle"):
        offset_prior(Reference("a4", place=place, offset_mm=-10.0))
    assert offset_prior(Reference("a4", place=place, offset_mm=10.0)).beyond_mm == 10.0


@cache
def dog() -> Dog:
    return make_dog(DogPlan())


@pytest.mark.parametrize("place", FRONT_OFFSETS)
def test_a_place_from_the_front_covers_where_phantoms_put_it(place: str) -> None:
    marks = dog().visible
    behind = {name: float(xyz[0] - marks["breastbone"][0]) for name, xyz in marks.items()}
    elbows = float(dog().anatomy.girth_plane()[0][0] - marks["breastbone"][0])
    anchors = {
        "front_feet": behind["front_foot"],
        "chest_side": elbows,
        "before_dog": 0.0,
        "behind_dog": behind["tail_base"],
    }
    drawn = np.linspace(*FRONT_OFFSETS[place], 201) - anchors[place]
    prior = FRONT_PLACE_OFFSETS[place]
    straight = float(np.linalg.norm(marks["tail_base"] - marks["breastbone"]))
    mean = prior.beyond_mm - (
        prior.shoulders * behind["shoulder_top"]
        + prior.chests * behind["chest_bottom"]
        + prior.lengths * straight
    )
    away = (drawn - mean) / prior.spread_mm
    assert np.abs(away).max() < 2.6
    assert 0.5 < np.sqrt(np.mean(away**2)) < 1.2


def test_a_place_not_said_covers_every_other() -> None:
    unknown = FRONT_PLACE_OFFSETS["unknown"]
    for place, (low, high) in FRONT_OFFSETS.items():
        if place != "behind_dog":  # few hang it there and do not say so
            assert max(abs(low - 200.0), abs(high)) < 2.0 * unknown.spread_mm
    assert unknown.spread_mm > 1.5 * FRONT_PLACE_OFFSETS["behind_dog"].spread_mm


def test_a_dog_that_looks_at_the_camera_stands_as_askew_as_phantoms_do() -> None:
    assert np.radians(FRONT_YAW_DEG) == pytest.approx(FRONT_YAW_RAD.spread, rel=0.15)
    # a phone 1.5 degrees from level, marks 5 mm off at both ends of 180 mm, and at two heights
    tilt = np.hypot(np.radians(1.5), np.sqrt(2.0) * 5.0 / 180.0)
    assert 1.2 * tilt < FRONT_TILT_RAD.spread < 2.2 * tilt
