"""A sheet that is curled or folded is told so, a flat one is not; two sheets are told."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from photocheck.phantom.bent_sheet import Bend, bent_sheet, drawn_view, half_across
from photocheck.scale.markers import find_sheet
from photocheck.scale.seen import ReferenceSeen
from photocheck.speech import speaking

SEED = 60_000
"""Neither chosen on nor reported on."""


@cache
def flat_sheet() -> ReferenceSeen:
    seen = find_sheet(bent_sheet(SEED), bar_mm=150.0)
    assert seen is not None
    return seen


def remarks(picture: np.ndarray) -> str:
    seen = find_sheet(picture, bar_mm=150.0)
    return "" if seen is None else " ".join(seen.remarks)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(6))
def test_a_flat_sheet_is_not_said_to_be_bent(seed: int) -> None:
    assert remarks(bent_sheet(SEED + seed)) == ""


@pytest.mark.slow
@pytest.mark.parametrize("turn", [0.0, 0.5, np.pi / 2])
@pytest.mark.parametrize("depth", [-20.0, 12.0])
def test_a_curled_sheet_is_told_and_doubted(depth: float, turn: float) -> None:
    seen = find_sheet(bent_sheet(SEED, bend=Bend("curl", depth, turn)), bar_mm=150.0)
    assert seen is not None
    assert any("does not lie flat" in one for one in seen.remarks)
    assert not any("not seen" in one for one in seen.remarks)
    assert len(seen.points_mm) >= 12  # every square gives its part
    assert seen.size_spread > 2 * flat_sheet().size_spread
    assert seen.spread_px > flat_sheet().spread_px


@pytest.mark.slow
@pytest.mark.parametrize("at", [-10.0, 0.0, 12.0])
def test_a_folded_sheet_is_told(at: float) -> None:
    picture = bent_sheet(SEED + 1, bend=Bend("fold", 15.0, np.pi / 2, at))
    assert "does not lie flat" in remarks(picture)
    with speaking("de"):
        assert "liegt nicht flach" in remarks(picture)


def test_paper_does_not_stretch_in_the_phantom() -> None:
    """A cylinder's arc over its chord: s = R sin(u / R), sagitta = R (1 - cos(u / R))."""
    half = half_across(Bend("curl", 20.0))
    assert half == 105.0  # half of ISO 216's 210 mm
    # by hand: from sagitta 20 over an arc of 105 the radius is 269.0, the chord 102.4
    radius = 269.0
    assert radius * (1 - np.cos(half / radius)) == pytest.approx(20.0, abs=0.3)
    assert radius * np.sin(half / radius) == pytest.approx(102.4, abs=0.2)


@pytest.mark.slow
@pytest.mark.parametrize("side", [-1, 1])
def test_two_sheets_are_told(side: int) -> None:
    first = replace(drawn_view(np.random.default_rng(3)), yaw=0.0, pitch=0.0, distance_mm=2600.0)
    x, y = first.off_mm
    second = replace(first, off_mm=(x + side * 300.0, y + 20.0), roll=0.05)
    picture = bent_sheet(SEED, [(Bend(), first), (Bend(), second)])
    said = remarks(picture)
    assert "Two marker sheets" in said
    assert "lie flat" not in said
    assert "Two marker sheets" not in remarks(bent_sheet(SEED, [(Bend(), first)]))
