"""Where a reference stood, by people's words: held against where phantoms' references stand."""

from __future__ import annotations

import numpy as np
import pytest

from photocheck.case.model import Reference
from photocheck.errors import CaseError
from photocheck.phantom.draws import OFFSETS
from photocheck.scale.priors import PLACE_OFFSETS, offset_prior

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
